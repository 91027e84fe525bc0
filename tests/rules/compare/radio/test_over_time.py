"""Radio checks over time, over several carriers, by a person, and with an end missing."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from tests.as_seen import observation
from tests.rules.compare.radio.radio_world import (
    END_A,
    END_B,
    GONE,
    LINK,
    NO_CHANGE,
    NOTHING,
    PROFILE,
    RIGHT,
    RIGHT_B,
    A,
    B,
    found,
    judged,
    observed,
    of_radio,
    plan_of,
    planned,
)
from verifier.model.observations import Observation
from verifier.model.plan import Carrier, Link, Plan
from verifier.model.problem import Problem, Subject
from verifier.model.profile import AlignmentPort, Profile, ProfileReading
from verifier.model.result import Finding

pytestmark = pytest.mark.usefixtures("words")

F, W, T = "fail", "warn", "not-tested"
LOWER = {"tx_modulation": "64qam", "rx_modulation": "64qam", "current_capacity_mbps": 140.0}


def one(findings: list[Finding], check: str, end: str | None = None) -> Finding:
    """The only finding of a check."""
    (finding,) = [f for f in findings if f.check == check and f.subject.end == end]
    return finding


def run(
    plan: Plan, *seen: list[Observation[Any]], stage: Any = "handover", **more: Any
) -> list[Finding]:
    return of_radio(judged(plan, stage, *seen, **more))


# --- over time -------------------------------------------------------------------------------

STEADY = [
    ("level and SNR good for 66 s", [-45.8] * 7, [38.0] * 7, 11.0, F),
    ("good for 60 s", [-45.8] * 7, [38.0] * 7, 10.0, F),
    ("good for 59.4 s", [-45.8] * 7, [38.0] * 7, 9.9, W),
    ("SNR good for half of it", [-45.8] * 7, [20.0] * 3 + [38.0] * 4, 11.0, W),
    ("a dip of the level in between", [-45.8] * 3 + [-64.0] + [-45.8] * 3, [38.0] * 7, 11.0, W),
    ("SNR not good", [-45.8] * 7, [24.0] * 7, 11.0, W),
    ("level 2.9 dB above the threshold", [-63.1] * 7, [38.0] * 7, 11.0, W),
    ("level 3 dB above the threshold", [-63.0] * 7, [38.0] * 7, 11.0, F),
    ("not long enough: a quick look", [-45.8] * 7, [38.0] * 7, 0.3, W),
]


@pytest.mark.parametrize(("levels", "snr", "step_s", "verdict"), [s[1:] for s in STEADY],
                         ids=[s[0] for s in STEADY])  # fmt: skip
def test_a_lower_modulation_fails_only_when_it_should_long_have_risen(
    levels: list[float], snr: list[float], step_s: float, verdict: str
) -> None:
    """At end a, whose signal end b receives: level >= threshold + 3 dB and SNR good for 60 s."""
    b = {**RIGHT_B, "rx_level_dbm": levels, "snr_db": snr, "tx_power_dbm": [18.0] * 7}
    seen = observed(A, {**RIGHT, **LOWER, "rx_modulation": "256qam"}), observed(B, b, step_s=step_s)
    assert one(run(planned(), *seen), "radio.modulation", "a").verdict == verdict


def test_a_modulation_that_was_at_its_highest_follows_the_path() -> None:
    """Low now, high ten seconds ago: adaptive modulation at work, however good the level."""
    a = {**RIGHT, **LOWER, "tx_modulation": ["256qam", *["64qam"] * 7], "rx_modulation": "256qam"}
    b = {**RIGHT_B, "rx_level_dbm": [-45.8] * 8, "snr_db": [38.0] * 8, "tx_power_dbm": [18.0] * 8}
    seen = observed(A, a, step_s=10.0), observed(B, b, step_s=10.0)
    finding = one(run(planned(), *seen), "radio.modulation", "a")
    assert finding.verdict == W
    assert "a moment ago" in finding.reason


SAMPLES = [
    ("5 together", 5, 5, 0.3, 0.3, "pass"),
    ("4 only", 4, 5, 0.3, 0.3, T),
    ("one", 1, 1, 0.3, 0.3, T),
    ("powers long past", 5, 1, 9.0, 0.3, T),
    ("power once, the last level 2.0 s after it", 5, 1, 0.5, 0.3, "pass"),
    ("power once, the last level 2.04 s after it", 5, 1, 0.51, 0.3, T),
]


@pytest.mark.parametrize(("levels", "powers", "step_a", "step_b", "verdict"),
                         [s[1:] for s in SAMPLES], ids=[s[0] for s in SAMPLES])  # fmt: skip
def test_path_loss_needs_five_samples_taken_together(
    levels: int, powers: int, step_a: float, step_b: float, verdict: str
) -> None:
    a = observed(A, {**RIGHT, "rx_level_dbm": [-45.6] * levels}, step_s=step_a)
    b = observed(B, {**RIGHT_B, "tx_power_dbm": [18.0] * powers}, step_s=step_b)
    assert one(run(planned(), a, b), "radio.path-loss", "a").verdict == verdict


def test_path_loss_is_the_median_of_pairs() -> None:
    """By hand: losses 63.6, 63.4, 78 (a fade), 63.8 (power and level moved together), 63.8.

    The median is 63.8 dB; a level that lay 16.2 dB apart cannot pass as it.
    """
    a = {**RIGHT, "rx_level_dbm": [-45.6, -45.4, -60.0, -43.8, -45.8]}
    b = {**RIGHT_B, "tx_power_dbm": [18.0, 18.0, 18.0, 20.0, 18.0]}
    seen = observed(A, a), observed(B, b)
    finding = one(run(planned(), *seen), "radio.path-loss", "a")
    assert finding.observed == pytest.approx(63.8)
    assert (finding.expected, finding.unit, finding.verdict) == (63.6, "dB", "warn")
    assert "-45.6, -45.4, -60, -43.8, -45.8" in finding.reason


def test_reciprocity_by_hand() -> None:
    """Tx_a 20, Tx_b 17, RX_a -47, RX_b -50 dBm; f_a / f_b = 13143 / 12877 gives 0.178 dB.

    RX_a - RX_b = 3; Tx_b - Tx_a + 0.178 = -2.822; b's receive loss of 4 dB takes from RX_b, so
    -2.822 + 4 = 1.178 is planned and 3 - 1.178 = 1.822 dB is left.
    """
    a = {**RIGHT, "tx_power_dbm": 20.0, "rx_level_dbm": -47.0}
    b = {**RIGHT_B, "tx_power_dbm": 17.0, "rx_level_dbm": -50.0}
    plan = planned(b={"rx_loss_db": 4.0})
    finding = one(run(plan, observed(A, a), observed(B, b)), "radio.reciprocity")
    assert finding.observed == pytest.approx(1.822, abs=0.001)
    assert (finding.expected, finding.verdict) == (0.0, "pass")


@pytest.mark.parametrize(
    ("off", "verdict"),
    [(0.0, "pass"), (2.9, "pass"), (3.2, W), (5.9, W), (6.3, F), (-3.2, W), (-6.3, F)],
)
def test_reciprocity_warns_over_3_and_fails_over_6_db(off: float, verdict: str) -> None:
    b = {**RIGHT_B, "rx_level_dbm": -45.78 - off}
    finding = one(run(planned(), observed(A, RIGHT), observed(B, b)), "radio.reciprocity")
    assert finding.verdict == verdict
    assert finding.observed == pytest.approx(off, abs=0.01)


# --- weather and voltage, by a person ----------------------------------------------------------


def test_weather_excuses_no_high_level_and_no_setting() -> None:
    said = {"manual.weather": "rain"}
    a = {**RIGHT, "rx_level_dbm": -19.0, "tx_mhz": 13171.0}
    result = judged(planned(), "handover", observed(A, a, said=said), observed(B, RIGHT_B))
    assert {("radio.rx-level", "a", F), ("radio.tx-frequency", "a", F)} <= found(result)


def test_too_much_power_while_aligning_was_not_left_behind() -> None:
    """26 dBm is above the licence of 50 dBm EIRP: told, and no word of settings left behind."""
    strong = {**RIGHT, "tx_power_dbm": 26.0, "tx_power_set_dbm": 26.0}
    plan, seen = planned(a={"max_eirp_dbm": 50.0}), (observed(A, strong), observed(B, RIGHT_B))
    aligning, over = (judged(plan, s, *seen) for s in ("alignment", "handover"))
    assert ("radio.tx-power", "a", F) in found(aligning)
    assert "left-in-alignment" not in {c.kind for c in aligning.causes}
    assert "left-in-alignment" in {c.kind for c in over.causes}


@pytest.mark.parametrize(("set_dbm", "said"), [(18.0, True), (6.0, False), (GONE, False)])
def test_a_power_that_is_set_right_and_comes_out_wrong(set_dbm: Any, said: bool) -> None:  # noqa: FBT001
    """To set it again mends nothing."""
    a = {**RIGHT, "tx_power_dbm": 6.0, "tx_power_set_dbm": set_dbm}
    finding = one(run(planned(), observed(A, a), observed(B, RIGHT_B)), "radio.tx-power", "a")
    assert finding.verdict == F
    assert ("it is set as planned" in finding.reason) is said
    assert ("set the planned power" in finding.advice) is not said


@pytest.mark.parametrize("level", [-52.0, -32.0, NOTHING])
def test_on_the_bench_nothing_is_aligned_and_no_weather_excuses(level: Any) -> None:
    """What to do there is about attenuators and cables, and it does not wait for dry weather."""
    bench = {"bench_attenuation_db": 60.0, "bench_rx_level_dbm": -42.0}
    a, b = {**RIGHT, "rx_level_dbm": level}, {**RIGHT_B, "rx_level_dbm": -42.0}
    rain = observed(A, a, said={"manual.weather": "rain"})
    findings = run(planned(a=bench, b=bench), rain, observed(B, b), stage="bench")
    off = [f for f in findings if f.check in {"radio.rx-level", "radio.path-loss"}
           and f.subject.end == "a" and f.verdict in {F, W}]  # fmt: skip
    assert len(off) == (1 if level is NOTHING else 2)
    for finding in off:
        assert "align again" not in finding.advice.lower()
        assert ("attenuation" if level is not NOTHING else "cables") in finding.advice


VOLTS = [
    # -45.6 dBm by the table -90 dBm 0.20 V to -20 dBm 1.60 V: 0.02 V a dB, 1.088 V; 3 dB: 0.06 V
    ("as planned", "handover", 1.09, {}, "pass"),
    ("at the window's edge", "handover", 1.03, {}, "pass"),
    ("below the window", "handover", 1.02, {}, F),
    ("above the window", "handover", 1.16, {}, W),
    ("no signal", "handover", 0.05, {}, F),
    ("below the table", "handover", 0.10, {}, F),
    ("above the table", "handover", 1.70, {}, W),
    ("no figure", "handover", "about one", {}, T),
    ("written as text", "handover", "1.09", {}, "pass"),
    # 26 dBm from b: -37.6 dBm, 1.248 V
    ("aligning, raised power", "alignment", 1.25, {"tx_power_dbm": 26.0}, "pass"),
    ("aligning, raised power, in service's figure", "alignment", 1.09, {"tx_power_dbm": 26.0}, F),
    ("aligning at the planned power", "alignment", 1.09, {}, "pass"),
    ("aligning, far power not read: the aligning line", "alignment", 1.25,
     {"tx_power_dbm": GONE, "tx_power_set_dbm": GONE}, "pass"),
    ("aligning, far power not read: the line in service", "alignment", 1.09,
     {"tx_power_dbm": GONE, "tx_power_set_dbm": GONE}, "pass"),
    ("aligning, far power not read: neither", "alignment", 0.90, {"tx_power_dbm": GONE, "tx_power_set_dbm": GONE}, F),
]  # fmt: skip


@pytest.mark.parametrize(("stage", "volts", "b", "verdict"), [v[1:] for v in VOLTS],
                         ids=[v[0] for v in VOLTS])  # fmt: skip
def test_alignment_voltage(stage: Any, volts: Any, b: dict[str, Any], verdict: str) -> None:
    """A person's reading at end a, worked by hand with the profile's rising table."""
    said = {"manual.alignment-voltage": volts}
    plan = planned(a={"max_eirp_dbm": 70.0}, b={"max_eirp_dbm": 70.0})
    seen = observed(A, RIGHT, said=said), observed(B, {**RIGHT_B, **b})
    finding = one(run(plan, *seen, stage=stage), "manual.alignment-voltage", "a")
    assert finding.verdict == verdict, finding.reason


@pytest.mark.parametrize(
    ("volts", "verdict"), [(1.71, "pass"), (1.77, "pass"), (1.79, F), (1.63, W), (3.0, F)]
)
def test_alignment_voltage_of_a_falling_table(volts: float, verdict: str) -> None:
    """-90 dBm 2.60 V to -20 dBm 1.20 V, 3.0 V for nothing: -45.6 dBm is 1.712 V; less is more."""
    port = AlignmentPort(table=((-20.0, 1.2), (-90.0, 2.6)), no_signal_v=3.0)
    profile = dataclasses.replace(PROFILE, alignment_port=port)
    said = {"manual.alignment-voltage": volts}
    seen = observed(A, RIGHT, said=said), observed(B, RIGHT_B)
    findings = run(planned(), *seen, profiles={"hop-radio": profile})
    assert one(findings, "manual.alignment-voltage", "a").verdict == verdict


def test_alignment_voltage_without_a_table() -> None:
    profile = dataclasses.replace(PROFILE, alignment_port=None)
    seen = observed(A, RIGHT, said={"manual.alignment-voltage": 1.09}), observed(B, RIGHT_B)
    finding = one(run(planned(), *seen, profiles={"hop-radio": profile}),
                  "manual.alignment-voltage", "a")  # fmt: skip
    assert (finding.verdict, finding.reason) == (
        T, "entered, not measured: profile 'hop-radio' has no alignment table",
    )  # fmt: skip


# --- several carriers ---------------------------------------------------------------------------

C, D = "lighthouse-quarry-2", "quarry-lighthouse-2"
OFF = {"tx_enabled": "false"}


def two(protection: Any, polarisation: Any = "V", **second: Any) -> Plan:
    """Two carriers, each with devices of its own."""
    further = Carrier(
        carrier=2, polarisation=polarisation, a=dataclasses.replace(END_A, device=C, **second),
        b=dataclasses.replace(END_B, device=D, **second),
    )  # fmt: skip
    link = dataclasses.replace(
        LINK, protection=protection, carriers=(*LINK.carriers, further),
        capacity_mbps=380.0 if protection.startswith("2+0") else 190.0,
    )  # fmt: skip
    return plan_of(link)


def four(
    plan: Plan, c: Any, d: Any, a: Any = NO_CHANGE, b: Any = NO_CHANGE
) -> set[tuple[str, int | None, str, str]]:
    """What does not pass, with its carrier."""
    right_c = {**RIGHT, "far_end_name": D}
    right_d = {**RIGHT_B, "far_end_name": C}
    seen = (observed(A, {**RIGHT, **a}), observed(B, {**RIGHT_B, **b}),
            observed(C, {**right_c, **c}), observed(D, {**right_d, **d}))  # fmt: skip
    return {(f.check, f.subject.carrier, f.subject.end or "", f.verdict)
            for f in run(plan, *seen) if f.verdict != "pass"}  # fmt: skip


def test_hot_standby_off_is_right() -> None:
    """The standby devices transmit nothing, receive the active ones; their modulation is not judged."""
    standby = {**OFF, "tx_modulation": "4qam", "current_capacity_mbps": 0.0}
    named = {"far_end_name": B}, {"far_end_name": A}
    assert four(two("1+1-hsb"), {**standby, **named[0]}, {**standby, **named[1]}) == set()


def test_hot_standby_after_a_switch_over() -> None:
    """At end a the second device is active: the first is rightly off."""
    assert four(two("1+1-hsb"), {}, {**OFF, "far_end_name": C}, a=OFF,
                b={"far_end_name": C}) == set()  # fmt: skip


def test_hot_standby_both_on_or_both_off() -> None:
    assert four(two("1+1-hsb"), {}, OFF) == {("radio.transmitter", 1, "a", F),
                                             ("radio.transmitter", 2, "a", F)}  # fmt: skip
    silent = {"rx_level_dbm": NOTHING}
    got = four(two("1+1-hsb"), OFF, {**OFF, **silent}, a=OFF, b=silent)
    assert {("radio.transmitter", 1, "a", F), ("radio.transmitter", 2, "a", F)} <= got


def test_standby_receives_by_the_active_arm() -> None:
    """The second device's coupler takes 6 dB more on its way out, as planned.

    So what it receives of the far end's first device is 6 dB more than of its second.
    """
    plan = two("1+1-hsb", tx_loss_db=6.0, rx_level_dbm=-51.7)
    link = dataclasses.replace(plan.links[0], fade_margin_db=None)
    plan = dataclasses.replace(plan, links=(link,))
    got = four(plan, {**OFF, "far_end_name": B, "rx_level_dbm": -45.7},
               {**OFF, "far_end_name": A, "rx_level_dbm": -45.7})  # fmt: skip
    assert got == set()


def test_frequency_diversity_has_both_on() -> None:
    got = four(two("1+1-fd"), OFF, {**OFF, "rx_level_dbm": NOTHING})
    assert {("radio.transmitter", 2, "a", F), ("radio.transmitter", 2, "b", F)} <= got


def test_two_carriers_share_the_capacity() -> None:
    """380 Mbit/s over two carriers are 190 each."""
    assert four(two("2+0"), {}, {}) == set()
    low = {"current_capacity_mbps": 93.0, "configured_capacity_mbps": 93.0}
    assert four(two("2+0"), low, {}) == {("radio.capacity", 2, "a", F)}


def test_xpic_is_judged_by_carrier() -> None:
    plan = two("2+0-xpic", "H")
    plan = dataclasses.replace(plan, links=(dataclasses.replace(plan.links[0], min_xpi_db=20.0),))
    good = {"polarisation": "H"}
    assert four(plan, good, good) == set()
    assert four(plan, {**good, "xpi_db": 15.0}, good) == {("radio.xpi", 2, "a", F)}
    got = four(plan, good, {**good, **OFF}, a={"xpi_db": 3.0})
    assert ("radio.xpi", 1, "a", T) in got


def two_radios(profile: Profile = PROFILE) -> Profile:
    """A profile with two radios of each reading."""
    second = tuple(dataclasses.replace(r, index="radio:2") for r in profile.reading)
    first = tuple(dataclasses.replace(r, index="radio:1") for r in profile.reading)
    return dataclasses.replace(profile, reading=(*first, *second))


def test_two_radios_of_one_unit() -> None:
    """`radio:2` is read for carrier 2, under the name of its observation."""
    second = Carrier(carrier=2, polarisation="H", a=END_A, b=END_B)
    link = dataclasses.replace(LINK, protection="2+0-xpic", capacity_mbps=380.0,
                               carriers=(*LINK.carriers, second))  # fmt: skip
    a = {**RIGHT, **{f"{k} radio:2": v for k, v in RIGHT.items()}, "polarisation radio:2": "H"}
    b = {**RIGHT_B, **{f"{k} radio:2": v for k, v in RIGHT_B.items()}, "polarisation radio:2": "H",
         "rx_level_dbm radio:2": -58.0}  # fmt: skip
    findings = run(plan_of(link), observed(A, a), observed(B, b),
                   profiles={"hop-radio": two_radios()})  # fmt: skip
    got = {(f.check, f.subject.carrier, f.subject.end) for f in findings if f.verdict == "fail"}
    assert got == {("radio.rx-level", 2, "b"), ("radio.path-loss", 2, "b"),
                   ("radio.fade-margin", 2, "b"), ("radio.reciprocity", 2, None)}  # fmt: skip


def test_a_second_radio_without_a_reading_is_not_the_first() -> None:
    """Never the neighbour's figure: the profile reads one radio, carrier 2 is another."""
    second = Carrier(carrier=2, polarisation="H", a=END_A, b=END_B)
    link = dataclasses.replace(LINK, carriers=(*LINK.carriers, second), protection="2+0-xpic")
    findings = run(plan_of(link), observed(A, RIGHT), observed(B, RIGHT_B))
    finding = next(f for f in findings if f.check == "radio.rx-level"
                   and f.subject.carrier == 2 and f.subject.end == "a")  # fmt: skip
    assert finding.verdict == T
    assert finding.reason == "profile 'hop-radio' has no reading for rx_level_dbm of radio 2"
    capacity = [f for f in findings if f.check == "radio.capacity" and f.subject.carrier == 2]
    assert capacity == []


