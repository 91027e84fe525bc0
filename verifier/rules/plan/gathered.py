"""Problems that repeat, as one: a fault in many rows of a sheet is told once, with its rows."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

from verifier.model.problem import Problem
from verifier.rules.plan.scope import READING

_OF_READING = frozenset(rule.name for rule in READING)
_QUOTED = re.compile(r"'[^']*'|\"[^\"]*\"")
_FIGURES = re.compile(r"[0-9a-f]*[0-9](?:[0-9a-f.:,/]*[0-9a-f])?", re.IGNORECASE)
_INDEX = re.compile(r"\[[0-9]+\]")
_ALIKE = 4
"""Problems of reading whose words differ by a value alone are told one by one up to three."""
_LISTED = 6


def gathered(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """The problems in their order; those of one column that say the same are one.

    A fault of reading also repeats where only the value in its words is another.
    """
    alike: dict[tuple[object, ...], list[Problem]] = {}
    for problem in problems:
        alike.setdefault(_key(problem, exact=False), []).append(problem)
    found: list[Problem] = []
    for some in alike.values():
        same: dict[tuple[object, ...], list[Problem]] = {}
        for problem in some:
            exact = len(some) < _ALIKE
            same.setdefault(_key(problem, exact=exact), []).append(problem)
        found += (_one(group) for group in same.values())
    return tuple(sorted(found, key=lambda p: p.origin.place if p.origin else ("", "", 0)))


def _key(problem: Problem, *, exact: bool) -> tuple[object, ...]:
    """What problems that are one have in common."""
    origin = problem.origin
    if origin is None or origin.line is None:
        return (id(problem),)
    words = problem.message
    if problem.subject.name:
        words = words.replace(problem.subject.name, "")
    if not exact and problem.rule in _OF_READING:
        words = _FIGURES.sub("#", _QUOTED.sub("", words))
    place = origin.file, origin.sheet, _INDEX.sub("[]", origin.field)
    return problem.severity, problem.rule, problem.subject.kind, *place, words


def _one(group: list[Problem]) -> Problem:
    """The first of a group, with the lines of all."""
    first = group[0]
    lines = sorted({p.origin.line for p in group if p.origin and p.origin.line is not None})
    if len(lines) < 2 or first.origin is None:  # noqa: PLR2004 (more than one)
        return first
    what = "rows" if first.origin.by_row else "lines"
    message, *sums = first.message.split("\n")
    told = f"{message} (in {what} {_listed(lines)})"
    return replace(first, message="\n".join((told, *sums)))


def _listed(lines: list[int]) -> str:
    """Numbers in words: `3 to 5002`, `4, 7 to 9 and 20 more`."""
    parts: list[tuple[int, int]] = []
    for line in lines:
        if parts and line == parts[-1][1] + 1:
            parts[-1] = (parts[-1][0], line)
        else:
            parts.append((line, line))
    words = [f"{a}" if a == b else f"{a} to {b}" for a, b in parts[:_LISTED]]
    more = sum(b - a + 1 for a, b in parts[_LISTED:])
    return ", ".join(words) + (f" and {more} more" if more else "")
