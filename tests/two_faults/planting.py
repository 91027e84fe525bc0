"""Every fault that can be planted: what the simulator is told, and what the probes see besides."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from tests.as_seen import note
from verifier.model.observations import EchoSeries, Silence
from verifier.model.plan import Plan
from verifier.model.problem import Subject
from verifier.probes.world import ThisMachine
from verifier.session.recorder import Recorder, RecorderEntry
from verifier.simulator.faults import PlantedFault

A, B, C, D, SWITCH = "hill-mill", "mill-hill", "mill-pier", "pier-mill", "mill-switch"
"""`A` and `B` are Hop 1, `C` and `D` Hop 2; nobody planned a serial number or MAC of `D`."""
HOP1, HOP2 = "Hop 1", "Hop 2"
FAR = {A: B, B: A, C: D, D: C}
HOP = {A: HOP1, B: HOP1, C: HOP2, D: HOP2}
_RTT_MS, _ECHOES = 1.5, 5
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

    rows: dict[str, list[RecorderEntry]]
    plan: Plan

    def note(self, name: str, probe: Any, what: str, **more: Any) -> None:
        """One observation more."""
        record = Recorder(Subject("device", name), ThisMachine().clocks.now)
        note(record, probe, what, **more)
        self.rows[name] += record.seen

    def without(self, name: str, *whats: str) -> None:
        """No observations of these names; of SNMP none at all where it is named."""
        self.rows[name] = [
            r for r in self.rows[name]
            if r.what not in whats and not ("snmp" in whats and r.kind.probe == "snmp")
        ]  # fmt: skip


def echo(lost: int) -> EchoSeries:
    """What is written down of echoes of which so many were lost."""
    rtts = (*(None,) * lost, *(_RTT_MS,) * (_ECHOES - lost))
    silence = (Silence(reason="timed-out", text="no answer in time"),) if lost else ()
    return EchoSeries(sent=_ECHOES, received=_ECHOES - lost, rtt_ms=rtts, silence=silence)


def _no_echo(seen: Seen, name: str) -> None:
    seen.without(name, "echo", "warm-up")
    seen.note(name, "icmp", "warm-up", value={"replied": False, "silence": []})
    seen.note(name, "icmp", "echo", value=echo(_ECHOES), unit="ms")


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
    if any(isinstance(r.value, EchoSeries) and not r.value.received for r in seen.rows[name]):
        return  # all are lost already
    seen.without(name, "echo")
    seen.note(name, "icmp", "echo", value=echo(2), unit="ms")


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


def _sim(name: str, *names: str, of: str = "device", value: float | str | None = None) -> Kind:
    return Kind(of, names, ((name, value),))


SILENT = ("device-silent", "device-down", "uplink-down", "management-silent", "hop-down",
          "nothing-answers")  # fmt: skip
UNREAD = ("snmp-wrong-key", "snmp-filtered", "snmp-off", "credentials-wrong")
MUTE = ("device-silent", "management-silent")
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
    "far-name": Kind("device", ("name-wrong",)),
    "no-name": _sim("no-name", "name-wrong"),
    "location": _sim("location"),
    "software": _sim("software"),
    "exchanged": _sim("exchanged", "device-exchanged"),
    "another": _sim("another", "wrong-device"),
    "swapped-ends": _sim(
        "swapped-ends", "ends-swapped", "devices-swapped", "bands-crossed", of="link"
    ),
    "hardware-swapped": _sim("hardware-swapped", "devices-swapped", "device-exchanged", of="link"),
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
    "planned-level": Kind("device", ("planned-level-wrong",), wire=_planned_too_much),
    # the agent
    "no-answer": _sim("no-answer", *UNREAD, *MUTE),
    "wrong-community": _sim("wrong-community", *UNREAD, *MUTE),
    "truncated": _sim("truncated", *GARBLED),
    "garbage": _sim("garbage", *GARBLED),
    "other-address": _sim("other-address", "snmp-other-address"),
    "non-increasing": _sim("non-increasing"),
    "too-big": _sim("too-big"),
    "agent-off": Kind("device", ("snmp-off", *MUTE), wire=_no_snmp("port-unreachable")),
    "user-unknown": Kind("device", ("snmp-refused",), wire=_no_snmp("unknown-user")),
    "wrong-auth-key": Kind("device", ("snmp-wrong-key",), wire=_no_snmp("wrong-digest")),
    "wrong-privacy": Kind("device", ("snmp-wrong-key",), wire=_no_snmp("silent", engine=True)),
    "agent-clock": Kind("device", ("snmp-clock",), wire=_no_snmp("not-in-time-window")),
    "cloned": Kind("link", ("engine-id-cloned", "one-device-twice"), wire=_cloned),
    # the cable
    "dead": Kind("device", SILENT, (("muted", None),), wire=_dead_and_behind),
    "management-silent": Kind("device", SILENT, wire=_dead),
    "echoes-filtered": Kind("device", MUTE, wire=_no_echo),
    "echoes-lost": Kind("device", (), wire=_some_lost),
    "address-twice": Kind("device", ("address-twice",), wire=_twice),
}
"""Every fault that can be planted here, in the order in which what the wire shows is changed."""


def faults(planted: Planted) -> Iterator[PlantedFault]:
    """What the simulator is told."""
    kind = KINDS[planted.kind]
    if planted.kind == "far-name":
        yield PlantedFault(kind="wrong-name", device=planted.at, value=FAR[planted.at])
    for name, value in kind.simulated:
        at = {"link": planted.at} if kind.of == "link" else {"device": planted.at}
        yield PlantedFault(kind=name, value=value, **at)


def places(kind: str, device: str) -> Planted:
    """The fault at this device, or at its link."""
    return Planted(kind, device if KINDS[kind].of == "device" else HOP[device])


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
