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
import itertools
import socket
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from verifier.files.plan_in import read_plan
from verifier.files.profiles import load_profiles
from verifier.model.address import Interface
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.laptop import Laptop, LaptopInterface, Route
from verifier.model.observation import Observation
from verifier.model.plan import Plan
from verifier.model.result import Finding
from verifier.model.subject import Subject
from verifier.probes.snmp import SnmpClient, Target
from verifier.rules.compare import Judged, compare
from verifier.rules.compare.seen import laptop_value, route_value
from verifier.session import sampling
from verifier.session.recorder import Recorder, Row, numbered
from verifier.session.survey import Survey
from verifier.simulator import Fault, Network, running
from verifier.simulator.condition import Condition
from verifier.simulator.radio import Setting

HERE = Path(__file__).parent
A, B, C, D, SWITCH = "hill-mill", "mill-hill", "mill-pier", "pier-mill", "mill-switch"
"""`A` and `B` are Hop 1, `C` and `D` Hop 2; nobody planned a serial number or MAC of `D`."""
HOP1, HOP2 = "Hop 1", "Hop 2"
OF_DEVICE = frozenset(
    """unsaved_settings alarm software serial part_number clock ntp_locked trap_targets syslog_hosts
    ntp_hosts errored_s severely_errored_s unavailable_s""".split()  # noqa: SIM905 - reads better
)
"""Readings that are not of the radio."""
FAR = {A: B, B: A, C: D, D: C}
HOP = {A: HOP1, B: HOP1, C: HOP2, D: HOP2}
_SILENT_S = 1.0
_NOW = dt.datetime(2026, 11, 20, 10, tzinfo=dt.UTC)
"""Everything is seen at one moment, whenever it was asked."""
_RTT_MS, _ECHOES = 1.5, 5
_LOOPBACK = LaptopInterface(
    name="eth0", addresses=(Interface.parse("127.81.20.250/24"),), medium="cable"
)
_OUR_MAC, _OTHER_MAC = "02:00:5e:10:00:fe", "02:00:5e:10:00:fd"


@dataclass(frozen=True, slots=True, order=True)
class Planted:
    """A fault and where it is: a device or a link."""

    kind: str
    at: str

    def __str__(self) -> str:
        return f"{self.kind} at {self.at}"


Records = dict[str, Recorder]
Wire = Callable[["Seen", str], None]


@dataclass
class Seen:
    """What the probes write down, by device, before it is judged."""

    rows: dict[str, list[Row]]
    plan: Plan

    def note(self, name: str, probe: Any, what: str, **more: Any) -> None:
        """One observation more."""
        record = Recorder(Subject("device", name))
        record.note(probe, what, **more)
        self.rows[name] += record.seen

    def without(self, name: str, *whats: str) -> None:
        """No observations of these names; of SNMP none at all where it is named."""
        self.rows[name] = [
            r for r in self.rows[name]
            if r.what not in whats and not ("snmp" in whats and r.probe == "snmp")
        ]  # fmt: skip


def _echo(lost: int) -> dict[str, Any]:
    rtts = [None] * lost + [_RTT_MS] * (_ECHOES - lost)
    silence = [{"reason": "timeout", "text": "no answer in time", "reporter": None}] if lost else []
    return {"sent": _ECHOES, "received": _ECHOES - lost, "rtt_ms": rtts, "duplicates": 0,
            "reordered": 0, "foreign_id": 0, "payload_bytes": 56, "silence": silence}  # fmt: skip


def _no_echo(seen: Seen, name: str) -> None:
    seen.without(name, "echo", "warm-up")
    seen.note(name, "icmp", "warm-up", value={"replied": False, "silence": []})
    seen.note(name, "icmp", "echo", value=_echo(_ECHOES), unit="ms")


def _no_snmp(outcome: str, *, engine: bool = False) -> Wire:
    def change(seen: Seen, name: str) -> None:
        seen.without(name, "snmp")
        seen.note(name, "snmp", "answer", value=outcome, raw="")
        if engine:
            seen.note(name, "snmp", "engine-id", value="80007ed901")

    return change


def _dead(seen: Seen, name: str) -> None:
    _no_echo(seen, name)
    _no_snmp("silent")(seen, name)


def _dead_and_behind(seen: Seen, name: str) -> None:
    """Whoever has its management traffic pass through a dead device is silent too."""
    cut = {name}
    for device in seen.plan.devices:  # written so that uplinks come first
        if device.name in cut or (device.uplink and set(device.uplink) <= cut):
            cut.add(device.name)
            _dead(seen, device.name)


