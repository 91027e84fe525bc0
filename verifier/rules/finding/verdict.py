"""Where the unit is, by what was seen at each place and heard on the cable, and what to do."""

from __future__ import annotations

from collections.abc import Container, Sequence
from dataclasses import dataclass
from typing import Literal

from verifier.model.address import Interface, Mac
from verifier.model.fit import Fit
from verifier.model.found import Heard, Place, State
from verifier.rules.finding.candidates import Key, key_of
from verifier.rules.finding.identity import Sought
from verifier.rules.hosts import highest_free, unusable

_VERDICTS: dict[State, Literal["pass", "fail", "not-tested"]] = {
    "as-planned": "pass", "wrong-mask": "fail", "shared": "fail", "mute": "fail",
    "elsewhere": "fail", "no-address": "fail", "stranger": "fail",
    "unidentified": "not-tested", "not-found": "not-tested",
}  # fmt: skip
_ON_THE_WAY = {"direct", "shadowed", "routed"}
_SMALLEST = {4: 30, 6: 126}
"""The longest prefix under which a unit and this laptop have a host address each."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What is said of where the unit is; the fields are those of `model.found.Found`."""

    state: State
    verdict: Literal["pass", "fail", "not-tested"]
    address: Interface | None = None
    interface: str | None = None
    mac: Mac | None = None
    since: str | None = None
    by: tuple[str, ...] = ()
    explanation: str
    advice: str
    notes: tuple[str, ...] = ()


def chosen(sought: Sought, places: Sequence[Place]) -> Place | None:
    """Where the unit is: at its planned address if it is seen there, else at the first other."""
    for identity in ("unit", "likely"):
        mine = [p for p in places if p.identity == identity]
        for place in sorted(mine, key=lambda p: not _planned(sought, p)):
            return place
    return None


def taken_for(sought: Sought, place: Place, taken: Container[Key]) -> Interface:
    """The unit's address there with its mask, as far as that is known.

    Where no answer comes back from an address that somebody holds, its mask is in doubt: then the
    smallest subnet with a free address, for that lies inside every wider one.
    """
    at = place.answer.held or place.candidate.address
    return reaching(at, taken) if _mute(sought, place) else at


def reaching(at: Interface, taken: Container[Key]) -> Interface:
    """`at` with the longest prefix that leaves it a host and another host address free."""
    for prefix in range(_SMALLEST[at.version], at.prefix, -1):
        small = Interface(at.address, prefix)
        if unusable(small) is None and highest_free(small, {*_own(at), *_in(small, taken)}):
            return small
    return at


def _own(at: Interface) -> set[Key]:
    return {key_of(at.address)}


def _in(subnet: Interface, taken: Container[Key]) -> set[Key]:
    values = range(subnet.first, min(subnet.last, subnet.first + 0xFFFF) + 1)
    return {(subnet.version, v) for v in values if (subnet.version, v) in taken}


def judge(
    sought: Sought, places: Sequence[Place], heard: Sequence[Heard], fit: Fit | None
) -> Judged:
    """Where the unit is. `fit`: how this laptop stands to the chosen place."""
    place = chosen(sought, places)
    mine = [h for h in heard if sought.is_it(h)]
    if place is not None:
        return _found(sought, place, places, mine, fit)
    if mine:
        return _without_address(sought, mine)
    return _missing(sought, places, heard)


def _planned(sought: Sought, place: Place) -> bool:
    return key_of(place.candidate.address.address) == key_of(sought.device.address.address)


def _mute(sought: Sought, place: Place) -> bool:
    """Whether it holds its planned address, was asked by echo and SNMP, and did not answer."""
    answer = place.answer
    return (
        _planned(sought, place)
        and answer.echo is False
        and answer.snmp != "answered"
        and place.identity in {"unit", "likely"}
    )


# -- found ----------------------------------------------------------------------------------------


