"""Where devices of the plan may be on this cable, and who is at each place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from verifier.model.address import Address, Interface, Mac
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.model.search import Answer, Candidate, CandidateKind, HeardFrames, SearchedPlace
from verifier.rules.search import MAX_CANDIDATES, identify
from verifier.rules.search import candidates as of_device
from verifier.rules.search.candidates import Key, key_of, named
from verifier.rules.search.identity import MANY, Sought
from verifier.rules.selection import same_device

_ORDER: tuple[CandidateKind, ...] = ("planned", "present", "temporary", "factory")
_SLIPS_OF = 4
"""Slips are asked for so many devices at most: each has some twenty."""


@dataclass(frozen=True, slots=True)
class Claim:
    """A device that has, had or will have an address, and which of these it is."""

    device: Device
    kind: CandidateKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Where to ask.

    Attributes:
        candidates: each address once, the likeliest first.
        claims: whose each address is, by its key; the device that was asked for first.
    """

    candidates: tuple[Candidate, ...]
    claims: Mapping[Key, tuple[Claim, ...]]

    def of(self, address: Address) -> tuple[Claim, ...]:
        """Whose an address is."""
        return self.claims.get(key_of(address), ())


def places(
    plan: Plan,
    profiles: Mapping[str, Profile],
    *,
    first: Device | None = None,
    own: Iterable[Address] = (),
) -> Places:
    """Every planned, present and factory address of the plan, once.

    `first` is asked for before the others; `own` are this laptop's addresses, left out.
    """
    claims: dict[Key, list[Claim]] = {}
    at: dict[Key, tuple[Interface, str]] = {}
    for device in sorted(plan.devices, key=lambda d: first is None or d.name != first.name):
        for address, kind, why in named(device, profiles):
            key = key_of(address.address)
            at.setdefault(key, (address, why))
            if all(c.device is not device for c in claims.setdefault(key, [])):
                claims[key].append(Claim(device, kind))
    for several in claims.values():
        several.sort(key=lambda c: _ORDER.index(c.kind))
    keys = [k for k in at if k not in {key_of(a) for a in own}]
    keys.sort(key=lambda k: _ORDER.index(claims[k][0].kind))
    found = (
        Candidate(
            address=at[k][0], kind=claims[k][0].kind, why=at[k][1], owner=claims[k][0].device.name
        )
        for k in keys
    )
    return Places(candidates=tuple(found), claims={k: tuple(v) for k, v in claims.items()})


def slips(
    plan: Plan, devices: Sequence[Device], profiles: Mapping[str, Profile], own: Iterable[Address]
) -> tuple[Candidate, ...]:
    """Near slips of the planned addresses of these devices; none where there are many devices."""
    if len(devices) > _SLIPS_OF:
        return ()
    mine = list(own)
    found: dict[Key, Candidate] = {}
    for device in devices:
        for each in of_device(plan, device, profiles, own=mine):
            if each.kind == "slip" and not each.owner and len(found) < MAX_CANDIDATES * 2:
                found.setdefault(key_of(each.address.address), each)
    return tuple(found.values())


# -- who is there ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Occupied:
    """A place where somebody is.

    Attributes:
        place: with what came of asking there.
        device: which device of the plan it is; None: none of them, or not known.
        likely: it is known by its family alone: one of these devices; empty where it is known.
        claim: whose place it is by the plan, and which of its addresses; None: nobody's.
    """

    place: SearchedPlace
    device: Device | None
    likely: tuple[str, ...] = ()
    claim: Claim | None = None

    @property
    def at(self) -> Interface:
        """The address, with the mask that the device has, else the one it is taken to have."""
        return self.place.answer.held or self.place.candidate.address

    @property
    def shared(self) -> bool:
        """Whether several devices answer for the address."""
        return len(self.place.answer.macs) > 1


