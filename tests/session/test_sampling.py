"""Levels and powers of both ends are sampled together, in one process and in several."""

from __future__ import annotations

import asyncio
import dataclasses
import datetime as dt
import os
import socket
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from verifier.files.plan_in import read_plan
from verifier.files.profiles import load_profiles
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.result import Result
from verifier.model.subject import Subject
from verifier.probes.snmp import Target
from verifier.session import Probing, Request, run, sampling, workers
from verifier.session.probing import Paces
from verifier.session.recorder import Recorder
from verifier.session.surveyor import InLoop, Job
from verifier.simulator import Fault, Network, running

END = "tx_mhz: 13143, tx_power_dbm: 18, antenna_dbi: 36.1, rx_level_dbm: -45.6"
PLAN = f"""\
network: {{name: Coast, example: true}}
devices:
  - {{name: one, address: 127.94.0.11/24, profile: ptp-radio, snmp: bench}}
  - {{name: two, address: 127.94.0.12/24, profile: ptp-radio, snmp: bench}}
  - {{name: three, address: 127.94.0.13/24, profile: ptp-radio, snmp: bench}}
links:
  - {{name: Hop 1, bandwidth_mhz: 28, modulation_max: 256qam, modulation_min: 4qam, adaptive: true,
     path_km: 11.42, a: {{device: one, {END}}}, b: {{device: two, {END.replace("13143", "12877")}}}}}
"""


@pytest.fixture
def network(tmp_path: Path) -> Iterator[tuple[Request, Network]]:
    """Two ends of a link and a unit of none, simulated."""
    (tmp_path / "plan.yaml").write_text(PLAN)
    plan, _ = read_plan(tmp_path / "plan.yaml")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as trial:
        trial.bind(("", 0))
        port = trial.getsockname()[1]
    profiles = load_profiles({"ptp-radio"})
    entries = {
        "bench": SnmpEntry(name="bench", version="2c", community=Secret("coastal"), port=port)
    }
    built = Network(plan, profiles, entries)
    asked = Request(
        command="verify", plan=plan, plan_sha256="", stage="handover", devices=plan.devices,
        profiles=profiles, credentials=entries,
        probing=Probing(echoes=1, interval_s=0.01, snmp_timeout_s=0.3),
    )  # fmt: skip
    with running(built):
        yield asked, built


def moments(result: Result, unit: str, what: str) -> list[dt.datetime]:
    return [dt.datetime.fromisoformat(o.at) for o in result.observations
            if o.subject.name == unit and o.what == what]  # fmt: skip


@pytest.mark.icmp
@pytest.mark.parametrize("forked", [False, True])
def test_both_ends_are_sampled_five_times_together(
    network: tuple[Request, Network], monkeypatch: pytest.MonkeyPatch, *, forked: bool
) -> None:
    """Each level has a power of the other end within 2 s; the unit without a link is not sampled."""
    if forked:
        monkeypatch.setattr(workers, "MANY", 1)
        monkeypatch.setattr(os, "cpu_count", lambda: 2)
    result = run(network[0]).result
    levels, powers = moments(result, "one", "rx_level_dbm"), moments(result, "two", "tx_power_dbm")
    assert len(levels) == len(powers) == 1 + sampling.TIMES
    assert all(min(abs((p - at).total_seconds()) for p in powers) < 2 for at in levels[1:])
    assert len(moments(result, "three", "rx_level_dbm")) == 1
    assert len(moments(result, "one", "serial")) == 1
    (loss,) = [f for f in result.findings if f.check == "radio.path-loss" and f.subject.end == "a"]
    assert loss.verdict == "pass"


@pytest.mark.icmp
def test_a_link_with_a_silent_end_is_not_sampled(network: tuple[Request, Network]) -> None:
    asked, built = network
    built.put(Fault(kind="no-answer", unit="two"))
    result = run(asked).result
    assert len(moments(result, "one", "rx_level_dbm")) == 1
    verdicts = Counter(f.verdict for f in result.findings if f.check == "radio.path-loss")
    assert verdicts == {"not-tested": 2}


def test_units_that_share_a_link_are_sampled_once(network: tuple[Request, Network]) -> None:
    """1+1 and 2+0: carriers with units of their own, and two carriers of one pair."""
    asked, _ = network
    (link,) = asked.plan.links
    (carrier,) = link.carriers
    second = dataclasses.replace(
        carrier, carrier=2, b=dataclasses.replace(carrier.b, device="three")
    )
    plan = dataclasses.replace(
        asked.plan, links=(dataclasses.replace(link, carriers=(carrier, second, carrier)),)
    )
    assert sampling.pairs(plan, _jobs(asked), lambda _: True) == [{"one", "two", "three"}]
    assert sampling.pairs(plan, _jobs(asked), lambda name: name != "three") == [{"one", "two"}]


def _jobs(asked: Request) -> dict[str, Job]:
    return {
        d.name: Job(
            device=d, profile=asked.profiles["ptp-radio"], deadline_s=5.0,
            target=Target(address=d.address.address, entry=asked.credentials["bench"]),
        )
        for d in asked.devices
    }  # fmt: skip


@pytest.mark.icmp
def test_a_lower_modulation_is_watched_for_a_minute(
    network: tuple[Request, Network], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beside a soak both its units are read again and again; a link at its highest is not."""
    asked, built = network
    monkeypatch.setattr(sampling, "WATCH_S", 0.02)
    assert _watched(asked) == Counter()
    built.put(Fault(kind="level-low-both", link="Hop 1", value=25))
    seen = _watched(asked)
    fields = sampling.sampled(asked.profiles["ptp-radio"], sampling.WATCHED)
    assert seen == {(n, f): sampling.WATCHES for n in ("one", "two") for f in fields}


def _watched(asked: Request) -> Counter[tuple[str, str]]:
    """What is read of whom after a run, how often."""
    records = {d.name: Recorder(Subject("device", d.name)) for d in asked.devices}
    jobs = _jobs(asked)

    async def look() -> Counter[tuple[str, str]]:
        async with InLoop(jobs, Paces.of(asked.probing, shared=False)) as asking:
            for name, record in records.items():
                await asking.survey(name, record)
        before: Counter[tuple[str, str]] = Counter(
            (n, o.what) for n, r in records.items() for o in r.seen
        )
        again = InLoop(jobs, Paces.of(asked.probing, shared=False))
        await sampling.watch(asked.plan, jobs, records, again)
        after: Counter[tuple[str, str]] = Counter(
            (n, o.what) for n, r in records.items() for o in r.seen
        )
        return after - before

    return asyncio.run(look())
