"""EIRP against the licence: set and actual power, ATPC, and the mode that rain brings.

Antenna 36.1 dBi, no losses: 18 dBm are 54.1 dBm EIRP. The profile's modes at 28 MHz give 26 dBm in
4-QAM, 24 in 16-QAM, 22 in 64-QAM and 18 in 256-QAM.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from tests.rules.compare.radio.radio_world import (
    GONE,
    PROFILE,
    RIGHT,
    RIGHT_B,
    A,
    B,
    Change,
    judged,
    observed,
    of_radio,
    planned,
)
from verifier.model.result import Finding

pytestmark = pytest.mark.usefixtures("words")

FIXED: Change = {"modulation_min": "256qam", "adaptive": False}
ADAPTIVE: Change = {}
STAGES = ["bench", "alignment", "handover", "service"]


def eirp_of(
    limit: float | None,
    *,
    link: Change = FIXED,
    a: Change | None = None,
    pa: Change | None = None,
    stage: Any = "handover",
    caps: bool | None = None,
    gone: bool = False,
) -> Finding | None:
    """The finding at end a."""
    plan = planned(link, {"max_eirp_dbm": limit, **(pa or {})})
    profile = dataclasses.replace(PROFILE, set_power_caps_modes=caps)
    if gone:
        kept = tuple(r for r in profile.reading if r.field != "tx_power_set_dbm")
        profile = dataclasses.replace(profile, reading=kept)
    seen = observed(A, {**RIGHT, **(a or {})}), observed(B, RIGHT_B)
    found = of_radio(judged(plan, stage, *seen, profiles={"hop-radio": profile}))
    of_end = [f for f in found if f.check == "radio.eirp" and f.subject.end == "a"]
    return of_end[0] if of_end else None


BY_POWER = [
    # set, actual, limit, verdict
    ("at the licence", 18.0, 18.0, 54.1, "pass"),
    ("set 0.4 dB over", 18.4, 18.0, 54.1, "warn"),
    ("set 0.5 dB over", 18.5, 18.0, 54.1, "warn"),
    ("set 0.6 dB over", 18.6, 18.0, 54.1, "fail"),
    ("set right, actual 0.9 dB over", 18.0, 18.9, 54.1, "warn"),
    ("set right, actual 2.0 dB over", 18.0, 20.0, 54.1, "warn"),
    ("set right, actual 2.2 dB over", 18.0, 20.2, 54.1, "fail"),
    ("set over, actual right", 24.0, 18.0, 54.1, "fail"),
    ("no set power, actual 1.9 dB over", GONE, 19.9, 54.1, "warn"),
    ("no set power, actual 2.1 dB over", GONE, 20.1, 54.1, "fail"),
    ("no actual power, set at the licence", 18.0, GONE, 54.1, "pass"),
    ("no actual power, set over", 18.6, GONE, 53.4, "fail"),
    ("neither", GONE, GONE, 54.1, "not-tested"),
]


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize(("told", "actual", "limit", "verdict"), [p[1:] for p in BY_POWER],
                         ids=[p[0] for p in BY_POWER])  # fmt: skip
def test_set_and_actual_power_at_every_stage(
    stage: Any, told: Any, actual: Any, limit: float, verdict: str
) -> None:
    """In a fixed mode: the set power to 0.5 dB, the actual one to 2 dB."""
    a = {"tx_power_set_dbm": told, "tx_power_dbm": actual}
    finding = eirp_of(limit, a=a, stage=stage)
    assert finding is not None
    assert finding.verdict == verdict, finding.reason


ON = {"atpc": "true"}
PLANNED = {"atpc": True}
BY_ATPC = [
    # what it shows, plan's end, licence, verdict
    ("24 dBm set, 13 now", {"tx_power_set_dbm": 24.0}, {}, 54.1, "64qam", "fail"),
    ("the same, licensed", {"tx_power_set_dbm": 24.0}, {}, 58.1, "64qam", "pass"),
    ("18 dBm set", {"tx_power_set_dbm": 18.0}, {}, 54.1, "64qam", "pass"),
    ("24 dBm set, ATPC to 18 by the plan", {"tx_power_set_dbm": 24.0}, {"atpc_max_dbm": 18.0},
     54.1, "64qam", "pass"),
    ("24 dBm set, the mode gives 18", {"tx_power_set_dbm": 24.0}, {}, 54.1, "256qam", "pass"),
    ("set not read, ATPC to 24 by the plan", {"tx_power_set_dbm": GONE}, {"atpc_max_dbm": 24.0},
     54.1, "64qam", "fail"),
    ("set not read, ATPC to 18 by the plan", {"tx_power_set_dbm": GONE}, {"atpc_max_dbm": 18.0},
     54.1, "64qam", "pass"),
    ("set not read, nothing planned, the mode is within", {"tx_power_set_dbm": GONE}, {},
     58.1, "64qam", "pass"),
    ("set not read, nothing planned, the mode is not", {"tx_power_set_dbm": GONE}, {},
     54.1, "64qam", "not-tested"),
    ("0.4 dB over", {"tx_power_set_dbm": 18.4}, {}, 54.1, "64qam", "warn"),
]  # fmt: skip


@pytest.mark.parametrize("stage", ["handover", "service"])
@pytest.mark.parametrize(("shows", "pa", "limit", "mode", "verdict"), [s[1:] for s in BY_ATPC],
                         ids=[s[0] for s in BY_ATPC])  # fmt: skip
def test_with_atpc_it_is_the_highest_power_that_it_may_reach(
    stage: Any, shows: Change, pa: Change, limit: float, mode: str, verdict: str
) -> None:
    """It transmits 13 dBm now, 49.1 dBm EIRP, in a fixed mode."""
    link = {"modulation_min": mode, "modulation_max": mode, "adaptive": False}
    a = {**ON, "tx_power_dbm": 13.0, "tx_modulation": mode, "rx_modulation": mode, **shows}
    finding = eirp_of(limit, link=link, a=a, pa={**PLANNED, **pa}, stage=stage)
    assert finding is not None
    assert finding.verdict == verdict, finding.reason


IN_256 = {"tx_modulation": "256qam"}
IN_4 = {"tx_modulation": "4qam"}
BY_MODE = [
    # what it shows, plan's link, licence, whether the set power caps all modes, verdict
    ("18 dBm in 256-QAM, not told what 4-QAM gets", IN_256, {}, 55.0, None, "not-tested"),
    ("the same, licensed for 26 dBm", IN_256, {}, 62.1, None, "pass"),
    ("the set power caps all modes", IN_256, {}, 55.0, True, "pass"),
    ("each mode has its own", IN_256, {}, 55.0, False, "fail"),
    ("each mode has its own, licensed", IN_256, {}, 62.1, False, "pass"),
    ("never below 64-QAM: 22 dBm", IN_256, {"modulation_min": "64qam"}, 58.1, False, "pass"),
    ("never below 64-QAM: 22 dBm", IN_256, {"modulation_min": "64qam"}, 57.0, False, "fail"),
    ("in 4-QAM now, at 18 dBm: that shows it", IN_4, {}, 55.0, None, "pass"),
    ("in 4-QAM now, at 26 dBm", {**IN_4, "tx_power_dbm": 26.0, "tx_power_set_dbm": 26.0}, {}, 55.0,
     None, "fail"),
    ("set to 26, 256-QAM gives 18", {**IN_256, "tx_power_set_dbm": 26.0}, {}, 55.0, None, "fail"),
    ("set to 20, 256-QAM gives 18", {**IN_256, "tx_power_set_dbm": 20.0}, {}, 56.1, None, "pass"),
    ("the set power is not read", {**IN_256, "tx_power_set_dbm": GONE}, {}, 55.0, True, "not-tested"),
    ("fixed", IN_256, FIXED, 55.0, None, "pass"),
    ("no mode at this bandwidth", {**IN_256, "bandwidth_mhz": 40.0}, {}, 62.1, None, "not-tested"),
    ("over already", {**IN_256, "tx_power_dbm": 25.0, "tx_power_set_dbm": 25.0}, {}, 53.0, None, "fail"),
]  # fmt: skip


@pytest.mark.parametrize("stage", ["handover", "service"])
@pytest.mark.parametrize(("shows", "link", "limit", "caps", "verdict"), [s[1:] for s in BY_MODE],
                         ids=[f"{n} {s[0]}" for n, s in enumerate(BY_MODE)])  # fmt: skip
def test_power_that_follows_the_mode(
    stage: Any,
    shows: Change,
    link: Change,
    limit: float,
    caps: bool | None,  # noqa: FBT001
    verdict: str,
) -> None:
    finding = eirp_of(limit, link=link, a=shows, stage=stage, caps=caps)
    assert finding is not None
    assert finding.verdict == verdict, finding.reason


def test_the_mode_that_breaks_the_licence_is_named() -> None:
    finding = eirp_of(55.0, link=ADAPTIVE)
    assert finding is not None
    assert "in 4qam 26 dBm + 36.1 dBi - 0 dB = 62.1 dBm EIRP, 7.1 dB above" in finding.reason


def test_a_profile_without_powers_of_modes_tells_of_none() -> None:
    """Nothing says that the power follows the mode: the set power is judged."""
    modes = tuple(dataclasses.replace(m, max_tx_power_dbm=None) for m in PROFILE.mode)
    profile = dataclasses.replace(PROFILE, mode=modes)
    seen = observed(A, RIGHT), observed(B, RIGHT_B)
    plan = planned(a={"max_eirp_dbm": 54.1})
    found = of_radio(judged(plan, "handover", *seen, profiles={"hop-radio": profile}))
    verdicts = [f.verdict for f in found if (f.check, f.subject.end) == ("radio.eirp", "a")]
    assert verdicts == ["pass"]


@pytest.mark.parametrize(
    ("stage", "verdict"),
    [("bench", None), ("alignment", "not-tested"), ("handover", None), ("service", None)],
)
def test_a_plan_without_a_licence_is_told_while_aligning(stage: Any, verdict: str | None) -> None:
    """Where the power is raised, and there alone; it says to look in the licence."""
    finding = eirp_of(None, stage=stage)
    assert (finding.verdict if finding is not None else None) == verdict
    if finding is not None:
        assert "look in the licence" in finding.advice


OFF = {"tx_enabled": "false"}
MUTED = [
    ("set within", {**OFF, "tx_power_set_dbm": 18.0, "tx_power_dbm": -40.0}, False, "pass"),
    ("set over", {**OFF, "tx_power_set_dbm": 18.6, "tx_power_dbm": -40.0}, False, "fail"),
    (
        "no set power, and -40 dBm while off: that says nothing",
        {**OFF, "tx_power_dbm": -40.0},
        True,
        "not-tested",
    ),
    ("no set power, the planned power is shown", {**OFF, "tx_power_dbm": 18.0}, True, "pass"),
]


@pytest.mark.parametrize(
    ("shows", "gone", "verdict"), [m[1:] for m in MUTED], ids=[m[0] for m in MUTED]
)
def test_a_transmitter_that_is_off(shows: Change, gone: bool, verdict: str) -> None:  # noqa: FBT001
    """What it would radiate is judged."""
    link = {**FIXED, "modulation_min": "64qam", "modulation_max": "64qam"}
    a = {**shows, "tx_modulation": "64qam", "rx_modulation": "64qam"}
    finding = eirp_of(54.1, link=link, a=a, gone=gone)
    assert finding is not None
    assert finding.verdict == verdict, finding.reason
    assert ("would radiate" in finding.reason) is (verdict != "not-tested")
