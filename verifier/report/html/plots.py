"""Pictures of a soak: round-trip time, loss and receive level over time, as paths of an SVG."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

from markupsafe import Markup

from verifier.model.result import Result
from verifier.model.samples import Block
from verifier.report.sentences import soak_of
from verifier.rules.soak.tally import words
from verifier.rules.soak.trend import Trend, TrendPoint, trends

WIDTH: Final = 640
_LEFT, _RIGHT = 64, 8
_STRIP: Final = 70
_BETWEEN: Final = 18
_TOP: Final = 14
_NARROWEST: Final = 1.5
_FLAT: Final = 1e-6

Row = dict[str, Any]


def plots(result: Result, samples: Iterable[Block]) -> list[Row]:
    """A picture for each target with samples; none without a soak."""
    soak = soak_of(result)
    if soak is None:
        return []
    long_s = soak.asked_s
    return [p for t in trends(samples, long_s) if (p := _plot(t, long_s))["strips"]]


def _plot(trend: Trend, long_s: float) -> Row:
    strips = []
    if trend.rtt_ms:
        strips.append(strip_of_lines("round trip, ms", trend.rtt_ms, long_s, "{} byte"))
        strips.append(
            strip_of_bars("loss, %", trend.loss_pct, itertools.repeat(trend.part_s), long_s)
        )
    if trend.levels_dbm:
        strips.append(strip_of_lines("receive level, dBm", trend.levels_dbm, long_s))
    return plot(trend.subject.name, strips, words(long_s))


def plot(name: str, strips: list[Row], end: str, begin: str = "0") -> Row:
    """A picture of strips, one below the other; `begin` and `end` stand below its axis."""
    for number, strip in enumerate(strips):
        strip["y"] = _TOP + number * (_STRIP + _BETWEEN)
    return {
        "name": name,
        "width": WIDTH,
        "height": _TOP + len(strips) * (_STRIP + _BETWEEN) + _TOP,
        "left": _LEFT,
        "right": WIDTH - _RIGHT,
        "strip": _STRIP,
        "strips": strips,
        "begin": begin,
        "end": end,
    }


def _x(at_s: float, long_s: float) -> float:
    return _LEFT + (WIDTH - _LEFT - _RIGHT) * min(1.0, at_s / long_s)


def strip_of_lines(
    title: str,
    series: Mapping[Any, Sequence[TrendPoint]],
    long_s: float,
    name: str = "{}",
    longest_s: float = math.inf,
) -> Row:
    """A strip with a line through the middles and a band from lowest to highest for each series.

    Between two points that lie further apart than `longest_s` nothing was measured: no line.
    """
    points = [p for each in series.values() for p in each]
    low, high = min(p.low for p in points), max(p.high for p in points)
    if high - low < _FLAT:
        low, high = low - 0.5, high + 0.5
    span = high - low

    def y(value: float) -> float:
        return _STRIP * (1 - (value - low) / span)

    def path(points: Iterable[tuple[float, float]], end: str = "") -> Markup:
        drawn = "L".join(f"{_x(at, long_s):.1f} {y(value):.1f}" for at, value in points)
        return Markup(f"M{drawn}{end}")  # noqa: S704 - numbers of ours, never cut short

    def middle(run: Sequence[TrendPoint]) -> Markup:
        return path(((p.at_s, p.middle) for p in run), "h0" if len(run) == 1 else "")

    def band(run: Sequence[TrendPoint]) -> Markup:
        upper = ((p.at_s, p.high) for p in run)
        lower = ((p.at_s, p.low) for p in reversed(run))
        return path(itertools.chain(upper, lower), "Z")

    lines = [
        {
            "name": name.format(key),
            "middle": Markup().join(map(middle, runs)),
            "band": Markup().join(map(band, runs)),
        }
        for key, each in series.items()
        for runs in [list(_runs(each, longest_s))]
    ]
    return {"title": title, "low": f"{low:.4g}", "high": f"{high:.4g}", "lines": lines, "bars": []}


def _runs(points: Sequence[TrendPoint], longest_s: float) -> Iterator[Sequence[TrendPoint]]:
    """The points in parts, cut where two are further apart."""
    begin = 0
    for at, (one, other) in enumerate(itertools.pairwise(points), start=1):
        if other.at_s - one.at_s > longest_s:
            yield points[begin:at]
            begin = at
    yield points[begin:]


def strip_of_bars(
    title: str,
    heights: Sequence[tuple[float, float]],
    widths_s: Iterable[float],
    long_s: float,
    highest: float | None = None,
) -> Row:
    """A strip with a bar for each part of the time in which something was: its begin and height."""
    top = max((height for _, height in heights), default=0.0) if highest is None else highest
    bars = [
        {
            "x": f"{_x(at_s, long_s):.1f}",
            "w": f"{max(_NARROWEST, _x(at_s + wide_s, long_s) - _x(at_s, long_s)):.1f}",
            "y": f"{_STRIP * (1 - height / top):.1f}",
            "h": f"{_STRIP * height / top:.1f}",
        }
        for (at_s, height), wide_s in zip(heights, widths_s, strict=False)
    ]
    if not bars:
        title, top = f"{title}: none", 100.0 if highest is None else highest
    return {"title": title, "low": "0", "high": f"{top:.4g}", "lines": [], "bars": bars}
