"""ATPC that leaves a link short, and ATPC that works: bad and sound links side by side.

Every row is made from a path loss and a power, apart from the rules: level = power - loss. The
plan's loss is 63.6 dB at 18 dBm; 64-QAM at 28 MHz has its threshold at -72 dBm, 256-QAM at -66.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.rules.compare.radio.radio_world import (
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
from verifier.model.result import Finding

pytestmark = pytest.mark.usefixtures("words")

LOSS = 63.6
"""From b to a as planned: 18 dBm - -45.6 dBm."""
TARGET = {"atpc": True, "atpc_max_dbm": 18.0, "atpc_target_dbm": -50.0}
BLIND = {"atpc": True}
"""ATPC planned, and nothing of what it should keep."""


def ends_of(
    power: Any,
    *,
    more: float = 0.0,
    plan: Change = TARGET,
    link: Change | None = None,
    b: Change | None = None,
    a: Change | None = None,
    stage: Any = "handover",
) -> dict[tuple[str, str], Finding]:
    """End b transmits so much with ATPC on; end a receives it over `more` dB than planned."""
    powers = power if isinstance(power, list) else [power] * 5
    shown = {"tx_power_dbm": powers, "atpc": "true", "snr_db": 30.0, **(b or {})}
    level = {"rx_level_dbm": [round(p - LOSS - more, 1) for p in powers], "atpc": "true"}
    mine = {"tx_power_dbm": 13.8, **level, **(a or {})}
    shown |= {"rx_level_dbm": -50.0}
    seen = observed(A, {**RIGHT, **mine}), observed(B, {**RIGHT_B, **shown})
    found = of_radio(
        judged(planned(link or {}, {**TARGET, **plan}, {**TARGET, **plan}), stage, *seen)
    )
    return {(f.check, f.subject.end or ""): f for f in found}


NO_TARGET = {"atpc_target_dbm": None}
NO_MARGIN = {"fade_margin_db": None}
LOW = {"tx_modulation": "4qam"}
BAD = [
    ("stuck at -20 dBm, target planned", -20.0, {}, {}, LOW),
    ("stuck at -20 dBm, no target, a fade margin", -20.0, NO_TARGET, {}, LOW),
    ("stuck at -20 dBm, no target, no margin", -20.0, NO_TARGET, NO_MARGIN, LOW),
    ("4 dB under the target with 8 dB to spare", 9.5, {}, {}, {}),
    ("under what the margin asks for, 5 dB to spare", 13.0, NO_TARGET, {}, {}),
    ("stuck, its most not planned but its power", -20.0, {"atpc_max_dbm": None}, {}, LOW),
    ("stuck, all samples differing a little", [-20.0, -19.8, -20.2, -20.0, -19.9], {}, {}, LOW),
]


@pytest.mark.parametrize("stage", ["handover", "service"])
@pytest.mark.parametrize(("power", "plan", "link", "b"), [s[1:] for s in BAD],
                         ids=[s[0] for s in BAD])  # fmt: skip
def test_atpc_that_leaves_a_link_short_fails(
    stage: Any, power: Any, plan: Change, link: Change, b: Change
) -> None:
    """The end that transmits too little, and the level that it makes, whatever the path is."""
    ends = ends_of(power, plan=plan, link=link, b=b, stage=stage)
    atpc = ends["radio.atpc", "b"]
    assert (atpc.verdict, "short" in atpc.reason) == ("fail", True), atpc.reason
    assert ends["radio.rx-level", "a"].verdict == "fail"
    assert ends["radio.path-loss", "a"].verdict == "pass"
    assert ends["radio.atpc", "a"].verdict == "pass"
    if not link:
        assert ends["radio.fade-margin", "a"].verdict == "fail"


SOUND = [
    ("keeps its target", 13.6, 0.0, {}, {}),
    ("2.9 dB under its target", 10.7, 0.0, {}, {}),
    ("at its most, and short all the same: the path's fault", 18.0, 8.0, {}, {}),
    ("0.9 dB under its most: the path's fault", 17.1, 8.0, {}, {}),
    ("one sample at its target", [5.0, 5.0, 13.6, 5.0, 5.0], 0.0, {}, {}),
    ("one sample at its most", [5.0, 5.0, 18.0, 5.0, 5.0], 4.0, {}, {}),
    ("no target, what the margin asks for", 16.6, 0.0, NO_TARGET, {}),
    ("no target, 2.9 dB under it", 13.7, 0.0, NO_TARGET, {}),
    ("no target, no margin, 256-QAM carried", 0.0, 0.0, NO_TARGET, NO_MARGIN),
    ("its most is the mode's", 18.0, 10.0, {"atpc_max_dbm": 24.0}, {}),
]


@pytest.mark.parametrize("stage", ["handover", "service"])
@pytest.mark.parametrize(("power", "more", "plan", "link"), [s[1:] for s in SOUND],
                         ids=[s[0] for s in SOUND])  # fmt: skip
def test_atpc_that_does_its_work_does_not_fail(
    stage: Any, power: Any, more: float, plan: Change, link: Change
) -> None:
    atpc = ends_of(power, more=more, plan=plan, link=link, stage=stage)["radio.atpc", "b"]
    assert atpc.verdict == "pass", atpc.reason


def test_a_level_that_fits_any_power_proves_nothing() -> None:
    """Neither a target, nor a margin, nor the needs of a modulation: not tested, never a pass."""
    bare = {"fade_margin_db": None, "modulation_max": None, "modulation_min": None,
            "capacity_mbps": None, "key_capacity_mbps": None}  # fmt: skip
    stuck = ends_of(-20.0, plan=NO_TARGET, link=bare)["radio.rx-level", "a"]
    assert stuck.verdict == "not-tested"
    assert "atpc_target_dbm" in stuck.reason
    assert ends_of(18.0, plan=NO_TARGET, link=bare)["radio.rx-level", "a"].verdict == "pass"


def test_atpc_that_nobody_planned_fails_where_it_leaves_the_link_short() -> None:
    """`atpc` empty in the plan: a finding only where it does harm."""
    off: Change = {"atpc": None, **NO_TARGET}
    finding = ends_of(-20.0, plan=off, b=LOW)["radio.atpc", "b"]
    assert (finding.verdict, finding.expected, finding.observed) == ("fail", None, "on")
    assert ("radio.atpc", "b") not in ends_of(18.0, plan=off)


def test_atpc_off_is_never_what_leaves_a_link_short() -> None:
    """A far transmitter that is weak without ATPC is `radio.tx-power`."""
    ends = ends_of(-20.0, b={**LOW, "atpc": "false"}, plan={"atpc": False})
    assert ends["radio.atpc", "b"].verdict == "pass"
    assert ends["radio.tx-power", "b"].verdict == "fail"


SET = [
    ("as planned", 18.0, {}, "pass"),
    ("6 dB above what ATPC may use", 24.0, {}, "fail"),
    ("0.4 dB above", 18.4, {}, "pass"),
    ("0.6 dB above", 18.6, {}, "fail"),
    ("stuck at what it was set to", -20.0, {}, "fail"),
    ("ATPC's most differs from the planned power: either", 18.0, {"atpc_max_dbm": 20.0}, "pass"),
    ("and the other", 20.0, {"atpc_max_dbm": 20.0}, "pass"),
]


@pytest.mark.parametrize(
    ("set_dbm", "plan", "verdict"), [s[1:] for s in SET], ids=[s[0] for s in SET]
)
def test_the_set_power_is_judged_with_atpc_on_too(
    set_dbm: float, plan: Change, verdict: str
) -> None:
    """ATPC at 13.6 dBm is inside its range, whatever it was allowed to reach."""
    ends = ends_of(13.6, plan=plan, b={"tx_power_set_dbm": set_dbm})
    assert ends["radio.tx-power", "b"].verdict == verdict, ends["radio.tx-power", "b"].reason
