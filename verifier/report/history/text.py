"""A record as text, CSV, or the document `plan-verifier/history/1`; as a page in `page`."""

from __future__ import annotations

import csv as csv_module
import dataclasses
import io
import math
from collections.abc import Callable, Iterator
from typing import Any

from tabulate import tabulate

from verifier.model.history import (
    HistoryDocument,
    LevelDeviation,
    LevelRecord,
    Outage,
    SubjectRecord,
)
from verifier.report.result.csv import cell
from verifier.report.result.json import laid_out
from verifier.report.style import ReportStyle, paragraph, plain
from verifier.rules.soak.tally import words

_MANY = 40
"""Devices, outages, changes beyond this number are counted; --verbose has them all."""
_FEW = 10
_NAME = 24
"""Columns for a name; a longer one is cut."""
_DEVIATIONS = [32, None, None, None, None, 30]
"""Columns for an end and for why; longer ones fold."""
HEADINGS = (
    "row", "kind", "name", "port", "carrier", "end", "state", "from", "to", "available_pct",
    "answered_s", "unanswered_s", "untested_s", "changes", "outages", "length_s", "rtt_median_ms",
    "rtt_p95_ms", "rtt_max_ms", "planned_dbm", "then_dbm", "median_dbm", "min_dbm", "max_dbm",
    "deviation_db", "limit_db", "in_errors", "out_errors", "reason",
)  # fmt: skip
"""Of the CSV; `row` says what a row is, and what does not belong to it is empty."""


def document(record: HistoryDocument) -> dict[str, Any]:
    """The JSON document."""
    return {"format": "plan-verifier/history/1", **_short(dataclasses.asdict(record))}


def json(record: HistoryDocument, look: ReportStyle) -> str:
    """The document, laid out to be read."""
    del look
    return laid_out(document(record))


def _short(value: Any) -> Any:
    """Devices and roots are named by kind and name alone; no more digits than were measured."""
    if isinstance(value, dict):
        return {
            key: {name: inner[name] for name in ("kind", "name")}
            if key in {"subject", "root"}
            else _short(inner)
            for key, inner in value.items()
        }
    if isinstance(value, (list, tuple)):
        return [_short(inner) for inner in value]
    return round(value, 6) if isinstance(value, float) else value


# --- as text -----------------------------------------------------------------------------------


