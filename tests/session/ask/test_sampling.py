"""Levels and powers of both ends are sampled together, in one process and in several."""

from __future__ import annotations

import asyncio
import dataclasses
import datetime as dt
import os
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.ports import free_port
from tests.stopwatch import patience
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model.address import Interface
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.plan import Carrier, Device, End, Link, Plan
from verifier.model.problem import Subject
from verifier.model.profile import Profile, ProfileReading
from verifier.model.result import Result
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.values import SnmpTarget
from verifier.probes.world import ThisMachine
from verifier.session import Probing, Request, run
from verifier.session.ask import levels as ask_levels
from verifier.session.ask import pollers
from verifier.session.ask.job import Job
from verifier.session.ask.pollers import LoopPoller
from verifier.session.recorder import Recorder
from verifier.session.request import Paces
from verifier.simulator.faults import PlantedFault
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running

END = "tx_mhz: 13143, tx_power_dbm: 18, antenna_dbi: 36.1, rx_level_dbm: -45.6"
PLAN = f"""\
network: {{name: Coast, example: true}}
devices:
  - {{name: one, address: 127.94.0.11/24, profile: hop-radio, snmp: bench}}
  - {{name: two, address: 127.94.0.12/24, profile: hop-radio, snmp: bench}}
  - {{name: three, address: 127.94.0.13/24, profile: hop-radio, snmp: bench}}
links:
  - {{name: Hop 1, bandwidth_mhz: 28, modulation_max: 256qam, modulation_min: 4qam, adaptive: true,
     path_km: 11.42, a: {{device: one, {END}}}, b: {{device: two, {END.replace("13143", "12877")}}}}}
"""


@pytest.fixture
def network(tmp_path: Path) -> Iterator[tuple[Request, SimulatedNetwork]]:
    """Two ends of a link and a device of none, simulated."""
    (tmp_path / "plan.yaml").write_text(PLAN)
    plan, _ = read_plan(tmp_path / "plan.yaml")
    port = free_port()
    profiles = load_profiles({"hop-radio"})
    entries = {
        "bench": SnmpEntry(name="bench", version="2c", community=Secret("coastal"), port=port)
    }
    built = SimulatedNetwork(plan, profiles, entries)
    asked = Request(
        command="verify", plan=plan, plan_sha256="", stage="handover", devices=plan.devices,
        profiles=profiles, credentials=entries,
        probing=Probing(echoes=1, interval_s=0.01, snmp_timeout_s=0.3 * patience()),
    )  # fmt: skip
    with running(built):
        yield asked, built


def moments(result: Result, device: str, what: str) -> list[dt.datetime]:
    return [dt.datetime.fromisoformat(o.at) for o in result.observations
            if o.subject.name == device and o.what == what]  # fmt: skip


@pytest.mark.icmp
@pytest.mark.parametrize("forked", [False, True])
def test_both_ends_are_sampled_five_times_together(
    network: tuple[Request, SimulatedNetwork], monkeypatch: pytest.MonkeyPatch, *, forked: bool
) -> None:
    """Each level has a power of the other end within 2 s; the device without a link is not sampled."""
    if forked:
        monkeypatch.setattr(pollers, "MANY", 1)
        monkeypatch.setattr(os, "cpu_count", lambda: 2)
    result = run(network[0], ThisMachine()).result
    levels, powers = moments(result, "one", "rx_level_dbm"), moments(result, "two", "tx_power_dbm")
    assert len(levels) == len(powers) == 1 + ask_levels.TIMES
    assert all(min(abs((p - at).total_seconds()) for p in powers) < 2 for at in levels[1:])
    assert len(moments(result, "three", "rx_level_dbm")) == 1
    assert len(moments(result, "one", "serial")) == 1
    (loss,) = [f for f in result.findings if f.check == "radio.path-loss" and f.subject.end == "a"]
    assert loss.verdict == "pass"


INDEXED = "1.3.6.1.4.1.32473.7.1.3"


