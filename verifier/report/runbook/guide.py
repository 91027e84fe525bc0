"""What the guide says: a step, what was seen and what it means, how it ended."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from verifier.model.cautions import CAUTIONS, CLOSING
from verifier.model.runbook import Assessment, Setting
from verifier.report.runbook.text import StepText
from verifier.report.style import paragraph, plain

_INDENT = "    "
_CAUTIONS: dict[Setting, tuple[str, ...]] = {
    "segment": ("poe", "dc", "earth"),
    "one-at-a-time": ("poe", "dc", "bench"),
    "remote": (),
}
"""Which cautions belong to a setting, by their keys."""
_AFAR = (
    "From afar: an address that is mistyped cuts the device off, and what hangs behind it; "
    "know who "
    "can go there, and how a device is reset, before the first change."
)


def cautions(setting: Setting) -> Iterator[str]:
    """What to beware of before the first step."""
    words = [str(c) for c in CAUTIONS if c.key in _CAUTIONS[setting]]
    for caution in (*words, CLOSING) if words else (_AFAR,):
        yield from paragraph(f"caution: {caution}")


def step(line: StepText, total: int, *, again: bool, commands: bool) -> Iterator[str]:
    """A step: number, kind, sentence; `commands`: with the laptop's, for a person to run."""
    head = f"Step {line.step.n} of {total}  {line.kind}"
    yield f"{head}, as it must be now" if again else head
    yield from paragraph(line.what, _INDENT)
    if line.caution:
        yield from paragraph(f"caution: {line.caution}", _INDENT)
    if commands:
        yield from (f"{_INDENT}    {plain(command)}" for command, _ in line.commands)


def meaning(seen: Assessment) -> Iterator[str]:
    """What a look means."""
    if seen.ok:
        word = {"ready": "found", "already": "done already"}.get(seen.kind, "OK")
        yield from paragraph(f"{word}: {seen.seen}", _INDENT)
        if seen.by:
            yield from paragraph(f"the right device, by {', '.join(seen.by)}", _INDENT)
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