# --- what is missing ----------------------------------------------------------------------------


def test_a_dead_far_end_is_no_fault_of_this_one() -> None:
    """End b gives no answer: what it should tell is not tested, and nothing of end a fails."""
    silent = [
        observation(id=0, subject=o.subject, probe="snmp", what="answer", value="silent", at="")
        for o in observed(B, {})
        if o.what == "answer"
    ]
    result = judged(planned(), "handover", observed(A, RIGHT), silent)
    assert not found(result, F)
    assert ("radio.path-loss", "a", T) in found(result)
    assert ("radio.rx-level", "b", T) in found(result)
    assert ("radio.rx-level", "a", T) not in found(result)
    reason = one(of_radio(result), "radio.tx-frequency", "b").reason
    assert reason == "the device gave no answer at all, see echo.reply"


def test_one_end_asked_for() -> None:
    """A link is judged by both its ends: with one device asked for, nothing is said of it."""
    plan = planned()
    findings = run(plan, observed(A, RIGHT), devices=[plan.devices[0]])
    assert {f.subject.kind for f in findings} == {"device"}
    assert {f.verdict for f in findings} == {"pass"}


def test_a_profile_without_readings() -> None:
    """Whatever is planned is not tested, by name; what is not planned makes no finding."""
    profile = Profile(id="hop-radio")
    result = judged(planned(), "handover", observed(A, {}), observed(B, {}),
                    profiles={"hop-radio": profile})  # fmt: skip
    assert {v for _, _, v in found(result, F, W, T)} == {T}
    checks = {c for c, _, _ in found(result)}
    assert {"radio.tx-frequency", "radio.rx-level", "radio.eirp", "radio.capacity"} <= checks
    assert not {"radio.lock", "radio.transmitter", "radio.test-mode", "settings.saved"} & checks
    finding = one(of_radio(result), "radio.tx-frequency", "a")
    assert finding.reason == "profile 'hop-radio' has no reading for tx_mhz"


