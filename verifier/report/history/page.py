"""A record as one self-contained page: figures, and each device's course of time as pictures.

Where devices are very many, those with most to tell have pictures, the others a line each.
"""

from __future__ import annotations

import datetime as dt
import itertools
import statistics
from typing import Any

from verifier.model.history import HistoryDocument, Outage, RecordPoint, SubjectRecord
from verifier.model.problem import Subject
from verifier.report.history.text import (
    deviation_in_words,
    figure,
    hours,
    outage_in_words,
    percent,
)
from verifier.report.html import draw
from verifier.report.html.plots import plot, strip_of_bars, strip_of_lines
from verifier.rules.soak.trend import TrendPoint

_PICTURES = 100
"""Devices and links with a picture: more would make a page that no browser opens gladly."""
_ROWS = 200
"""Rows of outages and deviations; the rest is counted, CSV and JSON have all."""
_LONGEST = 400
"""Characters of one text."""
_GAP = 2.5
"""Points so many times as far apart as usual have a time without measurement between them."""


def page(record: HistoryDocument) -> str:
    """The page. It fetches nothing and has no script."""
    outages: dict[Subject, list[Outage]] = {}
    for outage in record.outages:
        outages.setdefault(outage.subject, []).append(outage)
    whole, *subjects = record.subjects
    drawn, others = _most_to_tell(record, subjects)
    return draw(
        "history.html",
        "history.css",
        longest=_LONGEST,
        record=record,
        whole=whole,
        subjects=[(u, _picture(record, u, outages.get(u.subject, []))) for u in drawn],
        others=others,
        most=_ROWS,
        percent=percent,
        hours=hours,
        figure=figure,
        outage_in_words=outage_in_words,
        deviation_in_words=deviation_in_words,
    )


def _most_to_tell(
    record: HistoryDocument, subjects: list[SubjectRecord]
) -> tuple[list[SubjectRecord], list[SubjectRecord]]:
    """Those that get a picture, in the order of the plan, and the others."""
    if len(subjects) <= _PICTURES:
        return subjects, []
    away = {d.link for d in record.level_deviations if d.beyond}

    def much(subject: SubjectRecord) -> tuple[bool, float, int]:
        gone_s = subject.availability.unanswered_s
        return (
            subject.subject.kind == "link" and subject.subject.name in away,
            gone_s,
            subject.changes,
        )

    chosen = {u.subject for u in sorted(subjects, key=much, reverse=True)[:_PICTURES]}
    return [u for u in subjects if u.subject in chosen], [
        u for u in subjects if u.subject not in chosen
    ]


def _picture(
    record: HistoryDocument, subject: SubjectRecord, outages: list[Outage]
) -> dict[str, Any] | None:
    """Round trip, receive levels, times without an answer; None where nothing was measured."""
    start_s, end_s = _seconds(record.start), _seconds(record.end)
    long_s = max(1.0, end_s - start_s)
    strips = []
    if subject.rtt:
        strips.append(_lines("round trip, ms", {"": _points(subject.rtt)}, long_s))
    if subject.levels:
        series = {
            f"end {v.end}" + (f", carrier {v.carrier}" if v.carrier > 1 else ""): _points(v.points)
            for v in subject.levels
        }
        strips.append(_lines("receive level, dBm", series, long_s))
    begins = [max(0.0, _seconds(o.start) - start_s) for o in outages]
    ends = [end_s if o.end is None else _seconds(o.end) for o in outages]
    if outages:
        strips.append(
            strip_of_bars(
                "no answer",
                [(begin, 1.0) for begin in begins],
                [end - start_s - begin for end, begin in zip(ends, begins, strict=True)],
                long_s,
                highest=1.0,
            )
        )
    return plot(subject.subject.name, strips, record.end, record.start) if strips else None


def _lines(title: str, series: dict[str, list[TrendPoint]], long_s: float) -> dict[str, Any]:
    """A strip whose lines end where nothing was measured."""
    apart = [b.at_s - a.at_s for each in series.values() for a, b in itertools.pairwise(each)]
    usual_s = statistics.median(apart) if apart else long_s
    return strip_of_lines(title, series, long_s, longest_s=_GAP * usual_s)


def _points(points: tuple[RecordPoint, ...]) -> list[TrendPoint]:
    return [TrendPoint(p.after_s, p.low, p.middle, p.high) for p in points]


def _seconds(at: str) -> float:
    return dt.datetime.fromisoformat(at).timestamp()
