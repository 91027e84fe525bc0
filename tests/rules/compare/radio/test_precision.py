"""Frequencies and powers, judged as closely as devices tell them: bad and sound side by side."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from tests.rules.compare.radio.radio_world import (
    GONE,
    NO_CHANGE,
    PROFILE,
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
from verifier.model.profile import Profile, ProfileReading
from verifier.model.result import Finding

F, W, T, P = "fail", "warn", "not-tested", "pass"


def scaled(field: str, scale: float, kind: Any = "integer") -> dict[str, Profile]:
    """The profile, in which a field is read in steps of `scale`."""

    def read(reading: ProfileReading) -> ProfileReading:
        if reading.field != field:
            return reading
        return dataclasses.replace(reading, scale=scale, type=kind)

    return {"hop-radio": dataclasses.replace(PROFILE, reading=tuple(map(read, PROFILE.reading)))}


def at_a(
    check: str,
    a: Change,
    b: Change = NO_CHANGE,
    pa: Change = NO_CHANGE,
    stage: Any = "handover",
    **more: Any,
) -> Finding:
    """What is said of end a."""
    seen = observed(A, {**RIGHT, **a}), observed(B, {**RIGHT_B, **b})
    plan = planned(more.pop("link", NO_CHANGE), pa, more.pop("pb", NO_CHANGE))
    findings = of_radio(judged(plan, stage, *seen, **more))
    (finding,) = [f for f in findings if f.check == check and f.subject.end == "a"]
    return finding


FREQUENCIES = [
    # planned, read, step of the reading, verdict
    ("steps of 10 kHz, rounded", 23198.875, 23198.88, 0.01, P),
    ("steps of 10 kHz, one too many", 23198.875, 23198.89, 0.01, F),
    ("steps of 10 kHz, cut off", 23198.875, 23198.87, 0.01, P),
    ("steps of 1 kHz, rounded", 23198.8755, 23198.876, 0.001, P),
    ("steps of 1 kHz, two off", 23198.875, 23198.877, 0.001, F),
    ("steps of 1 MHz", 23198.875, 23199.0, 1.0, P),
    ("steps of 1 MHz, the next", 23198.875, 23200.0, 1.0, F),
    ("steps of 1 Hz: 1 kHz is allowed", 23198.875, 23198.8758, 0.000001, P),
    ("steps of 1 Hz, 3 kHz off", 23198.875, 23198.878, 0.000001, F),
    ("as text with two decimals", 23198.875, "23198.88", "text", P),
    ("as text with two decimals, the next", 23198.875, "23198.89", "text", F),
    ("as text with three decimals", 23198.875, "23198.880", "text", F),
]


@pytest.mark.parametrize(("plan", "read", "step", "verdict"), [r[1:] for r in FREQUENCIES],
                         ids=[r[0] for r in FREQUENCIES])  # fmt: skip
def test_a_frequency(plan: float, read: Any, step: Any, verdict: str) -> None:
    """The larger of 1 kHz and half the reading's last digit."""
    profiles = {
        field: scaled(field, *((1.0, "text") if step == "text" else (step,)))
        for field in ("tx_mhz", "rx_mhz")
    }
    sent = at_a(
        "radio.tx-frequency", {"tx_mhz": read}, pa={"tx_mhz": plan}, profiles=profiles["tx_mhz"]
    )
    heard = at_a(
        "radio.rx-frequency", {"rx_mhz": read}, pb={"tx_mhz": plan}, profiles=profiles["rx_mhz"]
    )
    assert (sent.verdict, heard.verdict) == (verdict, verdict), sent.reason


