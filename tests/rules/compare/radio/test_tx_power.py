"""Every limit of a transmitter's power and of a link's capacity: exactly at it, and a step beyond."""

from __future__ import annotations

from typing import Any

import pytest

from tests.rules.compare.radio.radio_world import (
    GONE,
    NO_CHANGE,
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

pytestmark = pytest.mark.usefixtures("words")

F, W, T, P = "fail", "warn", "not-tested", "pass"
H: Stage = "handover"
G: Stage = "alignment"
N: Stage = "bench"


def one(
    check: str, stage: Stage, pa: Change, a: Change, b: Change = NO_CHANGE, link: Change = NO_CHANGE
) -> Finding:
    """The finding of a check at end a."""
    seen = observed(A, {**RIGHT, **a}), observed(B, {**RIGHT_B, **b})
    found = of_radio(judged(planned(link, pa), stage, *seen))
    return next(f for f in found if (f.check, f.subject.end) == (check, "a"))


def set_to(dbm: float, **more: Any) -> Change:
    return {"tx_power_set_dbm": dbm, "tx_power_dbm": dbm, **more}


def reads(dbm: Any, **more: Any) -> Change:
    """It reads so much, and does not tell what it is set to."""
    return {"tx_power_set_dbm": GONE, "tx_power_dbm": dbm, **more}


ATPC = {"atpc": True, "atpc_min_dbm": 3.0, "atpc_max_dbm": 20.0, "atpc_target_dbm": -50.0}
ON = {"atpc": "true"}
LOW = {"tx_modulation": "4qam"}
OFF = {"tx_enabled": "false"}
EDGES: list[tuple[Stage, Change, Change, list[tuple[float, str]], Any]] = [
    # stage, plan, what is shown besides, [(power, verdict)], how it is shown
    (H, {}, {}, [(18.5, P), (18.51, F), (17.5, P), (17.49, F)], set_to),
    (H, {}, {}, [(20.0, P), (20.1, W), (21.0, W), (21.1, F), (16.0, P), (15.9, W), (15.0, W),
                 (14.9, F)], lambda dbm, **more: {"tx_power_dbm": dbm, **more}),
    (H, {}, {}, [(20.0, P), (20.1, W), (21.0, W), (21.1, F), (16.0, P), (15.9, W), (15.0, W),
                 (14.9, F)], reads),
    (H, {}, OFF, [(18.5, P), (18.6, T), (17.5, P), (17.4, T)], reads),
    (G, {}, LOW, [(17.5, P), (17.49, F), (26.5, P), (26.6, F)], set_to),
    (G, {}, LOW, [(16.0, P), (15.9, F), (28.0, P), (28.1, F)], reads),
    (G, {"tx_power_dbm": 27.0}, LOW, [(27.5, P), (27.6, F)], set_to),
    (H, ATPC, ON, [(20.5, P), (20.6, F), (17.5, P), (17.4, F)],
     lambda dbm, **more: {"tx_power_set_dbm": dbm, "tx_power_dbm": 18.0, **more}),
    (H, ATPC, ON, [(22.0, P), (22.1, W), (23.0, W), (23.1, F), (1.0, P), (0.9, W), (0.0, W), (-0.1, F)],
     reads),
    (H, {**ATPC, "atpc_min_dbm": None}, ON, [(20.0, P), (22.1, W), (-5.0, P)], reads),
    (H, {"atpc": None}, ON, [(20.0, P), (20.1, W), (9.0, P)], reads),
    (N, {"bench_tx_power_dbm": 10.0, "bench_attenuation_db": 60.0}, {}, [(10.5, P), (10.6, F), (18.0, F)],
     set_to),
    (N, {"bench_tx_power_dbm": 10.0, "bench_attenuation_db": 60.0, **ATPC}, ON, [(12.0, P), (12.1, W)],
     reads),
]  # fmt: skip


@pytest.mark.parametrize(("stage", "pa", "more", "rows", "shown"), EDGES)
def test_edges_of_power(stage, pa, more, rows, shown) -> None:
    """Set to 0.5 dB; read to 2 dB with a warning to 3 dB; aligning to the mode's most; ATPC its range."""
    for dbm, verdict in rows:
        finding = one("radio.tx-power", stage, pa, shown(dbm, **more))
        assert (dbm, finding.verdict) == (dbm, verdict), finding.reason


@pytest.mark.parametrize(
    ("a", "b", "left"),
    [
        (set_to(18.5, **LOW), {}, False), (set_to(18.6, **LOW), {}, True),
        (set_to(18.6, tx_modulation="16qam"), {}, False),
        (reads(20.0, **LOW), {}, False), (reads(20.1, **LOW), {}, True),
        (reads(20.1, **LOW), {"rx_level_dbm": -63.0}, True),
        (reads(20.1, **LOW), {"rx_level_dbm": -63.1}, False),
        (reads(20.1, **LOW), {"rx_level_dbm": GONE}, True),
    ],
)  # fmt: skip
def test_left_in_alignment_settings(a: Change, b: Change, left: bool) -> None:  # noqa: FBT001
    """Lowest modulation and a power set above the plan, or read 2 dB above it at a good level."""
    finding = one("radio.tx-power", H, {}, a, b)
    assert ("left in alignment settings" in finding.reason) is left, finding.reason


@pytest.mark.parametrize(
    ("dbm", "mode", "verdict"),
    [
        (24.0, "64qam", W),
        (24.1, "64qam", F),
        (22.0, "64qam", W),
        (22.1, "256qam", F),
        (14.0, "64qam", F),
    ],
)
def test_a_power_that_follows_the_mode(dbm: float, mode: str, verdict: str) -> None:
    """A lower mode may be sent with more power: to its most, as far as a reading may be off."""
    finding = one("radio.tx-power", H, {}, {"tx_power_dbm": dbm, "tx_modulation": mode})
    assert (finding.verdict, "follows the mode" in finding.reason) == (verdict, verdict == W)


def test_a_power_that_came_and_went() -> None:
    """The sample farthest away counts where it is out of what a reading may be off."""
    finding = one("radio.tx-power", H, {}, {"tx_power_dbm": [18.0, 18.0, 18.0, 14.0, 18.0]})
    assert (finding.verdict, finding.observed) == (F, 14.0)
    assert "it came and went: 18, 18, 18, 14, 18" in finding.reason
    finding = one("radio.tx-power", H, {}, {"tx_power_dbm": [18.0, 18.4, 19.0, 17.0, 18.0]})
    assert (finding.verdict, finding.observed) == (P, 18.0)


CAPACITY: list[tuple[str, Change, Change, str, str]] = [
    ("1 % less is rounding", {}, {"current_capacity_mbps": 188.1}, P, "as planned"),
    ("a little more than 1 %", {}, {"current_capacity_mbps": 188.0}, F, "nothing that was read explains"),
    ("half a Mbit/s less of a small one", {"capacity_mbps": 40.0, "key_capacity_mbps": 40.0},
     {"current_capacity_mbps": 39.5}, P, "as planned"),
    ("a little more than that", {"capacity_mbps": 40.0, "key_capacity_mbps": 40.0},
     {"current_capacity_mbps": 39.4}, F, "nothing that was read explains"),
    ("the key, and what it explains", {}, {"key_capacity_mbps": 100.0, "current_capacity_mbps": 100.0}, W,
     "the feature key allows 100 Mbit/s only: no fault of the link; the key explains what is carried"),
    ("less than the key explains", {}, {"key_capacity_mbps": 100.0, "current_capacity_mbps": 90.0}, F,
     "nothing that was read explains"),
    ("less than was ordered, enough for the plan", {"key_capacity_mbps": 250.0}, {}, W,
     "less than the 250 Mbit/s ordered"),
    ("configured for less", {}, {"configured_capacity_mbps": 100.0, "current_capacity_mbps": 100.0}, F,
     "configured for less than the 190 Mbit/s planned; the configuration explains what is carried"),
    ("a lower modulation carries less", {}, {"tx_modulation": "64qam", "current_capacity_mbps": 140.0}, W,
     "64qam carries 140 Mbit/s"),
    ("less than a lower modulation carries", {}, {"tx_modulation": "64qam", "current_capacity_mbps": 130.0},
     F, "nothing that was read explains"),
    ("1 % more than bits times bandwidth", {}, {"current_capacity_mbps": 226.2}, P, "as planned"),
    ("beyond that", {}, {"current_capacity_mbps": 226.3}, T, "more than bits x bandwidth carry (224 Mbit/s)"),
    ("only a key is planned", {"capacity_mbps": None}, {"key_capacity_mbps": 100.0}, W,
     "less than the 190 Mbit/s ordered"),
    ("not told", {}, dict.fromkeys(("configured_capacity_mbps", "key_capacity_mbps",
     "current_capacity_mbps"), GONE), T, "noSuchInstance"),
    ("only what is carried is not told", {}, {"current_capacity_mbps": GONE}, T, "noSuchInstance"),
]  # fmt: skip


@pytest.mark.parametrize(("link", "a", "verdict", "words"), [c[1:] for c in CAPACITY],
                         ids=[c[0] for c in CAPACITY])  # fmt: skip
def test_capacity(link: Change, a: Change, verdict: str, words: str) -> None:
    """The smallest of key, configuration and modulation explains what is carried."""
    finding = one("radio.capacity", H, {}, a, link=link)
    assert (finding.verdict, words in finding.reason) == (verdict, True), finding.reason


def test_what_is_carried_is_not_judged_on_the_bench() -> None:
    assert one("radio.capacity", N, {}, {"current_capacity_mbps": 1.0}).verdict == P
    finding = one("radio.capacity", "service", {}, {"tx_modulation": "64qam",
                                                    "current_capacity_mbps": 140.0})  # fmt: skip
    assert finding.verdict == P
