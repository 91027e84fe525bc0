"""What the guide says: a step, what was seen and what it means, how it ended."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from verifier.model.guide import Meaning
from verifier.report.plain import paragraph, plain
from verifier.report.runbook import Line

_INDENT = "    "


def step(line: Line, total: int, *, again: bool, commands: bool) -> Iterator[str]:
    """A step: number, kind, sentence; `commands`: with the laptop's, for a person to run."""
    head = f"Step {line.step.n} of {total}  {line.kind}"
    yield f"{head}, as it must be now" if again else head
    yield from paragraph(line.what, _INDENT)
    if line.caution:
        yield from paragraph(f"caution: {line.caution}", _INDENT)
    if commands:
        yield from (f"{_INDENT}    {plain(command)}" for command, _ in line.commands)


def meaning(seen: Meaning) -> Iterator[str]:
    """What a look means."""
    if seen.ok:
        word = {"ready": "found", "already": "done already"}.get(seen.kind, "OK")
        yield from paragraph(f"{word}: {seen.seen}", _INDENT)
        if seen.by:
            yield from paragraph(f"the right unit, by {', '.join(seen.by)}", _INDENT)
    else:
        yield from paragraph(f"FAIL  {seen.kind}", _INDENT)
        yield from paragraph(f"seen: {seen.seen}", _INDENT)
        yield from paragraph(f"means: {seen.means}", _INDENT)
        if seen.do:
            yield from paragraph(f"do: {seen.do}", _INDENT)
    for note in seen.notes:
        yield from paragraph(f"note: {note}", _INDENT)
    for gap in seen.not_tested:
        yield from paragraph(f"not tested: {gap}", _INDENT)


def ending(how: str, done: int, total: int, not_tested: Sequence[str]) -> Iterator[str]:
    """How the guide ended."""
    words = {
        "done": f"Done: all {total} steps.",
        "failed": f"Not done: {done} of {total} steps are.",
        "interrupted": f"Interrupted: {done} of {total} steps are done.",
        "input-ended": f"The input ended before all was done: {done} of {total} steps are.",
    }
    yield words[how]
    for gap in not_tested:
        yield from paragraph(f"not tested: {gap}", _INDENT)
