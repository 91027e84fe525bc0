"""What the blocks of a soak come to, against the standard library and sums worked by hand."""

from __future__ import annotations

import dataclasses
import itertools
import random
import statistics
from typing import Any

import pytest

from verifier.model.problem import Subject
from verifier.model.samples import SoakCourse
from verifier.rules.soak.tally import EchoFigures, rows, soaked, title, words
from verifier.rules.soak.trend import trends

DEVICE = Subject("device", "lighthouse-quarry")


def echo(rtt_us: list[int | None], **more: Any) -> Any:
    usual: Any = {
        "kind": "echo", "subject": {"kind": "device", "name": DEVICE.name}, "path": "management",
        "bytes": 84, "at": "2026-11-24T10:00:00.000Z", "start_s": 0.0, "step_s": 1.0,
        "rtt_us": rtt_us, "duplicates": 0, "reordered": 0, "silence": {},
    }  # fmt: skip
    return {**usual, **more}


def figures(*blocks: Any) -> EchoFigures:
    (found,) = soaked(blocks).of(DEVICE)
    return found


@pytest.mark.parametrize("size", [101, 201, 1001])
@pytest.mark.parametrize("seed", range(5))
def test_percentiles_are_the_standard_librarys(size: int, seed: int) -> None:
    """At sizes where every way to define them agrees: `statistics.quantiles`, inclusive."""
    times = [random.Random(seed).randrange(100, 90_000) for _ in range(size)]
    cut = statistics.quantiles(times, n=100, method="inclusive")
    low, mid, high = figures(echo(list(times))).percentiles_ms
    assert low * 1e3 == pytest.approx(cut[49])
    assert mid * 1e3 == pytest.approx(cut[94])
    assert high * 1e3 == pytest.approx(cut[98])
    assert low * 1e3 == pytest.approx(statistics.median(times))


@pytest.mark.parametrize("size", [2, 7, 40, 977])
def test_percentiles_of_any_size_lie_beside_the_librarys(size: int) -> None:
    """The empirical distribution takes one of the two neighbours between which that interpolates."""
    times = sorted(random.Random(size).randrange(100, 90_000) for _ in range(size))
    cut = statistics.quantiles(times, n=100, method="inclusive")
    for mine, theirs in zip(figures(echo(list(times))).percentiles_ms, (cut[49], cut[94], cut[98]),
                            strict=True):  # fmt: skip
        at = times.index(round(mine * 1e3))
        assert times[max(0, at - 1)] <= theirs <= times[min(size - 1, at + 1)]


def test_a_loss_is_later_than_any_time() -> None:
    """RFC 2681 4.1: undefined counts as infinite; its stream of section 4: 110 ms (from memory)."""
    found = figures(echo([100_000, 110_000, None, 90_000, 500_000]))
    assert found.percentiles_ms[0] == 110.0
    assert found.percentiles_ms[2] == float("inf")


def test_loss_is_that_of_rfc_7680() -> None:
    """RFC 7680 4.1, its sample of five with one lost: 0.2 (from memory)."""
    assert figures(echo([1, 1, None, 1, 1])).loss_pct == pytest.approx(20.0)


def test_jitter_by_rfc_3550_a8_worked_by_hand() -> None:
    """|D| = 16 ms each time, J 0 at first: 1, 1.9375, 2.81640625, 3.640380859375 (sum by hand)."""
    steps = (1.0, 1.9375, 2.81640625, 3.640380859375)
    times: list[int | None] = [10_000, 26_000, 10_000, 26_000, 10_000]
    for number, expected in enumerate(steps, start=2):
        assert figures(echo(times[:number])).jitter_ms == pytest.approx(expected, abs=1e-12)


def test_jitter_goes_on_over_blocks_losses_and_what_is_not_counted() -> None:
    """It is one series: the next received one is compared with the last received one."""
    whole = figures(echo([10_000, 26_000, 10_000]))
    parted = figures(echo([10_000, None]), echo([-1, 26_000], start_s=2.0), echo([10_000]))
    assert parted.jitter_ms == whole.jitter_ms


