"""The findings as CSV (RFC 4180): one row each, safe to open in a spreadsheet program."""

from __future__ import annotations

import csv
import io
from typing import Any

from verifier.model.result import Finding, Result
from verifier.report import Look
from verifier.report.plain import plain

HEADINGS = (
    "id", "verdict", "check", "kind", "subject", "port", "carrier", "end", "expected", "observed",
    "unit", "reason", "advice", "origin", "caused_by",
)  # fmt: skip
LONGEST_CELL = 32_767
"""Characters of a cell that spreadsheet programs hold."""
_FORMULA = tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
"""What a formula may begin with; the last four are the wide forms of the first."""


def render(result: Result, look: Look) -> str:
    """The whole file; a byte order mark stands before what is not ASCII."""
    del look
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow(HEADINGS)
    writer.writerows([cell(value) for value in _row(f)] for f in result.findings)
    text = stream.getvalue()
    return text if text.isascii() else f"\ufeff{text}"


def _row(finding: Finding) -> tuple[Any, ...]:
    subject = finding.subject
    return (
        finding.id, finding.verdict, finding.check, subject.kind, subject.name, subject.port,
        subject.carrier, subject.end, finding.expected, finding.observed, finding.unit,
        finding.reason, finding.advice, finding.origin, " ".join(finding.caused_by),
    )  # fmt: skip


def cell(value: Any) -> str | float | None:
    """A value as no program runs it: numbers stay, a text that would be a formula is quoted."""
    if value is None or (isinstance(value, (int, float)) and not isinstance(value, bool)):
        return value
    text = plain(value, longest=LONGEST_CELL - 100)
    return f"'{text}" if text.startswith(_FORMULA) or str(value).startswith(_FORMULA) else text
