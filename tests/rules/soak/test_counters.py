"""Counters: what two samples prove. Wraps by the figures of RFC 2863 3.1.6 and RFC 2578 7.1.8."""

from __future__ import annotations

import random
from typing import Any

import pytest

from verifier.rules.soak.counters import (
    NO_SIGNAL,
    DeviceTally,
    grown_32,
    grown_64,
    restarted,
    wrap_s,
)

TOP = 2**32
DAY = 86400 * 100


@pytest.mark.parametrize(
    ("mbps", "minutes"),
    [(10, 57.0), (16, 36.0), (45, 12.0), (100, 5.7), (1000, 34 / 60)],
)
def test_octets_wrap_when_rfc_2863_says(mbps: int, minutes: float) -> None:
    """RFC 2863 3.1.6: 57 min at 10 Mb/s, 36 at 16, 12 at 45 (T3), 5.7 at 100, 34 s at 1 Gb/s."""
    assert wrap_s(mbps * 1e6, octets=True) / 60 == pytest.approx(minutes, rel=0.07)


def test_packets_wrap_when_rfc_2863_says() -> None:
    """RFC 2863 3.1.6 (4): 64-byte packets at 650 Mb/s, about 57 minutes; its sum leaves the gap out."""
    assert wrap_s(650e6, octets=False) / 60 == pytest.approx(57, rel=0.33)
    assert wrap_s(650e6, octets=False) * 512 / 672 / 60 == pytest.approx(56.4, abs=0.1)


GROWTHS: dict[str, tuple[int, int, float, float | None, bool, int | None]] = {
    "up": (100, 130, 10, 1e9, False, 30),
    "same": (100, 100, 10, 1e9, False, 0),
    "one wrap of octets in 10 s at 1 Gb/s": (TOP - 1000, 500, 10, 1e9, True, 1500),
    "octets over 35 s at 1 Gb/s may have wrapped twice": (100, 130, 35, 1e9, True, None),
    "octets over 33 s at 1 Gb/s cannot": (100, 130, 33, 1e9, True, 30),
    "octets at 10 Mb/s over 57 min": (100, 130, 57 * 60, 1e7, True, 30),
    "octets at 10 Mb/s over 58 min": (100, 130, 58 * 60, 1e7, True, None),
    "errors wrap once": (TOP - 1, 1, 10, 1e9, False, 2),
    "errors fell by more than a wrap explains": (5000, 0, 10, 1e9, False, None),
    "errors unread for an hour at 1 Gb/s": (0, 3, 3600, 1e9, False, None),
    "errors unread for 40 min at 1 Gb/s": (0, 3, 2400, 1e9, False, 3),
    "fell without a speed": (TOP - 1, 1, 10, None, False, None),
    "rose without a speed": (1, 4, 10, None, False, 3),
}


@pytest.mark.parametrize("case", GROWTHS.values(), ids=list(GROWTHS))
def test_growth_of_32_bits(case: tuple[int, int, float, float | None, bool, int | None]) -> None:
    """One provable wrap at most; else nothing is said."""
    before, after, interval_s, speed_bps, octets, grown = case
    assert grown_32(before, after, interval_s, speed_bps, octets=octets) == grown


def test_64_bits_never_wrap() -> None:
    """A Counter64 that fell was set back."""
    assert grown_64(TOP * 5, TOP * 5 + 7) == 7
    assert grown_64(7, 6) is None


RESTARTS: dict[str, tuple[int, int, float, bool]] = {
    "goes on": (100 * DAY, 100 * DAY + 1000, 10, False),
    "began anew": (100 * DAY, 300, 10, True),
    "began anew and is up longer than before": (200, 3000, 60, True),
    "wraps after 497 d 2 h 27 m 52.96 s": (TOP - 500, 500, 10, False),
    "began anew just before it would have wrapped": (TOP - 10 * DAY, 500, 10, True),
    "its clock runs 1 % fast over an hour": (DAY, DAY + 363_600, 3600, False),
    "answered 4 s late": (DAY, DAY + 1400, 10, False),
}


@pytest.mark.parametrize("case", RESTARTS.values(), ids=list(RESTARTS))
def test_restart_by_uptime(case: tuple[int, int, float, bool]) -> None:
    """The 497-day wrap of TimeTicks (RFC 2578 7.1.8) is no restart."""
    before, after, elapsed_s, expected = case
    assert restarted(before, after, elapsed_s) is expected


def test_wrap_of_ticks_is_497_days() -> None:
    """497 d 2 h 27 m 52.96 s."""
    assert TOP == ((497 * 24 + 2) * 60 + 27) * 6000 + 5296


def tally(rows: list[dict[str, Any]], every_s: float = 10.0, mbps: float = 1000) -> DeviceTally:
    made = DeviceTally()
    for number, row in enumerate(rows):
        uptime = {"sysUpTime": DAY + round(number * every_s * 100)}
        made.take(number * every_s, {**uptime, **row}, {"eth1": mbps})
    return made


def test_errors_add_up_over_a_wrap() -> None:
    """Samples in between make each step provable."""
    seen = tally([{"ifInErrors eth1": v} for v in (TOP - 3, TOP - 1, 2, 2, 9)])
    assert seen.counters["eth1", "ifInErrors"].grown == 12
    assert not seen.counters["eth1", "ifInErrors"].invalid


