"""Where the places of a network are drawn: by coordinates, or in layers by hops.

The same places give the same drawing. Coordinates are projected equirectangularly, east-west
shortened by the cosine of the middle latitude: right enough within a region, and north is up.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict, deque
from collections.abc import Collection, Iterator, Sequence
from typing import Final

from verifier.model.status import Layout, MapPoint

LOWEST: Final = 0.42
HIGHEST: Final = 0.8
"""Height of a drawing of width 1: what a screen beside its text has room for."""
_ROW: Final = 0.13
"""Height of one row of a layered drawing, where there are few."""
_IN_ROW: Final = 20
_ARC, _LOWER = 0.3, 0.2
"""Parts of the distance between two rows."""
_GAP: Final = 0.03
_GAP_OF_MANY: Final = 0.25
"""Places nearer than this are moved apart: of `n`, `_GAP_OF_MANY` / √n, at most `_GAP`. Their discs
then cover at most 0.2 of a drawing that is 0.42 high, so that there is always room."""

Where = tuple[float | None, float | None]
"""Latitude and longitude in degrees, where known."""


def layout(
    places: Sequence[Where], joins: Collection[tuple[int, int]], entries: Collection[int] = ()
) -> Layout:
    """A point for each place.

    Args:
        places: latitude and longitude; those without are put in rows by hops, below the others.
        joins: pairs of places that a link or a way of management traffic joins, by number.
        entries: where management traffic comes in; without any the place with most neighbours.
    """
    known = [i for i, where in enumerate(places) if _usable(where)]
    rest = sorted(set(range(len(places))) - set(known))
    if known and not rest:
        map_, height = _map([places[i] for i in known])
        return Layout(tuple(_down(p, height) for p in map_), height, "coordinates")
    rows = _rows(rest, len(places), joins, entries)
    if not known:
        height = min(HIGHEST, max(LOWEST, _ROW * len(rows)))
        points = _in_rows(rows, 0.0, height)
        return Layout(tuple(_down(points[i], height) for i in rest), height, "layers")
    map_, upper = _map([places[i] for i in known])
    height = upper + min(HIGHEST, _ROW * len(rows))
    points = {**dict(zip(known, map_, strict=True)), **_in_rows(rows, upper, height)}
    return Layout(tuple(_down(points[i], height) for i in range(len(places))), height, "both")


def _usable(where: Where) -> bool:
    latitude, longitude = where
    return (
        latitude is not None
        and longitude is not None
        and math.isfinite(latitude)
        and math.isfinite(longitude)
    )


def _down(point: tuple[float, float], height: float) -> MapPoint:
    return MapPoint(point[0], point[1] / height)


# --- by coordinates ----------------------------------------------------------------------------


def _map(places: Sequence[Where]) -> tuple[list[tuple[float, float]], float]:
    """Points from 0 to 1 across and from 0 to the height down; the height."""
    latitudes = [where[0] or 0.0 for where in places]
    longitudes = _unwrapped([where[1] or 0.0 for where in places])
    middle = math.radians((min(latitudes) + max(latitudes)) / 2)
    xs = [longitude * abs(math.cos(middle)) for longitude in longitudes]
    ys = [-latitude for latitude in latitudes]
    wide, tall = max(xs) - min(xs), max(ys) - min(ys)
    height = min(HIGHEST, max(LOWEST, tall / wide if wide > 0 else HIGHEST if tall > 0 else LOWEST))
    scale = min(1 / wide if wide > 0 else math.inf, height / tall if tall > 0 else math.inf)
    scale = scale if math.isfinite(scale) else 0.0
    x_middle, y_middle = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
    points = [
        (0.5 + (x - x_middle) * scale, height / 2 + (y - y_middle) * scale)
        for x, y in zip(xs, ys, strict=True)
    ]
    return _apart(points, height), height


def _unwrapped(longitudes: Sequence[float]) -> list[float]:
    """Longitudes that grow eastward from the widest empty part of the circle: none is cut."""
    turned = sorted({longitude % 360.0 for longitude in longitudes})
    after = [*turned[1:], turned[0] + 360.0]
    widest = max(range(len(turned)), key=lambda i: (after[i] - turned[i], -i))
    first = turned[(widest + 1) % len(turned)]
    return [(longitude % 360.0 - first) % 360.0 for longitude in longitudes]


def _apart(points: Sequence[tuple[float, float]], height: float) -> list[tuple[float, float]]:
    """The points, in their order, each moved to the nearest free spot where it has no room."""
    gap = min(_GAP, _GAP_OF_MANY / math.sqrt(len(points)))
    taken: dict[tuple[int, int], list[tuple[float, float]]] = defaultdict(list)
    reached: dict[tuple[float, float], int] = {}
    placed = []
    for x, y in points:
        start = (min(1.0, max(0.0, x)), min(height, max(0.0, y)))
        rings = _rings(start, gap, height, reached.get(start, 0))
        ring, spot = next((n, s) for n, s in rings if _free(s, gap, taken))
        reached[start] = ring
        taken[_cell(spot, gap)].append(spot)
        placed.append(spot)
    return placed


def _rings(
    start: tuple[float, float], gap: float, height: float, first: int
) -> Iterator[tuple[int, tuple[float, float]]]:
    """Spots around `start` within the frame, ring by ring; at last the inner rings once more."""
    last = math.ceil(2 * math.hypot(1.0, height) / gap) + 1
    for ring in itertools.chain(range(first, last), range(first)):
        for part in range(max(1, 8 * ring)):
            turn = 2 * math.pi * part / max(1, 8 * ring)
            x = start[0] + ring * gap / 2 * math.cos(turn)
            y = start[1] + ring * gap / 2 * math.sin(turn)
            if 0.0 <= x <= 1.0 and 0.0 <= y <= height:
                yield ring, (x, y)


def _cell(spot: tuple[float, float], gap: float) -> tuple[int, int]:
    return int(spot[0] / gap), int(spot[1] / gap)


def _free(
    spot: tuple[float, float], gap: float, taken: dict[tuple[int, int], list[tuple[float, float]]]
) -> bool:
    across, down = _cell(spot, gap)
    return all(
        math.dist(spot, other) >= gap
        for i, j in itertools.product((-1, 0, 1), repeat=2)
        for other in taken.get((across + i, down + j), ())
    )


# --- by layers ---------------------------------------------------------------------------------


def _rows(
    members: Sequence[int],
    count: int,
    joins: Collection[tuple[int, int]],
    entries: Collection[int],
) -> list[list[int]]:
    """Members by their hops from an entry, each layer in one or more rows, ends under ends."""
    beside: dict[int, set[int]] = defaultdict(set)
    for a, b in joins:
        if a != b:
            beside[a].add(b)
            beside[b].add(a)
    hops = _hops(count, beside, sorted(entries))
    layers: dict[int, list[int]] = defaultdict(list)
    for member in members:
        layers[hops.get(member, count)].append(member)
    across: dict[int, float] = {}
    rows: list[list[int]] = []
    for _, layer in sorted(layers.items()):
        ordered = sorted(layer, key=lambda i: (_beneath(beside[i], across), i))
        across |= {i: (n + 0.5) / len(ordered) for n, i in enumerate(ordered)}
        in_row = math.ceil(len(ordered) / math.ceil(len(ordered) / _IN_ROW))
        rows += [ordered[n : n + in_row] for n in range(0, len(ordered), in_row)]
    return rows


def _beneath(neighbours: Collection[int], across: dict[int, float]) -> float:
    """How far across those neighbours stand on average that have been put; the middle if none."""
    known = [across[i] for i in sorted(neighbours) if i in across]
    return sum(known) / len(known) if known else 0.5


def _hops(count: int, beside: dict[int, set[int]], entries: Sequence[int]) -> dict[int, int]:
    """Hops of each place from an entry; a part without one starts where most others join.

    Places that nothing joins have none.
    """
    hops: dict[int, int] = {}
    busiest = sorted(range(count), key=lambda i: (-len(beside[i]), i))
    for starts in (list(entries), *([i] for i in busiest if beside[i])):
        waiting = deque(i for i in starts if i not in hops)
        hops |= dict.fromkeys(waiting, 0)
        while waiting:
            here = waiting.popleft()
            for there in sorted(beside[here]):
                if there not in hops:
                    hops[there] = hops[here] + 1
                    waiting.append(there)
    return hops


def _in_rows(
    rows: Sequence[Sequence[int]], top: float, bottom: float
) -> dict[int, tuple[float, float]]:
    """Rows at equal distances between `top` and `bottom`, each spread over the whole width.

    A row is an arc, every other place a little lower: else a link along it would run through the
    places between its ends.
    """
    step = (bottom - top) / max(1, len(rows))
    found = {}
    for down, row in enumerate(rows):
        for n, member in enumerate(row):
            x = (n + 0.5) / len(row)
            bend = _ARC * (2 * x - 1) ** 2 + _LOWER * (n % 2) - (_ARC + _LOWER) / 2
            found[member] = (x, top + step * (down + 0.5 + (bend if len(row) > 1 else 0.0)))
    return found
