"""The guide's words on a terminal or as plain lines, and the lines a person types."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from verifier.model.runbook import Assessment
from verifier.report.runbook import guide as drawn
from verifier.report.runbook.text import StepText
from verifier.report.style import paragraph, plain
from verifier.session.signals import Signals

_COLOURS = {"OK": "1;32", "FAIL": "1;31", "found": "1", "done already": "1;32"}
_WIDTH = 100


@dataclass(slots=True)
class Screen:
    """See `session.guide.run.wait.Desk`.

    On a terminal what is seen stands on one line that is written over; elsewhere a line is printed
    when it changes.

    Attributes:
        lines: the steps in words, by number.
        commands: whether a person sets the laptop's addresses.
        quiet: print nothing but what is wrong.
    """

    lines: Mapping[int, StepText]
    signals: Signals
    commands: bool
    quiet: bool = False
    terminal: bool = field(default_factory=lambda: sys.stdout.isatty())  # noqa: PLW0108 - that of now
    _watched: str = ""

    def step(self, number: int, *, again: bool = False) -> None:
        """Shows a step of the runbook."""
        line = self.lines[number]
        commands = self.commands if line.kind == "LAPTOP" else line.kind == "CONNECT"
        first, *rest = drawn.step(line, len(self.lines), again=again, commands=commands)
        self._print(["", f"\x1b[1m{first}\x1b[0m" if self.terminal else first, *rest])

    def say(self, words: str) -> None:
        """Says something."""
        self._print(paragraph(words))

    def show(self, text: str) -> None:
        """Shows a text that is laid out already."""
        self._print(text.rstrip("\n").split("\n"))

    def watch(self, words: str, gone_s: float, of_s: float) -> None:
        """Shows what is seen while it is waited for."""
        if self.quiet:
            return
        if self.terminal:
            left = f"{gone_s:.0f} of {of_s:.0f} s"
            sys.stdout.write(f"\r\x1b[K    {plain(words)[: _WIDTH - 30]}; {left}")
            sys.stdout.flush()
        elif words != self._watched:
            self._print(paragraph(f"... {words}"))
        self._watched = words

    def tell(self, meaning: Assessment) -> None:
        """Says what a look means."""
        lines = list(drawn.meaning(meaning))
        if self.terminal:
            lines[0] = _coloured(lines[0])
        self._print(lines, wrong=not meaning.ok)

    def ask(self, question: str) -> str | None:
        """Waits for a line; None where there is none to come."""
        words = f"    > {question}"
        self._print([words], end=" " if self.terminal else "\n")
        answer = self.signals.read_line(sys.stdin)
        if self.terminal and answer is None:
            sys.stdout.write("\n")
        return answer

    def _print(self, lines: Iterable[str], *, wrong: bool = False, end: str = "\n") -> None:
        if self.quiet and not wrong:
            return
        if self.terminal and self._watched:
            sys.stdout.write("\r\x1b[K")
        self._watched = ""
        sys.stdout.write("\n".join(lines) + end)
        sys.stdout.flush()


def _coloured(line: str) -> str:
    for word, colour in _COLOURS.items():
        start = f"    {word}"
        if line.startswith(start):
            return f"    \x1b[{colour}m{word}\x1b[0m{line[len(start) :]}"
    return line
