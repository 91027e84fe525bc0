"""A soak over time: the samples of each target in some hundred equal parts, for a picture."""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from verifier.model.problem import Subject
from verifier.model.samples import Block, EchoBlock, ValuesBlock
from verifier.rules.soak.counters import NO_SIGNAL
from verifier.rules.soak.tally import NOT_COUNTED, rows, subject_of

PARTS: Final = 240
"""Of a picture: more are not told apart on paper."""


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """What happened in one part of the time: the lowest, middle and highest value."""

    at_s: float
    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """A target over time.

    Attributes:
        rtt_ms: by size in bytes.
        loss_pct: by the begin of each part in which something was lost.
        levels_dbm: by name of the reading.
        part_s: length of a part.
    """

    subject: Subject
    part_s: float
    rtt_ms: dict[int, tuple[TrendPoint, ...]]
    loss_pct: tuple[tuple[float, float], ...]
    levels_dbm: dict[str, tuple[TrendPoint, ...]]


class _Line:
    """One series: values of the part that is being read, and the points of those before."""

    def __init__(self, part_s: float) -> None:
        self._part_s = part_s
        self._part = 0
        self._values: list[float] = []
        self._points: list[TrendPoint] = []

    def take(self, at_s: float, value: float) -> None:
        part = int(at_s / self._part_s)
        if part != self._part:
            self._close()
            self._part = part
        self._values.append(value)

    def _close(self) -> None:
        values = self._values
        if values:
            at_s = (self._part + 0.5) * self._part_s
            self._points.append(
                TrendPoint(at_s, min(values), statistics.median(values), max(values))
            )
        self._values = []

    def points(self) -> tuple[TrendPoint, ...]:
        self._close()
        return tuple(self._points)


class _Track:
    def __init__(self, part_s: float) -> None:
        self.rtt: dict[int, _Line] = defaultdict(lambda: _Line(part_s))
        self.levels: dict[str, _Line] = defaultdict(lambda: _Line(part_s))
        self.sent: dict[int, int] = defaultdict(int)
        self.lost: dict[int, int] = defaultdict(int)


def trends(blocks: Iterable[Block], asked_s: float) -> tuple[Trend, ...]:
    """One pass over the blocks of a soak of `asked_s` seconds; targets in the order they come."""
    part_s = max(0.1, asked_s / PARTS)
    tracks: dict[Subject, _Track] = {}
    for block in blocks:
        if block["kind"] == "echo":
            track = tracks.setdefault(subject_of(block["subject"]), _Track(part_s))
            _take_echoes(track, block, part_s)
        elif block["kind"] == "values":
            _take_levels(tracks.setdefault(subject_of(block["subject"]), _Track(part_s)), block)
    return tuple(_trend(subject, track, part_s) for subject, track in tracks.items())


def _take_echoes(track: _Track, block: EchoBlock, part_s: float) -> None:
    line = track.rtt[block["bytes"]]
    for number, rtt_us in enumerate(block["rtt_us"]):
        if rtt_us == NOT_COUNTED:
            continue
        at_s = block["start_s"] + number * block["step_s"]
        part = int(at_s / part_s)
        track.sent[part] += 1
        if rtt_us is None:
            track.lost[part] += 1
        else:
            line.take(at_s, rtt_us / 1e3)


def _take_levels(track: _Track, block: ValuesBlock) -> None:
    names = [n for n in block["series"] if n.startswith("rx_level_dbm")]
    for at_s, row in rows(block):
        for name in names:
            value = row[name]
            if isinstance(value, int | float) and value is not NO_SIGNAL:
                track.levels[name].take(at_s, value)


def _trend(subject: Subject, track: _Track, part_s: float) -> Trend:
    return Trend(
        subject=subject,
        part_s=part_s,
        rtt_ms={size: p for size, line in sorted(track.rtt.items()) if (p := line.points())},
        loss_pct=tuple(
            (part * part_s, 100.0 * lost / track.sent[part])
            for part, lost in sorted(track.lost.items())
        ),
        levels_dbm={name: p for name, line in track.levels.items() if (p := line.points())},
    )
