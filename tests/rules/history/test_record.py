"""Outages and level deviations by hand; the sums by chance."""

from __future__ import annotations

import dataclasses
import statistics
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.store.examples import HOP, RADIO, START_S, change
from verifier.model.history import Baseline, Period, Sample, Spell, SubjectPast
from verifier.model.plan import Carrier, End, Link, Plan
from verifier.model.problem import Subject
from verifier.rules.health.follow import outages
from verifier.rules.history.deviation import level_deviations
from verifier.rules.history.record import availability, points


def past(**more: Any) -> SubjectPast:
    empty: dict[str, Any] = {
        "first_s": START_S, "time_s": {}, "answered_s": 0.0, "unanswered_s": 0.0, "raw_s": START_S,
        "levels": {}, "level_hours": {}, "errors": {},
    }  # fmt: skip
    return SubjectPast(subject=more.pop("subject", RADIO), **{**empty, **more})


def spells(pattern: str, each_s: float = 300.0) -> tuple[Spell, ...]:
    """`+` answered, `-` not, `?` untested, a blank: no sweep."""
    meaning = {"+": True, "-": False, "?": None}
    return tuple(
        Spell(START_S + n * each_s, each_s, meaning[c]) for n, c in enumerate(pattern) if c != " "
    )


@pytest.mark.parametrize(
    ("pattern", "lengths", "untested", "open_"),
    [
        ("++++", [], [], False),
        ("+--+", [600], [0], False),
        ("--", [600], [0], True),
        ("+-+-+", [300, 300], [0, 0], False),
        ("+-?-+", [600], [300], False),
        ("+-  -+", [600], [600], False),
        ("+-??", [300], [600], True),
        ("??", [], [], False),
    ],
)
def test_outages(pattern: str, lengths: list[float], untested: list[float], open_: bool) -> None:  # noqa: FBT001
    """From the first sweep without an answer to the first with one; what is not known is apart."""
    found = outages(past(spells=spells(pattern)), START_S, START_S + 300.0 * len(pattern))
    assert [o.length_s for o in found] == lengths
    assert [o.untested_s for o in found] == untested
    assert [o.end is None for o in found[-1:]] == ([open_] if found else [])


@given(st.text("+-? ", max_size=60))
def test_lengths_are_the_unanswered_time(pattern: str) -> None:
    """Whatever the order, the outages together are as long as the sweeps without an answer."""
    found = outages(past(spells=spells(pattern)), START_S, START_S + 300.0 * len(pattern))
    assert sum(o.length_s for o in found) == 300.0 * pattern.count("-")
    assert all(a.end is not None and a.end <= b.start for a, b in zip(found, found[1:]))  # noqa: B905, RUF007


def test_changes_before_the_period() -> None:
    """A device that was silent when the period began is so from its first moment."""
    raw_s = START_S + 7200.0
    silent = change(at_s=START_S - 5000.0)
    (outage,) = outages(past(raw_s=raw_s, changes=(silent,)), START_S, START_S + 9000.0)
    assert (outage.length_s, outage.start) == (7200.0, "2026-11-24T06:00:00Z")
    assert outage.end == "2026-11-24T08:00:00Z", "since then every sweep had its answer"


def test_outages_of_changes_are_told_from_those_of_sweeps() -> None:
    """By what each is known; a clock that was set back makes no outage end before its begin."""
    changes = (change(at_s=START_S + 100.0), change(after="sound", at_s=START_S + 700.0),
               change(at_s=START_S + 1000.0))  # fmt: skip
    seen = past(raw_s=START_S + 2000.0, changes=changes,
                spells=tuple(dataclasses.replace(s, at_s=s.at_s + 2000.0) for s in spells("-+-")))  # fmt: skip
    found = outages(seen, START_S, START_S + 2900.0)
    assert [(o.by, o.length_s, o.untested_s) for o in found] == [
        ("changes", 600.0, 0.0), ("changes", 1300.0, 0.0), ("sweeps", 300.0, 0.0),
    ]  # fmt: skip
    back = (Spell(START_S, 300.0, answered=False), Spell(START_S - 900.0, 300.0, answered=True))
    (one,) = outages(past(spells=back), START_S, START_S + 600.0)
    assert (one.start, one.end, one.untested_s) == (
        "2026-11-24T06:00:00Z",
        "2026-11-24T06:05:00Z",
        0.0,
    )


def test_changes_outside_the_period_are_left_out() -> None:
    """What ended before its begin; what began before it counts from its begin."""
    changes = (change(at_s=START_S - 900.0), change(after="sound", at_s=START_S - 600.0),
               change(at_s=START_S - 300.0), change(after="sound", at_s=START_S + 60.0))  # fmt: skip
    (one,) = outages(past(raw_s=START_S + 300.0, changes=changes), START_S, START_S + 600.0)
    assert (one.start, one.end, one.length_s) == (
        "2026-11-24T06:00:00Z",
        "2026-11-24T06:01:00Z",
        60.0,
    )


def test_availability_leaves_out_what_was_not_tested() -> None:
    """90 of 100 tested seconds is 90 %, however much more was not tested."""
    made = availability(90.0, 10.0, 1000.0)
    assert (made.available_pct, made.untested_s) == (90.0, 900.0)
    assert availability(0.0, 0.0, 10.0).available_pct is None


