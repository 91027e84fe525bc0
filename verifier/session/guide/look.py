"""One look at a device on its way: at its new and its old address, on the cable, by echo and SNMP.

`Guiding` holds what a guide goes through; the last functions are what its journal keeps of a look.

The asking is that of `find`: identity decides, not the echo.

It is asked by `SearchRun.glance`, so that identity has one home; what a look means is a row of
`rules/guide`, which asks nothing. A kernel's neighbour entry is taken as of before where the cable
was asked and nobody answered, or where there was no echo: it would make an old address seem held
for a minute.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from verifier.files.journals.guide import Story
from verifier.model.address import Address, Interface, Mac
from verifier.model.credentials import SnmpEntry
from verifier.model.laptop import Fit, Laptop
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.model.runbook import (
    Assessment,
    Confirm,
    Fingerprint,
    Runbook,
    SetDevice,
    Sighting,
    gateway_planned,
)
from verifier.model.search import Answer, Candidate, CandidateKind, SearchedPlace
from verifier.rules.fit.verdict import fit
from verifier.rules.guide.before import change_of
from verifier.rules.readdress.placement import MovingDevice
from verifier.rules.routes import hosts_outside
from verifier.session.laptop import routes_of
from verifier.session.search.course import SearchRun
from verifier.session.search.request import Search
from verifier.session.world import World


@dataclass(frozen=True, slots=True, kw_only=True)
class Guiding:
    """What is to be gone through, and how.

    Attributes:
        moves: by the number of the change and of the confirmation.
        boot_s: by device, how long it may take to answer.
        auto: steps are seen to be done instead of being told.
        wait_s: how long, with `auto`, a person may take for a step.
        start: what the journal's first line holds.
        story: what the journal tells, where it is resumed.
        find: looks for a device that does not answer; called with what was seen of it before.
    """

    runbook: Runbook
    moves: Mapping[int, Move]
    boot_s: Mapping[str, float]
    auto: bool
    wait_s: float
    start: Mapping[str, Any]
    story: Story | None = None
    find: Callable[[Device, Fingerprint | None], None]


def moves(runbook: Runbook, devices: Sequence[MovingDevice]) -> dict[int, Move]:
    """The moves, by the number of the change and of the confirmation."""
    known = {u.name: u for u in devices}
    gateways: dict[str, Address | None] = {u.name: u.present.gateway for u in devices}
    found: dict[int, Move] = {}
    for step in runbook.steps:
        if isinstance(step, SetDevice):
            found[step.n] = Move(
                device=known[step.device].device,
                old=step.from_,
                old_gateway=gateways[step.device],
                new=step.to,
                new_gateway=step.gateway,
                temporary=step.temporary,
            )
            gateways[step.device] = step.gateway
        elif isinstance(step, Confirm):
            found[step.n] = found[change_of(runbook.steps, step).n]
    return found


_ON_CABLE_S, _AFAR_S = 0.3, 0.7
"""Wait for an echo and between ARP probes: neighbours answer within milliseconds, and from afar a
geostationary hop takes 0.6 s (ITU-T G.114). What is lost in one look is seen in the next."""
_PACKETS_PER_S = 100.0
_SNMP_TIMEOUT_S = 1.0
_MEDIA = {"cable", "wifi", "unknown"}
_NEAR, _FAR = {"direct", "shadowed"}, {"direct", "shadowed", "routed"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """A device's move from one address to another."""

    device: Device
    old: Interface
    old_gateway: Address | None = None
    new: Interface
    new_gateway: Address | None = None
    temporary: bool = False

    @property
    def gateway_planned(self) -> bool:
        """See `model.runbook.gateway_planned`."""
        return gateway_planned(self.device, self.new_gateway, temporary=self.temporary)

    @property
    def same(self) -> bool:
        """Whether only mask or gateway are changed."""
        return self.old.address == self.new.address