def _found(
    sought: Sought,
    place: Place,
    places: Sequence[Place],
    mine: Sequence[Heard],
    fit: Fit | None,
) -> Judged:
    at = place.answer.held or place.candidate.address
    here = [h for h in mine if h.address is not None and key_of(h.address) == key_of(at.address)]
    state, explanation, advice = _state(sought, place)
    seen = [t for t in (place.answer.since, *(h.first for h in here)) if t is not None]
    return Judged(
        state=state,
        verdict=_VERDICTS[state],
        address=at,
        interface=place.answer.interface or next((h.interface for h in here), None),
        mac=_mac(sought, place, here),
        since=min(seen, default=None),
        by=place.by,
        explanation=explanation,
        advice=advice,
        notes=tuple(_notes(sought, place, places, mine, fit)),
    )


def _mac(sought: Sought, place: Place, here: Sequence[Heard]) -> Mac | None:
    """The unit's hardware address, where it is known to be the unit's."""
    answer = place.answer
    known = [*answer.macs, *(h.mac for h in here)]
    known += [answer.port_mac] if answer.port_mac is not None else []
    ours = [m for m in known if m in sought.macs]
    return next(iter(ours), known[0] if len(set(known)) == 1 else None)


def _state(sought: Sought, place: Place) -> tuple[State, str, str]:
    """State, explanation, advice."""
    name, planned = sought.device.name, sought.device.address
    if not _planned(sought, place):
        return "elsewhere", *_elsewhere(sought, place)
    held = place.answer.held
    others = [m for m in place.answer.macs if m not in sought.macs]
    if len(place.answer.macs) > 1:
        listed = ", ".join(str(m) for m in (others if sought.macs else place.answer.macs))
        return (
            "shared",
            f"{name} is at its planned address {planned.address}, and somebody else too: {listed}",
            "unplug one of the two and give it its own address",
        )
    if held is not None and held.prefix != planned.prefix:
        kind = "wide" if held.prefix < planned.prefix else "narrow"
        words = (
            f"{name} is at its planned address with too {kind} a mask: {held.mask} (/{held.prefix})"
            f" instead of {planned.mask} (/{planned.prefix})"
        )
        return "wrong-mask", words, "correct the mask in the unit, save, and read it again"
    if _mute(sought, place):
        words = (
            f"{name} holds its planned address {planned.address}, but neither echo nor SNMP is "
            "answered: its mask or gateway sends the answers elsewhere, or it is still starting, "
            "or it is told not to answer"
        )
        advice = "read its mask and gateway from an address beside its own, correct them, and save"
        return "mute", words, advice
    return "as-planned", f"{name} is at its planned address {planned}", ""


def _elsewhere(sought: Sought, place: Place) -> tuple[str, str]:
    name, planned = sought.device.name, sought.device.address
    candidate = place.candidate
    at = place.answer.held or candidate.address
    what = {"slip": f"a slip: {candidate.why}", "heard": "not an address of the plan"}.get(
        candidate.kind, candidate.why
    )
    owner = f"; by the plan that is the address of {candidate.owner}" if candidate.owner else ""
    to_do = f"set {planned} in the unit, save, and read it again"
    if place.identity == "likely":
        words = f"a unit without the planned name is at {at.address} ({what}){owner}, most likely "
        check = "compare serial number or hardware address with its label"
        return f"{words}{name}", f"{check}; if it is {name}, {to_do}"
    return f"{name} is at {at.address} ({what}){owner}, not at {planned.address}", to_do


def _notes(
    sought: Sought,
    place: Place,
    places: Sequence[Place],
    mine: Sequence[Heard],
    fit: Fit | None,
) -> list[str]:
    notes = []
    also = [p for p in places if p is not place and p.identity == "unit"]
    if also and place.identity == "unit":
        listed = ", ".join(str(p.candidate.address.address) for p in also)
        notes.append(f"it answers at {listed} too: an address left behind; take it out of the unit")
    if not _planned(sought, place):
        notes += _stranger_words(sought, places)
    notes += _name_words(sought, place)
    if place.answer.echo is None and fit is not None and fit.relation not in _ON_THE_WAY:
        notes.append("it was seen on the cable only: its name, mask and gateway were not asked")
    return notes + _vlan_words(sought, mine)


