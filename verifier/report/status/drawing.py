"""What the status page draws: its map of sites and links, and the level lines of each end.

Lengths are in units of the drawing, which is `WIDTH` wide however large it is shown.

Names are placed twice, for screens and for phones, each where it meets neither another name nor a
mark; names that find no room are counted below.
"""

from __future__ import annotations

import itertools
import math
import unicodedata
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final

from markupsafe import Markup

from verifier.model.health import STATES, State
from verifier.model.history import Sample
from verifier.model.status import CHANGES_S, LevelLine, MapNode, Status
from verifier.report.style import plain
from verifier.rules.status.open_faults import weight

WIDTH: Final = 1000
_SIDE, _EDGE = 46, 34
"""Left and right, above and below what is drawn: room for half a name, and for a line of one."""
_SIZES: Final = ((40, 14), (150, 8), (math.inf, 5))
"""Radius of a place's mark, by how many there are at most."""
_WIDE_FEW, _WIDE, _NARROW = 25.0, 17.0, 33.0
"""Size of letters on a screen, of few places and many, and on a phone: there all is a third as
large. The style sheet has the same."""
_LONGEST: Final = 26
_PER_LETTER: Final = 0.56
"""Mean width of a letter by its size (sans-serif faces)."""
_BETWEEN: Final = 16.0
"""Between two links of the same two places."""
_CELL: Final = 60.0
LEVEL_WIDTH: Final = 120
LEVEL_HEIGHT: Final = 24
_LEVEL_EDGE: Final = 3
_NARROWEST_DB: Final = 6.0
"""Less is not drawn larger: a level that stands still is a flat line."""
_HOUR_S: Final = 3600.0
_GAP: Final = 1.6
"""Of the longer of an hour and the interval: without a level for so long the line is broken."""

Row = dict[str, Any]
Box = tuple[float, float, float, float]


def drawing(status: Status) -> Row:
    """What the template draws; empty `map_nodes` where the plan has none."""
    layout = status.layout
    high = (WIDTH - 2 * _SIDE) * layout.height
    spots = [(_SIDE + (WIDTH - 2 * _SIDE) * p.x, _EDGE + high * p.y) for p in layout.points]
    radius = next(r for most, r in _SIZES if len(spots) <= most)
    few = len(spots) <= _SIZES[0][0]
    order = sorted(range(len(spots)), key=lambda n: weight(status.map_nodes[n].state), reverse=True)
    labels = {
        name: _labels(status, spots, radius, size)
        for name, size in (("wide", _WIDE_FEW if few else _WIDE), ("narrow", _NARROW))
    }
    left_out = {name: len(spots) - len(made) for name, made in labels.items()}
    return {
        "width": WIDTH,
        "height": round(high + 2 * _EDGE),
        "by": layout.by,
        "radius": radius,
        "few": few,
        "lines": list(_lines(status, spots)),
        "map_nodes": [_map_node(status.map_nodes[n], spots[n]) for n in order],
        "labels": labels,
        "left_out": left_out,
    }


def name_of(node: MapNode) -> str:
    """What a place is called."""
    return node.subject.name or "without a site"


def by_state(states: Iterable[State | None]) -> str:
    """`3 silent, 1 untested`, the worst first; empty where none is known."""
    counts = Counter(states)
    return ", ".join(f"{counts[state]} {state}" for state in STATES if counts[state])


def _map_node(node: MapNode, spot: tuple[float, float]) -> Row:
    subjects = by_state(u.state for u in node.devices) or "nothing in this sweep"
    return {
        "x": round(spot[0]),
        "y": round(spot[1]),
        "state": node.state or "absent",
        "title": f"{name_of(node)}: {subjects}",
    }


# --- links -------------------------------------------------------------------------------------


def _lines(status: Status, spots: Sequence[tuple[float, float]]) -> Iterator[Row]:
    """Each link as a path; several between two places bend apart. The worst are drawn last."""
    beside: dict[frozenset[int], int] = Counter(frozenset((s.a, s.b)) for s in status.lines)
    drawn: dict[frozenset[int], int] = defaultdict(int)
    for line in sorted(status.lines, key=lambda s: -STATES.index(s.state)):
        pair = frozenset((line.a, line.b))
        away = (drawn[pair] - (beside[pair] - 1) / 2) * _BETWEEN
        drawn[pair] += 1
        path, (x, y) = _path(spots[min(pair)], spots[max(pair)], away)
        yield {
            "state": line.state,
            "path": Markup(path),  # noqa: S704 - numbers of ours
            "x": round(x),
            "y": round(y),
            "title": f"{line.name}: {line.state}",
        }


