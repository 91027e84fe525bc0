"""A lower modulation in service: right where the level or the SNR explains it, and only there.

256-QAM at 28 MHz has its threshold at -66 dBm, so it is carried from -63 dBm on.
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
from verifier.model.profile import Profile
from verifier.model.result import Finding
from verifier.rules.health.states import readings

LOWER = {"tx_modulation": "4qam"}


def modulation_of(
    b: Change,
    *,
    pb: Change | None = None,
    profile: Profile = PROFILE,
    stage: Any = "service",
    a: Change = LOWER,
) -> Finding:
    """What end a transmits with, by what end b receives of it."""
    seen = observed(A, {**RIGHT, **a}), observed(B, {**RIGHT_B, **b})
    profiles = {"hop-radio": profile}
    found = of_radio(judged(planned(b=pb or {}), stage, *seen, profiles=profiles))
    (finding,) = [f for f in found if (f.check, f.subject.end) == ("radio.modulation", "a")]
    return finding


NO_SNR = {"min_snr_db": None}
DULL = dataclasses.replace(
    PROFILE, mode=tuple(dataclasses.replace(m, threshold_dbm=None) for m in PROFILE.mode)
)
SITUATIONS = [
    # what b receives, its plan, the profile, verdict
    ("4-QAM at -45 dBm for ever", {"rx_level_dbm": -45.0}, {}, PROFILE, "warn"),
    ("a little above what 256-QAM needs", {"rx_level_dbm": -62.9}, {}, PROFILE, "warn"),
    ("exactly what 256-QAM needs", {"rx_level_dbm": -63.0}, {}, PROFILE, "warn"),
    ("a little below what 256-QAM needs", {"rx_level_dbm": -63.1}, {}, PROFILE, "pass"),
    ("in deep rain", {"rx_level_dbm": -80.0, "snr_db": 10.0}, {}, PROFILE, "pass"),
    ("interference: the SNR explains it", {"snr_db": 20.0}, {}, PROFILE, "pass"),
    ("SNR at its planned least", {"snr_db": 25.0}, {}, PROFILE, "warn"),
    ("low SNR, but none is planned", {"snr_db": 20.0}, NO_SNR, PROFILE, "warn"),
    ("nothing received", {"rx_level_dbm": NOTHING}, {}, PROFILE, "pass"),
    ("the level is not read", {"rx_level_dbm": GONE}, {}, PROFILE, "not-tested"),
    ("the level is not read, the SNR explains it", {"rx_level_dbm": GONE, "snr_db": 20.0}, {},
     PROFILE, "pass"),
    ("no threshold in the profile", {"rx_level_dbm": -45.0}, {}, DULL, "not-tested"),
]  # fmt: skip


@pytest.mark.parametrize(("b", "pb", "profile", "verdict"), [s[1:] for s in SITUATIONS],
                         ids=[s[0] for s in SITUATIONS])  # fmt: skip
def test_a_lower_modulation_in_service(
    b: Change, pb: Change, profile: Profile, verdict: str
) -> None:
    finding = modulation_of(b, pb=pb, profile=profile)
    assert finding.verdict == verdict, finding.reason
    assert ("neither level nor SNR explains it" in finding.reason) is (verdict == "warn")


def test_the_highest_modulation_passes_at_any_level() -> None:
    assert modulation_of({"rx_level_dbm": -70.0}, a={}).verdict == "pass"


@pytest.mark.parametrize(("level", "unexplained"), [(-45.8, True), (-64.0, False)])
def test_a_sweep_puts_it_aside_until_it_has_lasted(level: float, *, unexplained: bool) -> None:
    """The link is sound so far; `follow.lasting` counts the time."""
    plan = planned(b={"rx_level_tolerance_db": 30.0})
    seen = [
        *observed(A, {**RIGHT, **LOWER}),
        *observed(B, {**RIGHT_B, "rx_modulation": "4qam", "rx_level_dbm": level}),
    ]
    result = judged(plan, "service", seen, only={"radio.modulation", "radio.rx-level"})
    found = {r.subject.name: r for r in readings(plan, plan.devices, result.findings, (), seen)}
    hop = found["Hop 1"]
    assert bool(hop.unexplained) is unexplained
    assert not [r for r in hop.reasons if r.check]


def test_a_level_that_nobody_planned_makes_no_link_untested() -> None:
    """A plan without levels and sums: `verify` says not tested, a sweep is not untested for ever."""
    plan = planned(a={"rx_level_dbm": None}, b={"rx_level_dbm": None})
    seen = [*observed(A, RIGHT), *observed(B, RIGHT_B)]
    result = judged(plan, "service", seen, only={"radio.rx-level"})
    assert {f.verdict for f in result.findings if f.check == "radio.rx-level"} == {"not-tested"}
    found = {r.subject.name: r for r in readings(plan, plan.devices, result.findings, (), seen)}
    assert not [r for r in found["Hop 1"].reasons if r.check]
