"""Before and while a device is changed: is it there, is it the one, has it been done.

Before a change its new address has to be free. For a runbook that was interrupted also: where it
goes on, and what must stand before it does.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

from verifier.model.address import Interface
from verifier.model.laptop import Fit
from verifier.model.runbook import (
    Assessment,
    Confirm,
    Connect,
    SetDevice,
    SetLaptop,
    Sighting,
    Step,
)
from verifier.rules.fit.ways import advice, is_without_link
from verifier.rules.guide.identity import OUR_SILENCE, alike, answers, marks, seen, who

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


Doing = Literal["changed", "left", "not-yet", "unseen"]


def during_change(sight: Sighting, old: Interface) -> Doing:
    """How far the change is.

    `changed`: somebody is at the new address, or the mask is the new one; `left`: nobody is at the
    old one; `unseen`: this cannot be told from here.
    """
    new = sight.new.answer
    if not sight.same:
        if new.somebody:
            return "changed"
        if sight.left is None or not sight.left_told:
            return "unseen"
        return "not-yet" if sight.left.answer.somebody else "left"
    masked = old.prefix != sight.goal.prefix
    if masked and new.held == sight.goal:
        return "changed"
    return "unseen" if not masked or (new.somebody and new.held is None) else "not-yet"


@dataclass(frozen=True, slots=True)
class Course:
    """Where a runbook stands.

    Attributes:
        at: position of the next step; the number of steps where all are done.
        laptop: what this laptop is to hold before it.
        connected: the device that is attached alone then; None: all, or as at the start.
        connect: the step that attached it; None where none has.
    """

    at: int
    laptop: tuple[Interface, ...]
    connected: str | None
    connect: Connect | None


def standing(steps: Sequence[Step], start: tuple[Interface, ...], done: Collection[int]) -> Course:
    """What holds after the steps that are done, up to the first that is not.

    Args:
        steps: of the runbook.
        start: the laptop's addresses before it.
        done: numbers of steps.
    """
    laptop, connect = start, None
    at = next((i for i, step in enumerate(steps) if step.n not in done), len(steps))
    for step in steps[:at]:
        if isinstance(step, SetLaptop):
            laptop = step.addresses
        elif isinstance(step, Connect):
            connect = step
    return Course(at, laptop, None if connect is None else connect.device, connect)


def reopened(steps: Sequence[Step], done: Collection[int], device: str) -> set[int]:
    """The steps that are done if a device turns out not to be where its last change put it."""
    changes = [s.n for s in steps if isinstance(s, SetDevice) and s.device == device]
    last = max((n for n in changes if n in done), default=None)
    if last is None:
        return set(done)
    return {
        s.n
        for s in steps
        if s.n in done
        and not (s.n >= last and isinstance(s, (SetDevice, Confirm)) and s.device == device)
    }


def last_change(steps: Sequence[Step], done: Collection[int], device: str) -> SetDevice | None:
    """The last change of a device that is done."""
    changes = [s for s in steps if isinstance(s, SetDevice) and s.device == device and s.n in done]
    return changes[-1] if changes else None


def change_of(steps: Sequence[Step], confirm: Confirm) -> SetDevice:
    """The change that a confirmation follows."""
    before = [
        s
        for s in steps
        if isinstance(s, SetDevice) and s.device == confirm.device and s.n < confirm.n
    ]
    return before[-1]
