"""Hot standby, space diversity and both polarisations of a channel: bad and sound side by side."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

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
    Change,
    judged,
    observed,
    of_radio,
    plan_of,
)
from verifier.model.plan import Carrier, Plan
from verifier.model.profile import Profile
from verifier.model.result import Finding

pytestmark = pytest.mark.usefixtures("words")

F, W, T, P = "fail", "warn", "not-tested", "pass"
C, D = "lighthouse-quarry-2", "quarry-lighthouse-2"
OFF = {"tx_enabled": "false"}
Key = tuple[str, int | None, str | None]


def two(protection: Any, polarisation: Any = "V", first: Change = NO_CHANGE, **second: Any) -> Plan:
    """Two carriers, each with devices of its own; fields of the ends of the first and the second."""
    (one,) = LINK.carriers
    carriers = (
        dataclasses.replace(one, a=dataclasses.replace(END_A, **first),
                            b=dataclasses.replace(END_B, **first)),
        Carrier(carrier=2, polarisation=polarisation,
                a=dataclasses.replace(END_A, device=C, **second),
                b=dataclasses.replace(END_B, device=D, **second)),
    )  # fmt: skip
    return plan_of(dataclasses.replace(
        LINK, protection=protection, carriers=carriers, fade_margin_db=None,
        capacity_mbps=380.0 if protection.startswith("2+0") else 190.0,
    ))  # fmt: skip


def said(
    plan: Plan,
    a: Change = NO_CHANGE,
    b: Change = NO_CHANGE,
    c: Change = NO_CHANGE,
    d: Change = NO_CHANGE,
    stage: Any = "handover",
    **more: Any,
) -> dict[Key, Finding]:
    """The findings of all four devices, by check, carrier and end."""
    standby = plan.links[0].protection in {"1+1-hsb", "1+1-sd"}
    seen = (
        observed(A, {**RIGHT, **a}), observed(B, {**RIGHT_B, **b}),
        observed(C, {**RIGHT, "far_end_name": B if standby else D, **c}),
        observed(D, {**RIGHT_B, "far_end_name": A if standby else C, **d}),
    )  # fmt: skip
    made = of_radio(judged(plan, stage, *seen, **more))
    return {(f.check, f.subject.carrier, f.subject.end): f for f in made}


def wrong(found: dict[Key, Finding]) -> set[tuple[str, int | None, str | None, str]]:
    return {(*key, f.verdict) for key, f in found.items() if f.verdict != P}


# --- who is on ----------------------------------------------------------------------------------

ON = [
    # what the second device of end a shows, verdict of its transmitter, in the reason
    ("off", OFF, P, "off rightly"),
    ("enabled, output muted: -50 dBm", {"tx_power_dbm": -50.0}, P, "enabled, and its output is muted"),
    ("enabled, output muted: 0 dBm of 18", {"tx_power_dbm": 0.0}, P, "output is muted"),
    ("enabled, output muted: a mark for none", {"tx_power_dbm": -99.9}, P, "output is muted"),
    ("enabled, and its power is not told", {"tx_power_dbm": GONE}, T, "whether both radiate is not"),
    ("enabled, and it radiates", {}, F, "both transmitters of the hot standby are on"),
    ("enabled, and it radiates weakly", {"tx_power_dbm": 12.0}, F, "both transmitters"),
]  # fmt: skip


@pytest.mark.parametrize(("c", "verdict", "words"), [r[1:] for r in ON], ids=[r[0] for r in ON])
def test_who_is_on(c: Change, verdict: str, words: str) -> None:
    """An administrative state alone never makes both on."""
    found = said(two("1+1-hsb"), c=c, d=OFF)
    standby = found["radio.transmitter", 2, "a"]
    assert (standby.verdict, words in standby.reason) == (verdict, True), standby.reason
    assert found["radio.transmitter", 1, "a"].verdict == verdict


def test_a_muted_standby_that_is_enabled_spoils_nothing_else() -> None:
    """Its power, its modulation, what the far end receives: all as with one that is off."""
    idle = {"tx_power_dbm": -50.0, "tx_modulation": "4qam", "current_capacity_mbps": 0.0}
    assert wrong(said(two("1+1-hsb"), c=idle, d=idle)) == set()


def test_without_any_standby_nothing_is_taken_for_muted() -> None:
    """1+0 and 2+0: a transmitter that reads -50 dBm is at fault."""
    found = said(two("2+0"), c={"tx_power_dbm": -50.0})
    assert found["radio.tx-power", 2, "a"].verdict == F


# --- levels of their own ------------------------------------------------------------------------

COUPLED = {"line_loss_db": 6.5, "rx_level_dbm": -50.6}
"""The second devices hang on the coupler's weak arm, 5 dB more each way than the first ones' 1.5 dB.
They receive the first transmitter: -45.6 dBm less 5 dB."""
MAIN = {"line_loss_db": 1.5, "rx_level_dbm": -45.6}
DIVERSITY = {"antenna_dbi": 32.1, "rx_level_dbm": -49.6}
"""A second antenna that is 4 dB smaller."""
WEAK = {"rx_level_dbm": -50.6}
LEVELS = [
    # protection, first ends, second ends, what a, b, c, d receive, whose level fails
    ("a coupler: each as planned", "1+1-hsb", MAIN, COUPLED, (-45.6, -45.6, -50.6, -50.6), set()),
    ("a coupler: the standby receives 5 dB less", "1+1-hsb", MAIN, COUPLED, (-45.6, -45.6, -55.6, -50.6), {(2, "a")}),
    ("a coupler: planned of its partner", "1+1-hsb", MAIN, {**COUPLED, "rx_level_dbm": -55.6},
     (-45.6, -45.6, -50.6, -50.6), set()),
    ("a coupler: planned of its partner, 5 dB less", "1+1-hsb", MAIN, {**COUPLED, "rx_level_dbm": -55.6},
     (-45.6, -45.6, -55.6, -50.6), {(2, "a")}),
    ("diversity: each as planned", "1+1-sd", {"rx_level_dbm": -45.6}, DIVERSITY, (-45.6, -45.6, -49.6, -49.6), set()),
    ("diversity: the second antenna 6 dB off its peak", "1+1-sd", {"rx_level_dbm": -45.6}, DIVERSITY,
     (-45.6, -45.6, -49.6, -55.6), {(2, "b")}),
]  # fmt: skip


@pytest.mark.parametrize(("protection", "first", "second", "levels", "low"), [r[1:] for r in LEVELS],
                         ids=[r[0] for r in LEVELS])  # fmt: skip
def test_standby_and_diversity_receivers_have_levels_of_their_own(
    protection: str, first: Change, second: Change, levels: tuple[float, ...], low: set[Any]
) -> None:
    shown = [{"rx_level_dbm": level} for level in levels]
    found = said(two(protection, first=first, **second), shown[0], shown[1],
                 {**shown[2], **OFF}, {**shown[3], **OFF})  # fmt: skip
    for check in ("radio.rx-level", "radio.path-loss"):
        assert {k[1:] for k, f in found.items() if k[0] == check and f.verdict != P} == low


def test_after_a_switch_over_the_weak_arm_sends() -> None:
    """Both ends now send over the weak arm: 5 dB less at each receiver, and all is right."""
    found = said(
        two("1+1-hsb", first=MAIN, **COUPLED),
        {**OFF, "rx_level_dbm": -50.6, "far_end_name": D},
        {**OFF, "rx_level_dbm": -50.6, "far_end_name": C},
        {"rx_level_dbm": -55.6, "far_end_name": D},
        {"rx_level_dbm": -55.6, "far_end_name": C},
    )
    assert wrong(found) == set()


# --- the switch ---------------------------------------------------------------------------------

SWITCH = [
    ("free", "none", "handover", P),
    ("forced", "forced", "handover", F),
    ("locked out", "lockout", "handover", F),
    ("forced in service", "forced", "service", F),
    ("forced while aligning", "forced", "alignment", W),
    ("forced on the bench", "forced", "bench", W),
    ("not read", GONE, "handover", T),
]


@pytest.mark.parametrize(("word", "stage", "verdict"), [r[1:] for r in SWITCH],
                         ids=[r[0] for r in SWITCH])  # fmt: skip
def test_a_switch(word: Any, stage: Any, verdict: str) -> None:
    found = said(two("1+1-hsb"), {"switch_forced": word}, c=OFF, d=OFF, stage=stage)
    assert found["radio.switch-forced", 1, "a"].verdict == verdict
    assert found["radio.switch-forced", 1, "b"].verdict == P


def of_words(type_: Any, values: Any, good: tuple[int, ...] = ()) -> dict[str, Profile]:
    """The profile with another form of this reading."""
    reading = tuple(
        dataclasses.replace(r, type=type_, values=values, good=good)
        if r.field == "switch_forced"
        else r
        for r in PROFILE.reading
    )
    return {"hop-radio": dataclasses.replace(PROFILE, reading=reading)}


@pytest.mark.parametrize(
    ("profiles", "shown", "verdict"),
    [
        (of_words("enumeration", {1: "true", 2: "false"}), "true", F),
        (of_words("enumeration", {1: "true", 2: "false"}), "false", P),
        (
            of_words("enumeration", {1: "auto", 2: "lockout of protection"}),
            "lockout of protection",
            F,
        ),
        (of_words("text", {}), "Forced switch", F),
        (of_words("text", {}), "no request", P),
        (of_words("text", {}), "exercise", T),
        (of_words("integer", {}, good=(0,)), 0.0, P),
        (of_words("integer", {}, good=(0,)), 3.0, F),
        (of_words("integer", {}), 3.0, None),
    ],
)
def test_the_words_of_a_switch(profiles: Any, shown: Any, verdict: str | None) -> None:
    """By the profile's good values, by true and false, else by the trade's words."""
    shows = {"switch_forced": shown}
    found = said(
        two("1+1-hsb"), shows, shows, {**OFF, **shows}, {**OFF, **shows}, profiles=profiles
    )
    finding = found.get(("radio.switch-forced", 1, "a"))
    assert (finding.verdict if finding is not None else None) == verdict


@pytest.mark.parametrize("protection", ["1+0", "2+0", "2+0-xpic"])
def test_without_protection_there_is_no_switch(protection: Any) -> None:
    """A device that could, in a link that has none: nothing to judge."""
    found = said(two(protection), {"switch_forced": "forced"})
    assert not [key for key in found if key[0] == "radio.switch-forced"]


# --- both polarisations -------------------------------------------------------------------------

H = {"polarisation": "H"}
BALANCE = [
    # what V and H receive at end a, what H is planned, sent by H's far end, verdict
    ("alike", -45.6, -45.6, -45.6, 18.0, P),
    ("2.9 dB apart", -45.6, -48.5, -45.6, 18.0, P),
    ("3.2 dB apart", -45.6, -48.8, -45.6, 18.0, W),
    ("V is the weak one", -48.5, -45.0, -45.6, 18.0, W),
    ("5 dB apart, and planned so", -45.6, -50.6, -50.6, 18.0, P),
    ("planned 5 dB apart, and alike", -45.6, -45.6, -50.6, 18.0, W),
    ("H is sent with 4 dB less, says it, and arrives so", -45.6, -49.6, -45.6, 14.0, P),
]


@pytest.mark.parametrize(("v", "h", "planned", "sent", "verdict"), [r[1:] for r in BALANCE],
                         ids=[r[0] for r in BALANCE])  # fmt: skip
def test_v_and_h_of_one_path(v: float, h: float, planned: float, sent: float, verdict: str) -> None:
    plan = two("2+0-xpic", "H", rx_level_dbm=planned)
    found = said(plan, {"rx_level_dbm": v}, NO_CHANGE, {**H, "rx_level_dbm": h},
                 {**H, "tx_power_dbm": sent, "rx_level_dbm": planned})  # fmt: skip
    finding = found["radio.polarisation-balance", None, "a"]
    assert finding.verdict == verdict, finding.reason
    assert (finding.expected, finding.unit) == (0.0, "dB")


def test_balance_is_asked_of_both_polarisations_of_one_channel_only() -> None:
    far_apart = {"rx_level_dbm": -60.0}
    for protection, polarisation in (("2+0", "H"), ("1+1-hsb", "V"), ("2+0-xpic", "V")):
        found = said(two(protection, polarisation), c=far_apart)
        assert not [key for key in found if key[0] == "radio.polarisation-balance"]
    on_bench = said(two("2+0-xpic", "H"), c={**H, **far_apart}, d=H, stage="bench")
    assert not [key for key in on_bench if key[0] == "radio.polarisation-balance"]
    silent = said(two("2+0-xpic", "H"), c={**H, "rx_level_dbm": NOTHING}, d=H)
    assert ("radio.polarisation-balance", None, "a") not in silent


def test_crossed_lines_lead_the_causes() -> None:
    """V and H exchanged at end b: levels right, discrimination below nothing, the other's name."""
    plan = two("2+0-xpic", "H")
    plan = dataclasses.replace(plan, links=(dataclasses.replace(plan.links[0], min_xpi_db=20.0),))
    turned = {"xpi_db": -15.0, "snr_db": 3.0}
    seen = (
        observed(A, {**RIGHT, **turned, "far_end_name": D}),
        observed(B, {**RIGHT_B, **turned, "far_end_name": C}),
        observed(C, {**RIGHT, **H, **turned, "far_end_name": B}),
        observed(D, {**RIGHT_B, **H, **turned, "far_end_name": A}),
    )
    result = judged(plan, "handover", *seen)
    assert result.causes[0].kind == "polarisations-crossed"
    assert result.causes[0].certainty == "likely"
    tied = {f.check for f in result.findings if result.causes[0].id in f.caused_by}
    assert tied >= {"radio.xpi", "radio.snr", "link.far-end"}


def test_the_other_carriers_device_is_no_planned_far_end_without_a_standby() -> None:
    """In hot standby the other device may well be the one that sends; in 2+0 carriers are crossed."""
    assert said(two("2+0"), {"far_end_name": D})["link.far-end", 1, "a"].verdict == F
    hot = said(two("1+1-hsb"), {"far_end_name": D}, c=OFF, d=OFF)
    assert hot["link.far-end", 1, "a"].verdict == P
