"""A small network in which any two faults are planted, and everything `verify` says of it.

Agents of the simulator answer the project's own client over UDP on the loopback range; what the
simulator cannot show there (echoes, the cable, a kernel that refuses a port) is written down as the
probes would write it. What a device answers depends on how it and its far end are, so that is asked
once and kept; the rules run anew for each pair.
"""

from __future__ import annotations

import asyncio
import dataclasses
import datetime as dt
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.ports import free_port
from tests.two_faults.planting import FAR, KINDS, Planted, Seen, echo, faults
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model.address import Interface
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.laptop import Laptop, LaptopInterface, Route
from verifier.model.observations import ECHO, INTERFACES, ROUTE, WARM_UP, Observation, WarmUp
from verifier.model.plan import Plan
from verifier.model.problem import Subject
from verifier.model.result import Finding
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.values import SnmpTarget
from verifier.probes.world import ThisMachine
from verifier.rules.compare.judge import Judgement, compare
from verifier.session.ask import levels
from verifier.session.ask.polls import EvidencePoll
from verifier.session.recorder import Recorder, RecorderEntry, numbered
from verifier.simulator.condition import Condition
from verifier.simulator.faults import PlantedFault
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.radio import Setting
from verifier.simulator.running import running

HERE = Path(__file__).parent
OF_DEVICE = frozenset(
    """unsaved_settings alarm software serial part_number clock ntp_locked trap_targets syslog_hosts
    ntp_hosts errored_s severely_errored_s unavailable_s""".split()  # noqa: SIM905 - reads better
)
"""Readings that are not of the radio."""
_SILENT_S = 1.0
_NOW = dt.datetime(2026, 11, 20, 10, tzinfo=dt.UTC)
"""Everything is seen at one moment, whenever it was asked."""
_LOOPBACK = LaptopInterface(
    name="eth0", addresses=(Interface.parse("127.81.20.250/24"),), medium="cable"
)


class World:
    """The network, running; `judged` plants faults in it and says what comes of them."""

    def __init__(
        self, network: SimulatedNetwork, plan: Plan, profiles: Any, entry: SnmpEntry
    ) -> None:
        self.plan = plan
        self._profiles = profiles
        self._network = network
        self._entry = entry
        self._client = SnmpClient()
        self._kept: dict[tuple[str, Condition, Condition], list[RecorderEntry]] = {}
        readings = profiles["two-radio"].named_readings()
        self._of_radio = {n for n, r in readings.items() if r.field not in OF_DEVICE}
        self._alone: dict[Planted, frozenset[tuple[str, Subject]]] = {}
        self._runner = asyncio.Runner()
        self._laptop = Recorder(Subject("laptop", "laptop"), ThisMachine().clocks.now)
        self._laptop.note(INTERFACES, Laptop(interfaces=(_LOOPBACK,)))

    def close(self) -> None:
        """Ends the client."""
        self._client.close()
        self._runner.close()

    def judged(self, *planted: Planted) -> Judgement:
        """What `verify` says with these faults, and no others."""
        put: list[PlantedFault] = []
        try:
            for p in planted:
                for fault in faults(p):
                    self._network.put(fault)
                    put.append(fault)
            seen = Seen({d.name: list(self._rows(d.name)) for d in self.plan.devices}, self.plan)
        finally:
            for fault in put:
                self._network.take_off(fault)
        for kind, wire in ((k, KINDS[k].wire) for k in KINDS):
            for p in planted:
                if wire is not None and p.kind == kind:
                    wire(seen, p.at)
        return compare(seen.plan, self._profiles, self._observations(seen))

    def alone(self, planted: Planted) -> frozenset[tuple[str, Subject]]:
        """What is wrong where this fault is the only one: check and subject."""
        if planted not in self._alone:
            self._alone[planted] = wrong(self.judged(planted).findings)
        return self._alone[planted]

    def _observations(self, seen: Seen) -> tuple[Observation[object], ...]:
        records = [self._laptop]
        for name, rows in seen.rows.items():
            record = Recorder(Subject("device", name), ThisMachine().clocks.now)
            record.seen = rows
            records.append(record)
        return numbered(records)

    def _rows(self, name: str) -> list[RecorderEntry]:
        """What was seen of a device in the state it is in now.

        Its radio and the rest of it have nothing to do with each other, so each state of the one is
        asked once, whatever the other's.
        """
        devices = self._network.devices
        own = devices[name].condition
        if own.silent or own.refuses or own.damage:
            return self._poll(name, Condition(silent=own.silent, refuses=own.refuses,
                                                damage=own.damage), Condition())  # fmt: skip
        rows = self._poll(name, dataclasses.replace(own, radio=Setting()), Condition())
        if name not in FAR:
            return rows
        far = devices[FAR[name]].condition
        heard = Condition(radio=far.radio, name=far.name, stands_for=far.stands_for)
        radio = Condition(radio=own.radio, stands_for=own.stands_for)
        of_radio = self._poll(name, radio, heard)
        rest = [r for r in rows if r.what not in self._of_radio]
        return rest + [r for r in of_radio if r.what in self._of_radio]

    def _poll(self, name: str, own: Condition, far: Condition) -> list[RecorderEntry]:
        """What a device in this state says, its far end in that one; asked once."""
        if (name, own, far) not in self._kept:
            states = {name: own} | ({FAR[name]: far} if name in FAR else {})
            before = {n: self._network.devices[n].condition for n in states}
            self._change(states)
            self._kept[name, own, far] = self._runner.run(self._asked(name))
            self._change(before)
        return self._kept[name, own, far]

    def _change(self, states: Mapping[str, Condition]) -> None:
        for name, condition in states.items():
            self._network.devices[name].change(condition, time.monotonic())
        for name in states:
            self._network.devices[name].forget()

    async def _asked(self, name: str) -> list[RecorderEntry]:
        record = Recorder(Subject("device", name), lambda: _NOW)
        device = next(d for d in self.plan.devices if d.name == name)
        route = Route(interface="eth0", source=_LOOPBACK.addresses[0].address)
        record.note(ROUTE, route)
        record.note(WARM_UP, WarmUp(replied=True))
        record.note(ECHO, echo(0))
        target = SnmpTarget(address=device.address.address, entry=self._entry, timeout_s=_SILENT_S,
                        retries=0)  # fmt: skip
        profile = self._profiles[device.profile]
        await EvidencePoll(self._client, target, device, profile, record).run(30.0)
        if profile.kind == "radio" and any(r.value == "answered" for r in record.seen):
            named, before = levels.sampled(profile), len(record.seen)
            await levels.sample(self._client, ThisMachine().clocks, target, named, record, 1)
            record.seen += record.seen[before:] * (levels.TIMES - 1)  # nothing changes meanwhile
        return record.seen


def wrong(findings: Iterable[Finding]) -> frozenset[tuple[str, Subject]]:
    """What did not pass, by check and subject."""
    return frozenset((f.check, f.subject) for f in findings if f.verdict != "pass")


@contextmanager
def world() -> Iterator[World]:
    """The network of `plan.yaml`, running."""
    plan, problems = read_plan(HERE / "plan.yaml")
    assert not [p for p in problems if p.severity == "error"], problems
    profiles = load_profiles({d.profile for d in plan.devices}, HERE / "profiles")
    entry = SnmpEntry(name="bench", version="2c", community=Secret("mill"), port=free_port())
    network = SimulatedNetwork(plan, profiles, {"bench": entry})
    with running(network):
        made = World(network, plan, profiles, entry)
        try:
            yield made
        finally:
            made.close()
