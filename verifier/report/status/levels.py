"""Level lines of the status page: what an end received over the last day, as a small SVG."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

from markupsafe import Markup

from verifier.model.history import Sample
from verifier.model.status import CHANGES_S, LevelLine

WIDTH: Final = 120
HEIGHT: Final = 24
_EDGE: Final = 3
_NARROWEST_DB: Final = 6.0
"""Less is not drawn larger: a level that stands still is a flat line."""
_HOUR_S: Final = 3600.0
_GAP: Final = 1.6
"""Of the longer of an hour and the interval: without a level for so long the line is broken."""

Row = dict[str, Any]


def level_row(level: LevelLine, now_s: float, every_s: float | None) -> Row:
    """A line of one end: words, and paths where the day has a level."""
    samples = [s for s in level.samples if s.at_s >= now_s - CHANGES_S - _HOUR_S]
    row: Row = {
        "end": level.end,
        "carrier": level.carrier,
        "device": level.device,
        "now": _dbm(level.now_dbm),
        "planned": _dbm(level.planned_dbm),
        "low": _dbm(min((s.low for s in samples), default=None)),
        "high": _dbm(max((s.high for s in samples), default=None)),
        "away": _away(level),
    }
    if not samples:
        return row | {"middle": None}
    figures = [v for s in samples for v in (s.low, s.high)]
    if level.planned_dbm is not None:
        figures.append(level.planned_dbm)
    scale = _Scale(min(figures), max(figures), now_s)
    parts = list(_parts(samples, _GAP * max(_HOUR_S, every_s or 0.0)))
    return row | {
        "middle": Markup("".join(scale.line(part) for part in parts)),  # noqa: S704 - our numbers
        "band": Markup("".join(scale.band(part) for part in parts)),  # noqa: S704 - our numbers
        "planned_y": None if level.planned_dbm is None else scale.y(level.planned_dbm),
    }


def _dbm(value: float | None) -> str | None:
    return None if value is None else f"{value:.1f}"


def _away(level: LevelLine) -> str:
    if level.now_dbm is None or level.planned_dbm is None:
        return ""
    return f"{level.now_dbm - level.planned_dbm:+.1f} dB"


def _parts(samples: Sequence[Sample], gap_s: float) -> Iterator[list[Sample]]:
    """Runs of samples without a gap."""
    part: list[Sample] = []
    for sample in samples:
        if part and sample.at_s - part[-1].at_s > gap_s:
            yield part
            part = []
        part.append(sample)
    yield part


class _Scale:
    """The last day across, from lowest to highest up; whole devices, the lines are small."""

    def __init__(self, low: float, high: float, now_s: float) -> None:
        widen = max(0.0, _NARROWEST_DB - (high - low)) / 2
        self._low, self._high, self._now_s = low - widen, high + widen, now_s

    def x(self, at_s: float) -> int:
        return round(WIDTH * min(1.0, max(0.0, 1 - (self._now_s - at_s) / CHANGES_S)))

    def y(self, dbm: float) -> int:
        return _EDGE + round((HEIGHT - 2 * _EDGE) * (self._high - dbm) / (self._high - self._low))

    def line(self, part: Sequence[Sample]) -> str:
        """A path through the middles; a lone one is a dot."""
        points = {self.x(s.at_s): self.y(s.middle) for s in part}
        path = "L".join(f"{x} {y}" for x, y in points.items())
        return f"M{path}" + ("h0" if len(points) == 1 else "")

    def band(self, part: Sequence[Sample]) -> str:
        """From lowest to highest; nothing where they are one."""
        lows: dict[int, int] = {}
        highs: dict[int, int] = {}
        for s in part:
            x = self.x(s.at_s)
            lows[x] = max(lows.get(x, 0), self.y(s.low))
            highs[x] = min(highs.get(x, HEIGHT), self.y(s.high))
        if lows == highs:
            return ""
        if len(lows) == 1:
            ((x, low),) = lows.items()
            return f"M{x} {low}V{highs[x]}h1V{low}Z"
        around = [*lows.items(), *reversed(highs.items())]
        return "M" + "L".join(f"{x} {y}" for x, y in around) + "Z"
