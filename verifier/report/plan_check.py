"""What is wrong with a plan, and the rules that it was held against, as text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from verifier.model.problem import Problem
from verifier.report.style import paragraph, plain
from verifier.rules.plan import READING, RULES

_INDENT = " " * 6


def text(
    plan: object, devices: int, problems: Sequence[Problem], *, only: str | None = None
) -> str:
    """Every problem, or those of one severity, then the counts of all.

    Args:
        plan: what its file is called.
        devices: how many the plan has.
        problems: all that is wrong with it.
        only: the severity that is listed; None: every one.
    """
    lines: list[str] = []
    for problem in problems:
        if only in {None, problem.severity}:
            lines += _problem(problem)
    if lines:
        lines.append(f"more: plan-verifier explain {_heaviest(problems)}")
    lines.append(f"{plain(plan)}: {counts(devices, problems)}")
    return "\n".join(lines) + "\n"


def counts(devices: int, problems: Sequence[Problem]) -> str:
    """How many devices, errors and warnings there are, in words."""
    errors = sum(p.severity == "error" for p in problems)
    warnings = len(problems) - errors
    found = (_count(devices, "device"), _count(errors, "error"), _count(warnings, "warning"))
    return ", ".join(found)


def _heaviest(problems: Sequence[Problem]) -> str:
    """The rule of the first error, else of the first problem: a topic of `explain`."""
    return next((p for p in problems if p.severity == "error"), problems[0]).rule


def _problem(problem: Problem) -> Iterable[str]:
    yield f"{problem.severity.upper()}  {problem.rule}  {plain(problem.subject)}"
    if problem.origin:
        yield from paragraph(problem.origin)
    message, *sums = problem.message.split("\n")
    yield from paragraph(message)
    for row in sums:
        yield from paragraph(row, _INDENT)


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def table_of_rules() -> str:
    """Each rule of the plan and its file: name, severity, what it needs, what it finds."""
    rows: list[tuple[str, ...]] = [("RULE", "SEVERITY", "NEEDS", "WHAT IT FINDS")]
    rows += [(r.name, r.severity, "file", r.about) for r in READING]
    rows += [(r.name, r.severity, r.needs or "plan", r.about) for r in RULES]
    widths = [max(len(row[n]) for row in rows) for n in range(3)]
    lines = []
    for row in rows:
        cells = (cell.ljust(width) for cell, width in zip(row[:3], widths, strict=True))
        lines.append("  ".join((*cells, row[3])))
    return "\n".join(lines) + "\n"