@given(st.lists(st.tuples(st.floats(0, 86_400), st.floats(-90, -20)), min_size=1, max_size=300))
def test_points_lose_no_extreme(values: list[tuple[float, float]]) -> None:
    """The lowest and highest of all samples are in the course of time; it is in order and short."""
    period = Period(
        start_s=START_S, end_s=START_S + 86_400, sweeps=1, skipped=0, resolution="sweep"
    )
    made = points([Sample(START_S + t, v, v, v) for t, v in values], period)
    assert min(p.low for p in made) == min(v for _, v in values)
    assert max(p.high for p in made) == max(v for _, v in values)
    assert [p.after_s for p in made] == sorted({p.after_s for p in made})
    assert len(made) <= 121


def link_plan(**end: Any) -> Plan:
    carrier = Carrier(a=End(device="a", **end), b=End(device="b"))
    return Plan(links=(Link(name="Hop 1", carriers=(carrier,)),))


def hour(low: float, high: float, n: int = 12) -> Sample:
    return Sample(START_S, low, (low + high) / 2, high, n)


THEN = Baseline(started="t", plan="p", levels_dbm={("Hop 1", 1, "a"): -45.0})
STILL = [hour(-48.7, -48.3), hour(-48.5, -48.1), hour(-49.0, -48.4)]
RAIN = [hour(-70.0, -49.0)] * 20


@pytest.mark.parametrize(
    ("hours", "limit", "away", "beyond", "reason"),
    [
        (STILL, None, -3.5, True, ""),
        (STILL, 4.0, -3.5, False, ""),
        ([*RAIN, *STILL], None, -3.5, True, ""),
        ([*[hour(-45, -45)] * 600, *STILL * 8], None, -3.5, True, ""),
        ([*RAIN, *STILL[:2]], None, None, None, "only 2 of 22 hours were dry; 3 are needed"),
        ([hour(-45, -45, 1)] * 9, None, None, None, "no hour has 3 readings: sweep more often"),
        ([], None, None, None, "no level was read in this period"),
    ],
)
def test_deviation(hours, limit, away, beyond, reason) -> None:
    """Rain does not count, nor what was a month ago; with too few dry hours nothing is claimed; the plan's limit is used."""
    seen = past(subject=HOP, level_hours={(1, "a"): tuple(hours)})
    (made,) = level_deviations(link_plan(rx_level_tolerance_db=limit), seen, THEN)
    assert (made.deviation_db, made.beyond, made.reason) == (
        None if away is None else pytest.approx(away), beyond, reason,
    )  # fmt: skip
    if away is not None:
        assert made.now_dbm == statistics.median(h.middle for h in STILL)


@pytest.mark.parametrize(
    ("hours", "reason"),
    [
        ([hour(-45.0, -44.0)] * 3, ""),
        (
            [*[hour(-45.0, -44.0)] * 2, hour(-45.0, -43.9)],
            "only 2 of 3 hours were dry; 3 are needed",
        ),
        ([hour(-45.0, -45.0, 3)] * 3, ""),
        ([hour(-45.0, -45.0, 2)] * 3, "no hour has 3 readings: sweep more often"),
    ],
    ids=["still within 1 dB", "moved by more", "three readings", "two readings"],
)
def test_a_dry_hour(hours: list[Sample], reason: str) -> None:
    """Its level stood still within 1 dB, in at least three readings; three such hours are a level."""
    seen = past(subject=HOP, level_hours={(1, "a"): tuple(hours)})
    (made,) = level_deviations(link_plan(), seen, THEN)
    assert (made.reason, made.now_dbm is None) == (reason, bool(reason))


def test_the_level_of_now_is_of_the_newest_24_dry_hours() -> None:
    """One hour more, or one less, would shift the median to one side."""
    hours = [hour(level, level) for level in (-44.0, *[-44.0, -46.0] * 12)]
    seen = past(subject=HOP, level_hours={(1, "a"): tuple(hours)})
    (made,) = level_deviations(link_plan(), seen, THEN)
    assert (made.now_dbm, made.dry_hours) == (-45.0, 24)


@pytest.mark.parametrize(("level", "beyond"), [(-48.0, False), (-48.1, True), (-42.0, False)])
def test_without_a_tolerance_3_db_are_allowed(level: float, beyond: bool) -> None:  # noqa: FBT001
    seen = past(subject=HOP, level_hours={(1, "a"): (hour(level, level),) * 3})
    (made,) = level_deviations(link_plan(), seen, THEN)
    assert (made.beyond, made.limit_db) == (beyond, 3.0)


def test_an_end_without_a_level_at_handover() -> None:
    """Is said; without a baseline there is no deviation at all."""
    seen = past(subject=HOP, level_hours={(1, "b"): tuple(STILL)})
    found = list(level_deviations(link_plan(), seen, THEN))
    assert [(d.end, d.reason) for d in found] == [
        ("a", "no level was read in this period"),
        ("b", "the handover has no level of this end"),
    ]
    assert list(level_deviations(link_plan(), seen, None)) == []


def test_a_device_called_like_a_link_has_no_deviation() -> None:
    """Names are unique within their kind only."""
    assert (
        list(level_deviations(link_plan(), past(subject=Subject("device", HOP.name)), THEN)) == []
    )


@given(st.floats(0.001, 4e7))
def test_who_always_answered_was_available_all_the_time(answered_s: float) -> None:
    """Exactly: a figure that is cut, not rounded, would show 99.999 otherwise."""
    assert availability(answered_s, 0.0, answered_s).available_pct == 100.0
