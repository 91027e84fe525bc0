"""Radio checks: stage x settings x levels, each with exactly the findings that do not pass.

In the plan end a receives -45.6 dBm and end b -45.8 dBm at 18 dBm from the other; 256-QAM needs
-66 dBm, 64-QAM (the reference) -72 dBm, at 28 MHz; tolerance 3 dB; 18 + 36.1 = 54.1 dBm EIRP.
"""

from __future__ import annotations

from typing import Any

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
    found,
    judged,
    observed,
    of_radio,
    planned,
)
from verifier.model.plan import Stage

pytestmark = pytest.mark.usefixtures("words")

H: Stage = "handover"
S: Stage = "service"
G: Stage = "alignment"
N: Stage = "bench"
F, W, T = "fail", "warn", "not-tested"
FADED = {"rx_level_dbm": -65.6}, {"rx_level_dbm": -65.8}
"""Both ends receive 20 dB less."""
DEEP = {"rx_level_dbm": -68.6, "snr_db": 26.0}, {"rx_level_dbm": -68.8, "snr_db": 26.0}
ALIGNING = {"tx_power_dbm": 26.0, "tx_power_set_dbm": 26.0, "tx_modulation": "4qam",
            "rx_modulation": "4qam", "current_capacity_mbps": 45.0}  # fmt: skip
RAISED = ({**ALIGNING, "rx_level_dbm": -37.6}, {**ALIGNING, "rx_level_dbm": -37.8})
"""Both ends as they are set for alignment: 8 dB more power, 8 dB more level."""
ATPC = {"atpc": True, "atpc_min_dbm": 3.0, "atpc_max_dbm": 18.0, "atpc_target_dbm": -50.0}
"""Ends keep each other at -50 dBm: 13.6 and 13.8 dBm."""
KEPT = ({"atpc": "true", "rx_level_dbm": -50.0, "tx_power_dbm": 13.8},
        {"atpc": "true", "rx_level_dbm": -50.0, "tx_power_dbm": 13.6})  # fmt: skip
BENCH = {"bench_attenuation_db": 60.0, "bench_rx_level_dbm": -42.0}
ON_BENCH = {"rx_level_dbm": -42.0}
MUTED = {"tx_enabled": "false", "rx_level_dbm": NOTHING, "locked": "false", "far_end_name": ""}
FIXED = {"modulation_min": "64qam", "modulation_max": "64qam", "adaptive": False,
         "capacity_mbps": 140.0, "key_capacity_mbps": None}  # fmt: skip
AT_64 = {"tx_modulation": "64qam", "rx_modulation": "64qam", "current_capacity_mbps": 140.0}
Expected = set[tuple[str, str, str]]
Row = tuple[str, Stage, Change, Change, Change, Change, Change, Expected]


def both(check: str, verdict: str) -> Expected:
    """The same at either end."""
    return {(check, "a", verdict), (check, "b", verdict)}


def row(
    words: str,
    stage: Stage = H,
    *,
    link: Change = NO_CHANGE,
    pa: Change = NO_CHANGE,
    pb: Change = NO_CHANGE,
    a: Change = NO_CHANGE,
    b: Change = NO_CHANGE,
    expected: Expected = frozenset(),  # type: ignore[assignment]
) -> Any:
    """A situation: plan of link and ends, then what the ends give."""
    return pytest.param(stage, link, pa, pb, a, b, set(expected), id=f"{stage}: {words}")