def test_rows_are_looked_for_once() -> None:
    """A reading of the N-th row is searched at the first sample; then one GET holds all."""

    class Counting(SnmpClient):
        def __init__(self) -> None:
            super().__init__()
            self.asked: list[str] = []

        async def get(self, target: SnmpTarget, oids: Any, deadline_s: Any = None) -> Any:
            self.asked.append(f"get {len(oids)}")
            return await super().get(target, oids, deadline_s)

        async def get_next(self, target: SnmpTarget, oids: Any, deadline_s: Any = None) -> Any:
            self.asked.append("next")
            return await super().get_next(target, oids, deadline_s)

    levels = tuple(
        ProfileReading(
            field="rx_level_dbm", oid=INDEXED, index=f"radio:{n}", type="integer", scale=0.1
        )
        for n in (4, 12)
    )
    power = ProfileReading(field="tx_power_dbm", oid="1.3.6.1.4.1.32473.1.1.7.0", type="integer")
    profile = Profile(id="two", kind="radio", reading=(*levels, power))
    ends = {n: Device(name=n, address=Interface.parse(f"127.94.1.{i}/24"), profile="two",
                      snmp="bench") for i, n in enumerate(("one", "two"), start=11)}  # fmt: skip
    carriers = tuple(
        Carrier(a=End(device="one", radio=n, rx_level_dbm=-45.6), carrier=i,
                b=End(device="two", radio=n, rx_level_dbm=-45.8))
        for i, n in enumerate((4, 12), start=1)
    )  # fmt: skip
    plan = Plan(devices=tuple(ends.values()), links=(Link(name="Hop", carriers=carriers),))
    port = free_port()
    entry = SnmpEntry(name="bench", version="2c", community=Secret("coastal"), port=port)
    target = SnmpTarget(address=ends["one"].address.address, entry=entry)
    record = Recorder(Subject("device", "one"), ThisMachine().clocks.now)
    client = Counting()

    async def read() -> None:
        # the simulator has rows 4 and 12; the first and the second of the column are asked for
        ranked = (dataclasses.replace(levels[0], index="radio:1"),
                  dataclasses.replace(levels[1], index="radio:2"), power)  # fmt: skip
        named = dataclasses.replace(profile, reading=ranked).named_readings()
        async with client:
            await ask_levels.sample(client, ThisMachine().clocks, target, named, record, 3)

    with running(SimulatedNetwork(plan, {"two": profile}, {"bench": entry})):
        asyncio.run(read())
    assert client.asked == ["get 1", "next", "next", "get 3", "get 3"]
    seen = Counter((o.what, o.value is not None) for o in record.seen)
    assert seen == {("rx_level_dbm", True): 3, ("rx_level_dbm radio:2", True): 3,
                    ("tx_power_dbm", True): 3}  # fmt: skip


@pytest.mark.icmp
def test_a_link_with_a_silent_end_is_not_sampled(network: tuple[Request, SimulatedNetwork]) -> None:
    asked, built = network
    built.put(PlantedFault(kind="no-answer", device="two"))
    result = run(asked, ThisMachine()).result
    assert len(moments(result, "one", "rx_level_dbm")) == 1
    verdicts = Counter(f.verdict for f in result.findings if f.check == "radio.path-loss")
    assert verdicts == {"not-tested": 2}


def test_devices_that_share_a_link_are_sampled_once(
    network: tuple[Request, SimulatedNetwork],
) -> None:
    """1+1 and 2+0: carriers with devices of their own, and two carriers of one pair."""
    asked, _ = network
    (link,) = asked.plan.links
    (carrier,) = link.carriers
    second = dataclasses.replace(
        carrier, carrier=2, b=dataclasses.replace(carrier.b, device="three")
    )
    plan = dataclasses.replace(
        asked.plan, links=(dataclasses.replace(link, carriers=(carrier, second, carrier)),)
    )
    assert ask_levels.pairs(plan, _jobs(asked), lambda _: True) == [{"one", "two", "three"}]
    assert ask_levels.pairs(plan, _jobs(asked), lambda name: name != "three") == [{"one", "two"}]


def _jobs(asked: Request) -> dict[str, Job]:
    return {
        d.name: Job(
            device=d, profile=asked.profiles["hop-radio"], deadline_s=5.0,
            target=SnmpTarget(address=d.address.address, entry=asked.credentials["bench"]),
        )
        for d in asked.devices
    }  # fmt: skip


@pytest.mark.icmp
def test_a_lower_modulation_is_watched_for_a_minute(
    network: tuple[Request, SimulatedNetwork], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beside a soak both its devices are read again and again; a link at its highest is not."""
    asked, built = network
    monkeypatch.setattr(ask_levels, "WATCH_S", 0.02)
    assert _watched(asked) == Counter()
    built.put(PlantedFault(kind="level-low-both", link="Hop 1", value=25))
    seen = _watched(asked)
    fields = ask_levels.sampled(asked.profiles["hop-radio"], ask_levels.WATCHED)
    assert seen == {(n, f): ask_levels.WATCHES for n in ("one", "two") for f in fields}


def _watched(asked: Request) -> Counter[tuple[str, str]]:
    """What is read of whom after a run, how often."""
    records = {
        d.name: Recorder(Subject("device", d.name), ThisMachine().clocks.now) for d in asked.devices
    }
    jobs, world = _jobs(asked), ThisMachine()

    async def look() -> Counter[tuple[str, str]]:
        async with LoopPoller(jobs, Paces.of(asked.probing, world), world) as asking:
            for name, record in records.items():
                await asking.poll(name, record)
        before: Counter[tuple[str, str]] = Counter(
            (n, o.what) for n, r in records.items() for o in r.seen
        )
        again = LoopPoller(jobs, Paces.of(asked.probing, world), world)
        await ask_levels.watch(asked.plan, jobs, records, again, world.clocks)
        after: Counter[tuple[str, str]] = Counter(
            (n, o.what) for n, r in records.items() for o in r.seen
        )
        return after - before

    return asyncio.run(look())
