"""Waiting: for a person at the keyboard, for a device to start, for what was seen to stay so.

A single look amid a change means nothing. All is well when two looks agree; a fault also needs two,
once its time is over. What waiting cannot mend (another device, another mask) is told after three
looks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, Protocol

from verifier.model.runbook import Assessment
from verifier.session.world import Clocks

EVERY_S = 1.0
"""Looks begin at most so often."""
STEADY = 2
"""Looks in a row that must agree that all is well."""
UNSTEADY_S = 10.0
"""Extra seconds where no two looks agree: one look during a change proves nothing."""
SETTLED = 3
"""Looks in a row after which a fault that waiting does not mend is told at once."""

Ending = Literal["done", "failed", "interrupted", "input-ended"]


class Console(Protocol):
    """The person's side: words out, lines in."""

    def step(self, number: int, *, again: bool = False) -> None:
        """Shows a step of the runbook; `again`: one that stood before the guide was resumed."""

    def say(self, words: str) -> None:
        """Says something."""

    def watch(self, words: str, gone_s: float, of_s: float) -> None:
        """Shows what is seen while it is waited for."""

    def tell(self, meaning: Assessment) -> None:
        """Says what a look means."""

    def ask(self, question: str) -> str | None:
        """Waits for a line; None where there is none to come."""


class Stops(Protocol):
    """Signals to end; see `session.signals`."""

    @property
    def first(self) -> int | None:
        """The first signal that came."""

    def fileno(self) -> int:
        """Becomes readable when a signal comes."""


class Stopped(Exception):  # noqa: N818 - no error
    """The guide ends before its last step."""

    def __init__(self, ending: Ending) -> None:
        super().__init__(ending)
        self.ending = ending


@dataclass(frozen=True, slots=True)
class Waiter:
    """Waits; raises Stopped as soon as a signal has come."""

    console: Console
    signals: Stops
    clocks: Clocks

    def check(self) -> None:
        """Raises Stopped after a signal."""
        if self.signals.first is not None:
            raise Stopped("interrupted")

    def pause_until(self, at_s: float) -> None:
        """Waits until a time of the monotonic clock."""
        self.clocks.pause(at_s - self.clocks.monotonic_s(), self.signals)
        self.check()

    def ask(self, question: str, at_end: Ending = "input-ended") -> None:
        """Returns at Enter. Raises Stopped at `q`, and with `at_end` where no line comes."""
        answer = self.console.ask(question)
        self.check()
        if answer is None:
            raise Stopped(at_end)
        if answer.lower() in {"q", "quit"}:
            raise Stopped("failed" if at_end == "failed" else "interrupted")

    def until_held(
        self, lacking: Callable[[], list[str]], wait_s: float | None, out: Callable[[], str | None]
    ) -> bool:
        """Whether this laptop holds what it is to hold.

        Args:
            lacking: what it does not hold, on interfaces with a link.
            wait_s: how long to watch; None: ask.
            out: what is said where it has no link; else None.
        """
        started_s = self.clocks.monotonic_s()
        while missing := lacking():
            without_link = out()
            words = without_link or f"this laptop does not hold {', '.join(missing)}"
            if wait_s is None:
                done = "it is in" if without_link else "it is set"
                self.ask(f"{words}: Enter when {done}, q ends here")
                continue
            gone_s = self.clocks.monotonic_s() - started_s
            if gone_s >= wait_s:
                self.console.say(f"{words}, {wait_s:g} s after it was asked for")
                return False
            self.console.watch(words, gone_s, wait_s)
            self.pause_until(self.clocks.monotonic_s() + EVERY_S)
        return True

    def poll(
        self, look: Callable[[], Assessment], patience_s: float, looks: int, *, hasty: bool
    ) -> Assessment:
        """The last of some looks: all is well, or the time is over.

        Args:
            look: one look.
            patience_s: how long what is wrong may stay so.
            looks: how many in a row must agree that all is well.
            hasty: whether a fault that waiting does not mend ends it before.
        """
        started_s, same, last = self.clocks.monotonic_s(), 0, ""
        while True:
            self.check()
            begun_s = self.clocks.monotonic_s()
            meaning = look()
            same = same + 1 if meaning.kind == last else 1
            last = meaning.kind
            gone_s = self.clocks.monotonic_s() - started_s
            settled = hasty and meaning.settled and same >= SETTLED
            if settled or (meaning.ok and same >= looks):
                return meaning
            over_s = gone_s - patience_s
            if not meaning.ok and over_s >= (0 if same >= STEADY else UNSTEADY_S):
                return meaning
            self.console.watch(meaning.seen, gone_s, patience_s)
            self.pause_until(begun_s + EVERY_S)
