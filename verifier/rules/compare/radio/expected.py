"""What an end should receive, and what its receiver bears: overload, damage.

Expected is the planned level, else the sum of the plan's own figures.

A level without a plan is judged by `judging_budget` of `rules/radio/budget.py` alone, which refuses
a sum with an empty cell in it; `budget` there, for `check`, is more lenient. Under ATPC the
expected level follows the power that ATPC chose, so it fits any fault: `short` asks what the plan
asks for instead.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

from verifier.model.plan import End
from verifier.model.result import Finding, Verdict
from verifier.rules import radio
from verifier.rules.compare.context import Findings
from verifier.rules.compare.radio.carrier_end import EXACT_DB, CarrierEnd, arms_db, figure
from verifier.rules.compare.radio.power import SPARE_DB, most_dbm, required_at
from verifier.rules.compare.radio.read import Read
from verifier.rules.radio import levels

COMPUTED_DB = 3.0
"""A computed level this far below its tolerance warns; below that it fails (requirement)."""
JUDGED = frozenset({"handover", "service"})
"""Stages in which a level that is not planned is judged by the sum."""


@dataclass(frozen=True, slots=True)
class Reference:
    """What an end should receive at the far end's planned power.

    Attributes:
        end: the end, with that level whether planned or computed.
        sum: the sum that gave it, in words; empty where it is planned.
    """

    end: End
    sum: str = ""

    @property
    def known(self) -> str:
        """`planned` or `computed`."""
        return "computed" if self.sum else "planned"


def reference(near: CarrierEnd) -> Reference | str:
    """The level of reference of an end, else why there is none; empty where none is wanted."""
    if near.stage == "bench":
        return Reference(near.end) if near.end.bench_rx_level_dbm is not None else ""
    if near.end.rx_level_dbm is not None:
        return Reference(near.end)
    if near.stage not in JUDGED:
        return ""
    found = radio.judging_budget(near.link, near.far, near.end, near.km)
    if isinstance(found, str):
        return f"no rx_level_dbm is planned, and it cannot be computed: {found}"
    end = dataclasses.replace(near.end, rx_level_dbm=found.level_dbm)
    return Reference(end, found.in_line())


def arm_db(near: CarrierEnd) -> float | None:
    """How much more the end that is on radiates towards this one than the one it is planned for.

    In hot standby both transmitters may feed the antenna over couplers of different loss. None
    where the antennas of the two are not known alike.
    """
    sender, planned = near.sender, near.planned_for
    return 0.0 if sender is planned else arms_db(sender, planned)


def expected_level(near: CarrierEnd) -> levels.Expected | str:
    """What should arrive of the end that is on, in dBm; see `rules.radio.levels`."""
    found = reference(near)
    if isinstance(found, str):
        return found or "no receive level is planned"
    level = _of_sender(near, found)
    if isinstance(level, str) or not found.sum:
        return level
    link = "" if level.how == "as computed" else "; computed"
    return levels.Expected(
        level.value, f"{level.how}{link} from the plan's own figures: {found.sum}"
    )


def _of_sender(near: CarrierEnd, found: Reference) -> levels.Expected | str:
    """The level of reference, moved to what the end that is on transmits."""
    sender, arm = near.sender, arm_db(near)
    if arm is None:
        return "the active device's antenna is not known, so its level cannot be told"
    far_power = sender.number("tx_power_dbm")
    if far_power is None and not sender.atpc_on:
        far_power = sender.number("tx_power_set_dbm")
    level = levels.expected_level(
        found.end, sender.end, near.stage, far_power_dbm=far_power, atpc=sender.atpc_on,
        known=found.known,
    )  # fmt: skip
    if isinstance(level, str) and far_power is None and sender.context is not None:
        missing = sender.missing("tx_power_dbm")
        return f"{level}: {missing}" if sender.number("tx_power_dbm") is None else level
    if isinstance(level, str) or near.stage == "bench" or sender is near.planned_for:
        return level
    planned_dbm = near.planned_for.end.tx_power_dbm
    if planned_dbm is None or sender.end.tx_power_dbm is None:
        return "the planned power of one of the hot standby's devices is missing"
    if level.how.startswith(levels.ATPC_KEEPS):
        return level
    shift = arm + sender.end.tx_power_dbm - planned_dbm
    return levels.Expected(level.value + shift, f"{level.how}, by the active device")


def too_low(off_db: float, tolerance_db: float, *, computed: bool) -> Verdict | None:
    """The verdict of a level so far from what is expected (negative: below); None: not too low."""
    if off_db >= -tolerance_db - EXACT_DB:
        return None
    if computed and off_db >= -tolerance_db - COMPUTED_DB - EXACT_DB:
        return "warn"
    return "fail"


def by_atpc_alone(near: CarrierEnd) -> str:
    """Why a level that fits the far end's power at present proves nothing; empty: it does.

    The expected level follows the power that ATPC chose, so it is right for any power. It needs
    a level that the plan asks for.
    """
    sender = near.sender
    if near.stage not in JUDGED or not sender.atpc_on or near.end.atpc_target_dbm is not None:
        return ""
    power, most = sender.number("tx_power_dbm"), most_dbm(sender)
    if power is None or most is None or power >= most - SPARE_DB - EXACT_DB:
        return ""
    if near.context is not None and required_at(near) is not None:
        return ""
    return (
        "ATPC is on at the far end, and what level it has to keep is not known: no "
        "atpc_target_dbm and no fade_margin_db is planned"
    )


def sum_agrees(near: CarrierEnd) -> Findings:
    """The plan's level and ours agree: `pass` with the sum; else the plan's rule has warned."""
    level_dbm = near.end.rx_level_dbm
    found = radio.budget(near.link, near.far, near.end, near.km)
    if level_dbm is None or isinstance(found, str):
        return
    if abs(found.level_dbm - level_dbm) > radio.AGREE_DB:
        return
    yield near.finding(
        f"plan.{radio.OFF_BUDGET}", "pass", f"our sum: {found.in_line()}{found.gas_words()}",
        at="rx_level_dbm", expected=level_dbm, observed=found.level_dbm, unit="dBm",
    )  # fmt: skip


def limits(near: CarrierEnd) -> list[tuple[float, str, str]]:
    """What the receiver bears, the worst first: limit in dBm, what happens above it, advice."""
    assert near.context is not None
    bears = near.context.profile.limits
    known = (
        (bears.rx_damage_dbm, "the receiver is damaged above",
         "caution: mute the far transmitter now, then put an attenuator in"),
        (bears.rx_max_dbm, "the receiver is overloaded above",
         "lower the far end's power, or put an attenuator in"),
    )  # fmt: skip
    return [(limit, what, advice) for limit, what, advice in known if limit is not None]


def overload(near: CarrierEnd, seen: Read) -> Finding | None:
    """A level over what the receiver takes, at any stage and in any sample."""
    values = [v for _, v in seen.samples]
    level = max(values, default=seen.number)
    if level is None:
        return None
    shown = f"{figure(level)} dBm"
    if seen.number is not None and level - seen.number > EXACT_DB:
        shown += f" in one of {len(values)} samples"
    for limit, what, advice in limits(near):
        if level > limit + 1e-6:
            return near.finding(
                "radio.rx-level", "fail", f"{shown}: {what} {figure(limit)} dBm",
                expected=limit, observed=level, unit="dBm", advice=advice, silences=True,
                reads=(seen,),
            )  # fmt: skip
    return None
