"""Where places are drawn: inside the frame, each for itself, the same every time."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verifier.model.status import Layout
from verifier.rules.status.layout import HIGHEST, LOWEST, Where, layout

NOWHERE: Where = (None, None)
COORDINATES = st.tuples(st.floats(-90.0, 90.0), st.floats(-180.0, 180.0))
ODD = st.sampled_from(
    [NOWHERE, (47.0, None), (math.nan, 1.0), (1.0, math.inf), (0.0, 0.0), (90.0, 180.0)]
)
PLACES: Any = st.lists(st.one_of(COORDINATES, ODD), max_size=40)


def xy(made: Layout) -> list[tuple[float, float]]:
    return [(p.x, p.y) for p in made.points]


@settings(max_examples=150, deadline=None)
@given(places=PLACES, data=st.data())
def test_inside_the_frame_and_apart(places: Sequence[Where], data: st.DataObject) -> None:
    """Whatever the coordinates and links: one point a place, in the frame, no two at one."""
    number = st.integers(0, max(0, len(places) - 1))
    pairs = data.draw(st.lists(st.tuples(number, number), max_size=60 if places else 0))
    entries = data.draw(st.lists(number, max_size=3 if places else 0))
    made = layout(places, pairs, entries)
    assert len(made.points) == len(places)
    assert all(0.0 <= p.x <= 1.0 and 0.0 <= p.y <= 1.0 for p in made.points)
    assert len(set(xy(made))) == len(places)
    assert LOWEST <= made.height <= 2 * HIGHEST
    assert made == layout(places, list(reversed(pairs)), entries)


@pytest.mark.parametrize("count", [2, 40, 500])
def test_places_at_one_point_are_moved_apart(count: int) -> None:
    """As many as there may be: no nearer than a quarter of the mean distance."""
    made = layout([(47.1, -20.2)] * count, ())
    points = [(x, y * made.height) for x, y in xy(made)]
    nearest = min(math.dist(a, b) for a, b in itertools.combinations(points, 2))
    assert nearest >= min(0.03, 0.25 / math.sqrt(count)) - 1e-9
    assert points[0] == pytest.approx((0.5, made.height / 2))


def test_north_is_up_and_east_is_right() -> None:
    """And a degree of longitude is drawn shorter by the cosine of the latitude."""
    south, north, east = xy(layout([(59.0, 0.0), (61.0, 0.0), (59.0, 4.0)], ()))
    assert north[1] < south[1] == east[1]
    assert east[0] > south[0] == north[0]
    made = layout([(59.0, 0.0), (61.0, 0.0), (59.0, 4.0)], ())
    tall, wide = (south[1] - north[1]) * made.height, east[0] - south[0]
    assert wide / tall == pytest.approx(2 * math.cos(math.radians(60.0)))


def test_the_date_line_cuts_nothing() -> None:
    """Two places on both sides of 180 degrees are neighbours, the western one on the left."""
    west, east, far = xy(layout([(10.0, 179.5), (10.0, -179.5), (10.0, 170.0)], ()))
    assert far[0] < west[0] < east[0]
    assert east[0] - west[0] < west[0] - far[0]


def test_one_place_is_in_the_middle() -> None:
    assert xy(layout([(47.0, 8.0)], ())) == [(0.5, 0.5)]
    assert xy(layout([NOWHERE], ())) == [(0.5, 0.5)]


def test_without_coordinates_layers_follow_the_hops() -> None:
    """From where management traffic comes in downwards; what nothing joins is last."""
    made = layout([NOWHERE] * 5, [(2, 0), (0, 1), (1, 3)], [2])
    rows = [y for _, y in xy(made)]
    assert made.by == "layers"
    assert rows[2] < rows[0] < rows[1] < rows[3] < rows[4]


def test_without_an_entry_the_one_with_most_links_is_on_top() -> None:
    rows = [y for _, y in xy(layout([NOWHERE] * 4, [(1, 0), (1, 2), (1, 3)]))]
    assert rows[1] < min(rows[0], rows[2], rows[3])


def test_a_link_along_a_row_runs_through_nobody() -> None:
    """Three of one layer are never on one line."""
    made = layout([NOWHERE] * 8, [(0, n) for n in range(1, 8)], [0])
    row = xy(made)[1:]
    for (ax, ay), (bx, by), (cx, cy) in itertools.combinations(sorted(row), 3):
        assert abs((bx - ax) * (cy - ay) - (cx - ax) * (by - ay)) > 1e-4


def test_places_without_coordinates_are_below_the_others() -> None:
    made = layout([(47.0, 8.0), NOWHERE, (48.0, 9.0), NOWHERE], [(0, 1), (1, 3)])
    assert made.by == "both"
    points = xy(made)
    assert max(points[0][1], points[2][1]) < points[1][1] < points[3][1]