LOST = both("radio.rx-level", F) | both("radio.path-loss", F)
SITUATIONS = [
    # --- everything right, at every stage
    row("all as planned", H),
    row("all as planned", S),
    row("all as planned", G),
    row("off, nothing planned for the bench", N, a=MUTED, b=MUTED),
    row("attenuated, level as planned", N, pa=BENCH, pb=BENCH, a=ON_BENCH, b=ON_BENCH),
    # --- the bench
    row("on without an attenuator", N, a={**MUTED, "tx_enabled": "true"}, b=MUTED,
        expected={("radio.transmitter", "a", F)}),
    row("off, and the other end receives", N, a=MUTED, b={**MUTED, "rx_level_dbm": -60.0},
        expected={("radio.transmitter", "a", W), ("radio.rx-level", "b", W)}),
    row("level 4 dB low", N, pa=BENCH, pb=BENCH, a={"rx_level_dbm": -46.0}, b=ON_BENCH,
        expected={("radio.rx-level", "a", F), ("radio.path-loss", "a", F),
                  ("radio.reciprocity", "", W)}),
    row("level 4 dB high", N, pa=BENCH, pb=BENCH, a={"rx_level_dbm": -38.0}, b={"rx_level_dbm": -38.0},
        expected=both("radio.rx-level", W) | both("radio.path-loss", W)),
    row("attenuation at one end counts for both", N, pa=BENCH, pb={"bench_rx_level_dbm": -42.0},
        a=ON_BENCH, b=ON_BENCH),
    row("bench power of its own", N, pa={**BENCH, "bench_tx_power_dbm": 10.0}, pb=BENCH,
        a={"tx_power_dbm": 10.0, "tx_power_set_dbm": 10.0, "rx_level_dbm": -42.0},
        b={"rx_level_dbm": -50.0}, expected={("radio.rx-level", "b", F)}),
    row("a wrong setting", N, a={**MUTED, "tx_mhz": 13171.0}, b=MUTED,
        expected={("radio.tx-frequency", "a", F)}),
    row("settings not saved", N, a={**MUTED, "unsaved_settings": 1.0}, b=MUTED,
        expected={("settings.saved", "", W)}),
    # --- aligning
    row("lowest modulation and raised power", G, a=RAISED[0], b=RAISED[1]),
    row("one end still at the planned power", G, a={**RAISED[0], "rx_level_dbm": -45.6},
        b={"rx_level_dbm": -37.8}),
    row("raised, but the level did not follow", G, a={**RAISED[0], "rx_level_dbm": -42.0}, b=RAISED[1],
        expected={("radio.rx-level", "a", F), ("radio.path-loss", "a", F),
                  ("radio.reciprocity", "", W)}),
    row("side lobe: 20 dB less at both", G, a={**RAISED[0], "rx_level_dbm": -57.6},
        b={**RAISED[1], "rx_level_dbm": -57.8}, expected=LOST),
    row("raised above the mode's maximum", G,
        a={**RAISED[0], "tx_modulation": "16qam", "tx_power_dbm": 25.0, "tx_power_set_dbm": 25.0},
        b={**RAISED[1], "rx_modulation": "16qam", "rx_level_dbm": -38.8},
        expected={("radio.tx-power", "a", F)}),
    row("raised above the licence", G, pa={"max_eirp_dbm": 58.0}, a=RAISED[0], b=RAISED[1],
        expected={("radio.tx-power", "a", F), ("radio.eirp", "a", F)}),
    row("raised to the licence", G, pa={"max_eirp_dbm": 58.1},
        a={**RAISED[0], "tx_power_dbm": 22.0, "tx_power_set_dbm": 22.0},
        b={**RAISED[1], "rx_level_dbm": -41.8}),
    row("no licence in the plan", G, pa={"max_eirp_dbm": None}, expected={("radio.eirp", "a", T)}),
    row("ATPC on", G, a={"atpc": "true"}, expected={("radio.atpc", "a", F)}),
    row("ATPC planned, and rightly off", G, pa=ATPC, pb=ATPC),
    row("ATPC planned, and on", G, pa=ATPC, pb=ATPC, a={"atpc": "true"},
        expected={("radio.atpc", "a", F)}),
    row("ATPC not planned, and on", G, pa={"atpc": None}, a={"atpc": "true"},
        expected={("radio.atpc", "a", F)}),
    row("muted", G, a={"tx_enabled": "false"}, b={"rx_level_dbm": NOTHING, "locked": "false",
                                                    "far_end_name": ""},
        expected={("radio.transmitter", "a", F), ("radio.rx-level", "b", F),
                  ("radio.path-loss", "b", T), ("radio.lock", "b", F), ("link.far-end", "b", T),
                  ("radio.reciprocity", "", T)}),
    row("power below the plan", G, a={"tx_power_dbm": 15.0, "tx_power_set_dbm": 15.0},
        b={"rx_level_dbm": -48.8}, expected={("radio.tx-power", "a", F)}),
    row("fixed link in its lowest mode", G, link=FIXED, a=RAISED[0], b=RAISED[1]),
    row("fixed link in neither", G, link=FIXED, a={"tx_modulation": "16qam", "rx_modulation": "64qam"},
        b=AT_64, expected={("radio.modulation", "a", F)}),
    row("not saved, an alarm: not asked yet", G, a={"unsaved_settings": 1.0, "alarm": 3.0}),
    row("a test mode", G, a={"test_mode": 1.0}, expected={("radio.test-mode", "a", W)}),
    # --- handover: left as they must not be
    row("left in alignment settings", H, a=RAISED[0], b=RAISED[1],
        expected=both("radio.modulation", F) | both("radio.tx-power", F)
        | both("radio.rx-level", W) | both("radio.capacity", W)),
    row("one end left in alignment settings", H, a={**ALIGNING, "rx_modulation": "256qam"},
        b={"rx_modulation": "4qam", "rx_level_dbm": -37.8},
        expected={("radio.modulation", "a", F), ("radio.modulation", "b", W),
                  ("radio.tx-power", "a", F), ("radio.rx-level", "b", W),
                  ("radio.capacity", "a", W)}),
    row("left muted", H, a={"tx_enabled": "false"}, b={"rx_level_dbm": NOTHING, "locked": "false",
                                                        "far_end_name": ""},
        expected={("radio.transmitter", "a", F), ("radio.rx-level", "b", F),
                  ("radio.path-loss", "b", T), ("radio.lock", "b", F), ("link.far-end", "b", T),
                  ("radio.fade-margin", "b", T), ("radio.reciprocity", "", T)}),
    row("left unsaved", H, a={"unsaved_settings": 1.0}, expected={("settings.saved", "", F)}),
    row("left in a test mode", H, b={"test_mode": 2.0}, expected={("radio.test-mode", "b", F)}),
    row("a residual alarm", H, b={"alarm": 4.0}, expected={("state.alarm", "", F)}),
    # --- settings
    row("frequency 1.1 kHz off", H, a={"tx_mhz": 13143.0011}, expected={("radio.tx-frequency", "a", F)}),
    row("frequency 1 kHz off", H, a={"tx_mhz": 13143.001}),
    row("listens elsewhere", H, b={"rx_mhz": 13171.0}, expected={("radio.rx-frequency", "b", F)}),
    row("listens elsewhere than its own plan says", H, a={"rx_mhz": 13171.0},
        pa={"rx_mhz": 12877.0}, pb={"tx_mhz": None}, expected={("radio.rx-frequency", "a", F)}),
    row("half the bandwidth", H, a={"bandwidth_mhz": 14.0, "current_capacity_mbps": 95.0},
        expected={("radio.bandwidth", "a", F), ("radio.capacity", "a", W)}),
    row("turned polarisation", H, a={"polarisation": "H"}, expected={("radio.polarisation", "a", F)}),
    row("another link id", H, b={"link_id": "8"}, expected={("radio.link-id", "b", F)}),
    row("another far end", H, a={"far_end_name": "ferry-harbour"}, expected={("link.far-end", "a", F)}),
    row("the far end's name with a domain", H, a={"far_end_name": f"{B}.example.net"},
        expected={("link.far-end", "a", W)}),
    row("two software versions", H, b={"software": "4.2.0"},
        expected={("link.software-differs", "", W)}),
    row("power half a dB off", H, a={"tx_power_dbm": 18.5}, b={"rx_level_dbm": -45.3}),
    row("power set 1 dB low", H, a={"tx_power_dbm": 17.0, "tx_power_set_dbm": 17.0},
        b={"rx_level_dbm": -46.8}, expected={("radio.tx-power", "a", F)}),
    row("power reads 1 dB low", H, a={"tx_power_dbm": 17.0}, b={"rx_level_dbm": -46.8}),
    row("EIRP above the licence", H, pa={"max_eirp_dbm": 54.1},
        a={"tx_power_dbm": 20.0, "tx_power_set_dbm": 20.0}, b={"rx_level_dbm": -43.8},
        expected={("radio.eirp", "a", F), ("radio.tx-power", "a", F)}),
    row("EIRP above the licence", S, pa={"max_eirp_dbm": 54.1},
        a={"tx_power_dbm": 20.0, "tx_power_set_dbm": 20.0}, b={"rx_level_dbm": -43.8},
        expected={("radio.eirp", "a", F), ("radio.tx-power", "a", F)}),
    row("no licence in the plan", H, pa={"max_eirp_dbm": None}),
    row("ATPC on, planned off", H, a={"atpc": "true"}, expected={("radio.atpc", "a", F)}),
    row("ATPC off, planned on", H, pa=ATPC, pb=ATPC, a={"atpc": "false"}, b={"atpc": "true"},
        expected={("radio.atpc", "a", F), ("radio.rx-level", "a", W)}),
    # --- levels
    row("both 2.9 dB low", H, a={"rx_level_dbm": -48.5}, b={"rx_level_dbm": -48.7},
        expected=both("radio.fade-margin", W)),
    row("both 20 dB low", H, a=FADED[0], b=FADED[1], expected=LOST | both("radio.fade-margin", F)),
    row("one 5 dB low", H, a={"rx_level_dbm": -50.6},
        expected={("radio.rx-level", "a", F), ("radio.path-loss", "a", F),
                  ("radio.fade-margin", "a", F), ("radio.reciprocity", "", W)}),
    row("one 12 dB low", H, b={"rx_level_dbm": -57.8},
        expected={("radio.rx-level", "b", F), ("radio.path-loss", "b", F),
                  ("radio.fade-margin", "b", F), ("radio.reciprocity", "", F)}),
    row("a far transmitter 12 dB weak that says so", H,
        a={"tx_power_dbm": 6.0}, b={"rx_level_dbm": -57.8},
        expected={("radio.tx-power", "a", F), ("radio.rx-level", "b", F),
                  ("radio.fade-margin", "b", F)}),
    row("both 5 dB high", H, a={"rx_level_dbm": -40.6}, b={"rx_level_dbm": -40.8},
        expected=both("radio.rx-level", W) | both("radio.path-loss", W)),
    row("overloaded", H, a={"rx_level_dbm": -19.0}, b={"rx_level_dbm": -45.8},
        expected={("radio.rx-level", "a", F), ("radio.path-loss", "a", W),
                  ("radio.reciprocity", "", F)}),
    row("nothing received", H, a={"rx_level_dbm": NOTHING, "locked": "false", "far_end_name": ""},
        expected={("radio.rx-level", "a", F), ("radio.path-loss", "a", T), ("radio.lock", "a", F),
                  ("radio.fade-margin", "a", T), ("link.far-end", "a", T),
                  ("radio.reciprocity", "", T)}),
    row("tolerance of the plan", H, pa={"rx_level_tolerance_db": 6.0}, pb={"rx_level_tolerance_db": 6.0},
        a={"rx_level_dbm": -51.0}, b={"rx_level_dbm": -51.0}, expected=both("radio.fade-margin", W)),
    row("SNR low", H, b={"snr_db": 20.0}, expected={("radio.snr", "b", F)}),
    row("cross-polar discrimination low", H, link={"min_xpi_db": 32.0}, expected=both("radio.xpi", F)),
    row("not locked", H, a={"locked": "false"}, expected={("radio.lock", "a", F)}),
    row("one-way loss planned", H, pb={"rx_loss_db": 6.0, "rx_level_dbm": -51.8},
        b={"rx_level_dbm": -51.8}, link={"fade_margin_db": 20.0}),
    row("one-way loss not planned", H, b={"rx_level_dbm": -52.8}, link={"fade_margin_db": 15.0},
        expected={("radio.rx-level", "b", F), ("radio.path-loss", "b", F),
                  ("radio.reciprocity", "", F)}),
    # --- ATPC
    row("ATPC keeps the level", H, pa=ATPC, pb=ATPC, a=KEPT[0], b=KEPT[1]),
    row("ATPC keeps the level", S, pa=ATPC, pb=ATPC, a=KEPT[0], b=KEPT[1]),
    row("ATPC at its least: more than the target", H, pa={**ATPC, "atpc_min_dbm": 16.0},
        pb={**ATPC, "atpc_min_dbm": 16.0},
        a={"atpc": "true", "rx_level_dbm": -47.6, "tx_power_dbm": 16.0},
        b={"atpc": "true", "rx_level_dbm": -47.8, "tx_power_dbm": 16.0}),
    row("ATPC target above what its most gives", H, pa={**ATPC, "atpc_target_dbm": -40.0},
        pb={**ATPC, "atpc_target_dbm": -40.0}, a={"atpc": "true"}, b={"atpc": "true"}),
    row("ATPC hides 10 dB of loss", H, pa=ATPC, pb=ATPC,
        a={"atpc": "true", "rx_level_dbm": -55.6}, b={"atpc": "true", "rx_level_dbm": -55.8},
        expected=LOST | both("radio.fade-margin", F)),
    row("ATPC hides 4 dB of loss in the level", H, pa=ATPC, pb=ATPC,
        a={"atpc": "true", "rx_level_dbm": -50.0, "tx_power_dbm": 17.8},
        b={"atpc": "true", "rx_level_dbm": -50.0, "tx_power_dbm": 17.6},
        expected=both("radio.path-loss", F) | both("radio.fade-margin", W)),
    row("ATPC below its range", H, pa=ATPC, pb=ATPC, a={**KEPT[0], "tx_power_dbm": -1.0},
        b={**KEPT[1], "rx_level_dbm": -64.8},
        expected={("radio.tx-power", "a", F), ("radio.rx-level", "b", F), ("radio.atpc", "a", F),
                  ("radio.fade-margin", "b", F)}),
    row("ATPC reads 1 dB below its range", H, pa={**ATPC, "atpc_min_dbm": 16.0}, pb=ATPC,
        a={**KEPT[0], "tx_power_dbm": 15.0, "rx_level_dbm": -50.0},
        b={**KEPT[1], "rx_level_dbm": -48.8}),
    row("ATPC above its range", H, pa=ATPC, pb=ATPC, a={**KEPT[0], "tx_power_dbm": 22.0},
        b={**KEPT[1], "rx_level_dbm": -41.8},
        expected={("radio.tx-power", "a", F), ("radio.rx-level", "b", W)}),
    row("ATPC not planned, rightly lower", H, pa={"atpc": None}, pb={"atpc": None},
        a=KEPT[0], b=KEPT[1]),
    # --- modulation
    row("rightly lower at this level", H,
        a={**DEEP[0], **AT_64}, b={**DEEP[1], **AT_64},
        expected=both("radio.modulation", W) | both("radio.capacity", W) | LOST
        | both("radio.fade-margin", F)),
    row("rightly lower at this level", S,
        a={**DEEP[0], **AT_64}, b={**DEEP[1], **AT_64}, expected=LOST | both("radio.fade-margin", F)),
    row("lower for a moment", H, a=AT_64, expected={("radio.modulation", "a", W),
                                                    ("radio.capacity", "a", W)}),
    row("lower for a moment", S, a=AT_64, expected={("radio.modulation", "a", W)}),
    row("above the highest", H, link={"modulation_max": "64qam", "capacity_mbps": 140.0},
        a=AT_64, b={**AT_64, "tx_modulation": "256qam"}, expected={("radio.modulation", "b", F)}),
    row("below the lowest", H, link={"modulation_min": "64qam"},
        a={"tx_modulation": "16qam", "current_capacity_mbps": 93.0},
        expected={("radio.modulation", "a", F), ("radio.capacity", "a", W)}),
    row("fixed and right", H, link=FIXED, a=AT_64, b=AT_64),
    row("fixed and another", H, link=FIXED, b=AT_64,
        a={**AT_64, "tx_modulation": "16qam", "current_capacity_mbps": 93.0},
        expected={("radio.modulation", "a", F), ("radio.capacity", "a", W)}),
    row("fixed and another", S, link=FIXED, b=AT_64,
        a={**AT_64, "tx_modulation": "16qam", "current_capacity_mbps": 93.0},
        expected={("radio.modulation", "a", F)}),
    # --- capacity
    row("the key allows less", H, a={"key_capacity_mbps": 100.0, "current_capacity_mbps": 100.0},
        expected={("radio.capacity", "a", W)}),
    row("configured for less", H, a={"configured_capacity_mbps": 100.0, "current_capacity_mbps": 100.0},
        expected={("radio.capacity", "a", F)}),
    row("the key explains what is configured", H,
        a={"key_capacity_mbps": 100.0, "configured_capacity_mbps": 100.0, "current_capacity_mbps": 100.0},
        expected={("radio.capacity", "a", W)}),
    row("less by 1 %, which is how devices round", H, b={"current_capacity_mbps": 188.1}),
    row("less by 1.5 %", H, b={"current_capacity_mbps": 187.1}, expected={("radio.capacity", "b", F)}),
    row("less for no reason", H, b={"current_capacity_mbps": 120.0},
        expected={("radio.capacity", "b", F)}),
    row("more than can be", H, b={"current_capacity_mbps": 1900.0},
        expected={("radio.capacity", "b", T)}),
    # --- what is missing
    row("no mode at this bandwidth", H, link={"bandwidth_mhz": 40.0},
        a={"bandwidth_mhz": 40.0}, b={"bandwidth_mhz": 40.0},
        expected=both("radio.fade-margin", T) | both("radio.eirp", T)),
    row("lower, with no mode at this bandwidth", H, link={"bandwidth_mhz": 40.0, "fade_margin_db": None},
        a={"bandwidth_mhz": 40.0, "tx_modulation": "64qam"}, b={"bandwidth_mhz": 40.0},
        expected={("radio.modulation", "a", T)} | both("radio.eirp", T)),
    row("no reference modulation", H, link={"modulation_reference": None},
        expected=both("radio.fade-margin", T)),
    row("the far power is not read, nor what it is set to", H,
        a={"tx_power_dbm": GONE, "tx_power_set_dbm": GONE},
        expected={("radio.tx-power", "a", T), ("radio.eirp", "a", T), ("radio.path-loss", "b", T),
                  ("radio.reciprocity", "", T)}),
    row("a level that cannot be", H, a={"rx_level_dbm": -3276.8},
        expected={("radio.rx-level", "a", T), ("radio.path-loss", "a", T),
                  ("radio.fade-margin", "a", T), ("radio.reciprocity", "", T)}),
    row("text where a number belongs", H, a={"tx_mhz": "channel 5", "snr_db": "n/a"},
        expected={("radio.tx-frequency", "a", T), ("radio.snr", "a", T)}),
    row("a word that is none", H, a={"atpc": "perhaps", "locked": GONE, "polarisation": "left"},
        expected={("radio.atpc", "a", T), ("radio.lock", "a", T), ("radio.polarisation", "a", T)}),
    row("an empty plan cell", H, link={"modulation_max": None, "fade_margin_db": None,
                                       "capacity_mbps": None, "key_capacity_mbps": None},
        pa={"rx_level_dbm": None, "tx_power_dbm": None, "min_snr_db": None, "link_id": None},
        a={"rx_level_dbm": -70.0, "tx_power_dbm": 9.0, "snr_db": 3.0, "link_id": "x"},
        b={"rx_level_dbm": -61.2}, expected={("radio.rx-level", "a", T), ("radio.rx-level", "b", F),
                                             ("radio.reciprocity", "", F)}),
]  # fmt: skip


@pytest.mark.parametrize(("stage", "link", "pa", "pb", "a", "b", "expected"), SITUATIONS)
def test_situation(
    stage: Stage, link: Change, pa: Change, pb: Change, a: Change, b: Change, expected: Expected
) -> None:
    """Exactly these checks at these ends do not pass."""
    plan = planned(link, pa, pb)
    seen = observed(A, {**RIGHT, **a}), observed(B, {**RIGHT_B, **b})
    result = judged(plan, stage, *seen)
    reasons = {
        f"{f.check} {f.subject}: {f.reason}" for f in of_radio(result) if f.verdict != "pass"
    }
    assert found(result) == expected, "\n".join(sorted(reasons))


def test_there_are_at_least_sixty_situations() -> None:
    """Stage x settings x levels; each stage has several, and no row stands twice."""
    assert len(SITUATIONS) >= 60
    assert len({p.id for p in SITUATIONS}) == len(SITUATIONS)
    assert {p.values[0] for p in SITUATIONS} == {N, G, H, S}