@pytest.mark.parametrize("kind", ["switch", "router"])
def test_a_switch_has_no_radio(kind: Any) -> None:
    profile = dataclasses.replace(PROFILE, kind=kind)
    findings = run(planned(), observed(A, RIGHT), observed(B, RIGHT_B),
                   profiles={"hop-radio": profile})  # fmt: skip
    assert not [f for f in findings if f.check.startswith("radio.")]


def test_the_sum_is_in_the_reason_of_the_plans_level() -> None:
    """18 + 36.1 - 135.8 + 36.1 = -45.6 dBm by P.525, which the plan says too."""
    finding = one(run(planned(), observed(A, RIGHT), observed(B, RIGHT_B)),
                  "plan.rx-level-off-budget", "a")  # fmt: skip
    assert finding.verdict == "pass"
    assert finding.reason == (
        "our sum: power 18 dBm + far antenna 36.1 dB - free space 11.42 km 135.8 dB + "
        "near antenna 36.1 dB = -45.6 dBm"
    )


def test_no_level_that_is_4_db_off_the_sum_passes_as_summed() -> None:
    findings = run(planned(a={"rx_level_dbm": -49.6}), observed(A, RIGHT), observed(B, RIGHT_B))
    assert not [f for f in findings if f.check.startswith("plan.") and f.subject.end == "a"]


