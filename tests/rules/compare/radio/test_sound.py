"""A sound link never fails, whatever its figures, its stage, ATPC or adaptive modulation."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.rules.compare.radio.radio_world import (
    PROFILE,
    RIGHT,
    RIGHT_B,
    A,
    B,
    found,
    judged,
    observed,
    of_radio,
    planned,
)

TENTHS = 10
CAPPED = {"hop-radio": dataclasses.replace(PROFILE, set_power_caps_modes=True)}
"""The set power holds in every mode, so a licence for just that power is kept in each."""
MODES = {"4qam": (-84.0, 26.0, 45.0), "16qam": (-78.0, 24.0, 93.0), "64qam": (-72.0, 22.0, 140.0),
         "256qam": (-66.0, 18.0, 190.0)}  # fmt: skip
"""Threshold, highest power and capacity at 28 MHz, as the profile has them."""


def tenths(low: float, high: float) -> st.SearchStrategy[float]:
    """Figures with one decimal, as devices show them."""
    return st.integers(round(low * TENTHS), round(high * TENTHS)).map(lambda n: n / TENTHS)


@st.composite
def sound_links(draw: Any) -> tuple[Any, Any, Any, Any, Any]:
    """Stage, plan's fields, and what both ends show, made from one path loss within tolerance.

    Worked apart from the rules: powers as set by stage, ATPC or the plan (half a dB off, as devices
    are); levels by what the path takes; the best mode that each level carries.
    """
    stage = draw(st.sampled_from(["alignment", "handover", "service"]))
    loss, power = draw(tenths(55, 80)), draw(tenths(5, 18))
    off = draw(tenths(-1.9, 1.9))
    tilt, drift = draw(tenths(-0.5, 0.5)), draw(tenths(-0.5, 0.5))
    atpc, adaptive = draw(st.booleans()), draw(st.booleans())
    target, least = draw(tenths(-70, -40)), draw(tenths(-5, 5))
    level = power - loss
    blank = stage != "alignment" and draw(st.booleans())
    end = {
        "tx_power_dbm": power, "rx_level_dbm": level, "alignment_v": None, "min_snr_db": None,
        "atpc": atpc, "atpc_min_dbm": least, "atpc_max_dbm": power, "atpc_target_dbm": target,
        "max_eirp_dbm": 36.1 + power + draw(st.sampled_from([0.0, 3.0, 8.0])),
    }  # fmt: skip
    link: dict[str, Any] = {"adaptive": adaptive, "fade_margin_db": None}
    if blank:  # no level planned: the same loss by a path of that length (ITU-R P.525 eq. 4)
        end |= {"rx_level_dbm": None, "line_loss_db": 0.0}
        link["path_km"] = 10 ** ((loss + 72.2 - 32.4 - 20 * math.log10(12_877)) / 20)
    if not adaptive:
        link |= {"modulation_min": "64qam", "modulation_max": "64qam", "capacity_mbps": 140.0,
                 "key_capacity_mbps": 140.0}  # fmt: skip
    sent = power
    raised = stage == "alignment" and draw(st.booleans())
    if raised:
        sent = min(26.0, end["max_eirp_dbm"] - 36.1)
    elif atpc and stage != "alignment":
        sent = min(max(target + loss + off, least), power)
    else:
        sent = power + drift
    levels = sent - loss - off, sent - loss - off + tilt
    top = "256qam" if adaptive else "64qam"
    word = "4qam" if raised else top
    if adaptive and not raised:
        names = [n for n, (threshold, _, _) in MODES.items() if min(levels) >= threshold]
        word = names[-1] if names else "4qam"
    shows = {
        "tx_modulation": word, "rx_modulation": word, "tx_power_dbm": sent,
        "tx_power_set_dbm": sent if raised else power,
        "atpc": "true" if atpc and stage != "alignment" else "false",
        "current_capacity_mbps": MODES[word][2],
        "configured_capacity_mbps": 190.0 if adaptive else 140.0,
        "key_capacity_mbps": 190.0 if adaptive else 140.0,
    }  # fmt: skip
    return (
        stage,
        link,
        end,
        {**shows, "rx_level_dbm": levels[0]},
        {**shows, "rx_level_dbm": levels[1]},
    )


@settings(max_examples=120, deadline=None)
@given(sound_links())
def test_a_sound_link_never_fails(made: tuple[Any, Any, Any, Any, Any]) -> None:
    stage, link, end, a, b = made
    result = judged(
        planned(link, end, end), stage, observed(A, {**RIGHT, **a}), observed(B, {**RIGHT_B, **b}),
        profiles=CAPPED,
    )  # fmt: skip
    reasons = [f"{f.check}: {f.reason}" for f in of_radio(result) if f.verdict == "fail"]
    assert not found(result, "fail"), reasons
    assert not found(result, "not-tested")