@dataclass(slots=True, kw_only=True)
class DeviceObserver:
    """Looks at devices.

    Attributes:
        world: what is asked.
        remote: whether devices are reached by gateways.
        interface: this laptop's towards the devices; None: all with a cable.
        seen: what tells the devices of this runbook apart, by name.
        notes: what could not be asked, and why.
    """

    plan: Plan
    profiles: Mapping[str, Profile]
    credentials: Mapping[str, SnmpEntry]
    world: World
    remote: bool
    interface: str | None = None
    seen: dict[str, Fingerprint] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    def look(self, move: Move, *, old: bool, once: bool = False) -> Sighting:
        """What is seen of a move now; `old`: at the old address too.

        Raises CannotMeasureError: not even this machine is read.
        """
        here = self.world.laptop
        laptop = here.look()
        asked = [move.new, move.old] if old else [move.new]
        routes = routes_of(laptop, (a.address for a in asked), here)
        ways = [
            fit(move.device, laptop, routes[at.address], at=at, gateway=gateway)
            for at, gateway in zip(asked, (move.new_gateway, move.old_gateway), strict=False)
        ]
        places = self._ask(move, laptop, asked)
        believed = [self._believed(p, w) for p, w in zip(places, ways, strict=True)]
        left = believed[1] if old else None
        name = move.device.name
        return Sighting(
            device=move.device,
            goal=move.new,
            gateway=move.new_gateway,
            hosts=hosts_outside(self.plan, move.device, move.new),
            temporary=move.temporary,
            same=move.same,
            new=believed[0],
            left=left,
            left_told=left is not None and _told(left.answer),
            stands=ways[0],
            stands_left=ways[1] if old else None,
            before=self.seen.get(name),
            others={other: marks for other, marks in self.seen.items() if other != name},
            once=once,
            snmp=move.device.snmp in self.credentials,
        )

    def _ask(
        self, move: Move, laptop: Laptop, asked: Sequence[Interface]
    ) -> tuple[SearchedPlace, ...]:
        timeout_s = _AFAR_S if self.remote else _ON_CABLE_S
        search = Search(
            plan=self.plan,
            device=move.device,
            profiles=self.profiles,
            credentials=self.credentials,
            packets_per_s=_PACKETS_PER_S,
            timeout_s=timeout_s,
            snmp_timeout_s=_SNMP_TIMEOUT_S,
            snmp_retries=0,
            routes_at=move.new if move.gateway_planned else None,
        )
        kind: CandidateKind = "temporary" if move.temporary else "planned"
        wanted = [
            Candidate(address=at, kind=kind if at is move.new else "present", why="the runbook's")
            for at in asked
        ]
        looking = SearchRun(search, self.world, laptop, self._interfaces(laptop), wanted)
        self.world.run(looking.glance())
        self.notes += [n for n in looking.notes if n not in self.notes and not self.remote]
        return looking.places()

    def _interfaces(self, laptop: Laptop) -> tuple[str, ...]:
        if self.remote:
            return ()
        up = [i.name for i in laptop.interfaces if i.up and i.medium in _MEDIA]
        return tuple(n for n in up if self.interface in {None, n})

    def _believed(self, place: SearchedPlace, stands: Fit) -> SearchedPlace:
        """What may be believed of an answer.

        An echo that went off by a gateway where no gateway belongs reached somebody else, and a
        neighbour the kernel remembers without an answer is of before.
        """
        answer = place.answer
        if stands.relation not in (_FAR if self.remote else _NEAR):
            asked = tuple(a for a in answer.asked if a in {"arp", "nd"})
            macs = answer.macs if asked else ()
            answer = Answer(
                asked=asked, macs=macs, interface=answer.interface, since=answer.since,
                not_asked=answer.not_asked or "this laptop has no address in its subnet",
            )  # fmt: skip
        elif not answer.echo and not {"arp", "nd"} & set(answer.asked):
            answer = replace(answer, macs=())
        return replace(place, answer=answer)


def _told(answer: Answer) -> bool:
    """Whether somebody there would have been noticed."""
    return bool({"arp", "nd", "echo"} & set(answer.asked))


def told(meaning: Assessment) -> dict[str, Any]:
    """A meaning as plain values."""
    kept: dict[str, Any] = {
        "kind": meaning.kind,
        "seen": meaning.seen,
        "means": meaning.means,
        "by": list(meaning.by),
        "notes": list(meaning.notes),
        "not_tested": list(meaning.not_tested),
    }
    marks = meaning.marks
    if marks is not None and marks:
        kept["marks"] = {
            "mac": None if marks.mac is None else str(marks.mac),
            "name": marks.name,
            "engine_id": marks.engine_id,
            "serial": marks.serial,
        }
    return kept


def marks_of(record: Mapping[str, Any]) -> Fingerprint | None:
    """What a line of the journal tells a device by; None where it tells nothing."""
    seen = record.get("marks")
    if not isinstance(seen, dict):
        return None
    texts = {key: seen.get(key) for key in ("mac", "name", "engine_id", "serial")}
    if not all(value is None or isinstance(value, str) for value in texts.values()):
        return None
    mac = texts.pop("mac")
    try:
        return Fingerprint(mac=None if mac is None else Mac.parse(mac), **texts)
    except ValueError:
        return None