def test_a_sum_of_the_plan_stands_on_one_line() -> None:
    problem = Problem("warning", "rx-level-off-budget", Subject("link", "Hop 1", carrier=1, end="a"), None,
                      "-41 planned; mend what is wrong:\npower: +18.0 dBm\nsum: -45 dBm")  # fmt: skip
    findings = run(planned(), observed(A, RIGHT), observed(B, RIGHT_B), problems=[problem])
    (finding,) = [f for f in findings if f.check.startswith("plan.") and f.verdict == W]
    assert finding.reason == "-41 planned; mend what is wrong: power: +18.0 dBm; sum: -45 dBm"


# --- states -------------------------------------------------------------------------------------

STATES = [
    ("settings.saved", "unsaved_settings", "integer", (0,), {}, 0.0, "pass"),
    ("settings.saved", "unsaved_settings", "integer", (0,), {}, 1.0, F),
    ("settings.saved", "unsaved_settings", "integer", (0, 2), {}, 2.0, "pass"),
    ("settings.saved", "unsaved_settings", "enumeration", (1,), {1: "saved", 2: "changed"},
     "changed", F),
    ("settings.saved", "unsaved_settings", "enumeration", (), {1: "true", 2: "false"}, "true", F),
    ("settings.saved", "unsaved_settings", "enumeration", (), {1: "true", 2: "false"}, "false",
     "pass"),
    ("settings.saved", "unsaved_settings", "integer", (), {}, 1.0, None),
    ("state.alarm", "alarm", "integer", (0,), {}, 7.0, F),
    ("settings.ntp", "ntp_locked", "enumeration", (1,), {1: "true", 2: "false"}, "false", F),
    ("settings.ntp", "ntp_locked", "enumeration", (1,), {1: "true", 2: "false"}, "true", "pass"),
    ("settings.ntp", "ntp_locked", "enumeration", (), {1: "true", 2: "false"}, "false", None),
    ("radio.test-mode", "test_mode", "enumeration", (0,), {0: "none", 1: "carrier"}, "carrier", F),
    ("radio.unavailable-seconds", "unavailable_s", "integer", (0,), {}, 5.0, F),
]  # fmt: skip


