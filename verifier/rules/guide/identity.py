"""What was seen at an address, in words, and whether it is the right device.

By the plan's hardware address, serial number and name, else by what was seen of it before the
change: hardware address, SNMP engine id.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from verifier.model.runbook import Fingerprint, Sighting
from verifier.model.search import Answer, SearchedPlace
from verifier.rules.selection import beside, same_device


def told(place: SearchedPlace) -> str:
    """`198.18.20.11 answers (quarry, 02:00:5e:10:00:02)`."""
    answer, address = place.answer, place.candidate.address.address
    if not answer.asked:
        return f"{address} not asked ({answer.not_asked or 'there is no way to ask'})"
    parts = [answer.name or "", *map(str, answer.macs)]
    named = ", ".join(p for p in parts if p)
    named = f" ({named})" if named else ""
    if answers(answer):
        return f"{address} answers{named}"
    if answer.macs:
        return f"{address} is held{named} but answers nothing"
    return f"{address} silent"


def seen(sight: Sighting) -> str:
    """Both addresses."""
    return ", ".join(told(p) for p in (sight.new, sight.left) if p is not None)


def answers(answer: Answer) -> bool:
    """Whether something came back from there, not only on the cable."""
    ours = {None, "silent", "no-route", "local-error", "host-unreachable"}
    return bool(answer.echo) or answer.snmp not in ours


OUR_SILENCE = frozenset({"no-route", "local-error"})
"""Outcomes of SNMP that are this laptop's."""


@dataclass(frozen=True, slots=True)
class Occupant:
    """Who is there.

    Attributes:
        verdict: whether it is the device; `unknown` where nothing tells.
        by: what it is known by, in words.
        other: who it is instead.
        notes: what else is odd.
    """

    verdict: Literal["right", "wrong", "unknown"]
    by: tuple[str, ...] = ()
    other: str = ""
    notes: tuple[str, ...] = ()


def marks(answer: Answer) -> Fingerprint:
    """What tells who answered from others; of several hardware addresses none does."""
    (mac,) = answer.macs if len(answer.macs) == 1 else (None,)
    return Fingerprint(mac=mac, name=answer.name, engine_id=answer.engine_id, serial=answer.serial)


def who(sight: Sighting, place: SearchedPlace, *, new: bool) -> Occupant:
    """Who is at a place; `new`: at the new address, where the device must have its planned name."""
    known = _by_plan(sight, place, new=new)
    if known.verdict == "wrong":
        return known
    seen = marks(place.answer)
    if known.verdict == "unknown" and (other := _another_of_this_run(sight, seen)):
        return Occupant("wrong", other=other)
    if not new or sight.before is None:
        return known
    return _as_before(sight, sight.before, seen, known)


def _by_plan(sight: Sighting, place: SearchedPlace, *, new: bool) -> Occupant:
    name = place.answer.name
    if place.identity == "device":
        notes = []
        if name and (around := beside(name, sight.device.name)) is not None:
            notes.append(f"its name has {around}: write it anew and save it")
        elif name and not same_device(name, sight.device.name):
            notes.append(f"its name is {name!r}, planned {sight.device.name!r}: set and save it")
        elif name and name != sight.device.name:
            notes.append(f"its name is written {name!r}, planned {sight.device.name!r}")
        planned, macs = sight.device.mac, place.answer.macs
        if planned is not None and macs and planned not in macs:
            notes.append(
                f"its hardware address {macs[0]} is not the planned {planned}: the device was "
                "exchanged, or another was given its name"
            )
        return Occupant("right", by=place.by, notes=tuple(notes))
    if place.identity == "another":
        named = f" (by its {', '.join(place.by)})" if place.by else ""
        return Occupant("wrong", other=f"{place.who}{named}")
    unnamed = new and not sight.temporary and place.answer.snmp == "answered"
    if unnamed:
        return Occupant("wrong", other="a device without a name (sysName is empty)")
    return Occupant("unknown")


def _another_of_this_run(sight: Sighting, seen: Fingerprint) -> str:
    for name, other in sight.others.items():
        if seen.mac is not None and seen.mac == other.mac:
            return f"{name} (by its hardware address {seen.mac})"
        if seen.engine_id is not None and seen.engine_id == other.engine_id:
            return f"{name} (by its SNMP engine id)"
    return ""


def _as_before(
    sight: Sighting, before: Fingerprint, seen: Fingerprint, known: Occupant
) -> Occupant:
    """Whether it is the device that was seen at the old address.

    An engine id that changes proves nothing: it may be made of the address (RFC 3411 section 5).
    """
    where = f" as at {sight.old} before" if sight.old is not None else " as before the change"
    by = list(known.by)
    if seen.engine_id is not None and seen.engine_id == before.engine_id:
        by.append(f"the same SNMP engine id{where}")
    if seen.mac is not None and seen.mac == before.mac:
        by.append(f"the same hardware address {seen.mac}{where}")
    elif seen.mac is not None and before.mac is not None:
        words = f"hardware address {seen.mac}, but {before.mac} was{where}"
        if known.verdict == "unknown":
            return Occupant("wrong", other=f"a device with {words}")
        return Occupant(known.verdict, by=tuple(by), notes=(*known.notes, f"it has {words}"))
    verdict = "right" if by else known.verdict
    return Occupant(verdict, by=tuple(by), notes=known.notes)


def alike(one: Answer, other: Answer) -> bool | None:
    """Whether the same device answered at two addresses; None where nothing tells."""
    if one.macs and other.macs:
        return bool(set(one.macs) & set(other.macs))
    for field in ("serial", "engine_id", "name"):
        here, there = getattr(one, field), getattr(other, field)
        if here and there:
            return bool(here == there)
    return None