def _some_lost(seen: Seen, name: str) -> None:
    if any(r.what == "echo" and not r.value["received"] for r in seen.rows[name]):
        return  # all are lost already
    seen.without(name, "echo")
    seen.note(name, "icmp", "echo", value=_echo(2), unit="ms")


def _twice(seen: Seen, name: str) -> None:
    """A second device at this address: two hardware addresses, and two names in turn."""
    seen.note(name, "neighbour", "holders", value=[_OUR_MAC, _OTHER_MAC])
    if any(r.what == "sysName" and r.value is not None for r in seen.rows[name]):
        seen.note(name, "snmp", "sysName", value="another", raw="another")


def _cloned(seen: Seen, link: str) -> None:
    for name in (n for n, hop in HOP.items() if hop == link):
        if any(r.what == "answer" and r.value == "answered" for r in seen.rows[name]):
            seen.note(name, "snmp", "engine-id", value="80007ed9040a")


def _planned_too_much(seen: Seen, name: str) -> None:
    """The plan's level is 12 dB more than its own sum."""

    def end(e: Any) -> Any:
        level = None if e.rx_level_dbm is None else e.rx_level_dbm + 12.0
        return dataclasses.replace(e, rx_level_dbm=level) if e.device == name else e

    links = tuple(
        dataclasses.replace(link, carriers=tuple(
            dataclasses.replace(c, a=end(c.a), b=end(c.b)) for c in link.carriers))
        for link in seen.plan.links
    )  # fmt: skip
    seen.plan = dataclasses.replace(seen.plan, links=links)


@dataclass(frozen=True, slots=True)
class Kind:
    """How a fault is planted.

    Attributes:
        of: whose it is.
        simulated: what the simulator is told, by name and value.
        wire: what the probes see besides; done after all that is simulated.
        names: kinds of causes that name it.
    """

    of: str
    names: tuple[str, ...]
    simulated: tuple[tuple[str, float | str | None], ...] = ()
    wire: Wire | None = None


def _sim(name: str, *names: str, of: str = "unit", value: float | str | None = None) -> Kind:
    return Kind(of, names, ((name, value),))


SILENT = ("unit-silent", "unit-down", "uplink-down", "management-silent", "hop-down",
          "nothing-answers")  # fmt: skip
UNREAD = ("snmp-wrong-key", "snmp-filtered", "snmp-off", "credentials-wrong")
MUTE = ("unit-silent", "management-silent")
"""What is said of a device that answers neither echoes nor SNMP."""
GARBLED = ("snmp-other-program", "snmp-damaged")
ONE_WAY = ("near-receiver", "far-transmitter", "losses-apart")
BOTH_WAYS = ("misaligned", "path-loss", "feeder-loss", "side-lobe", "polarisation-turned",
             "side-lobes-both")  # fmt: skip