@pytest.mark.parametrize(("check", "field", "kind", "good", "values", "value", "verdict"), STATES)
def test_states_judged_without_a_plan_value(
    check: str, field: Any, kind: Any, good: Any, values: Any, value: Any, verdict: str | None
) -> None:
    """By the raw value where there is one, else by its name."""
    reading = ProfileReading(
        field=field, oid="1.3.6.1.4.1.32473.9", type=kind, good=good, values=values
    )
    profile = Profile(id="hop-radio", reading=(reading,))
    findings = run(planned(), observed(A, {field: value}), observed(B, {field: value}),
                   profiles={"hop-radio": profile})  # fmt: skip
    verdicts = {f.verdict for f in findings if f.check == check}
    assert verdicts == (set() if verdict is None else {verdict})


def test_every_finding_names_a_check_a_subject_and_its_evidence() -> None:
    """Findings rest on observations; figures are floats with a unit; texts are ASCII."""
    findings = run(planned(), observed(A, RIGHT), observed(B, RIGHT_B))
    for finding in findings:
        assert finding.reason.isascii()
        if finding.check.startswith("radio."):
            assert finding.evidence, finding.check
            assert finding.subject.kind == "link"
            assert finding.subject.carrier == 1
        if isinstance(finding.observed, (int, float)):
            assert isinstance(finding.observed, float)


