"""What a person entered, for reports: entered, not measured."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from verifier.model.manual import BY_CHECK, Entered
from verifier.model.observations import ACCEPTED, SHEET, Observation
from verifier.model.result import Result, Verdict
from verifier.report.plain import paragraph, plain
from verifier.rules.observations import of_kind

MARK = "entered, not measured"
_NO_ENTRY = frozenset({ACCEPTED, SHEET})


@dataclass(frozen=True, slots=True)
class EnteredLine:
    """One entry in words.

    Attributes:
        verdict: of the finding that rests on it; None where there is none.
        about: by whom, with what, its calibration, photo with its hash, note; in words.
    """

    what: str
    of: str
    value: str
    at: str
    verdict: Verdict | None
    about: tuple[str, ...]


def rows(result: Result) -> list[EnteredLine]:
    """Every entry, in the order of the sheet."""
    verdicts = {i: f.verdict for f in result.findings if f.check in BY_CHECK for i in f.evidence}
    return [
        EnteredLine(
            o.what,
            str(o.subject),
            _said(o),
            o.at,
            verdicts.get(o.id),
            tuple(_about(o)),
        )
        for o in result.observations
        if o.kind.probe == "person" and o.kind not in _NO_ENTRY
    ]


def sheets(result: Result) -> list[str]:
    """The sheets they come from: file, rows and hash."""
    entries = [o.value for o in of_kind(result.observations, SHEET)]
    return [f"{v.file}, {v.rows} rows, SHA-256 {v.sha256}" for v in entries if v is not None]


def _said(seen: Observation[object]) -> str:
    """What was entered, as a person would write it."""
    if isinstance(seen.value, Entered):
        return seen.value.words(seen.unit)
    return seen.raw or "" if seen.value is None else str(seen.value)


def _about(seen: Observation[object]) -> Iterator[str]:
    row = seen.value
    if not isinstance(row, Entered):
        return
    if row.by:
        yield f"by {row.by}"
    if row.zone:
        yield f"at {row.at}, local time, {row.zone}"
    if row.instrument:
        yield row.instrument
    if row.instrument_serial:
        yield f"serial {row.instrument_serial}"
    if row.calibration_due:
        yield f"calibrated until {row.calibration_due}"
    if row.photo:
        yield f"photo {row.photo}, SHA-256 {row.photo_sha256 or 'unknown'}"
    if row.note:
        yield f"note: {row.note}"
    if row.row:
        yield row.row


def text(result: Result, width: int) -> str:
    """The entries for a terminal, one paragraph each; empty where there are none."""
    entries = rows(result)
    if not entries:
        return ""
    lines = [f"{MARK.capitalize()}: {len(entries)} value{'s' * (len(entries) != 1)}"]
    for entry in entries:
        head = f"{entry.of}: {entry.what.removeprefix('manual.')}: {entry.value}"
        about = f" ({'; '.join(entry.about)})" if entry.about else ""
        lines += paragraph(f"{head}{about}, {entry.at}", "  ", width)
    lines += [line for sheet in sheets(result) for line in paragraph(plain(sheet), "  ", width)]
    return "\n".join(lines)
