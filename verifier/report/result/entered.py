"""What a person entered, for reports: entered, not measured."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from verifier.model.manual import BY_CHECK, further, said
from verifier.model.observation import ACCEPTED, OBSERVED, Observation
from verifier.model.result import Result, Verdict
from verifier.report.plain import paragraph, plain

MARK = "entered, not measured"
_NO_ENTRY = frozenset({ACCEPTED, OBSERVED})


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
            said(o) if o.value is not None or o.what in BY_CHECK else o.raw or "",
            o.at,
            verdicts.get(o.id),
            tuple(_about(o)),
        )
        for o in result.observations
        if o.probe == "person" and o.what not in _NO_ENTRY
    ]


def sheets(result: Result) -> list[str]:
    """The sheets they come from: file, rows and hash."""
    found = [o.value for o in result.observations if o.what == OBSERVED]
    return [
        f"{v.get('file')}, {v.get('rows')} rows, SHA-256 {v.get('sha256')}"
        for v in found
        if isinstance(v, dict)
    ]


def _about(entry: Observation) -> Iterator[str]:
    row = further(entry)
    if "by" in row:
        yield f"by {row['by']}"
    if "zone" in row:
        yield f"at {row.get('at')}, local time, {row['zone']}"
    if tool := " ".join(row[k] for k in ("instrument",) if k in row):
        yield tool
    if "instrument_serial" in row:
        yield f"serial {row['instrument_serial']}"
    if "calibration_due" in row:
        yield f"calibrated until {row['calibration_due']}"
    if "photo" in row:
        yield f"photo {row['photo']}, SHA-256 {row.get('photo_sha256', 'unknown')}"
    if "note" in row:
        yield f"note: {row['note']}"
    if "row" in row:
        yield row["row"]


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