OCCUPY = frozenset({"exchanged", "another", "swapped-ends", "hardware-swapped"})
"""Faults that say which device stands at a place: of these there can be one only."""
KINDS: dict[str, Kind] = {
    # who it is, and its settings
    "wrong-name": _sim("wrong-name", "name-wrong"),
    "far-name": Kind("unit", ("name-wrong",)),
    "no-name": _sim("no-name", "name-wrong"),
    "location": _sim("location"),
    "software": _sim("software"),
    "exchanged": _sim("exchanged", "unit-exchanged"),
    "another": _sim("another", "wrong-unit"),
    "swapped-ends": _sim(
        "swapped-ends", "ends-swapped", "units-swapped", "bands-crossed", of="link"
    ),
    "hardware-swapped": _sim("hardware-swapped", "units-swapped", "unit-exchanged", of="link"),
    "wrong-mask": _sim("wrong-mask", "mask-wrong"),
    "wrong-gateway": _sim("wrong-gateway", "gateway-wrong"),
    "no-gateway": _sim("no-gateway", "gateway-wrong"),
    "extra-address": _sim("extra-address"),
    "port-down": _sim("port-down"),
    "port-slow": _sim("port-slow", "negotiated-down", "speed-set"),
    "half-duplex": _sim("half-duplex", "duplex-mismatch"),
    "mtu": _sim("mtu"),
    "alarm": _sim("alarm"),
    "clock-free": _sim("clock-free"),
    "unsaved": _sim("unsaved", "settings-unsaved"),
    "restarted": _sim("restarted"),
    "reset": _sim("reset", "settings-reverted", "not-set-up"),
    # the radio
    "level-a-little-low": _sim("level-low", *ONE_WAY, value=2.9),
    "level-low": _sim("level-low", *ONE_WAY),
    "level-lost": _sim("level-low", *ONE_WAY, value=30),
    "level-faint": _sim("level-low", *ONE_WAY, value=45),
    "level-low-both": _sim("level-low-both", *BOTH_WAYS, of="link"),
    "lobe": _sim("level-low-both", *BOTH_WAYS, of="link", value=20),
    "feed-turned": _sim("level-low-both", *BOTH_WAYS, of="link", value=28),
    "lobes": _sim("level-low-both", *BOTH_WAYS, of="link", value=40),
    "level-high": _sim("level-high", value=16),  # no loss here cancels it out
    "power-low": _sim("power-low", "power-low"),
    "power-a-little-low": _sim("power-low", "power-low", value=4),
    "power-set": _sim("power-set", "left-in-alignment"),
    "alignment-left": _sim("alignment-left", "left-in-alignment", "mode-differs"),
    "modulation": _sim("modulation", "mode-differs", "left-in-alignment"),
    "muted": _sim("muted", "muted"),
    "atpc": _sim("atpc"),
    "frequency": _sim("frequency", "frequency-wrong"),
    "frequencies-crossed": _sim(
        "frequencies-crossed", "frequencies-crossed", "bands-crossed", of="link"
    ),
    "bandwidth": _sim("bandwidth", "bandwidth-differs"),
    "link-id": _sim("link-id", "link-id-differs"),
    "key": _sim("key", "key-differs"),
    "polarisation": _sim("polarisation", "polarisation-turned"),
    "test-mode": _sim("test-mode", "test-mode"),
    "interference": _sim("interference", "interference", "multipath", "overload"),
    "planned-level": Kind("unit", ("planned-level-wrong",), wire=_planned_too_much),
    # the agent
    "no-answer": _sim("no-answer", *UNREAD, *MUTE),
    "wrong-community": _sim("wrong-community", *UNREAD, *MUTE),
    "truncated": _sim("truncated", *GARBLED),
    "garbage": _sim("garbage", *GARBLED),
    "other-address": _sim("other-address"),
    "non-increasing": _sim("non-increasing"),
    "too-big": _sim("too-big"),
    "agent-off": Kind("unit", ("snmp-off", *MUTE), wire=_no_snmp("port-unreachable")),
    "user-unknown": Kind("unit", ("snmp-refused",), wire=_no_snmp("unknown-user")),
    "wrong-auth-key": Kind("unit", ("snmp-wrong-key",), wire=_no_snmp("wrong-digest")),
    "wrong-privacy": Kind("unit", ("snmp-wrong-key",), wire=_no_snmp("silent", engine=True)),
    "agent-clock": Kind("unit", ("snmp-clock",), wire=_no_snmp("not-in-time-window")),
    "cloned": Kind("link", ("engine-id-cloned", "one-unit-twice"), wire=_cloned),
    # the cable
    "dead": Kind("unit", SILENT, (("muted", None),), wire=_dead_and_behind),
    "management-silent": Kind("unit", SILENT, wire=_dead),
    "echoes-filtered": Kind("unit", MUTE, wire=_no_echo),
    "echoes-lost": Kind("unit", (), wire=_some_lost),
    "address-twice": Kind("unit", ("address-twice",), wire=_twice),
}
"""Every fault that can be planted here, in the order in which what the wire shows is changed."""


