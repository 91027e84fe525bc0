"""Readings that came and went while they were taken: bad and sound ones side by side."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from tests.as_seen import seen_again
from tests.rules.compare.radio.radio_world import (
    GONE,
    NOTHING,
    PROFILE,
    RIGHT,
    RIGHT_B,
    A,
    B,
    judged,
    observed,
    of_radio,
    planned,
)
from verifier.model.result import Finding

F, W, T, P = "fail", "warn", "not-tested", "pass"
OK = -45.6


def at_a(
    check: str, field: str, samples: list[Any], stage: Any = "handover", **link: Any
) -> Finding:
    """What is said of end a whose samples were these."""
    sides = observed(A, {**RIGHT, field: samples}), observed(B, RIGHT_B)
    found = of_radio(judged(planned(link), stage, *sides))
    (finding,) = [f for f in found if f.check == check and f.subject.end == "a"]
    return finding


LEVELS = [
    # samples of the level, stage, verdict, in the reason
    ("steady", [OK] * 6, "handover", P, ""),
    ("scatter of readings", [OK, -46.9, -44.8, OK, -45.9, OK], "handover", P, ""),
    ("2.9 dB apart", [OK, -47.0, -44.1, OK, OK, OK], "handover", P, ""),
    ("3 of 6 without a signal", [OK, NOTHING, OK, NOTHING, NOTHING, OK], "handover", F,
     "nothing was received in 3 of 6 samples"),
    ("1 of 6 without a signal", [OK, OK, NOTHING, OK, OK, OK], "handover", F, "-45.6, -45.6, nothing"),
    ("4 of 6 without a signal", [OK, NOTHING, NOTHING, NOTHING, NOTHING, OK], "handover", F,
     "nothing is received in 4 of 6 samples"),
    ("2 of 6 at -90 dBm", [OK, -90.0, OK, OK, -90.0, OK], "handover", F, "-45.6, -90, -45.6"),
    ("3.5 dB apart, each within its tolerance", [-44.0, -47.5, OK, OK, OK, OK], "handover", W,
     "3.5 dB apart, allowed 3 dB"),
    ("one sample a little too low", [OK, -48.9, OK, OK, OK, OK], "handover", W, "-48.9"),
    ("in service too", [OK, -90.0, OK, OK, -90.0, OK], "service", F, "-90"),
    ("while an antenna is turned", [OK, -60.0, OK, NOTHING, OK, OK], "alignment", W, "came and went"),
    ("no such object in two", [OK, GONE, OK, GONE, OK, OK], "handover", W, "no value that can be meant in 2 of 6"),
    ("a mark for none in one", [OK, -3276.8, OK, OK, OK, OK], "handover", W, "in 1 of 6"),
]  # fmt: skip


@pytest.mark.parametrize(("samples", "stage", "verdict", "words"), [r[1:] for r in LEVELS],
                         ids=[r[0] for r in LEVELS])  # fmt: skip
def test_a_level(samples: list[Any], stage: Any, verdict: str, words: str) -> None:
    """Plan -45.6 dBm, tolerance 3 dB."""
    finding = at_a("radio.rx-level", "rx_level_dbm", samples, stage)
    assert (finding.verdict, words in finding.reason) == (verdict, True), finding.reason


def test_an_answer_that_got_lost_on_the_way_is_no_lost_signal() -> None:
    """The management network dropped one answer: nothing came and went at the radio."""
    seen = observed(A, {**RIGHT, "rx_level_dbm": [OK, OK, GONE, OK, OK, OK]})
    silent = [
        seen_again(o, value=None, raw="timeout") if o.raw == "noSuchInstance" else o
        for o in seen
    ]  # fmt: skip
    found = of_radio(judged(planned(), "handover", silent, observed(B, RIGHT_B)))
    (finding,) = [f for f in found if f.check == "radio.rx-level" and f.subject.end == "a"]
    assert finding.verdict == P


LOCKS = [
    ("always", ["true"] * 6, "handover", P, "the receiver is locked"),
    ("never", ["false"] * 6, "handover", F, "the receiver is not locked"),
    ("only at the end", ["false"] * 5 + ["true"], "handover", F, "(no, no, no, no, no, yes)"),
    ("lost once", ["true", "true", "false", "true"], "handover", F, "(yes, yes, no, yes)"),
    ("lost at the end", ["true"] * 5 + ["false"], "handover", F, "(yes, yes, yes, yes, yes, no)"),
    ("while an antenna is turned", ["true", "false", "true"], "alignment", W, "(yes, no, yes)"),
    ("not yet, while aligning", ["false"] * 3, "alignment", F, "not locked"),
    ("in service", ["true", "false", "true"], "service", F, "(yes, no, yes)"),
    ("one not read", ["true", GONE, "true"], "handover", P, "in 1 of 3 samples"),
    ("none at the end", ["false", GONE], "handover", F, "not locked"),
]


@pytest.mark.parametrize(("samples", "stage", "verdict", "words"), [r[1:] for r in LOCKS],
                         ids=[r[0] for r in LOCKS])  # fmt: skip
def test_a_lock(samples: list[Any], stage: Any, verdict: str, words: str) -> None:
    finding = at_a("radio.lock", "locked", samples, stage)
    assert (finding.verdict, words in finding.reason) == (verdict, True), finding.reason


SNRS = [
    ("steady", [38.0] * 6, P),
    ("just at the least", [25.0] * 6, P),
    ("low twice", [38.0, 5.0, 38.0, 38.0, 5.0, 38.0], F),
    ("a little low once", [26.0, 24.5, 26.0, 26.0, 26.0, 26.0], W),
    ("low in most", [5.0, 5.0, 5.0, 5.0, 38.0, 38.0], F),
    ("well above, yet 6 dB apart", [40.0, 34.0, 38.0, 38.0, 38.0, 38.0], W),
]


@pytest.mark.parametrize(("samples", "verdict"), [r[1:] for r in SNRS], ids=[r[0] for r in SNRS])
def test_an_snr(samples: list[float], verdict: str) -> None:
    """At least 25 dB are planned."""
    assert at_a("radio.snr", "snr_db", samples).verdict == verdict


def test_discrimination_that_comes_and_goes_does_not_pass() -> None:
    swings = [30.0, 8.0, 30.0, 8.0, 30.0]
    assert at_a("radio.xpi", "xpi_db", swings, min_xpi_db=20.0).verdict == F
    assert at_a("radio.xpi", "xpi_db", [30.0] * 5, min_xpi_db=20.0).verdict == P


def test_what_rests_on_the_median_of_it_does_not_pass_either() -> None:
    """Path loss and fade margin of a level that lay 44 dB apart."""
    samples = [OK, -90.0, OK, OK, -90.0, OK]
    for check in ("radio.path-loss", "radio.fade-margin"):
        finding = at_a(check, "rx_level_dbm", samples)
        assert finding.verdict == W
        assert "this is a median" in finding.reason


CEILINGS = [
    # check, field, end of the scale as it comes, planned level, what is read, verdict
    ("a level at the end of its scale, as planned", "radio.rx-level", "rx_level_dbm", -350, -36.0, -35.0, W),
    ("a level at the end of its scale, less than planned", "radio.rx-level", "rx_level_dbm", -350, -30.0, -35.0, T),
    ("a level below it", "radio.rx-level", "rx_level_dbm", -350, -45.6, -45.6, P),
    ("a path loss that is at most so much", "radio.path-loss", "rx_level_dbm", -350, -30.0, -35.0, T),
    ("an SNR at the end of its scale, enough", "radio.snr", "snr_db", 380, -45.6, 38.0, P),
    ("an SNR at the end of its scale, less than planned", "radio.snr", "snr_db", 200, -45.6, 20.0, T),
    ("an SNR below it", "radio.snr", "snr_db", 380, -45.6, 20.0, F),
]  # fmt: skip


@pytest.mark.parametrize(("check", "field", "end", "planned_dbm", "read", "verdict"),
                         [r[1:] for r in CEILINGS], ids=[r[0] for r in CEILINGS])  # fmt: skip
def test_the_end_of_a_scale_means_at_least(
    check: str, field: str, end: int, planned_dbm: float, read: float, verdict: str
) -> None:
    """`ceiling` of the profile's reading, raw, in tenths."""
    reading = tuple(
        dataclasses.replace(r, ceiling=end) if r.field == field else r for r in PROFILE.reading
    )
    profiles = {"hop-radio": dataclasses.replace(PROFILE, reading=reading)}
    sides = observed(A, {**RIGHT, field: read}), observed(B, RIGHT_B)
    plan = planned(a={"rx_level_dbm": planned_dbm})
    made = of_radio(judged(plan, "handover", *sides, profiles=profiles))
    (finding,) = [f for f in made if f.check == check and f.subject.end == "a"]
    assert finding.verdict == verdict, finding.reason
    assert ("at least so much" in finding.reason) is (verdict in {W, T})


def test_near_the_limit_is_said_and_judged_as_it_reads() -> None:
    """Simple acceptance: 2.6 dB low of 3 dB passes, and so does 3.0; both are marked."""
    marked = {
        o: at_a("radio.rx-level", "rx_level_dbm", [o] * 5)
        for o in (-46.6, -48.2, -48.6, -48.8, -52.0)
    }
    assert [f.verdict for f in marked.values()] == [P, P, P, F, F]
    assert ["near the limit" in f.reason for f in marked.values()] == [
        False,
        True,
        True,
        True,
        False,
    ]
