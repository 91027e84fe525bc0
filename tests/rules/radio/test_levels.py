"""Budgets, levels, powers and voltages against published figures and sums worked by hand."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.files.read_profile import load_profiles
from verifier.model.plan import Carrier, End, Link
from verifier.model.profile import AlignmentPort, Mode, Profile
from verifier.rules import radio
from verifier.rules.radio import levels

PROFILE = load_profiles({"hop-radio"})["hop-radio"]

# --- ITU-R P.525 -----------------------------------------------------------------------------

P_525 = [
    # MHz, km, by equation 4 (rounded constant 32.4), by equation 3 (exact)
    (1000, 1, 92.400, 92.448),
    (6175, 50, 142.192, 142.240),
    (7500, 10, 129.901, 129.949),
    (11200, 20, 139.405, 139.453),
    (18700, 10, 137.837, 137.885),
    (22400, 5, 133.384, 133.432),
    (80000, 1, 130.462, 130.510),
]
"""ITU-R P.525 Annex 1, equations 4 and 3, which give no worked example; from memory, recomputed."""


@pytest.mark.parametrize(("mhz", "km", "rounded", "exact"), P_525)
def test_free_space_loss(mhz: float, km: float, rounded: float, exact: float) -> None:
    """Both forms, 0.048 dB apart."""
    assert radio.free_space_loss_db(mhz, km) == pytest.approx(exact, abs=0.001)
    assert 32.4 + 20 * math.log10(mhz) + 20 * math.log10(km) == pytest.approx(rounded, abs=0.001)
    assert radio.free_space_loss_db(mhz, km) == pytest.approx(rounded, abs=0.05)


@given(st.floats(1e-3, 1e6), st.floats(1e-3, 1e5))
def test_twice_as_far_or_twice_the_frequency_is_6_db(mhz: float, km: float) -> None:
    loss = radio.free_space_loss_db(mhz, km)
    assert radio.free_space_loss_db(mhz, 2 * km) - loss == pytest.approx(6.0206, abs=1e-4)
    assert radio.free_space_loss_db(2 * mhz, km) - loss == pytest.approx(6.0206, abs=1e-4)


def test_dish_gain_by_hand() -> None:
    """0.6 m at 13 GHz: lambda 23.061 mm, pi D / lambda 81.74, squared 6681, x 0.6: 36.03 dBi."""
    assert radio.dish_gain_dbi(0.6, 13_000) == pytest.approx(36.03, abs=0.01)
    assert radio.dish_gain_dbi(0.6, 13_000, 0.55) == pytest.approx(35.65, abs=0.01)


DISHES: list[tuple[dict[str, Any], float | None]] = [
    ({"antenna_dbi": 30.0, "antenna_diameter_m": 0.6}, 30.0),
    ({"antenna_diameter_m": 0.6}, 36.03),
    ({"antenna_diameter_m": 0.6, "antenna_efficiency": 0.55}, 35.65),
    ({}, None),
    ({"antenna_diameter_m": 0.0}, None),
    ({"antenna_diameter_m": -1.0}, None),
    ({"antenna_diameter_m": 0.6, "antenna_efficiency": 60.0}, None),
    ({"antenna_diameter_m": math.inf}, None),
]


@pytest.mark.parametrize(("fields", "gain"), DISHES)
def test_gain_is_planned_else_of_the_dish(fields: dict[str, Any], gain: float | None) -> None:
    found = radio.antenna_gain_dbi(End(device="a", **fields), 13_000)
    assert found is None if gain is None else found == pytest.approx(gain, abs=0.01)


def test_budget_by_hand() -> None:
    """12877 MHz, 11.42 km: 135.80 dB; 18 + 36.1 - 135.8 + 36.1 - 0.5 - 1 - 0.3 - 0.2 = -47.6 dBm.

    Losses of the other direction (the far end's receive loss, the near end's transmit loss) are
    not in it.
    """
    far = End(device="b", tx_mhz=12877, tx_power_dbm=18, antenna_dbi=36.1, line_loss_db=0.5,
              tx_loss_db=1.0, rx_loss_db=9.0)  # fmt: skip
    near = End(device="a", antenna_dbi=36.1, rx_loss_db=0.3, tx_loss_db=9.0)
    link = Link(name="Hop 1", carriers=(), gas_loss_db=0.2)
    found = radio.budget(link, far, near, 11.42)
    assert not isinstance(found, str)
    assert found.level_dbm == pytest.approx(-47.6, abs=0.01)
    assert not found.gas_missing
    assert [line.partition(":")[0] for line in found.lines()] == [
        "power", "far antenna", "free space 11.42 km", "near antenna", "far line loss",
        "far transmit loss", "near receive loss", "gas", "sum",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("far", "km", "why"),
    [({"tx_mhz": 13000.0}, 11.0, "power"), ({"tx_power_dbm": 1.0}, 11.0, "frequency"),
     ({"tx_power_dbm": 1.0, "tx_mhz": 13000.0}, 11.0, "gain"),
     ({"tx_power_dbm": 1.0, "tx_mhz": 13000.0}, None, "path"),
     ({"tx_power_dbm": 1.0, "tx_mhz": 13000.0}, 0.0, "path"),
     ({"tx_power_dbm": 1.0, "tx_mhz": -5.0}, 1.0, "path")],
)  # fmt: skip
def test_no_budget_without_its_figures(far: dict[str, Any], km: float | None, why: str) -> None:
    found = radio.budget(Link(name="x", carriers=()), End(device="b", **far), End(device="a"), km)
    assert isinstance(found, str)
    assert why in found


def test_eirp_and_what_it_leaves_for_the_power() -> None:
    """62.1 - 36.1 + 0.3 + 0.2 + 1.5 = 28 dBm may be sent; 28 dBm give 62.1 dBm EIRP."""
    end = End(device="a", antenna_dbi=36.1, line_loss_db=0.3, tx_loss_db=0.2, extra_loss_db=1.5,
              max_eirp_dbm=62.1)  # fmt: skip
    assert radio.power_within_eirp_dbm(end) == pytest.approx(28.0)
    assert radio.eirp_dbm(end, 28.0) == pytest.approx(62.1)
    assert radio.eirp_sum(end, 28.0) == "28 dBm + 36.1 dBi - 2 dB = 62.1 dBm EIRP"
    assert radio.power_within_eirp_dbm(End(device="a", antenna_dbi=30.0)) is None


# --- modes -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("modulation", "width", "threshold", "why"),
    [("256qam", 28, -66.0, ""), ("256-QAM", 28, -66.0, ""), ("256qam", 14, -69.0, ""),
     ("QPSK", 28, -84.0, ""), ("256qam", 40, None, "no mode 256qam at 40 MHz (it has 7, 14, 28, 56"),
     ("256qam", None, None, "the bandwidth is not known"), ("1024qam", 28, None, "no mode 1024qam"),
     (None, 28, None, "no modulation is planned or read")],
)  # fmt: skip
def test_the_mode_of_a_bandwidth_never_the_neighbours(
    modulation: str | None, width: float | None, threshold: float | None, why: str
) -> None:
    found = radio.mode_for(PROFILE, modulation, width)
    if isinstance(found, str):
        assert threshold is None
        assert why in found
    else:
        assert found.threshold_dbm == threshold


def test_a_mode_without_bandwidth_is_of_any_but_its_own_is_preferred() -> None:
    any_width = Mode(modulation="4qam", bits=2, threshold_dbm=-80.0)
    own = Mode(modulation="4qam", bits=2, bandwidth_mhz=28, threshold_dbm=-84.0)
    profile = Profile(id="p", mode=(any_width, own))
    assert radio.mode_for(profile, "4qam", 28) is own
    assert radio.mode_for(profile, "4qam", 7) is any_width
    assert radio.lowest_mode(Profile(id="p"), 28) == "profile 'p' has no mode at 28 MHz"


# --- levels at a stage -----------------------------------------------------------------------

NEAR = End(device="a", rx_level_dbm=-45.6, bench_rx_level_dbm=-42.0, atpc_target_dbm=-50.0)
FAR = End(device="b", tx_power_dbm=18.0, atpc=True, atpc_min_dbm=3.0, atpc_max_dbm=20.0)
EXPECTED: list[tuple[Any, dict[str, Any], dict[str, Any], dict[str, Any], float | str]] = [
    ("bench", {}, {}, {}, -42.0),
    ("bench", {"bench_rx_level_dbm": None}, {}, {}, "no bench_rx_level_dbm"),
    ("alignment", {}, {}, {"far_power_dbm": 26.0}, -37.6),  # 8 dB more power, 8 dB more level
    ("alignment", {}, {}, {"far_power_dbm": 10.0}, -53.6),
    ("alignment", {}, {}, {}, "actual power is not known"),
    ("handover", {}, {"atpc": False}, {}, -45.6),
    ("handover", {}, {}, {"atpc": False}, -45.6),  # as read, not as planned
    ("handover", {}, {}, {}, -50.0),  # the target: -60.6 at 3 dBm, -43.6 at 20 dBm
    ("service", {}, {}, {}, -50.0),
    ("handover", {"atpc_target_dbm": -70.0}, {}, {}, -60.6),  # 3 dBm give -45.6 - 15
    ("handover", {"atpc_target_dbm": -40.0}, {}, {}, -43.6),  # 20 dBm give -45.6 + 2
    ("handover", {"atpc_target_dbm": -40.0}, {"atpc_max_dbm": None}, {}, -45.6),
    ("handover", {"atpc_target_dbm": -70.0}, {"atpc_min_dbm": None}, {}, -70.0),
    ("handover", {"atpc_target_dbm": None}, {}, {"far_power_dbm": 13.0}, -50.6),
    ("handover", {"atpc_target_dbm": None}, {}, {}, "no atpc_target_dbm is planned"),
    ("handover", {"rx_level_dbm": None}, {}, {}, "no receive level is planned"),
    ("alignment", {}, {"tx_power_dbm": None}, {"far_power_dbm": 26.0}, "power is not planned"),
]


@pytest.mark.parametrize(("stage", "near", "far", "given_", "level"), EXPECTED)
def test_expected_level(
    stage: Any, near: dict[str, Any], far: dict[str, Any], given_: dict[str, Any], level: Any
) -> None:
    """max(target, level at the least power), never above that at the most; worked by hand."""
    found = levels.expected_level(_with(NEAR, near), _with(FAR, far), stage, **given_)
    if isinstance(found, str):
        assert isinstance(level, str), found
        assert level in found
    else:
        assert found.value == pytest.approx(level)
        assert found.how


def _with(end: End, changes: dict[str, Any]) -> End:
    return dataclasses.replace(end, **changes)


LINK = Link(name="Hop 1", carriers=(), bandwidth_mhz=28.0)
POWERS: list[tuple[dict[str, Any], str | None, float | None, float | str]] = [
    ({}, None, None, 26.0),  # 4qam's maximum
    ({}, "256qam", None, 18.0),
    ({"max_eirp_dbm": 58.1, "antenna_dbi": 36.1}, None, None, 22.0),  # the licence
    ({"max_eirp_dbm": 58.1, "antenna_dbi": 36.1, "line_loss_db": 2.0}, None, None, 24.0),
    ({"max_eirp_dbm": 70.0, "antenna_dbi": 36.1}, None, None, 26.0),
    ({}, None, 40.0, "no mode at 40 MHz"),
    ({"max_eirp_dbm": 58.1, "antenna_dbi": 36.1}, None, 40.0, 22.0),
]


@pytest.mark.parametrize(("fields", "modulation", "width", "power"), POWERS)
def test_power_while_aligning(
    fields: dict[str, Any], modulation: str | None, width: float | None, power: float | str
) -> None:
    """min(the mode's maximum, max EIRP - antenna + losses after the transmitter)."""
    found = levels.alignment_power(
        LINK, End(device="a", **fields), PROFILE, modulation=modulation, bandwidth_mhz=width
    )
    if isinstance(found, str):
        assert isinstance(power, str), found
        assert power in found
    else:
        assert found.value == pytest.approx(power)


# --- alignment voltage -----------------------------------------------------------------------

RISING = AlignmentPort(table=((-90.0, 0.20), (-20.0, 1.60)), no_signal_v=0.05)
FALLING = AlignmentPort(table=((-20.0, 1.2), (-55.0, 1.9), (-90.0, 3.0)), no_signal_v=3.2)
VOLTS = [
    (RISING, -45.6, 1.088),  # 0.2 + 44.4 x 0.02
    (RISING, -90.0, 0.20),
    (RISING, -20.0, 1.60),
    (RISING, -90.1, None),
    (RISING, -19.9, None),
    (FALLING, -45.6, 1.712),  # 1.2 + 25.6 x 0.02
    (FALLING, -62.0, 2.12),  # 1.9 + 7 x 1.1 / 35
    (FALLING, -55.0, 1.9),
    (FALLING, -95.0, None),
]


@pytest.mark.parametrize(("port", "level", "volts"), VOLTS)
def test_voltage_and_level_both_ways(
    port: AlignmentPort, level: float, volts: float | None
) -> None:
    found = levels.volts_at(port, level)
    assert found == (None if volts is None else pytest.approx(volts))
    if volts is not None:
        assert levels.level_at(port, volts) == pytest.approx(level)


@given(
    tenths=st.lists(st.integers(-1000, -100), min_size=2, max_size=8, unique=True),
    millivolts=st.lists(st.integers(1, 5000), min_size=8, max_size=8, unique=True),
    rising=st.booleans(),
    upward=st.booleans(),
    share=st.floats(0, 1),
)
def test_back_and_forth_along_any_table(
    tenths: list[int], millivolts: list[int], *, rising: bool, upward: bool, share: float
) -> None:
    """A level's voltage is that level's again, whichever way levels and voltages are listed."""
    dbm = sorted((t / 10 for t in tenths), reverse=not upward)
    volts = sorted((v / 1000 for v in millivolts[: len(dbm)]), reverse=rising != upward)
    port = AlignmentPort(table=tuple(zip(dbm, volts, strict=True)))
    level = min(dbm) + share * (max(dbm) - min(dbm))
    there = levels.volts_at(port, min(max(level, min(dbm)), max(dbm)))
    assert there is not None
    back = levels.level_at(port, min(max(there, min(volts)), max(volts)))
    assert back == pytest.approx(level, abs=0.01)


@pytest.mark.parametrize(
    ("port", "volts", "silent"),
    [(RISING, 0.05, True), (RISING, 0.0, True), (RISING, 0.06, False), (FALLING, 3.2, True),
     (FALLING, 3.5, True), (FALLING, 3.1, False),
     (AlignmentPort(table=RISING.table), 0.0, False)],
)  # fmt: skip
def test_voltage_of_no_signal(port: AlignmentPort, volts: float, *, silent: bool) -> None:
    """It lies beyond the weakest level, on whichever side that is."""
    assert levels.no_signal(port, volts) is silent


def test_two_lines_of_a_card() -> None:
    """End a, 18 dBm and -45.6 dBm planned: in service 1.088 V, 3 dB are 1.028 to 1.148 V.

    Aligning the far end gives 26 dBm (4qam, within 62.1 dBm EIRP): -37.6 dBm, 1.248 V. A tolerance
    of 5 dB in the plan is the larger one: 0.988 to 1.188 V.
    """
    a = End(device="a", rx_level_dbm=-45.6)
    b = End(device="b", tx_power_dbm=18.0, max_eirp_dbm=62.1, antenna_dbi=36.1)
    lines = levels.alignment_lines(LINK, Carrier(a=a, b=b), "a", PROFILE, PROFILE)
    assert not isinstance(lines.in_service, str)
    assert not isinstance(lines.aligning, str)
    found = lines.in_service
    assert (found.volts, found.low_v, found.high_v) == pytest.approx((1.088, 1.028, 1.148))
    assert (lines.aligning.level_dbm, lines.aligning.volts) == pytest.approx((-37.6, 1.248))
    a = _with(a, {"rx_level_tolerance_db": 5.0})
    wide = levels.alignment_lines(LINK, Carrier(a=a, b=b), "a", PROFILE, PROFILE).in_service
    assert not isinstance(wide, str)
    assert (wide.low_v, wide.high_v) == pytest.approx((0.988, 1.188))
    a = _with(a, {"rx_level_tolerance_db": 1.0})
    still = levels.alignment_lines(LINK, Carrier(a=a, b=b), "a", PROFILE, PROFILE).in_service
    assert not isinstance(still, str)
    assert (still.low_v, still.high_v) == pytest.approx((1.028, 1.148))


@pytest.mark.parametrize(
    ("level", "profile", "why"),
    [(-95.0, PROFILE, "-95 dBm is outside the alignment table"),
     (-45.6, Profile(id="p"), "profile 'p' has no alignment table"),
     (None, PROFILE, "no receive level is planned")],
)  # fmt: skip
def test_no_line_without_its_figures(level: float | None, profile: Profile, why: str) -> None:
    a, b = End(device="a", rx_level_dbm=level), End(device="b", tx_power_dbm=18.0)
    lines = levels.alignment_lines(LINK, Carrier(a=a, b=b), "a", profile, PROFILE)
    assert isinstance(lines.in_service, str)
    assert why in lines.in_service