def test_wide_counter_counts_where_it_exists() -> None:
    """The 64-bit one is taken under the name of what it counts."""
    seen = tally([{"ifHCInOctets eth1": TOP * 9 + v} for v in (0, TOP * 3)], mbps=1e6)
    assert seen.counters["eth1", "ifInOctets"].grown == TOP * 3


@pytest.mark.parametrize("first", ["narrow", "wide"])
def test_both_widths_in_the_first_sample_count_once(first: str) -> None:
    """It asks for both, to learn which there are; the device counted on between the two readings."""
    begin, name = TOP * 7 + 1000, "ifInOctets eth1"
    both = {name: (begin - 30) % TOP, "ifHCInOctets eth1": begin}
    order = sorted(both, reverse=first == "narrow")
    rows: list[dict[str, Any]] = [{n: both[n] for n in order}]
    seen = tally([*rows, {"ifHCInOctets eth1": begin + 500}, {"ifHCInOctets eth1": begin + 900}])
    counter = seen.counters["eth1", "ifInOctets"]
    assert (counter.grown, counter.invalid, counter.seen) == (900, "", 3)


def test_a_wide_counter_that_answers_later_goes_on_from_the_narrow_one() -> None:
    """Its low 32 bits are the narrow one (RFC 2863 3.1.6); its high word is no growth."""
    rows: list[dict[str, Any]] = [
        {"ifInUcastPkts eth1": TOP - 10, "ifHCInUcastPkts eth1": None},
        {"ifHCInUcastPkts eth1": TOP * 8 + 5},
    ]
    assert tally(rows).counters["eth1", "ifInUcastPkts"].grown == 15


def test_restart_invalidates_counters() -> None:
    """SysUpTime fell: what was counted before is gone, whatever the counters say."""
    rows: list[dict[str, Any]] = [{"ifInErrors eth1": 5}, {"ifInErrors eth1": 6}]
    seen = tally([*rows, {"sysUpTime": 100, "ifInErrors eth1": 7}])
    assert seen.restarts == [20.0]
    assert "started again" in seen.counters["eth1", "ifInErrors"].invalid


def test_discontinuity_invalidates_its_port_only() -> None:
    """Its ifCounterDiscontinuityTime changed (RFC 2863)."""
    rows: list[dict[str, Any]] = [
        {"ifInErrors eth1": 1, "ifInErrors eth2": 1, "ifCounterDiscontinuityTime eth1": t}
        for t in (0, 0, 55)
    ]
    seen = tally(rows)
    assert "discontinuity" in seen.counters["eth1", "ifInErrors"].invalid
    assert not seen.counters["eth2", "ifInErrors"].invalid


def test_boots_tell_a_restart_that_uptime_hides() -> None:
    """Two restarts between two samples; the uptime alone would tell one."""
    seen = tally([{"snmpEngineBoots": 3}, {"snmpEngineBoots": 5}])
    assert len(seen.restarts) == 2


def test_agent_restart_is_told_from_the_systems() -> None:
    """Its hrSystemUptime went on: only the agent started again."""
    rows: list[dict[str, Any]] = [
        {"sysUpTime": DAY, "hrSystemUptime": 9 * DAY},
        {"sysUpTime": 20, "hrSystemUptime": 9 * DAY + 1000},
    ]
    assert tally(rows).agent_only
    rows[1]["hrSystemUptime"] = 400
    assert not tally(rows).agent_only


def test_a_silent_sample_breaks_nothing() -> None:
    """Null is not zero: the next sample is compared with the last one that came."""
    values = [7, None, None, 9]
    seen = tally([{"sysUpTime": None if v is None else DAY + n * 1000, "ifInErrors eth1": v}
                  for n, v in enumerate(values)])  # fmt: skip
    assert seen.counters["eth1", "ifInErrors"].grown == 2
    assert (seen.rows, seen.answered) == (4, 2)
    assert not seen.restarts


def test_levels_and_bad_seconds() -> None:
    """Lowest and highest, samples without a signal, seconds counted since the first sample."""
    values: list[tuple[Any, Any]] = [(-45.0, 10), (-48.5, 10), (NO_SIGNAL, 12), (-44.0, 15)]
    seen = tally([{"rx_level_dbm": v, "errored_s": s} for v, s in values])
    level, errored = seen.levels["rx_level_dbm"], seen.seconds["errored_s"]
    assert (level.lowest, level.highest, level.no_signal, level.count) == (-48.5, -44.0, 1, 4)
    assert (errored.grown, errored.fell) == (5, False)


def test_random_counters_never_lie() -> None:
    """Whatever a counter really did, what is said of it is true, or nothing is said."""
    dice = random.Random(2863)
    said = 0
    for _ in range(2000):
        speed_bps = dice.choice([1e7, 1e8, 1e9, 1e10])
        interval_s = dice.choice([1, 10, 60, 600, 3600])
        octets = dice.random() < 0.5
        most = speed_bps / (8 if octets else 672) * interval_s
        really = int(dice.random() * most)
        before = dice.randrange(TOP)
        told = grown_32(before, (before + really) % TOP, interval_s, speed_bps, octets=octets)
        assert told in {None, really}
        said += told is not None
    assert said > 1000
