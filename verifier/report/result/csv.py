"""The findings as CSV (RFC 4180): one row each, safe to open in a spreadsheet program.

The first row below the headings is the document itself; rows without an id are no findings.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import Any

from verifier.model.result import Finding, Result
from verifier.report.sentences import scope_words, sentence
from verifier.report.style import ReportStyle, plain
from verifier.rules.compare.scope import by_whom

HEADINGS = (
    "id", "verdict", "check", "kind", "subject", "port", "carrier", "end", "expected", "observed",
    "unit", "reason", "advice", "origin", "caused_by",
)  # fmt: skip
LONGEST_CELL = 32_767
"""Characters of a cell that spreadsheet programs hold."""
_FORMULA = tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
"""What a formula may begin with; the last four are the wide forms of the first."""


def render(result: Result, look: ReportStyle) -> str:
    """The whole file; a byte order mark stands before what is not ASCII."""
    del look
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow(HEADINGS)
    writer.writerow([cell(value) for value in _whole(result)])
    writer.writerows([cell(value) for value in _row(f)] for f in result.findings)
    writer.writerows([cell(value) for value in row] for row in _besides(result))
    text = stream.getvalue()
    return text if text.isascii() else f"\ufeff{text}"


def _whole(result: Result) -> tuple[Any, ...]:
    """The row of the document itself: its verdict, its scope and its sentence."""
    return _line(
        result.verdict, kind="network", subject=result.plan.name,
        reason=f"{scope_words(result.scope)}: {sentence(result)}",
    )  # fmt: skip


def _besides(result: Result) -> Iterator[tuple[Any, ...]]:
    """What was not asked, with its count as found; what a person allowed to stay untested."""
    name = result.plan.name
    for entry in result.not_asked:
        yield _line("not-asked", entry.what, "network", name, entry.count, entry.reason)
    for allowed in result.accepted:
        times, why = len(allowed.findings), f"{by_whom(allowed.by)}: {allowed.reason}"
        yield _line("accepted", allowed.check, "network", name, times, why)


def _line(  # noqa: PLR0913, PLR0917
    verdict: str, check: str = "", kind: str = "", subject: str = "", observed: Any = None,
    reason: str = "",
) -> tuple[Any, ...]:  # fmt: skip
    """A row that is no finding: it has no id."""
    return (None, verdict, check, kind, subject, None, None, None, None, observed, None, reason,
            None, None, None)  # fmt: skip


def _row(finding: Finding) -> tuple[Any, ...]:
    subject = finding.subject
    return (
        finding.id, finding.verdict, finding.check, subject.kind, subject.name, subject.port,
        subject.carrier, subject.end, finding.expected, finding.observed, finding.unit,
        finding.reason, finding.advice, str(finding.origin or ""), " ".join(finding.caused_by),
    )  # fmt: skip


def cell(value: Any) -> str | float | None:
    """A value as no program runs it: numbers stay, a text that would be a formula is quoted."""
    if value is None or (isinstance(value, (int, float)) and not isinstance(value, bool)):
        return value
    text = plain(value, longest=LONGEST_CELL - 100)
    return f"'{text}" if text.startswith(_FORMULA) or str(value).startswith(_FORMULA) else text