def test_a_links_raster_and_tdd() -> None:
    """With tdd both ends have one frequency: no tilt of frequencies, and spacing is not asked."""
    link: Link = dataclasses.replace(LINK, duplexing="tdd", duplex_spacing_mhz=None)
    (carrier,) = link.carriers
    carrier = dataclasses.replace(carrier, a=dataclasses.replace(carrier.a, tx_mhz=5800.0),
                                  b=dataclasses.replace(carrier.b, tx_mhz=5800.0))  # fmt: skip
    plan = plan_of(dataclasses.replace(link, carriers=(carrier,), path_km=None))
    same = {"tx_mhz": 5800.0, "rx_mhz": 5800.0, "rx_level_dbm": -45.7}
    result = judged(plan, "handover", observed(A, {**RIGHT, **same}),
                    observed(B, {**RIGHT_B, **same}))  # fmt: skip
    assert found(result) == set()


@pytest.mark.parametrize(
    ("a", "verdict", "words"),
    [
        (
            {"tx_modulation": GONE},
            T,
            "receives with 256qam: as planned; the device gives no tx_modul",
        ),
        (
            {"rx_modulation": GONE},
            T,
            "transmits with 256qam: as planned; the device gives no rx_modul",
        ),
        (
            {"tx_modulation": GONE, "rx_modulation": "64qam"},
            W,
            "; the device gives no tx_modulation",
        ),
        ({"rx_modulation": GONE, "tx_enabled": "false"}, T, "the device gives no rx_modulation"),
    ],
)
def test_a_direction_that_is_not_read_is_said(a: dict[str, Any], verdict: str, words: str) -> None:
    """The other direction's figure does not stand for it; what is wrong stays wrong."""
    low = {"rx_level_dbm": -70.0}
    seen = observed(A, {**RIGHT, **low, **a}), observed(B, {**RIGHT_B, **low})
    finding = one(run(planned(), *seen), "radio.modulation", "a")
    assert (finding.verdict, words in finding.reason) == (verdict, True), finding
