"""What changed between two results: as text, as a document."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

from verifier.model.result import Difference, DifferenceKind, Finding, Result
from verifier.report.sentences import WORDS
from verifier.report.style import ReportStyle, plain, wrapped

_HEADINGS: dict[DifferenceKind, str] = {
    "worse": "worse",
    "gone": "no longer looked at",
    "new": "looked at only now",
    "plan": "planned otherwise",
    "value": "found otherwise, with the same verdict",
    "better": "better",
    "reason": "worded otherwise",
}


def document(old: Result, new: Result, differences: Sequence[Difference]) -> dict[str, Any]:
    """The document `plan-verifier/comparison/1`: both runs, and what differs, heaviest first."""
    return {
        "format": "plan-verifier/comparison/1",
        "old": _run(old),
        "new": _run(new),
        "differences": [
            {
                "kind": d.kind,
                "check": d.either.check,
                "subject": dataclasses.asdict(d.either.subject),
                "old": _finding(d.old),
                "new": _finding(d.new),
            }
            for d in differences
        ],
    }


def _run(result: Result) -> dict[str, Any]:
    return {
        "plan": result.plan.name,
        "revision": result.plan.revision,
        "command": result.command,
        "stage": result.stage,
        "started": result.started,
        "verdict": result.verdict,
    }


def _finding(finding: Finding | None) -> dict[str, Any] | None:
    if finding is None:
        return None
    fields = ("id", "verdict", "expected", "observed", "unit", "reason")
    return {name: getattr(finding, name) for name in fields}


def text(differences: Sequence[Difference], look: ReportStyle) -> str:
    """Heaviest first, under a heading for each kind; empty where nothing differs."""
    lines: list[str] = []
    kind = None
    for difference in differences:
        if difference.kind != kind:
            kind = difference.kind
            count = sum(d.kind == kind for d in differences)
            lines += ["", f"{_HEADINGS[kind]} ({count})"]
        lines += wrapped(_line(difference), "  ", look.width, hang="      ")
    return "\n".join(lines[1:]) + "\n" if lines else ""


def _line(difference: Difference) -> str:
    old, new, either = difference.old, difference.new, difference.either
    head = f"{plain(either.subject)}  {plain(either.check)}: "
    if old is None or new is None:
        return f"{head}{WORDS[either.verdict]}, {plain(either.reason)}"
    parts = []
    if old.verdict != new.verdict:
        parts.append(f"{WORDS[old.verdict]} -> {WORDS[new.verdict]}")
    for name, before, now in (
        ("planned", old.expected, new.expected),
        ("found", old.observed, new.observed),
    ):
        if before != now:
            parts.append(f"{name} {_value(before, old.unit)} -> {_value(now, new.unit)}")
    if difference.kind in ("worse", "better", "reason"):
        parts.append(plain(new.reason))
    return head + "; ".join(parts)


def _value(value: Any, unit: str | None) -> str:
    if value is None:
        return "nothing"
    return f"{plain(value) or 'an empty text'}{f' {plain(unit)}' if unit else ''}"
