"""Limits of what a receiver reads: exactly at each, and a step beyond."""

from __future__ import annotations

import pytest

from tests.rules.compare.radio.radio_world import (
    GONE,
    NO_CHANGE,
    NOTHING,
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
from verifier.model.plan import Stage
from verifier.model.result import Finding
from verifier.rules.compare.radio.expected import too_low
from verifier.rules.compare.radio.read import can_be

pytestmark = pytest.mark.usefixtures("words")

F, W, T, P = "fail", "warn", "not-tested", "pass"
H: Stage = "handover"
MUTED_B = {"tx_enabled": "false"}


def one(
    check: str, a: Change, b: Change = NO_CHANGE, *, stage: Stage = H, link: Change = NO_CHANGE,
    pa: Change = NO_CHANGE,
) -> Finding:  # fmt: skip
    """The finding of a check at end a, or of the carrier."""
    seen = observed(A, {**RIGHT, **a}), observed(B, {**RIGHT_B, **b})
    found = of_radio(judged(planned(link, pa), stage, *seen))
    return next(f for f in found if f.check == check and f.subject.end in {"a", None})


LEVELS: list[tuple[str, str, Change, Change, Change, str]] = [
    # what it is, check, link, plan of a, what a shows, verdict
    ("3 dB low", "radio.rx-level", {}, {}, {"rx_level_dbm": -48.6}, P),
    ("3.1 dB low", "radio.rx-level", {}, {}, {"rx_level_dbm": -48.7}, F),
    ("3 dB high", "radio.rx-level", {}, {}, {"rx_level_dbm": -42.6}, P),
    ("3.1 dB high", "radio.rx-level", {}, {}, {"rx_level_dbm": -42.5}, W),
    ("2 dB low of 2", "radio.rx-level", {}, {"rx_level_tolerance_db": 2.0}, {"rx_level_dbm": -47.6}, P),
    ("2.1 dB low of 2", "radio.rx-level", {}, {"rx_level_tolerance_db": 2.0}, {"rx_level_dbm": -47.7}, F),
    ("at the overload", "radio.rx-level", {}, {"rx_level_dbm": -20.0}, {"rx_level_dbm": -20.0}, P),
    ("over it", "radio.rx-level", {}, {"rx_level_dbm": -20.0}, {"rx_level_dbm": -19.9}, F),
    ("over it in one sample", "radio.rx-level", {}, {"rx_level_dbm": -20.0},
     {"rx_level_dbm": [-20.0, -20.0, -19.0, -20.0, -20.0]}, F),
    ("at the damage", "radio.rx-level", {}, {"rx_level_dbm": 0.0}, {"rx_level_dbm": 0.1}, F),
    ("path loss 3 dB more", "radio.path-loss", {}, {}, {"rx_level_dbm": -48.6}, P),
    ("path loss 3.1 dB more", "radio.path-loss", {}, {}, {"rx_level_dbm": -48.7}, F),
    ("reciprocity 3 dB", "radio.reciprocity", {}, {}, {"rx_level_dbm": -48.6}, P),
    ("reciprocity 3.1 dB", "radio.reciprocity", {}, {}, {"rx_level_dbm": -48.7}, W),
    ("reciprocity 6 dB", "radio.reciprocity", {}, {}, {"rx_level_dbm": -51.6}, W),
    ("reciprocity 6.1 dB", "radio.reciprocity", {}, {}, {"rx_level_dbm": -51.7}, F),
    ("reciprocity 6.1 dB the other way", "radio.reciprocity", {}, {}, {"rx_level_dbm": -39.5}, F),
    # 64-QAM needs -72 dBm: -45.6 dBm leave 26.4 dB
    ("margin as planned", "radio.fade-margin", {"fade_margin_db": 26.4}, {}, {}, P),
    ("margin 3 dB low", "radio.fade-margin", {"fade_margin_db": 29.4}, {}, {}, W),
    ("margin 3.1 dB low", "radio.fade-margin", {"fade_margin_db": 29.5}, {}, {}, F),
    ("SNR as planned", "radio.snr", {}, {}, {"snr_db": 25.0}, P),
    ("SNR 0.1 dB low", "radio.snr", {}, {}, {"snr_db": 24.9}, F),
    ("samples 3 dB apart", "radio.rx-level", {}, {}, {"rx_level_dbm": [-45.6, -47.1, -44.1, -45.6, -45.6]}, P),
    ("samples 3.1 dB apart", "radio.rx-level", {}, {}, {"rx_level_dbm": [-45.6, -47.2, -44.1, -45.6, -45.6]}, W),
    ("nothing in one sample", "radio.rx-level", {}, {}, {"rx_level_dbm": [-45.6, NOTHING, -45.6, -45.6, -45.6]}, F),
    ("no value in one sample", "radio.rx-level", {}, {}, {"rx_level_dbm": [-45.6, GONE, -45.6, -45.6, -45.6]}, W),
]  # fmt: skip


@pytest.mark.parametrize(("check", "link", "pa", "a", "verdict"), [x[1:] for x in LEVELS],
                         ids=[x[0] for x in LEVELS])  # fmt: skip
def test_edges_of_what_is_received(
    check: str, link: Change, pa: Change, a: Change, verdict: str
) -> None:
    finding = one(check, a, link=link, pa=pa)
    assert finding.verdict == verdict, finding.reason


@pytest.mark.parametrize(
    ("off", "computed", "verdict"),
    [(-3.0, False, None), (-3.1, False, F), (-3.0, True, None), (-3.1, True, W), (-6.0, True, W),
     (-6.1, True, F), (9.0, True, None)],
)  # fmt: skip
def test_too_low(off: float, computed: bool, verdict: str | None) -> None:  # noqa: FBT001
    """Beyond the tolerance; of a computed level 3 dB more only warn."""
    assert too_low(off, 3.0, computed=computed) == verdict


@pytest.mark.parametrize(
    ("field", "low", "high"),
    [
        ("rx_level_dbm", -140, 30), ("tx_power_dbm", -80, 60), ("tx_power_set_dbm", -80, 60),
        ("tx_mhz", 1, 400_000), ("rx_mhz", 1, 400_000), ("bandwidth_mhz", 0.001, 20_000),
        ("snr_db", -30, 100), ("xpi_db", -30, 100), ("configured_capacity_mbps", 0, 1e7),
        ("current_capacity_mbps", 0, 1e7), ("key_capacity_mbps", 0, 1e7),
    ],
)  # fmt: skip
def test_what_a_reading_can_be_at_all(field: str, low: float, high: float) -> None:
    """Beyond, it is a device's mark for none, or a wrong scale."""
    assert (can_be(field, low), can_be(field, high)) == (True, True)
    assert (can_be(field, low - 0.0001), can_be(field, high + 0.0001)) == (False, False)


@pytest.mark.parametrize(
    ("level", "link", "verdict"),
    [
        # noise of 28 MHz is -99.5 dBm, 5 dB for the receiver, 10 dB above it
        (-84.5, {}, F), (-84.6, {}, P), (-87.5, {"bandwidth_mhz": 14.0}, F), (-87.6, {"bandwidth_mhz": 14.0}, P),
    ],
)  # fmt: skip
def test_a_signal_of_nobody_stands_out_of_the_noise(
    level: float, link: Change, verdict: str
) -> None:
    """-174 dBm in a hertz, the receiver's own noise and 10 dB."""
    finding = one("radio.rx-level", {"rx_level_dbm": level, **link}, MUTED_B, link=link)
    assert ("is received, and" in finding.reason) is (verdict == F), finding.reason