def text(record: HistoryDocument, look: ReportStyle) -> str:
    """The network, then devices, links, level deviations, outages, ports and changes."""
    parts = [
        _heading(record),
        _subjects(record, look),
        _links(record, look),
        *([_deviations(record, look)] if record.level_deviations or record.handover else []),
        _outages(record, look),
        _ports(record, look),
        _changes(record, look),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _heading(record: HistoryDocument) -> str:
    whole = record.subjects[0]
    left_out = f", {record.skipped} left out" if record.skipped else ""
    title = f"{record.network or 'the network'}: record from {record.start} to {record.end}"
    times = whole.availability
    tested_s = times.answered_s + times.unanswered_s
    summary = (
        f"Available {percent(times.available_pct)} of the tested time of all devices "
        f"({hours(tested_s)}); {hours(times.untested_s)} not tested; "
        f"{record.sweeps} sweep{'' if record.sweeps == 1 else 's'}{left_out}"
    )
    return "\n".join((*paragraph(title, ""), *paragraph(summary, "")))


def percent(value: float | None) -> str:
    """An availability, never rounded up: 100 % means always."""
    if value is None:
        return "-"
    return "100 %" if value >= 100 else f"{math.floor(value * 1000) / 1000:.3f} %"  # noqa: PLR2004


def hours(seconds: float) -> str:
    """A length of time; days where it is long."""
    return words(seconds) if seconds < 2 * 86_400 else f"{seconds / 86_400:.1f} days"


def _name(value: object) -> str:
    shown = plain(value)
    return shown if len(shown) <= _NAME else f"{shown[: _NAME - 3]}..."


def figure(value: float | None, digits: int = 1) -> str:
    """A number with so many digits, or a dash."""
    return "-" if value is None else f"{value:.{digits}f}"


def _worst_first(
    subjects: list[SubjectRecord], look: ReportStyle
) -> tuple[list[SubjectRecord], int]:
    """All where they are few or everything is wanted; else those with an outage or a change."""
    if look.verbose or len(subjects) <= _MANY:
        return subjects, 0
    key: Callable[[SubjectRecord], float] = lambda u: -u.availability.unanswered_s  # noqa: E731
    listed = sorted((u for u in subjects if u.outages or u.changes), key=key)[:_MANY]
    return listed, len(subjects) - len(listed)


def _subjects(record: HistoryDocument, look: ReportStyle) -> str:
    shown, more = _worst_first([u for u in record.subjects if u.subject.kind == "device"], look)
    rows = [
        (
            _name(u.subject.name), u.state or "-", percent(u.availability.available_pct),
            hours(u.availability.untested_s), u.outages, u.changes,
            f"{figure(u.rtt_median_ms, 2)} / {figure(u.rtt_p95_ms, 2)}",
        )
        for u in shown
    ]  # fmt: skip
    headings = ("subject", "now", "available", "untested", "outages", "changes", "RTT, p95 ms")
    return _table(rows, headings, more, "subjects")


def _links(record: HistoryDocument, look: ReportStyle) -> str:
    shown, more = _worst_first([u for u in record.subjects if u.subject.kind == "link"], look)
    rows = [
        (
            _name(u.subject.name), u.state or "-", percent(u.availability.available_pct),
            hours(u.availability.untested_s), u.outages,
            "\n".join(map(_level, u.levels)) or "-",
        )
        for u in shown
    ]  # fmt: skip
    headings = ("link", "now", "available", "untested", "outages", "median dBm (low to high)")
    return _table(rows, headings, more, "links")


def _level(level: LevelRecord) -> str:
    several = f"{level.carrier}" if level.carrier > 1 else ""
    return (
        f"{level.end}{several} {level.median_dbm:.1f} ({level.min_dbm:.1f} to {level.max_dbm:.1f})"
    )


def _table(rows: list[Any], headings: tuple[str, ...], more: int, what: str) -> str:
    made = tabulate(rows, headings, disable_numparse=True) if rows else ""
    if more:
        made += f"\n{more} further {what} without an outage or change; --verbose shows them"
    return made.strip()


def _deviations(record: HistoryDocument, look: ReportStyle) -> str:
    heading = f"Level of the newest dry hours against the handover of {record.handover}:"
    notes = [f"Note on this handover: {remark}" for remark in record.handover_remarks]
    title = "\n".join((heading, *(line for note in notes for line in paragraph(note, ""))))
    few = len(record.level_deviations) <= _MANY
    beyond = sum(d.beyond is True for d in record.level_deviations)
    most = None if look.verbose or few else min(_MANY, max(_FEW, beyond))
    shown = record.level_deviations[:most]
    rows = [
        (
            _name(f"{d.link} end {d.end}" + (f" carrier {d.carrier}" if d.carrier > 1 else "")),
            figure(d.then_dbm), figure(d.now_dbm),
            "-" if d.deviation_db is None else f"{d.deviation_db:+.1f}", figure(d.limit_db),
            deviation_in_words(d),
        )
        for d in shown
    ]  # fmt: skip
    headings = ("end", "then dBm", "now dBm", "dB", "limit dB", "")
    more = _more(len(record.level_deviations) - len(shown))
    table = tabulate(rows, headings, disable_numparse=True, maxcolwidths=_DEVIATIONS)
    return f"{title}\n{table or 'no level'}{more}"


def deviation_in_words(deviation: LevelDeviation) -> str:
    """What there is to say of a deviation."""
    if deviation.beyond is None:
        return deviation.reason
    dry = f"{deviation.dry_hours} dry hours"
    return f"BEYOND ITS LIMIT, {dry}" if deviation.beyond else dry


def _more(number: int) -> str:
    return f"\n    and {number} more; --verbose shows them" if number > 0 else ""


def _outages(record: HistoryDocument, look: ReportStyle) -> str:
    if not record.outages:
        return "No outage."
    shown = record.outages if look.verbose else record.outages[:_FEW]
    lines = [f"Outages, the last first ({len(record.outages)}):"]
    for outage in shown:
        lines += paragraph(f"{outage.start}  {outage.subject}: {outage_in_words(outage)}", "  ")
    return "\n".join(lines) + _more(len(record.outages) - len(shown))


def outage_in_words(outage: Outage) -> str:
    """How long, and what is not known of it."""
    text = hours(outage.length_s)
    if outage.end is None:
        text += ", still so"
    if outage.untested_s >= 1:
        text += f" (and {hours(outage.untested_s)} of which nothing is known)"
    return text + (", by its changes of state" if outage.by == "changes" else "")


def _ports(record: HistoryDocument, look: ReportStyle) -> str:
    if not record.ports:
        return "No port counted an error."
    shown = record.ports if look.verbose else record.ports[:_FEW]
    rows = [(_name(p.device), _name(p.port), p.in_errors, p.out_errors) for p in shown]
    table = tabulate(rows, ("subject", "port", "errors in", "errors out"), disable_numparse=True)
    return f"{table}{_more(len(record.ports) - len(shown))}"


def _changes(record: HistoryDocument, look: ReportStyle) -> str:
    if not record.changes:
        return "No change."
    shown = record.changes if look.verbose else record.changes[:_FEW]
    lines = [f"Changes, the last first ({len(record.changes)}):"]
    for c in shown:
        line = f"{c.at}  {c.subject}: {c.before} -> {c.after}"
        line += f"; {c.reason}" if c.reason else ""
        line += f"; because of {c.root.kind} {c.root}" if c.root != c.subject else ""
        line += f"; not told: {c.held}" if c.held else ""
        lines += paragraph(line, "  ")
    return "\n".join(lines) + _more(len(record.changes) - len(shown))


# --- as CSV ------------------------------------------------------------------------------------


def csv(record: HistoryDocument, look: ReportStyle) -> str:
    """One table of everything but the course of time; RFC 4180, safe for a spreadsheet program."""
    del look
    stream = io.StringIO(newline="")
    writer = csv_module.writer(stream)
    writer.writerow(HEADINGS)
    for row in _rows(record):
        writer.writerow([cell(_short(row.get(name))) for name in HEADINGS])
    made = stream.getvalue()
    return made if made.isascii() else f"\ufeff{made}"


def _rows(record: HistoryDocument) -> Iterator[dict[str, Any]]:
    for subject in record.subjects:
        yield from _rows_of_subject(record, subject)
    for d in record.level_deviations:
        yield {"row": "deviation", "kind": "link", "name": d.link, "carrier": d.carrier,
               "end": d.end, "then_dbm": d.then_dbm, "median_dbm": d.now_dbm,
               "deviation_db": d.deviation_db, "limit_db": d.limit_db,
               "reason": deviation_in_words(d)}  # fmt: skip
    for o in record.outages:
        yield {"row": "outage", "kind": o.subject.kind, "name": o.subject.name, "from": o.start,
               "to": o.end, "length_s": o.length_s, "untested_s": o.untested_s}  # fmt: skip
    for p in record.ports:
        yield {"row": "port", "kind": "device", "name": p.device, "port": p.port,
               "in_errors": p.in_errors, "out_errors": p.out_errors}  # fmt: skip
    for c in record.changes:
        yield {"row": "change", "kind": c.subject.kind, "name": c.subject.name, "state": c.after,
               "from": c.at, "reason": c.reason}  # fmt: skip


def _rows_of_subject(record: HistoryDocument, subject: SubjectRecord) -> Iterator[dict[str, Any]]:
    times, of = (
        subject.availability,
        {"kind": subject.subject.kind, "name": subject.subject.name},
    )
    yield {
        "row": "subject", **of, "state": subject.state, "from": record.start, "to": record.end,
        **dataclasses.asdict(times), "changes": subject.changes, "outages": subject.outages,
        "length_s": subject.longest_outage_s, "rtt_median_ms": subject.rtt_median_ms,
        "rtt_p95_ms": subject.rtt_p95_ms, "rtt_max_ms": subject.rtt_max_ms,
    }  # fmt: skip
    for level in subject.levels:
        yield {
            "row": "level", **of, "carrier": level.carrier, "end": level.end,
            "planned_dbm": level.planned_dbm, "median_dbm": level.median_dbm,
            "min_dbm": level.min_dbm, "max_dbm": level.max_dbm,
        }  # fmt: skip