def test_a_rounded_bandwidth_has_the_planned_modes() -> None:
    """27.5 MHz is planned and has modes; a device that shows whole MHz shows 28."""
    modes = tuple(
        dataclasses.replace(m, bandwidth_mhz=27.5) for m in PROFILE.mode if m.bandwidth_mhz == 28
    )
    (profile,) = scaled("bandwidth_mhz", 1.0).values()
    profiles = {"hop-radio": dataclasses.replace(profile, mode=modes)}
    result = judged(planned({"bandwidth_mhz": 27.5}), "handover", observed(A, RIGHT),
                    observed(B, RIGHT_B), profiles=profiles)  # fmt: skip
    assert found(result) == set()
    assert at_a("radio.bandwidth", {"bandwidth_mhz": 30.0}, link={"bandwidth_mhz": 27.5},
                profiles=profiles).verdict == F  # fmt: skip


POWERS = [
    # actual, set, verdict, in the reason
    ("as planned", 18.0, 18.0, P, "set to 18 dBm: as planned; at 18 dBm: as it is set"),
    ("reads 0.7 dB less than set", 17.3, 18.0, P, "at 17.3 dBm: as it is set"),
    ("reads 2.0 dB less", 16.0, 18.0, P, ""),
    ("reads 2.1 dB less", 15.9, 18.0, W, "-2.1 dB against what is set; it is set as planned"),
    ("reads 3.0 dB more", 21.0, 18.0, W, "+3.0 dB"),
    ("reads 3.1 dB more", 21.1, 18.0, F, "+3.1 dB"),
    ("12 dB weak and says so", 6.0, 18.0, F, "-12.0 dB"),
    ("set 0.5 dB more", 18.5, 18.5, P, ""),
    ("set 0.6 dB more", 18.0, 18.6, F, "set to 18.6 dBm: +0.6 dB against the plan"),
    ("set 2 dB less, and it reads the plan's", 18.0, 16.0, F, "set to 16 dBm"),
    ("the set one is not read", 17.3, GONE, P, "as closely as it is read"),
    ("the set one is not read, 2.5 dB off", 15.5, GONE, W, "-2.5 dB against the plan"),
    ("the set one is not read, 3.5 dB off", 21.5, GONE, F, "+3.5 dB against the plan"),
    ("the actual one is not read", GONE, 18.0, P, "this is the set power; the actual one is not known"),
    ("the actual one is not read, set wrong", GONE, 20.0, F, "this is the set power"),
    ("neither is read", GONE, GONE, T, "tx_power_dbm"),
    ("comes and goes", [18.0, 6.0, 18.0, 6.0, 18.0], 18.0, F, "18, 6, 18, 6, 18"),
    ("scatters by 1 dB", [18.0, 17.0, 18.9, 18.0, 17.5], 18.0, P, ""),
]  # fmt: skip


@pytest.mark.parametrize(("actual", "set_dbm", "verdict", "words"), [r[1:] for r in POWERS],
                         ids=[r[0] for r in POWERS])  # fmt: skip
def test_a_power_with_atpc_off(actual: Any, set_dbm: Any, verdict: str, words: str) -> None:
    """Set +-0.5 dB; the actual one warns over 2 dB and fails over 3 dB from it."""
    finding = at_a("radio.tx-power", {"tx_power_dbm": actual, "tx_power_set_dbm": set_dbm})
    assert (finding.verdict, words in finding.reason) == (verdict, True), finding.reason


ATPC = {"atpc": True, "atpc_min_dbm": 3.0, "atpc_max_dbm": 18.0, "atpc_target_dbm": -50.0}
ON = {"atpc": "true"}
UNDER_ATPC = [
    ("inside", 10.0, 18.0, P), ("at its least", 3.0, 18.0, P), ("reads 1.5 dB under", 1.5, 18.0, P),
    ("2.5 dB under", 0.5, 18.0, W), ("5 dB under", -2.0, 18.0, F), ("reads 1 dB over", 19.0, 18.0, P),
    ("4 dB over", 22.0, 18.0, F), ("set 6 dB over", 10.0, 24.0, F),
    ("the actual one is not read", GONE, 18.0, T), ("not read, set over", GONE, 24.0, F),
]  # fmt: skip