def occupied(
    plan: Plan,
    profiles: Mapping[str, Profile],
    where: Places,
    asked: Iterable[tuple[Candidate, Answer]],
    heard: Sequence[HeardFrames],
) -> tuple[Occupied, ...]:
    """Who is at each place where somebody is; one place for each device of the plan."""
    pairs = list(asked)
    macs = {d.mac for d in plan.devices}
    counts = Counter(mac for _, answer in pairs for mac in answer.macs)
    routers = {m for m, n in counts.items() if n >= MANY and m not in macs}
    found = []
    for candidate, answer in pairs:
        kept = replace(answer, macs=tuple(m for m in answer.macs if m not in routers))
        if kept.somebody:
            found.append(_who(plan, profiles, where, candidate, kept, heard))
    return tuple(_one_each(found))


def _one_each(found: Sequence[Occupied]) -> Iterable[Occupied]:
    """Of each device the place that says most: its planned one, else the first."""
    best: dict[str, Occupied] = {}
    for each in found:
        if each.device is not None and not each.shared:
            before = best.get(each.device.name)
            if before is None or (_at_home(each) and not _at_home(before)):
                best[each.device.name] = each
    met: set[Mac] = set()
    for each in found:
        if each.device is not None and not each.shared:
            if best[each.device.name] is each:
                yield each
        elif (
            each.shared or not met.issuperset(each.place.answer.macs) or not each.place.answer.macs
        ):
            met.update(each.place.answer.macs)
            yield each


def _at_home(each: Occupied) -> bool:
    device = each.device
    return device is not None and key_of(device.address.address) == key_of(each.at.address)


def _who(  # noqa: PLR0913, PLR0917 - all that tells who it is
    plan: Plan,
    profiles: Mapping[str, Profile],
    where: Places,
    candidate: Candidate,
    answer: Answer,
    heard: Sequence[HeardFrames],
) -> Occupied:
    claims = where.of(candidate.address.address)
    looked: list[tuple[Claim | None, SearchedPlace]] = [
        (c, _as(plan, profiles, replace(candidate, kind=c.kind), answer, heard, c.device))
        for c in claims
    ] or [(None, _as(plan, profiles, candidate, answer, heard, plan.devices[0]))]
    for claim, place in looked:
        if place.identity == "device":
            device = claim.device if claim is not None else plan.devices[0]
            return Occupied(place=place, device=device, claim=claim)
    for claim, place in looked:
        if place.identity == "another" and (other := _of_plan(plan, place)) is not None:
            mine = next((c for c in claims if c.device is other), claim)
            return Occupied(place=place, device=other, claim=mine)
    maybe = [(c, p) for c, p in looked if p.identity == "likely" and c is not None]
    for claim, place in maybe[:1]:
        names = tuple(c.device.name for c, _ in maybe)
        return Occupied(place=place, device=claim.device, likely=names, claim=claim)
    claim, place = looked[0]
    return Occupied(place=place, device=None, claim=claim)


def _as(  # noqa: PLR0913, PLR0917
    plan: Plan,
    profiles: Mapping[str, Profile],
    candidate: Candidate,
    answer: Answer,
    heard: Sequence[HeardFrames],
    device: Device,
) -> SearchedPlace:
    """Who is there, for somebody who looks for `device`."""
    macs = frozenset({device.mac} if device.mac is not None else ())
    sought = Sought(plan=plan, device=device, profile=profiles.get(device.profile), macs=macs)
    return identify(sought, [(candidate, answer)], heard)[0]


def _of_plan(plan: Plan, place: SearchedPlace) -> Device | None:
    """Which device of the plan another one is: by its hardware, else by its name alone."""
    answer = place.answer
    for device in plan.devices:
        if device.mac is not None and device.mac in {*answer.macs, answer.port_mac}:
            return device
        if answer.serial and answer.serial == device.serial:
            return device
    named_only = any(by.startswith("name (") for by in place.by)
    if not named_only:
        return None
    return next((d for d in plan.devices if same_device(place.who, d.name)), None)