def _name_words(sought: Sought, place: Place) -> list[str]:
    name, answer = sought.device.name, place.answer
    notes = []
    called = any(by.startswith("its name") for by in place.by)
    if answer.name is not None and not called and place.identity == "unit":
        shown = repr(answer.name) if answer.name else "no name"
        notes.append(f"its hardware is the planned one, but it reports {shown}: set {name}")
    wire = [m for m in answer.macs if m not in sought.macs] if sought.macs else []
    if called and wire and not any(m in sought.macs for m in answer.macs):
        planned = ", ".join(sorted(str(m) for m in sought.macs))
        notes.append(
            f"its hardware address {wire[0]} is not the planned {planned}: the unit was exchanged, "
            "or another was given its name"
        )
    return notes


def _vlan_words(sought: Sought, mine: Sequence[Heard]) -> list[str]:
    tags = {h.vlan for h in mine if h.vlan is not None}
    device = sought.device
    wanted = {device.management_vlan} if device.management_tagged else set()
    if not tags or tags == wanted:
        return []
    listed = ", ".join(str(t) for t in sorted(t for t in tags if t is not None))
    planned = f"tagged VLAN {device.management_vlan}" if wanted else "untagged management"
    return [f"its frames carry the tag of VLAN {listed}; the plan has {planned}"]


# -- not found ------------------------------------------------------------------------------------


def _without_address(sought: Sought, mine: Sequence[Heard]) -> Judged:
    first = min(mine, key=lambda h: h.first)
    name = sought.device.name
    return Judged(
        state="no-address",
        verdict=_VERDICTS["no-address"],
        interface=first.interface,
        mac=first.mac,
        since=first.first,
        by=(f"its {'name' if first.mac not in sought.macs else 'hardware address'} on the cable",),
        explanation=f"{name} is on the cable of {first.interface}, but says no address",
        advice="listen while it starts: it announces its address then (--listen --wait 3m)",
        notes=tuple(_vlan_words(sought, mine)),
    )


def _missing(sought: Sought, places: Sequence[Place], heard: Sequence[Heard]) -> Judged:
    name, at = sought.device.name, sought.device.address.address
    notes = tuple(_elsewhere_words(sought, places, heard))
    for place in places:
        if not _planned(sought, place):
            continue
        if place.identity == "another":
            (explanation,) = _stranger_words(sought, places)
            return Judged(
                state="stranger",
                verdict=_VERDICTS["stranger"],
                explanation=f"{name} was not found; {explanation}",
                advice="unplug that one, then look again",
                notes=notes,
            )
        if place.answer.somebody:
            return Judged(
                state="unidentified",
                verdict=_VERDICTS["unidentified"],
                explanation=f"somebody is at {at}, but who it is cannot be told: {_why(place)}",
                advice="give the plan its credentials (snmp) or its hardware address (mac)",
                notes=notes,
            )
    return Judged(
        state="not-found",
        verdict=_VERDICTS["not-found"],
        explanation=f"{name} was not found at any of the addresses that were asked",
        advice=_where_next(sought),
        notes=notes,
    )


def _why(place: Place) -> str:
    answer = place.answer
    if answer.snmp is None:
        return "it was not asked by SNMP, and an echo has no name"
    return f"SNMP: {answer.snmp}"


def _where_next(sought: Sought) -> str:
    boot = f" {sought.profile.boot_s:g} s" if sought.profile is not None else ""
    return (
        f"see that it has power (it needs{boot} to start), and that the light of the management "
        "port is on; then listen while it starts, for it announces itself: --listen"
    )


def _stranger_words(sought: Sought, places: Sequence[Place]) -> list[str]:
    at = sought.device.address.address
    names = [p.who for p in places if _planned(sought, p) and p.identity == "another"]
    return [f"at its planned address {at} is another: {names[0]}"] if names else []


def _elsewhere_words(sought: Sought, places: Sequence[Place], heard: Sequence[Heard]) -> list[str]:
    """Who else is there without being known: one of them may be it."""
    unknown = [
        str(p.candidate.address.address)
        for p in places
        if p.identity == "unknown" and p.answer.somebody and not _planned(sought, p)
    ]
    notes = []
    if unknown:
        notes.append(f"somebody is at {', '.join(unknown[:8])}, and who it is cannot be told")
    if heard and not sought.macs:
        notes.append("the plan has no hardware address (mac) of it: what is heard names nobody")
    return notes