def _path(
    a: tuple[float, float], b: tuple[float, float], away: float
) -> tuple[str, tuple[float, float]]:
    """A path and its middle, `away` from the straight line there."""
    middle = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
    begin = f"M{a[0]:.0f} {a[1]:.0f}"
    if not away:
        return f"{begin}L{b[0]:.0f} {b[1]:.0f}", middle
    long = math.dist(a, b) or 1.0
    across = (b[1] - a[1]) / long * away, (a[0] - b[0]) / long * away
    bend = middle[0] + 2 * across[0], middle[1] + 2 * across[1]
    path = f"{begin}Q{bend[0]:.0f} {bend[1]:.0f} {b[0]:.0f} {b[1]:.0f}"
    return path, (middle[0] + across[0], middle[1] + across[1])


# --- names -------------------------------------------------------------------------------------


class _Room:
    """Boxes that are taken, found by the cells they lie in."""

    def __init__(self) -> None:
        self._cells: dict[tuple[int, int], list[Box]] = defaultdict(list)

    def take(self, box: Box) -> None:
        for cell in _cells(box):
            self._cells[cell].append(box)

    def free(self, box: Box) -> bool:
        return not any(
            box[0] < other[2] and other[0] < box[2] and box[1] < other[3] and other[1] < box[3]
            for cell in _cells(box)
            for other in self._cells.get(cell, ())
        )


def _cells(box: Box) -> Iterator[tuple[int, int]]:
    left, top, right, bottom = (math.floor(edge / _CELL) for edge in box)
    return itertools.product(range(left, right + 1), range(top, bottom + 1))


def _labels(
    status: Status, spots: Sequence[tuple[float, float]], radius: int, size: float
) -> list[Row]:
    """Names that fit, the worst places' first, then those with most links."""
    room, bottom = _Room(), 2 * _EDGE + (WIDTH - 2 * _SIDE) * status.layout.height
    for x, y in spots:
        room.take((x - radius, y - radius, x + radius, y + radius))
    links = Counter(n for line in status.lines for n in (line.a, line.b))
    order = sorted(
        range(len(spots)), key=lambda n: (weight(status.map_nodes[n].state), -links[n], n)
    )
    made = []
    for number in order:
        text = _label(status.map_nodes[number])
        wide = size * _PER_LETTER * sum(map(_letters, text))
        for anchor, x, y, box in _around(spots[number], radius, wide, size):
            inside = box[0] >= 0 and box[2] <= WIDTH and box[1] >= 0 and box[3] <= bottom
            if inside and room.free(box):
                room.take(box)
                state = status.map_nodes[number].state or "absent"
                made.append(
                    {"x": round(x), "y": round(y), "anchor": anchor, "text": text, "state": state}
                )
                break
    return made


def _around(
    spot: tuple[float, float], radius: int, wide: float, size: float
) -> Iterator[tuple[str, float, float, Box]]:
    """Where a name may stand beside its place: anchor, its point on the base line, its box."""
    x, y = spot
    below, above, beside = y + radius + size, y - radius - size * 0.35, y + size * 0.35
    for anchor, left, base in (
        ("middle", x - wide / 2, below),
        ("middle", x - wide / 2, above),
        ("start", x + radius + 5, beside),
        ("end", x - radius - 5 - wide, beside),
    ):
        at = {"start": left, "middle": x, "end": left + wide}[anchor]
        yield anchor, at, base, (left, base - size * 0.85, left + wide, base + size * 0.25)


def _label(node: MapNode) -> str:
    """Its name; where some of several devices are not sound, how many of how many."""
    shown = _short(name_of(node))
    unwell = sum(subject.state != "sound" for subject in node.devices)
    return f"{shown} {unwell}/{len(node.devices)}" if unwell and len(node.devices) > 1 else shown


def _short(name: str) -> str:
    shown = plain(name)
    return shown if len(shown) <= _LONGEST else f"{shown[: _LONGEST - 1].rstrip()}…"


def _letters(letter: str) -> float:
    """How many mean letters wide it is."""
    if unicodedata.east_asian_width(letter) in "WF":
        return 1.8
    return 1.3 if letter.isupper() or letter in "mw@%" else 1.0


# --- level lines -------------------------------------------------------------------------------


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
        return round(LEVEL_WIDTH * min(1.0, max(0.0, 1 - (self._now_s - at_s) / CHANGES_S)))

    def y(self, dbm: float) -> int:
        return _LEVEL_EDGE + round(
            (LEVEL_HEIGHT - 2 * _LEVEL_EDGE) * (self._high - dbm) / (self._high - self._low)
        )

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
            highs[x] = min(highs.get(x, LEVEL_HEIGHT), self.y(s.high))
        if lows == highs:
            return ""
        if len(lows) == 1:
            ((x, low),) = lows.items()
            return f"M{x} {low}V{highs[x]}h1V{low}Z"
        around = [*lows.items(), *reversed(highs.items())]
        return "M" + "L".join(f"{x} {y}" for x, y in around) + "Z"
