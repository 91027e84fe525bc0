"""A hop without a planned level is judged by the sum of the plan's own figures, where it may.

The sums are worked here from ITU-R P.525 equation 4 (32.4 + 20 log f + 20 log d, f in MHz, d in
km; within 0.05 dB of the exact constant), apart from the rules.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.rules.compare.radio.radio_world import (
    GONE,
    NOTHING,
    RIGHT,
    RIGHT_B,
    A,
    B,
    Change,
    found,
    judged,
    observed,
    of_radio,
    planned,
)
from verifier.model.result import Finding
from verifier.rules import radio

END = {"rx_level_dbm": None, "line_loss_db": 0.0, "alignment_v": None}
"""No level planned, the line loss stated as none."""
SUM_A, SUM_B = -45.55, -45.73
"""18 + 36.1 + 36.1 - (32.4 + 20 log 12877 + 20 log 11.42), and with 13143 MHz towards b."""


def p525_db(mhz: float, km: float) -> float:
    """ITU-R P.525 Annex 1, equation 4, as printed."""
    return 32.4 + 20 * math.log10(mhz) + 20 * math.log10(km)


def levels_of(
    level: Any,
    *,
    stage: Any = "handover",
    link: Change | None = None,
    pa: Change | None = None,
    pb: Change | None = None,
    a: Change | None = None,
    b: Change | None = None,
) -> dict[str, Finding]:
    """The findings at end a, by check."""
    plan = planned(link or {}, {**END, **(pa or {})}, {**END, **(pb or {})})
    values = observed(A, {**RIGHT, "rx_level_dbm": level, **(a or {})})
    result = judged(plan, stage, values, observed(B, {**RIGHT_B, **(b or {})}))
    return {f.check: f for f in of_radio(result) if f.subject.end == "a"}


def test_the_sum_is_that_of_p525() -> None:
    assert pytest.approx(18 + 36.1 + 36.1 - p525_db(12877, 11.42), abs=0.01) == SUM_A
    assert pytest.approx(18 + 36.1 + 36.1 - p525_db(13143, 11.42), abs=0.01) == SUM_B
    assert p525_db(6175, 50) == pytest.approx(142.19, abs=0.01)
    assert radio.free_space_loss_db(6175, 50) == pytest.approx(142.19, abs=0.06)


STAND = [
    ("as computed", 0.0, "pass"),
    ("2.9 dB low", -2.9, "pass"),
    ("3.2 dB low", -3.2, "warn"),
    ("5.9 dB low", -5.9, "warn"),
    ("6.2 dB low", -6.2, "fail"),
    ("20 dB low", -20.0, "fail"),
    ("2.9 dB high", 2.9, "pass"),
    ("5 dB high", 5.0, "warn"),
]


@pytest.mark.parametrize("stage", ["handover", "service"])
@pytest.mark.parametrize(("off", "verdict"), [s[1:] for s in STAND], ids=[s[0] for s in STAND])
def test_a_level_against_the_sum(stage: Any, off: float, verdict: str) -> None:
    """Within 3 dB pass, up to 3 dB further below warn, beyond fail; and it is said to be computed."""
    finding = levels_of(round(SUM_A + off, 1), stage=stage)["radio.rx-level"]
    assert finding.verdict == verdict, finding.reason
    assert finding.expected == pytest.approx(SUM_A, abs=0.06)
    assert "computed" in finding.reason
    assert "free space 11.42 km 135.8 dB" in finding.reason


def test_a_tolerance_of_the_plan_moves_both_bounds() -> None:
    verdicts = [
        levels_of(SUM_A - off, pa={"rx_level_tolerance_db": 1.0})["radio.rx-level"].verdict
        for off in (0.8, 1.2, 3.8, 4.2)
    ]
    assert verdicts == ["pass", "warn", "warn", "fail"]


MISSING = [
    ("line_loss_db of lighthouse-quarry", {}, {"line_loss_db": None}, {}),
    ("line_loss_db of quarry-lighthouse", {}, {}, {"line_loss_db": None}),
    ("tx_power_dbm of quarry-lighthouse", {}, {}, {"tx_power_dbm": None}),
    ("tx_mhz of quarry-lighthouse", {}, {}, {"tx_mhz": None}),
    ("antenna_dbi of lighthouse-quarry", {}, {"antenna_dbi": None}, {}),
    ("antenna_dbi of quarry-lighthouse", {}, {}, {"antenna_dbi": None}),
    ("path_km", {"path_km": None}, {}, {}),
    ("gas_loss_db", {}, {}, {"tx_mhz": 62_000.0}),
    ("gas_loss_db", {}, {}, {"tx_mhz": 15_000.0}),
]


@pytest.mark.parametrize("stage", ["handover", "service"])
@pytest.mark.parametrize("level", [-45.6, -65.6])
@pytest.mark.parametrize(("name", "link", "pa", "pb"), MISSING, ids=[m[0] for m in MISSING])
def test_a_sum_that_lacks_a_figure_judges_nothing_and_names_it(
    stage: Any, level: float, name: str, link: Change, pa: Change, pb: Change
) -> None:
    """Neither a sound hop fails nor a bad one passes."""
    finding = levels_of(level, stage=stage, link=link, pa=pa, pb=pb)["radio.rx-level"]
    assert finding.verdict == "not-tested"
    assert f"no {name}" in finding.reason


def test_gas_at_60_ghz_counts() -> None:
    """At 62 GHz oxygen takes some 14 dB/km at sea level (ITU-R P.676 figure 1): 1 km, 14 dB.

    40 + 43 + 43 - (32.4 + 20 log 62000 + 20 log 1) - 14 = -16.2 dBm at 40 dBm; here 10 dBm.
    """
    level = 10 + 43 + 43 - p525_db(62_000, 1.0) - 14
    end = {"tx_power_dbm": 10.0, "antenna_dbi": 43.0, "max_eirp_dbm": 80.0}
    far = {**end, "tx_mhz": 62_000.0}
    link = {"path_km": 1.0, "gas_loss_db": 14.0}
    sound = levels_of(level, link=link, pa=end, pb=far)["radio.rx-level"]
    assert (sound.verdict, "gas 14.0 dB" in sound.reason) == ("pass", True)
    unknown = levels_of(level, link={"path_km": 1.0}, pa=end, pb=far)["radio.rx-level"]
    assert unknown.verdict == "not-tested"


def test_line_losses_that_are_stated_count() -> None:
    """1.5 dB at one end and 2 dB at the other."""
    stated = {"line_loss_db": 1.5}, {"line_loss_db": 2.0}
    finding = levels_of(-49.1, pa=stated[0], pb=stated[1])["radio.rx-level"]
    assert finding.expected == pytest.approx(SUM_A - 3.5, abs=0.06)
    assert finding.verdict == "pass"


@pytest.mark.parametrize(("sender", "verdict"), [({}, "fail"), ({"tx_enabled": "false"}, "fail")])
def test_nothing_received_fails_without_any_figure(sender: Change, verdict: str) -> None:
    finding = levels_of(NOTHING, pa={"line_loss_db": None}, b=sender)["radio.rx-level"]
    assert finding.verdict == verdict


def test_what_the_device_does_not_tell_is_not_tested() -> None:
    assert levels_of(GONE)["radio.rx-level"].verdict == "not-tested"


@pytest.mark.parametrize("stage", ["bench", "alignment"])
def test_the_sum_judges_no_early_stage(stage: Any) -> None:
    """An empty cell makes no finding there."""
    assert {"radio.rx-level", "radio.path-loss"}.isdisjoint(levels_of(-65.6, stage=stage))


PATH = [("as computed", 0.0, "pass"), ("2.8 dB more", 2.8, "pass"), ("4 dB more", 4.0, "warn"),
        ("6.3 dB more", 6.3, "fail"), ("20 dB more", 20.0, "fail"), ("5 dB less", -5.0, "warn")]  # fmt: skip
ATPC = {"atpc": True, "atpc_min_dbm": 0.0, "atpc_max_dbm": 18.0, "atpc_target_dbm": -50.0}


@pytest.mark.parametrize(("more", "verdict"), [p[1:] for p in PATH], ids=[p[0] for p in PATH])
@pytest.mark.parametrize("power", [18.0, 8.0])
def test_with_atpc_the_path_is_judged_by_the_sum(power: float, more: float, verdict: str) -> None:
    """Whatever ATPC makes of the power: 18 dBm - (-45.55 dBm) = 63.55 dB."""
    level = round(power - (18 - SUM_A) - more, 1)
    b = {"tx_power_dbm": power, "atpc": "true"}
    finding = levels_of(level, pb=ATPC, pa=ATPC, a={"atpc": "true"}, b=b)["radio.path-loss"]
    assert finding.verdict == verdict, finding.reason
    assert "computed" in finding.reason


def test_with_atpc_and_no_power_to_be_read_nothing_is_accepted() -> None:
    b = {"tx_power_dbm": GONE, "atpc": "true"}
    ends = levels_of(-50.0, pa=ATPC, pb=ATPC, a={"atpc": "true"}, b=b)
    assert ends["radio.path-loss"].verdict == "not-tested"


def test_with_atpc_a_plan_without_far_power_is_not_accepted_by_the_level_alone() -> None:
    """The level is planned and right, the path cannot be judged: the far end has no power planned."""
    plan = planned(a={**ATPC}, b={**ATPC, "tx_power_dbm": None})
    values = {**RIGHT, "atpc": "true", "rx_level_dbm": -50.0}
    b = observed(B, {**RIGHT_B, "atpc": "true", "rx_level_dbm": -50.0, "tx_power_dbm": 13.6})
    result = judged(plan, "handover", observed(A, values), b)
    assert ("radio.path-loss", "a", "not-tested") in found(result)
