"""Any ASN.1 type with any content for any object, through whole runs: what devices say hurts nobody."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from tests.cli.sweeping import free_port
from tests.hostile import integer, tlv
from tests.store.conftest import postgresql, url
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model import mib
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.problem import Subject
from verifier.probes.world import ThisMachine
from verifier.report.result import FORMATS
from verifier.report.style import ReportStyle
from verifier.session import Probing, Request, run
from verifier.session.signals import Signals
from verifier.session.sweep.loop import Settings, SweepLoop
from verifier.simulator.agent.cells import CellTable
from verifier.simulator.device import Made
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running
from verifier.store import schema
from verifier.store.store import opened

__all__ = ["postgresql", "url"]
pytestmark = pytest.mark.icmp
PORTS = "ports: [{name: eth1, status: up, speed_mbps: 1000, mtu: 1500}, {name: eth2, status: up}]"
PLAN = f"""\
network: {{name: Odd values, example: true}}
devices:
  - {{name: sound-1, address: 127.94.0.1/16, gateway: 127.94.255.1, snmp: one, {PORTS}}}
  - {{name: sound-2, address: 127.94.0.2/16, snmp: three, {PORTS}}}
  - {{name: odd-1, address: 127.94.0.3/16, gateway: 127.94.255.1, snmp: one, {PORTS}}}
  - {{name: odd-2, address: 127.94.0.4/16, gateway: 127.94.255.1, snmp: two, {PORTS}}}
  - {{name: odd-3, address: 127.94.0.5/16, gateway: 127.94.255.1, snmp: three, {PORTS}}}
  - {{name: radio-1, profile: hop-radio, address: 127.94.0.6/16, snmp: one}}
  - {{name: radio-2, profile: hop-radio, address: 127.94.0.7/16, snmp: one}}
links:
  - {{name: Hop 1, bandwidth_mhz: 28, modulation: 64qam, a: {{device: radio-1, tx_mhz: 13143, tx_power_dbm: 18, rx_level_dbm: -45}},
     b: {{device: radio-2, tx_mhz: 12877, tx_power_dbm: 18, rx_level_dbm: -45}}}}
