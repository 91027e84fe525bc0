"""What a receiver bears is judged at every stage: overload above -20 dBm, damage above 0 dBm.

Bad and sound situations side by side. The limits are those of the profile.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from tests.rules.compare.radio.radio_world import (
    GONE,
    NOTHING,
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
from verifier.model.profile import Limits
from verifier.model.result import Finding

STAGES = ["bench", "alignment", "handover", "service"]
BLANK = {"rx_level_dbm": None}
"""No level planned for the end."""
FED = {"bench_attenuation_db": 60.0}
LIMITLESS = {"hop-radio": dataclasses.replace(PROFILE, limits=Limits())}


def level_of(
    plan: Change, level: Any, stage: Any, far: Change | None = None, **more: Any
) -> Finding | None:
    """The finding about the level at end a."""
    seen = (
        observed(A, {**RIGHT, "rx_level_dbm": level}),
        observed(B, {**RIGHT_B, **(far or {})}),
    )
    found = of_radio(judged(planned(a=plan, b=FED), stage, *seen, **more))
    of_end = [f for f in found if f.check == "radio.rx-level" and f.subject.end == "a"]
    assert len(of_end) <= 1
    return of_end[0] if of_end else None


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("plan", [{}, BLANK, FED, {**BLANK, "bench_rx_level_dbm": 1.0}],
                         ids=["planned", "blank", "attenuated", "planned too high"])  # fmt: skip
@pytest.mark.parametrize(
    ("level", "words"),
    [
        (1.0, "damaged above 0 dBm"),
        (0.1, "damaged above 0 dBm"),
        (-0.1, "overloaded above -20 dBm"),
        (-19.9, "overloaded above -20 dBm"),
        # one sample of five is enough
        ([-45.6, -45.6, 1.0, -45.6, -45.6], "1 dBm in one of 5 samples"),
        ([NOTHING, NOTHING, NOTHING, 3.0, NOTHING], "damaged above 0 dBm"),
    ],
)
def test_too_much_fails_at_every_stage_whatever_is_planned(
    stage: Any, plan: Change, level: Any, words: str
) -> None:
    finding = level_of(plan, level, stage)
    assert finding is not None
    assert (finding.verdict, words in finding.reason) == ("fail", True), finding.reason


def test_both_ends_at_one_dbm_on_a_bench_of_60_db() -> None:
    """60 dB planned and none fitted; no bench_rx_level_dbm: both ends fail."""
    seen = (
        observed(A, {**RIGHT, "rx_level_dbm": 1.0}),
        observed(B, {**RIGHT_B, "rx_level_dbm": 1.0}),
    )
    result = judged(planned(a=FED, b=FED), "bench", *seen)
    failed = {f.subject.end for f in result.findings
              if f.check == "radio.rx-level" and f.verdict == "fail"}  # fmt: skip
    assert failed == {"a", "b"}
    assert "radio.rx-level" not in result.not_in_stage


SOUND = [
    ("bench, below both limits", "bench", BLANK, -42.0, {}, None),
    ("bench, just at the limit", "bench", BLANK, -20.0, {}, None),
    ("bench, a level of service is no level of the bench", "bench", {}, -42.0, {}, None),
    ("bench, nothing transmits", "bench", BLANK, NOTHING, {"tx_enabled": "false"}, None),
    ("bench, nothing received", "bench", BLANK, NOTHING, {}, None),
    ("bench, far off and no level told", "bench", BLANK, GONE, {"tx_enabled": "false"}, None),
    ("bench, far on and no level told", "bench", BLANK, GONE, {}, "not-tested"),
    ("alignment, below both limits", "alignment", BLANK, -60.0, {}, None),
    ("alignment, as planned", "alignment", {}, -45.6, {}, "pass"),
]


@pytest.mark.parametrize(("stage", "plan", "level", "far", "verdict"), [s[1:] for s in SOUND],
                         ids=[s[0] for s in SOUND])  # fmt: skip
def test_what_a_receiver_bears_is_no_failure(
    stage: Any, plan: Change, level: Any, far: Change, verdict: str | None
) -> None:
    finding = level_of(plan, level, stage, far)
    assert (finding.verdict if finding is not None else None) == verdict


@pytest.mark.parametrize("stage", ["bench", "alignment"])
def test_without_limits_in_the_profile_nothing_is_said_on_the_bench(stage: Any) -> None:
    assert level_of(BLANK, -42.0, stage, profiles=LIMITLESS) is None
    assert level_of(BLANK, GONE, stage, profiles=LIMITLESS) is None


def test_weather_excuses_no_overload() -> None:
    seen = (
        observed(A, {**RIGHT, "rx_level_dbm": -10.0}, said={"manual.weather": "rain, 30 mm/h"}),
        observed(B, RIGHT_B),
    )
    found = of_radio(judged(planned(), "handover", *seen))
    verdicts = [f.verdict for f in found if (f.check, f.subject.end) == ("radio.rx-level", "a")]
    assert verdicts == ["fail"]
