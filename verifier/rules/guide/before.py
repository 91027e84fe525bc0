"""A look before a device is changed: is it there, is it the one, is its new address free."""

from __future__ import annotations

from verifier.model.fit import Fit
from verifier.model.guide import Assessment, Sighting
from verifier.rules.cable import advice, is_without_link
from verifier.rules.guide.identity import OUR_SILENCE, alike, marks, who
from verifier.rules.guide.words import answers, seen

REACHED = frozenset({"direct", "shadowed", "routed"})


def cable(stands: Fit) -> Assessment | None:
    """What it means that this laptop has no link; None where it has one."""
    if not is_without_link(stands.explanation):
        return None
    return Assessment(
        kind="laptop",
        seen=stands.explanation,
        means="nothing is seen of any device until this laptop has a link",
        do=advice(stands.explanation),
    )


def before_change(sight: Sighting) -> Assessment:
    """What it means; `ok` where the device may be changed, or has been."""
    for rule in (_already, _in_use, _laptop, _not_there, _wrong_device):
        if (found := rule(sight)) is not None:
            return found
    return _ready(sight)


def _already(sight: Sighting) -> Assessment | None:
    """It is at its new address: a person was quicker, or a run was interrupted."""
    new, left = sight.new, sight.left
    if sight.same:
        held = new.answer.held
        changed = held is not None and left is not None and held != left.candidate.address
        if not (changed and held == sight.goal and who(sight, new, new=True).verdict == "right"):
            return None
        return Assessment(
            kind="already", ok=True, seen=f"{new.candidate.address.address} has the new mask",
            marks=marks(new.answer),
        )  # fmt: skip
    there = new.answer.somebody and (left is None or not left.answer.somebody)
    if not there:
        return None
    found = who(sight, new, new=True)
    if found.verdict != "right":
        return None
    return Assessment(
        kind="already",
        ok=True,
        seen=seen(sight),
        means="it is at its new address already",
        by=found.by,
        marks=marks(new.answer),
    )


def _in_use(sight: Sighting) -> Assessment | None:
    new, left = sight.new, sight.left
    if sight.same or not new.answer.somebody or left is None:
        return None
    if left.answer.somebody and alike(new.answer, left.answer):
        return None
    if who(sight, new, new=False).verdict == "right":
        return None
    holder = who(sight, new, new=False).other
    return Assessment(
        kind="in-use",
        seen=seen(sight),
        means=f"{sight.goal.address} is in use before {sight.device.name} has it"
        + (f": by {holder}" if holder else ": somebody is there whom the runbook does not know"),
        do=f"do not give it to {sight.device.name}: find out whose it is, take that one off or "
        "change it first",
    )


def _laptop(sight: Sighting) -> Assessment | None:
    stands, place = sight.stands_left, sight.left
    if stands is None or place is None or place.answer.somebody or stands.relation in REACHED:
        return None
    return cable(stands) or Assessment(
        kind="laptop",
        seen=f"this laptop does not reach {place.candidate.address}: {stands.explanation}",
        means="that is the laptop's, not the device's",
        do="set at the laptop what the runbook says",
    )


def _not_there(sight: Sighting) -> Assessment | None:
    place = sight.left
    if place is None or place.answer.somebody:
        return None
    if not place.answer.asked:
        return Assessment(
            kind="unseen", seen=seen(sight), means="whether the device is there cannot be seen",
            do="look at the device itself, or give this program the right to send echoes",
        )  # fmt: skip
    return Assessment(
        kind="not-there",
        seen=seen(sight),
        means=f"{sight.device.name} is not at {place.candidate.address.address}, where the "
        "runbook takes it to be",
        do="is it on, is the cable in, is it the right device? Where its address is another one, "
        "look for it",
    )


def _wrong_device(sight: Sighting) -> Assessment | None:
    if sight.left is None:
        return None
    found = who(sight, sight.left, new=False)
    if found.verdict != "wrong":
        return None
    return Assessment(
        kind="wrong-device",
        seen=seen(sight),
        means=f"not {sight.device.name} but {found.other} is plugged in: nothing is changed yet",
        do=f"plug in {sight.device.name}: compare serial number and label",
    )


def _ready(sight: Sighting) -> Assessment:
    place = sight.left or sight.new
    found = who(sight, place, new=False)
    notes = list(found.notes)
    if place.answer.somebody and not answers(place.answer):
        notes.append(f"somebody holds {place.candidate.address.address}, but answers nothing")
    if len(place.answer.macs) > 1:
        held = ", ".join(map(str, place.answer.macs))
        notes.append(
            f"{len(place.answer.macs)} devices hold that address ({held}): unplug the other"
        )
    if not sight.same and sight.new.answer.somebody:
        notes.append(f"it answers at {sight.goal.address} already: a second address of it")
    asked = place.answer.snmp not in {None, *OUR_SILENCE}
    if asked and place.answer.snmp != "answered":
        notes.append("it does not answer SNMP there")
    return Assessment(
        kind="ready",
        ok=True,
        seen=seen(sight),
        by=found.by if found.verdict == "right" else (),
        notes=tuple(notes),
        marks=marks(place.answer),
    )
