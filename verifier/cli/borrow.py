"""`--set-laptop`: addresses that this laptop has for as long as a command runs."""

from __future__ import annotations

import dataclasses
import signal
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from verifier.cli import output
from verifier.errors import UsageError
from verifier.model.address import Interface

if TYPE_CHECKING:
    from verifier.session.laptop import FitQuestion
    from verifier.session.world import LaptopAccess


@contextmanager
def borrowed(questions: Sequence[FitQuestion], here: LaptopAccess, *, on: bool) -> Iterator[None]:
    """Has the addresses that reach these devices while the context lasts, where `on`.

    What an earlier run has left is taken back first. Raises UsageError where a laptop is given
    instead of this one, CannotMeasureError where they cannot be set.
    """
    if not on:
        yield
        return
    from verifier.session import laptop  # noqa: PLC0415

    if any(q.laptop is not None and not _named(q) for q in questions):
        raise UsageError("--set-laptop acts on this machine: leave --laptop out")
    here.take_back_leftovers(output.say)
    reports = [laptop.answer(q, here) for q in questions]
    wanted = tuple(dict.fromkeys(a for report in reports for a in laptop.to_set(report)))
    if not wanted:
        output.say("this laptop needs no other address: nothing is set")
        yield
        return
    with ended_by_hangup(), laptop.with_addresses(reports[0], wanted, output.say, here):
        yield


def _named(question: FitQuestion) -> bool:
    """Whether a given laptop names an interface of this machine: then only that is meant."""
    return question.laptop is not None and any(i.name for i in question.laptop.interfaces)


@contextmanager
def ended_by_hangup() -> Iterator[None]:
    """A terminal that goes away ends the run as Ctrl-C does: what was set is taken back."""
    hangup = getattr(signal, "SIGHUP", None)  # Windows has none
    if hangup is None or signal.getsignal(hangup) == signal.SIG_IGN:
        yield
        return
    before = signal.signal(hangup, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(hangup, before)


@dataclasses.dataclass(slots=True)
class Leave:
    """Whether addresses may be set: as the option says, else as a person at the terminal says."""

    on: bool
    here: LaptopAccess

    def __call__(self, interface: str, addresses: Sequence[Interface]) -> bool:
        """Asks once where there is somebody to ask, and says what it would set."""
        if self.on:
            return True
        terminal = sys.stdin.isatty() and sys.stderr.isatty()
        if not (terminal and self.here.can_be_set):
            return False
        listed = ", ".join(map(str, addresses))
        return click.confirm(f"Add {listed} to {interface}, and take it back at the end?", err=True)
