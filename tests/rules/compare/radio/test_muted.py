"""The far end says that it is muted, and something is received all the same."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from tests.rules.compare.radio.radio_world import (
    END_A,
    END_B,
    LINK,
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
    plan_of,
    planned,
)
from verifier.model.plan import Carrier
from verifier.model.result import Finding

pytestmark = pytest.mark.usefixtures("words")

F, W, T, P = "fail", "warn", "not-tested", "pass"
OFF = {"tx_enabled": "false"}
DEAF = {"rx_level_dbm": NOTHING, "locked": "false", "far_end_name": ""}


def found(
    a: Change, b: Change, stage: Any = "handover", end: Change = NO_CHANGE
) -> dict[tuple[str, str | None], Finding]:
    seen = observed(A, {**RIGHT, **a}), observed(B, {**RIGHT_B, **b})
    made = of_radio(judged(planned(a=end, b=end), stage, *seen))
    return {(f.check, f.subject.end): f for f in made}


SITUATIONS = [
    # what end a receives of the muted b, what is said of a's level: verdict, of somebody else
    ("nothing", NOTHING, F, False),
    ("an unplanned signal", -60.0, F, True),
    ("the planned level itself", -45.6, F, True),
    ("more than planned", -35.0, F, True),
    ("its own noise: -174 dBm/Hz in 28 MHz, 5 dB figure, is -94.5 dBm", -94.0, F, False),
]


@pytest.mark.parametrize(("level", "verdict", "strange"), [s[1:] for s in SITUATIONS],
                         ids=[s[0] for s in SITUATIONS])  # fmt: skip
@pytest.mark.parametrize("stage", ["alignment", "handover", "service"])
def test_a_signal_from_an_end_that_is_off(
    stage: Any,
    level: Any,
    verdict: str,
    strange: bool,  # noqa: FBT001
) -> None:
    made = found({**DEAF, "rx_level_dbm": level}, OFF, stage)
    head = made["radio.rx-level", "a"]
    assert head.verdict == verdict
    assert ("something else transmits, or the mute is not real" in head.reason) is strange
    at_b = made["radio.transmitter", "b"]
    assert at_b.verdict == F
    assert ("the mute is not real" in at_b.reason) is strange


def test_a_signal_from_an_end_that_is_on_is_judged_as_ever() -> None:
    made = found({"rx_level_dbm": -60.0}, NO_CHANGE)
    assert "mute" not in made["radio.rx-level", "a"].reason
    assert made["radio.rx-level", "a"].verdict == F
    assert found(NO_CHANGE, NO_CHANGE)["radio.rx-level", "a"].verdict == P


def test_without_a_planned_level_it_is_said_too() -> None:
    made = found({**DEAF, "rx_level_dbm": -60.0}, OFF, end={"rx_level_dbm": None})
    assert "the mute is not real" in made["radio.rx-level", "a"].reason


def test_a_lock_and_a_name_from_a_muted_end() -> None:
    """The name that comes over the air is the muted end's own: its mute is not real."""
    made = found(NO_CHANGE, OFF)
    assert made["radio.lock", "a"].verdict == F
    assert made["link.far-end", "a"].verdict == F
    assert made["link.far-end", "a"].reason.endswith("the mute is not real")
    other = found({"far_end_name": "elsewhere"}, OFF)["link.far-end", "a"]
    assert "something else transmits" in other.reason


@pytest.mark.parametrize(("level", "verdict"), [(NOTHING, P), (-60.0, W), (-42.0, W), (-93.0, P)])
def test_on_the_bench_a_mute_that_is_not_real_is_said(level: Any, verdict: str) -> None:
    """No attenuation is planned, all are off: nobody may get in front of what transmits."""
    made = found({**OFF, **DEAF, "rx_level_dbm": level}, {**OFF, **DEAF}, "bench")
    assert made["radio.transmitter", "b"].verdict == verdict
    assert made["radio.transmitter", "a"].verdict == P


def test_on_the_bench_with_a_level_planned() -> None:
    bench = {"bench_attenuation_db": 60.0, "bench_rx_level_dbm": -42.0}
    a, b = {"rx_level_dbm": -42.0}, {"rx_level_dbm": NOTHING}
    made = found(a, {**OFF, **b}, "bench", bench)
    assert (made["radio.rx-level", "a"].verdict, made["radio.transmitter", "b"].verdict) == (F, W)
    silent = found({"rx_level_dbm": NOTHING}, {**OFF, "rx_level_dbm": -42.0}, "bench", bench)
    assert silent["radio.rx-level", "a"].verdict == T


@pytest.mark.parametrize(("level", "strange"), [(-70.0, False), (-46.0, True)])
def test_the_other_polarisation_leaks(level: float, strange: bool) -> None:  # noqa: FBT001
    """H is muted; the receiver of H gets V some 25 dB weaker, and that is nobody else."""
    second = Carrier(carrier=2, polarisation="H", a=dataclasses.replace(END_A, device="c"),
                     b=dataclasses.replace(END_B, device="d"))  # fmt: skip
    link = dataclasses.replace(LINK, protection="2+0-xpic", carriers=(*LINK.carriers, second))
    c = {**RIGHT, "polarisation": "H", "far_end_name": "", "locked": "false", "rx_level_dbm": level}
    d = {**RIGHT_B, **OFF, "polarisation": "H", "far_end_name": "c"}
    seen = observed(A, RIGHT), observed(B, RIGHT_B), observed("c", c), observed("d", d)
    made = {(f.check, f.subject.carrier, f.subject.end): f
            for f in of_radio(judged(plan_of(link), "handover", *seen))}  # fmt: skip
    head = made["radio.rx-level", 2, "a"]
    assert head.verdict == F
    assert ("the mute is not real" in head.reason) is strange