def test_longest_gap_over_a_blocks_edge() -> None:
    """Losses on end are one gap, also from one block into the next; what is not counted ends it."""
    found = figures(
        echo([1, None, 1, 1, None, None]),
        echo([None, 1, None, None, -1, None, None], start_s=6.0),
    )
    assert (found.gap_s, found.gap_at_s) == (3.0, 4.0)
    assert (found.sent, found.lost, found.not_counted) == (12, 8, 1)


def test_sizes_and_targets_are_kept_apart() -> None:
    """Figures by size, the smaller first; another device is another."""
    other = {"kind": "device", "name": "quarry-lighthouse"}
    found = soaked([
        echo([1, None], bytes=1500, duplicates=2, silence={"no reply in time": 1}),
        echo([1, 1]), echo([5], subject=other),
    ])  # fmt: skip
    small, large = found.of(DEVICE)
    assert [f.target.bytes for f in (small, large)] == [84, 1500]
    assert (large.lost, large.duplicates, large.silences) == (1, 2, {"no reply in time": 1})
    assert len(found.echoes) == 3


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0.4, "0.4 s"), (42, "42 s"), (60, "1 min"), (900, "15 min"), (75, "1 min 15 s"),
     (86400, "24 h"), (5400, "1 h 30 min")],
)  # fmt: skip
def test_lengths_of_time(seconds: float, said: str) -> None:
    """As a person says them."""
    assert words(seconds) == said


@pytest.mark.parametrize(
    ("asked_s", "state", "said"),
    [(900, "complete", "short soak of 15 min (24 h is common practice)"),
     (3599, "complete", "short soak of 59 min 59 s (24 h is common practice)"),
     (3600, "complete", "soak of 1 h"), (86400, "unfinished", "soak of 24 h, unfinished")],
)  # fmt: skip
def test_below_an_hour_it_is_called_short(asked_s: float, state: Any, said: str) -> None:
    """The title of a document says so; a soak cut off says that too."""
    assert (
        title(SoakCourse(asked_s=asked_s, lasted_s=0.0, state=state, step_s=None, bytes=())) == said
    )


def test_trend_keeps_extremes_and_losses() -> None:
    """However coarse the picture: the highest time, the lowest level and each loss are in it."""
    times: list[int | None] = [1000] * 3600
    times[1234], times[2000] = 77_000, None
    levels = [-45.0] * 360
    levels[100] = -71.5
    blocks = [
        echo(list(part), start_s=float(n * 60))
        for n, part in enumerate(itertools.batched(times, 60) if hasattr(itertools, "batched")
                                 else [times[i : i + 60] for i in range(0, 3600, 60)])
    ]  # fmt: skip
    values: Any = {
        "kind": "values", "subject": {"kind": "device", "name": DEVICE.name}, "at": "",
        "t_s": [n * 10.0 for n in range(360)], "series": {"rx_level_dbm": levels}, "speeds": {},
    }  # fmt: skip
    (trend,) = trends([*blocks, values], 3600.0)
    assert max(p.high for p in trend.rtt_ms[84]) == 77.0
    assert min(p.low for p in trend.levels_dbm["rx_level_dbm"]) == -71.5
    ((at_s, pct),) = trend.loss_pct
    assert at_s <= 2000 < at_s + trend.part_s
    assert pct == pytest.approx(100 / 15)
    assert dataclasses.is_dataclass(trend)


def test_a_count_that_stands_as_digits_is_a_number() -> None:
    """Beyond 2^53-1 the journal holds digits; other texts stay what they are."""
    block: Any = {
        "kind": "values", "subject": {"kind": "device", "name": "a"}, "t_s": [0.0, 10.0],
        "series": {"ifHCInOctets eth1": [str(2**64 - 9), str(2**64 - 1)], "x": ["123"]}, "speeds": {},
    }  # fmt: skip
    values = [row["ifHCInOctets eth1"] for _, row in rows(block)]
    assert values == [2**64 - 9, 2**64 - 1]
    assert [row["x"] for _, row in rows(block)] == ["123", "123"]
    assert soaked([block]).devices["a"].counters["eth1", "ifInOctets"].grown == 8