@pytest.mark.parametrize(("actual", "set_dbm", "verdict"), [r[1:] for r in UNDER_ATPC],
                         ids=[r[0] for r in UNDER_ATPC])  # fmt: skip
def test_a_power_with_atpc_on(actual: Any, set_dbm: Any, verdict: str) -> None:
    """From 3 to 18 dBm; a set power never stands for the actual one under ATPC."""
    a = {**ON, "tx_power_dbm": actual, "tx_power_set_dbm": set_dbm}
    finding = at_a("radio.tx-power", a, pa=ATPC, pb=ATPC)
    assert finding.verdict == verdict, finding.reason


def test_a_power_that_only_the_setting_tells_while_the_profile_has_no_other() -> None:
    reading = tuple(r for r in PROFILE.reading if r.field != "tx_power_dbm")
    profiles = {"hop-radio": dataclasses.replace(PROFILE, reading=reading)}
    finding = at_a("radio.tx-power", {}, profiles=profiles)
    assert finding.verdict == P
    assert "this is the set power" in finding.reason
    on = at_a("radio.tx-power", ON, pa=ATPC, pb=ATPC, profiles=profiles)
    assert (on.verdict, "ATPC is on" in on.reason) == (T, True)


def test_a_set_power_that_caps_all_modes_does_not_follow_them() -> None:
    """26 dBm at 4-QAM, set to 18: right where each mode has its own power, else a fault."""
    a = {**LOW, "rx_level_dbm": FADED, "tx_power_dbm": 26.0}
    for caps, verdict in ((None, W), (False, W), (True, F)):
        profile = dataclasses.replace(PROFILE, set_power_caps_modes=caps)
        finding = at_a("radio.tx-power", a, {**LOW, "rx_level_dbm": FADED},
                       profiles={"hop-radio": profile})  # fmt: skip
        assert finding.verdict == verdict, finding.reason


LOW = {"tx_modulation": "4qam", "rx_modulation": "4qam", "current_capacity_mbps": 45.0}
FADED = -80.0
"""Too little for 16-QAM (-78 dBm); 256-QAM needs -66 dBm."""
LEFT = [
    # level at both ends, actual, set, whether end a was left in alignment settings
    ("a faded hop whose power reads 0.7 dB over", FADED, 18.7, 18.0, False),
    ("a faded hop whose power reads 1.9 dB over", FADED, 19.9, GONE, False),
    ("a faded hop whose power follows the mode", FADED, 26.0, 18.0, False),
    ("the same, the set power not read", FADED, 26.0, GONE, False),
    ("a faded hop left raised", FADED, 26.0, 26.0, True),
    ("left raised in good air", -45.6, 26.0, 26.0, True),
    ("the same, the set power not read", -45.6, 26.0, GONE, True),
]


@pytest.mark.parametrize(("level", "actual", "set_dbm", "left"), [r[1:] for r in LEFT],
                         ids=[f"{n} {r[0]}" for n, r in enumerate(LEFT)])  # fmt: skip
def test_left_in_alignment_settings_is_said_of_a_raised_setting(
    level: float,
    actual: float,
    set_dbm: Any,
    left: bool,  # noqa: FBT001
) -> None:
    """Both ends at 4-QAM; end b is always rightly lower, by its own power."""
    a = {**LOW, "rx_level_dbm": level, "tx_power_dbm": actual, "tx_power_set_dbm": set_dbm}
    b = {**LOW, "rx_level_dbm": level}
    for check in ("radio.modulation", "radio.tx-power"):
        finding = at_a(check, a, b)
        assert ("left in alignment" in finding.reason) is left, finding.reason
        assert (finding.verdict == F) is left
    if not left:
        plan = planned()
        seen = observed(A, {**RIGHT, **a}), observed(B, {**RIGHT_B, **b})
        causes = judged(plan, "handover", *seen).causes
        assert "left-in-alignment" not in {c.kind for c in causes}