"""
ODD = ("odd-1", "odd-2", "odd-3", "radio-1", "radio-2")
SOUND = ("sound-1", "sound-2")
_V3: dict[str, Any] = {"auth": "SHA-256", "auth_key": Secret("coastal-auth"),
                       "priv_key": Secret("coastal-priv")}  # fmt: skip
ENTRIES = {
    "one": SnmpEntry(name="one", version="2c", community=Secret("coast"), port=free_port()),
    "two": SnmpEntry(name="two", version="1", community=Secret("coast"), port=free_port()),
    "three": SnmpEntry(name="three", version="3", user="ferry", port=free_port(), **_V3),
}
TAGS = (0x01, 0x02, 0x04, 0x05, 0x06, 0x09, 0x24, 0x30, 0x40, 0x41, 0x42, 0x43, 0x44, 0x45, 0x46, 0x47,
        0x80, 0x81, 0x82)  # fmt: skip
EDGES = [
    0,
    1,
    -1,
    2**31 - 1,
    2**31,
    -(2**31) - 1,
    2**32 - 1,
    2**32,
    2**63 - 1,
    2**63,
    2**64 - 1,
    2**64,
]
TEXTS = [b"\0", b"a\0b", b"\xff\xfe", b"\xed\xa0\x80", b"9" * 400, b"1e999", b"-0",
         b"nan", b"eth1", b"'; DROP TABLE reading; --", b"\x1b[2J", b"x" * 900]  # fmt: skip
numbers = st.builds(integer, st.sampled_from(EDGES), st.sampled_from((2, 0x41, 0x42, 0x43, 0x46)))
texts = st.builds(tlv, st.just(4), st.sampled_from(TEXTS))
anything = st.builds(tlv, st.sampled_from(TAGS) | st.integers(0, 255), st.binary(max_size=20))
values = numbers | texts | anything
odd_values = st.fixed_dictionaries(
    {name: st.lists(st.tuples(st.integers(0, 400), values), max_size=25) for name in ODD}
)
"""For each odd device: at which of its objects that are asked for, and what stands there."""
ERRORS = -1
"""Stands for all error counters."""
HUGE = {"odd-1": [(ERRORS, integer(2**64 - 1, 0x46))], "odd-2": [(ERRORS, integer(2**64, 0x41))]}


ASKED = [tuple(map(int, oid.split("."))) for oid in (*mib.SYNTAX, "1.3.6.1.4.1.32473")]
COUNTERS = {tuple(map(int, mib.IF_TABLE[n].split("."))) for n in ("ifInErrors", "ifOutErrors")}


class Odd:
    """The devices, and what is asked of them."""

    def __init__(self, network: SimulatedNetwork, request: Request) -> None:
        self.network, self.request = network, request
        self.rows = {n: dict(zip(u.table().names, u.table().cells, strict=True))
                     for n, u in network.devices.items()}  # fmt: skip

    def show(self, odd: dict[str, list[tuple[int, bytes]]]) -> None:
        """From now on these objects have these values."""
        for name, changes in odd.items():
            names = [n for n in self.rows[name] if any(n[: len(c)] == c for c in ASKED)]
            rows = dict(self.rows[name])
            for at, value in changes:
                of = (
                    [n for n in names if n[:10] in COUNTERS]
                    if at == ERRORS
                    else [names[at % len(names)]]
                )
                rows |= dict.fromkeys(of, value)
            subject = self.network.devices[name]
            subject.made = Made()
            subject.made.table = CellTable.of(rows)


@pytest.fixture(scope="module")
def odd_ones(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Odd]:
    path = tmp_path_factory.mktemp("odd") / "plan.yaml"
    path.write_text(PLAN, encoding="utf-8")
    plan, problems = read_plan(path)
    assert not [p for p in problems if p.severity == "error"]
    profiles = load_profiles({d.profile for d in plan.devices})
    network = SimulatedNetwork(plan, profiles, ENTRIES)
    request = Request(
        command="sweep", plan=plan, plan_sha256="0", stage="service", devices=plan.devices,
        profiles=profiles, credentials=ENTRIES,
        probing=Probing(echoes=1, interval_s=0.01, snmp_timeout_s=3.0),
    )  # fmt: skip
    with running(network):
        yield Odd(network, request)


def examples(most: int) -> Any:
    return settings(
        max_examples=most, deadline=None, phases=(Phase.explicit, Phase.generate),
        suppress_health_check=list(HealthCheck), derandomize=True,
    )  # fmt: skip


def test_a_sweep_is_stored_whatever_devices_say(odd_ones: Odd, url: str) -> None:
    """Each is stored with all devices; the sound ones are sound, and no count is out of its range."""
    said: list[str] = []
    count = itertools.count(1)

    @examples(8)  # type: ignore[untyped-decorator]
    @given(odd_values)
    @example(HUGE)
    def sweep(odd: dict[str, list[tuple[int, bytes]]]) -> None:
        odd_ones.show(odd)
        with Signals() as signals:
            done = SweepLoop(store, Settings(), said.append, ThisMachine()).once(
                odd_ones.request, signals
            )
        assert done is not None
        assert done.number == next(count)
        states = {r.subject.name: r.state for r in done.sweep.readings}
        assert {states[name] for name in SOUND} == {"sound"}
        assert states.keys() == {*SOUND, *ODD, "Hop 1"}
        stored = store.rows(select(schema.reading).where(schema.reading.c.sweep_id == done.number))
        assert len(stored) == len(states)
        assert all(r["uptime_s"] is None or 0 <= r["uptime_s"] < 2**32 / 100 for r in stored)
        counters = store.counters()
        assert all(0 <= n < 2**32 for c in counters.values() for n in (c.in_errors, c.out_errors))
        assert (Subject("device", "sound-1"), "eth1") in counters

    with opened(url) as store, store.locked():
        sweep()
    assert said == []


def test_an_error_counter_of_2_to_the_64(odd_ones: Odd, url: str) -> None:
    """Of its own type or another: never a count, its octets in the evidence, the sweep is stored."""
    for tag in (0x41, 0x46):
        huge = integer(2**64 - 1, tag)
        odd_ones.show({**{name: [] for name in ODD}, "odd-1": [(ERRORS, huge)]})
        with opened(url) as store, store.locked(), Signals() as signals:
            done = SweepLoop(store, Settings(), lambda _: None, ThisMachine()).once(
                odd_ones.request, signals
            )
            assert done is not None
            ports = [
                p.port for r in done.sweep.readings if r.subject.name == "odd-1" for p in r.ports
            ]
            assert ports == []
        seen = run(odd_ones.request, ThisMachine()).result.observations
        (raw,) = {o.raw for o in seen if o.what == "ifInErrors" and o.value is None}
        assert raw is not None
        assert huge.hex() in raw


@examples(6)  # type: ignore[untyped-decorator]
@given(odd_values)
def test_it_is_judged_and_drawn_in_every_format(
    odd_ones: Odd, odd: dict[str, list[tuple[int, bytes]]]
) -> None:
    """No rule raises, no format refuses, and nothing is said of the sound devices but that."""
    odd_ones.show(odd)
    outcome = run(
        dataclasses.replace(odd_ones.request, command="verify", stage="handover"), ThisMachine()
    )
    assert outcome.faults == ()
    found = [f for f in outcome.result.findings if f.subject.name in SOUND]
    assert {f.verdict for f in found} <= {"pass", "warn"}, [f for f in found if f.verdict == "fail"]
    for render in FORMATS.values():
        assert render(outcome.result, ReportStyle())
