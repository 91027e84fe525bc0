"""Where the device is, by what was seen at each place and heard on the cable, and what to do."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from verifier.model.address import Mac
from verifier.model.laptop import Fit
from verifier.model.search import HeardFrames, SearchedPlace, State, Where
from verifier.rules.search.identity import Sought, chosen, frames_for, is_mute, is_planned, tag_of

_VERDICTS: dict[State, Literal["pass", "fail", "not-tested"]] = {
    "as-planned": "pass", "wrong-mask": "fail", "shared": "fail", "mute": "fail",
    "elsewhere": "fail", "no-address": "fail", "stranger": "fail",
    "unidentified": "not-tested", "not-found": "not-tested",
}  # fmt: skip
_ON_THE_WAY = {"direct", "shadowed", "routed"}


def judge(
    sought: Sought,
    places: Sequence[SearchedPlace],
    heard: Sequence[HeardFrames],
    fit: Fit | None,
    *,
    listened: bool = False,
) -> Where:
    """Where the device is.

    `fit`: how this laptop stands to the chosen place. `listened`: whether the cable was heard.
    """
    place = chosen(sought, places)
    mine = [h for h in heard if sought.is_it(h)]
    if place is not None:
        return _found(sought, place, places, mine, fit)
    if mine:
        return _without_address(sought, places, mine)
    return _missing(sought, places, heard, listened=listened)


# -- found ----------------------------------------------------------------------------------------


def _found(
    sought: Sought,
    place: SearchedPlace,
    places: Sequence[SearchedPlace],
    mine: Sequence[HeardFrames],
    fit: Fit | None,
) -> Where:
    at = place.answer.held or place.candidate.address
    here = frames_for(place, mine)
    vlan = tag_of(sought, place, mine)
    state, explanation, advice = _state(sought, place, vlan)
    seen = [t for t in (place.answer.since, *(h.first for h in here)) if t is not None]
    return Where(
        state=state,
        verdict=_VERDICTS[state],
        address=at,
        interface=place.answer.interface or next((h.interface for h in here), None),
        mac=_mac(sought, place, here),
        since=min(seen, default=None),
        vlan=vlan,
        by=place.by,
        explanation=explanation,
        advice=advice,
        notes=tuple(_notes(sought, place, places, mine, fit)),
    )


def _mac(sought: Sought, place: SearchedPlace, here: Sequence[HeardFrames]) -> Mac | None:
    """The device's hardware address, where it is known to be the device's."""
    answer = place.answer
    known = [*answer.macs, *(h.mac for h in here)]
    known += [answer.port_mac] if answer.port_mac is not None else []
    ours = [m for m in known if m in sought.macs]
    return next(iter(ours), known[0] if len(set(known)) == 1 else None)


def _state(sought: Sought, place: SearchedPlace, vlan: int | None) -> tuple[State, str, str]:
    """State, explanation, advice."""
    name, planned = sought.device.name, sought.device.address
    if not is_planned(sought, place):
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
    if odd := place.answer.odd_mask:
        words = (
            f"{name} is at its planned address with {odd}, which is no mask, instead of "
            f"{planned.mask} (/{planned.prefix})"
        )
        return "wrong-mask", words, "correct the mask in the device, save, and read it again"
    if held is not None and held.prefix != planned.prefix:
        kind = "wide" if held.prefix < planned.prefix else "narrow"
        words = (
            f"{name} is at its planned address with too {kind} a mask: {held.mask} (/{held.prefix})"
            f" instead of {planned.mask} (/{planned.prefix})"
        )
        return "wrong-mask", words, "correct the mask in the device, save, and read it again"
    if is_mute(sought, place):
        return "mute", *_mute_words(sought, place, vlan)
    return "as-planned", f"{name} is at its planned address {planned}", ""


def _mute_words(sought: Sought, place: SearchedPlace, vlan: int | None) -> tuple[str, str]:
    name, at = sought.device.name, sought.device.address.address
    what = "no echo" if place.answer.snmp is None else "neither echo nor SNMP"
    words = f"{name} holds its planned address {at}, but answers {what}"
    if vlan is not None:
        why = f"its frames carry the tag of VLAN {vlan}, and those of this laptop none"
        return f"{words}: {why}", "reach it by an interface that tags, and set VLAN as planned"
    why = "its mask or gateway sends the answers elsewhere, or it is still starting, or may not"
    advice = "read its mask and gateway from an address beside its own, correct them, and save"
    return f"{words}: {why}", advice


def _elsewhere(sought: Sought, place: SearchedPlace) -> tuple[str, str]:
    name, planned = sought.device.name, sought.device.address
    candidate = place.candidate
    at = place.answer.held or candidate.address
    what = {"slip": f"a slip: {candidate.why}", "heard": "not an address of the plan"}.get(
        candidate.kind, candidate.why
    )
    owner = f"; by the plan that is the address of {candidate.owner}" if candidate.owner else ""
    to_do = f"set {planned} in the device, save, and read it again"
    if place.identity == "likely":
        words = (
            f"a device without the planned name is at {at.address} ({what}){owner}, most likely "
        )
        check = "compare serial number or hardware address with its label"
        return f"{words}{name}", f"{check}; if it is {name}, {to_do}"
    return f"{name} is at {at.address} ({what}){owner}, not at {planned.address}", to_do


def _notes(
    sought: Sought,
    place: SearchedPlace,
    places: Sequence[SearchedPlace],
    mine: Sequence[HeardFrames],
    fit: Fit | None,
) -> list[str]:
    notes = []
    also = [p for p in places if p is not place and p.identity == "device"]
    if also and place.identity == "device":
        listed = ", ".join(str(p.candidate.address.address) for p in also)
        notes.append(
            f"it answers at {listed} too: an address left behind; take it out of the device"
        )
    if not is_planned(sought, place):
        notes += _stranger_words(sought, places)
    notes += _name_words(sought, place)
    alike = [d for d in sought.plan.devices if d.profile == sought.device.profile]
    if place.identity == "likely" and place.candidate.kind == "factory" and len(alike) > 1:
        notes.append(f"{len(alike)} devices of the plan have that profile: is it the right one?")
    if place.answer.echo is None and fit is not None and fit.relation not in _ON_THE_WAY:
        notes.append("it was seen on the cable only: its name, mask and gateway were not asked")
    return notes + _vlan_words(sought, mine)


def _name_words(sought: Sought, place: SearchedPlace) -> list[str]:
    name, answer = sought.device.name, place.answer
    notes = []
    called = any(by.startswith("its name") for by in place.by)
    if answer.name is not None and not called and place.identity == "device":
        shown = repr(answer.name) if answer.name else "no name"
        notes.append(f"its hardware is the planned one, but it reports {shown}: set {name}")
    wire = [m for m in answer.macs if m not in sought.macs] if sought.macs else []
    if called and wire and not any(m in sought.macs for m in answer.macs):
        planned = ", ".join(sorted(str(m) for m in sought.macs))
        notes.append(
            f"its hardware address {wire[0]} is not the planned {planned}: the device was "
            f"exchanged, "
            "or another was given its name"
        )
    return notes


def _vlan_words(sought: Sought, mine: Sequence[HeardFrames]) -> list[str]:
    tags = {h.vlan for h in mine if h.vlan is not None}
    device = sought.device
    wanted = {device.management_vlan} if device.management_tagged else set()
    if not tags or tags == wanted:
        return []
    listed = ", ".join(str(t) for t in sorted(t for t in tags if t is not None))
    planned = f"tagged VLAN {device.management_vlan}" if wanted else "untagged management"
    return [f"its frames carry the tag of VLAN {listed}; the plan has {planned}"]


# -- not found ------------------------------------------------------------------------------------


def _without_address(
    sought: Sought, places: Sequence[SearchedPlace], mine: Sequence[HeardFrames]
) -> Where:
    first = min(mine, key=lambda h: h.first)
    name = sought.device.name
    return Where(
        state="no-address",
        verdict=_VERDICTS["no-address"],
        interface=first.interface,
        mac=first.mac,
        since=first.first,
        by=(f"its {'name' if first.mac not in sought.macs else 'hardware address'} on the cable",),
        explanation=f"{name} is on the cable of {first.interface}, but says no address",
        advice="listen while it starts: it announces its address then (--listen --wait 3m)",
        notes=(
            *_stranger_words(sought, places),
            *_link_local_words(mine),
            *_vlan_words(sought, mine),
        ),
    )


def _link_local_words(mine: Sequence[HeardFrames]) -> list[str]:
    """Every IPv6 host has such an address (RFC 4291 2.1); it says nothing of the planned one."""
    found = {
        f"{h.address.ip}%{h.interface}": None
        for h in mine
        if h.address is not None and h.address.is_link_local
    }
    return [f"it has the link-local address {', '.join(found)}: reach it there"] if found else []


def _missing(
    sought: Sought, places: Sequence[SearchedPlace], heard: Sequence[HeardFrames], *, listened: bool
) -> Where:
    name, at = sought.device.name, sought.device.address.address
    notes = tuple(_elsewhere_words(sought, places, heard))
    for place in places:
        if not is_planned(sought, place):
            continue
        if place.identity == "another":
            (explanation,) = _stranger_words(sought, places)
            return Where(
                state="stranger",
                verdict=_VERDICTS["stranger"],
                explanation=f"{name} was not found; {explanation}",
                advice="unplug that one, then look again",
                notes=notes,
            )
        if place.answer.somebody:
            return Where(
                state="unidentified",
                verdict=_VERDICTS["unidentified"],
                explanation=f"somebody is at {at}, but who it is cannot be told: {_why(place)}",
                advice="give the plan its credentials (snmp) or its hardware address (mac)",
                notes=notes,
            )
    asked = any(p.answer.asked for p in places)
    where = "was not found at any of the addresses that were asked"
    return Where(
        state="not-found",
        verdict=_VERDICTS["not-found"],
        explanation=f"{name} {where if asked else 'was not looked for: no address was asked'}",
        advice=_where_next(sought, listened=listened) if asked or listened else _CABLE,
        notes=notes,
    )


def _why(place: SearchedPlace) -> str:
    answer = place.answer
    if answer.snmp is None:
        return "it was not asked by SNMP, and an echo has no name"
    return f"SNMP: {answer.snmp}"


_CABLE = (
    "see that the cable is in at both ends and the light of the management port is on, then look "
    "again"
)


def _where_next(sought: Sought, *, listened: bool) -> str:
    boot = f" {sought.profile.boot_s:g} s" if sought.profile is not None else ""
    then = "listen while it starts, for it announces itself: --listen"
    if listened:
        then = "restart it while you listen again, for it announces itself then: --listen --wait 3m"
    return (
        f"see that it has power (it needs{boot} to start), and that the light of the management "
        f"port is on; then {then}"
    )


def _stranger_words(sought: Sought, places: Sequence[SearchedPlace]) -> list[str]:
    at = sought.device.address.address
    names = [p.who for p in places if is_planned(sought, p) and p.identity == "another"]
    return [f"at its planned address {at} is another: {names[0]}"] if names else []


def _elsewhere_words(
    sought: Sought, places: Sequence[SearchedPlace], heard: Sequence[HeardFrames]
) -> list[str]:
    """Who else is there without being known: one of them may be it."""
    unknown = [
        str(p.candidate.address.address)
        for p in places
        if p.identity == "unknown" and p.answer.somebody and not is_planned(sought, p)
    ]
    notes = []
    if unknown:
        notes.append(f"somebody is at {', '.join(unknown[:8])}, and who it is cannot be told")
    if heard and not sought.macs:
        notes.append("the plan has no hardware address (mac) of it: what is heard names nobody")
    return notes
