"""Figures of a series of echoes against published values."""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.rules.compare.echo import echo_stats, jitter_ms, percentile_ms

RFC_2681_STREAM = (100.0, 110.0, None, 90.0, 500.0)
"""Sample of five round-trip times of RFC 2681 section 4 (from memory), one undefined."""

rtts = st.lists(st.none() | st.floats(0.001, 60_000), min_size=1, max_size=200)


@pytest.mark.parametrize(
    ("received", "expected"),
    [(2, 1.0), (3, 1.9375), (4, 2.81640625), (5, 3.640380859375)],
)
def test_jitter_of_a_constant_difference_of_16(received: int, expected: float) -> None:
    """J_n = 16 (1 - (15/16)^n), derived from RFC 3550 6.4.1; each step is exact in binary."""
    series = [float(100 + 16 * (n % 2)) for n in range(received)]
    assert jitter_ms(series) == expected


def test_jitter_does_not_count_a_steady_delay() -> None:
    """Equal round-trip times differ by nothing."""
    assert jitter_ms([250.0] * 50) == 0.0


def test_jitter_passes_over_losses() -> None:
    """A lost echo has no delay: its neighbours follow each other."""
    assert jitter_ms([100.0, None, None, 116.0, None, 100.0]) == jitter_ms([100.0, 116.0, 100.0])


@pytest.mark.parametrize("series", [(), (1.0,), (None, None), (None, 4.0, None)])
def test_jitter_needs_two_replies(series: Sequence[float | None]) -> None:
    """With fewer there is no difference, which is not the same as no jitter."""
    assert jitter_ms(series) is None


def test_loss_of_one_in_five() -> None:
    """RFC 7680 section 4.1 (from memory): losses 0, 0, 1, 0, 0 have the average 0.2."""
    assert echo_stats((1.0, 1.0, None, 1.0, 1.0)).loss_pct == 20.0


def test_sample_stream_of_rfc_2681() -> None:
    """RFC 2681 sections 4.1 to 4.3 (from memory): 50th percentile 110 ms, minimum 90 ms."""
    assert percentile_ms(RFC_2681_STREAM, 50) == 110.0
    assert echo_stats(RFC_2681_STREAM).min_ms == 90.0


def test_a_loss_is_an_infinite_time_in_a_percentile() -> None:
    """RFC 2681 section 4.1 (from memory): undefined is treated as infinitely large."""
    assert percentile_ms(RFC_2681_STREAM, 80) == 500.0
    assert percentile_ms(RFC_2681_STREAM, 81) == math.inf


@pytest.mark.parametrize(("series", "percent"), [((), 50), ((1.0,), 0), ((1.0,), 100.5)])
def test_percentile_that_does_not_exist(series: Sequence[float | None], percent: float) -> None:
    """It is refused instead of invented."""
    with pytest.raises(ValueError, match="no percentile"):
        percentile_ms(series, percent)


def test_times_are_of_the_received_echoes() -> None:
    """Median of four: the mean of the two in the middle (RFC 2681 section 4.2, from memory)."""
    stats = echo_stats(RFC_2681_STREAM)
    assert (stats.sent, stats.received) == (5, 4)
    assert (stats.min_ms, stats.average_ms, stats.median_ms, stats.max_ms) == (90, 200, 105, 500)


def test_nothing_received() -> None:
    """All lost is a measurement: loss 100 %, no finite time, no jitter."""
    stats = echo_stats((None, None, None))
    assert (stats.received, stats.loss_pct, stats.min_ms) == (0, 100.0, math.inf)
    assert stats.jitter_ms is None


def test_nothing_sent_has_no_figures() -> None:
    """No echo sent is never "0 % loss"."""
    with pytest.raises(ValueError, match="nothing was measured"):
        echo_stats(())


@given(rtts)
def test_figures_agree_with_the_statistics_library(series: Sequence[float | None]) -> None:
    """Against plain recounting."""
    stats = echo_stats(series)
    received = [r for r in series if r is not None]
    assert stats.received == len(received)
    assert math.isclose(stats.loss_pct, 100 * (1 - len(received) / len(series)), abs_tol=1e-9)
    if received:
        assert stats.min_ms <= stats.median_ms <= stats.max_ms
        assert math.isclose(stats.average_ms, statistics.mean(received))


@given(rtts)
def test_jitter_is_never_more_than_the_largest_difference(series: Sequence[float | None]) -> None:
    """It is a running mean of differences that began at 0."""
    received = [r for r in series if r is not None]
    if (jitter := jitter_ms(series)) is not None:
        steps = itertools.pairwise(received)
        assert 0 <= jitter <= max(abs(b - a) for a, b in steps) * (1 + 1e-12)


@given(rtts, st.floats(0.1, 100))
def test_percentile_has_enough_at_or_below_it(
    series: Sequence[float | None], percent: float
) -> None:
    """RFC 2330 11.3: the smallest x with F(x) >= p, F counted over all sent."""
    x = percentile_ms(series, percent)
    values = [math.inf if r is None else r for r in series]
    wanted = len(values) * percent / 100
    assert sum(v <= x for v in values) >= wanted * (1 - 1e-12)
    assert sum(v < x for v in values) < wanted