class World:
    """The network, running; `judged` plants faults in it and says what comes of them."""

    def __init__(self, network: Network, plan: Plan, profiles: Any, entry: SnmpEntry) -> None:
        self.plan = plan
        self._profiles = profiles
        self._network = network
        self._entry = entry
        self._client = SnmpClient()
        self._kept: dict[tuple[str, Condition, Condition], list[Row]] = {}
        readings = profiles["two-radio"].named_readings()
        self._of_radio = {n for n, r in readings.items() if r.field not in OF_DEVICE}
        self._alone: dict[Planted, frozenset[tuple[str, Subject]]] = {}
        self._runner = asyncio.Runner()
        self._laptop = Recorder(Subject("laptop", "laptop"))
        self._laptop.note(
            "laptop", "interfaces", value=laptop_value(Laptop(interfaces=(_LOOPBACK,)))
        )

    def close(self) -> None:
        """Ends the client."""
        self._client.close()
        self._runner.close()

    def judged(self, *planted: Planted) -> Judged:
        """What `verify` says with these faults, and no others."""
        put: list[Fault] = []
        try:
            for p in planted:
                for fault in _faults(p):
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

    def _observations(self, seen: Seen) -> tuple[Observation, ...]:
        records = [self._laptop]
        for name, rows in seen.rows.items():
            record = Recorder(Subject("device", name))
            record.seen = rows
            records.append(record)
        return numbered(records)

    def _rows(self, name: str) -> list[Row]:
        """What was seen of a device in the state it is in now.

        Its radio and the rest of it have nothing to do with each other, so each state of the one is
        asked once, whatever the other's.
        """
        units = self._network.units
        own = units[name].condition
        if own.silent or own.refuses or own.damage:
            return self._survey(name, Condition(silent=own.silent, refuses=own.refuses,
                                                damage=own.damage), Condition())  # fmt: skip
        rows = self._survey(name, dataclasses.replace(own, radio=Setting()), Condition())
        if name not in FAR:
            return rows
        far = units[FAR[name]].condition
        heard = Condition(radio=far.radio, name=far.name, stands_for=far.stands_for)
        radio = Condition(radio=own.radio, stands_for=own.stands_for)
        of_radio = self._survey(name, radio, heard)
        rest = [r for r in rows if r.what not in self._of_radio]
        return rest + [r for r in of_radio if r.what in self._of_radio]

    def _survey(self, name: str, own: Condition, far: Condition) -> list[Row]:
        """What a device in this state says, its far end in that one; asked once."""
        if (name, own, far) not in self._kept:
            states = {name: own} | ({FAR[name]: far} if name in FAR else {})
            before = {n: self._network.units[n].condition for n in states}
            self._change(states)
            self._kept[name, own, far] = self._runner.run(self._asked(name))
            self._change(before)
        return self._kept[name, own, far]

    def _change(self, states: Mapping[str, Condition]) -> None:
        for name, condition in states.items():
            self._network.units[name].change(condition, time.monotonic())
        for name in states:
            self._network.units[name].forget()

    async def _asked(self, name: str) -> list[Row]:
        record = Recorder(Subject("device", name), lambda: _NOW)
        device = next(d for d in self.plan.devices if d.name == name)
        route = Route(interface="eth0", source=_LOOPBACK.addresses[0].address)
        record.note("laptop", "route", value=route_value(route))
        record.note("icmp", "warm-up", value={"replied": True, "silence": []})
        record.note("icmp", "echo", value=_echo(0), unit="ms")
        target = Target(address=device.address.address, entry=self._entry, timeout_s=_SILENT_S,
                        retries=0)  # fmt: skip
        profile = self._profiles[device.profile]
        await Survey(self._client, target, device, profile, record).run(30.0)
        if profile.kind == "radio" and any(r.value == "answered" for r in record.seen):
            named, before = sampling.sampled(profile), len(record.seen)
            await sampling.sample(self._client, target, named, record, 1)
            record.seen += record.seen[before:] * (sampling.TIMES - 1)  # nothing changes meanwhile
        return record.seen


def _faults(planted: Planted) -> Iterator[Fault]:
    kind = KINDS[planted.kind]
    if planted.kind == "far-name":
        yield Fault(kind="wrong-name", unit=planted.at, value=FAR[planted.at])
    for name, value in kind.simulated:
        at = {"link": planted.at} if kind.of == "link" else {"unit": planted.at}
        yield Fault(kind=name, value=value, **at)


def wrong(findings: Iterable[Finding]) -> frozenset[tuple[str, Subject]]:
    """What did not pass, by check and subject."""
    return frozenset((f.check, f.subject) for f in findings if f.verdict != "pass")


def places(kind: str, device: str) -> Planted:
    """The fault at this device, or at its link."""
    return Planted(kind, device if KINDS[kind].of == "unit" else HOP[device])


def pairs() -> list[tuple[Planted, Planted]]:
    """Every two kinds at one device, and at the two ends of a hop: each pair once.

    One end's as well where nobody planned who stands there.
    """
    found: dict[tuple[Planted, ...], None] = {}
    for one, other in itertools.combinations_with_replacement(KINDS, 2):
        for here, there in ((A, A), (A, B), (D, D)):
            pair = tuple(sorted((places(one, here), places(other, there))))
            if pair[0] != pair[1] and not {one, other} <= OCCUPY:
                found[pair] = None
    return list(found)  # type: ignore[arg-type]


@contextmanager
def world() -> Iterator[World]:
    """The network of `plan.yaml`, running."""
    plan, problems = read_plan(HERE / "plan.yaml")
    assert not [p for p in problems if p.severity == "error"], problems
    profiles = load_profiles({d.profile for d in plan.devices}, HERE / "profiles")
    entry = SnmpEntry(name="bench", version="2c", community=Secret("mill"), port=_free_port())
    network = Network(plan, profiles, {"bench": entry})
    with running(network):
        made = World(network, plan, profiles, entry)
        try:
            yield made
        finally:
            made.close()


def _free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as trial:
        trial.bind(("", 0))
        port: int = trial.getsockname()[1]
        return port
