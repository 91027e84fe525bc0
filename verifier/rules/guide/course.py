"""Where a runbook goes on that was interrupted, and what must stand before it does."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from verifier.model.address import Interface
from verifier.model.runbook import Confirm, Connect, SetDevice, SetLaptop, Step


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
