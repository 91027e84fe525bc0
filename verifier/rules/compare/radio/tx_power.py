"""The power of a transmitter: what it is set to, and what it reads of itself.

What is set is exact to 0.5 dB. What a device reads of its own power is not: over 2 dB from what is
set it is worth a word, over 3 dB something is wrong (common practice). Under ATPC the actual power
moves in its range.
"""

from __future__ import annotations

from dataclasses import dataclass

from verifier.model.result import VERDICTS, Verdict
from verifier.rules import radio
from verifier.rules.compare.context import Findings
from verifier.rules.compare.radio.carrier_end import EXACT_DB, POWER_DB, CarrierEnd, figure
from verifier.rules.compare.radio.power import (
    LEFT_ALIGNING,
    POWER_FAIL_DB,
    POWER_WARN_DB,
    left_aligning,
)
from verifier.rules.compare.radio.read import Read
from verifier.rules.radio import levels

CHECK = "radio.tx-power"
_SET_IT = "set the planned power, save, and read it again"


@dataclass(frozen=True, slots=True)
class _Said:
    """One figure judged."""

    verdict: Verdict
    dbm: float
    words: str
    advice: str = ""


def tx_power(near: CarrierEnd) -> Findings:
    """`radio.tx-power`: the set power against the plan, the actual one against the set one.

    With ATPC the actual one inside its range; while aligning up to the most that is allowed.
    """
    planned, at = near.end.tx_power_dbm, "tx_power_dbm"
    if near.stage == "bench" and near.end.bench_tx_power_dbm is not None:
        planned, at = near.end.bench_tx_power_dbm, "bench_tx_power_dbm"
    if planned is None:
        return
    set_, actual = near.read("tx_power_set_dbm"), near.read("tx_power_dbm")
    said = _judged(near, planned, set_, actual)
    if isinstance(said, str):
        yield near.finding(CHECK, "not-tested", said, at=at, expected=planned, unit="dBm",
                           reads=(set_, actual))  # fmt: skip
        return
    worst = min(said, key=lambda s: VERDICTS.index(s.verdict))
    shown = worst if worst.verdict != "pass" else said[-1]
    yield near.finding(
        CHECK, worst.verdict, "; ".join(s.words for s in said), at=at, expected=planned,
        observed=shown.dbm, unit="dBm", advice=worst.advice, reads=(set_, actual),
    )  # fmt: skip


def _judged(
    near: CarrierEnd, planned: float, set_: Read | None, actual: Read | None
) -> list[_Said] | str:
    """What is set and what is transmitted, judged; else why nothing can be."""
    set_dbm = set_.number if set_ is not None else None
    now_dbm = actual.number if actual is not None else None
    off, by_atpc = near.transmits is False, _atpc(near)
    found = [] if set_dbm is None else [_judge_set(near, planned, set_dbm, by_atpc=by_atpc)]
    if off:
        return found or _while_off(near, planned, now_dbm)
    if now_dbm is None:
        if not found:
            return near.missing("tx_power_dbm", "tx_power_set_dbm")
        return _set_alone(near, found[0], by_atpc=by_atpc)
    assert actual is not None
    if by_atpc:
        return [*found, _in_range(near, planned, now_dbm)]
    if set_dbm is None:
        return [_judge_actual(near, planned, actual)]
    return [*found, _against_set(near, set_dbm, actual)]


def _atpc(near: CarrierEnd) -> bool:
    """Whether ATPC moves the power: not on the bench at a power of its own, nor while aligning."""
    on_bench = near.stage == "bench" and near.end.bench_tx_power_dbm is not None
    return near.atpc_on and not on_bench


def _set_alone(near: CarrierEnd, found: _Said, *, by_atpc: bool) -> list[_Said] | str:
    """The set power stands for the actual one where ATPC is off, and it is said."""
    gap = near.missing("tx_power_dbm")
    if by_atpc and found.verdict == "pass":
        return f"ATPC is on, and its actual power is not known: {gap}"
    words = f"{found.words} (this is the set power; the actual one is not known: {gap})"
    return [_Said(found.verdict, found.dbm, words, found.advice)]


def _while_off(near: CarrierEnd, planned: float, now_dbm: float | None) -> list[_Said] | str:
    """A transmitter that is off, of which no set power is known."""
    if now_dbm is None:
        return near.missing("tx_power_dbm", "tx_power_set_dbm")
    if abs(now_dbm - planned) > POWER_DB + EXACT_DB:
        return "the transmitter is off, and the device does not tell what it is set to"
    return [_Said("pass", now_dbm, f"at {figure(now_dbm)} dBm: as planned")]


def _judge_set(near: CarrierEnd, planned: float, dbm: float, *, by_atpc: bool) -> _Said:
    """What is set, within 0.5 dB; under ATPC it is the most that ATPC may use."""
    what, over = f"set to {figure(dbm)} dBm", dbm - planned
    if near.stage == "alignment":
        verdict, words = _aligning(near, planned, dbm, POWER_DB)
        return _Said(verdict, dbm, f"{what}: {words}", _advice(verdict))
    if abs(over) <= POWER_DB + 1e-6:
        return _Said("pass", dbm, f"{what}: as planned")
    if by_atpc:
        highest = planned if near.end.atpc_max_dbm is None else near.end.atpc_max_dbm
        if dbm > max(planned, highest) + POWER_DB + 1e-6 and not left_aligning(near):
            words = f"above {figure(highest)} dBm, the most ATPC may use"
            return _Said("fail", dbm, f"{what}, {words}", _SET_IT)
        if (
            min(planned, highest) - POWER_DB - 1e-6
            <= dbm
            <= max(planned, highest) + POWER_DB + 1e-6
        ):
            return _Said("pass", dbm, f"{what}: what ATPC may use at most")
    words = f"{over:+.1f} dB against the plan"
    if left_aligning(near):
        words = f"{LEFT_ALIGNING} ({over:+.1f} dB)"
    return _Said("fail", dbm, f"{what}: {words}", _SET_IT)


def _against_set(near: CarrierEnd, set_dbm: float, actual: Read) -> _Said:
    """What the device reads of its own power, against what it is set to."""
    worst, many = _worst(actual, set_dbm)
    over = worst - set_dbm
    verdict = _by_reading(abs(over))
    words = f"at {figure(worst)} dBm: "
    if verdict == "pass":
        return _Said("pass", actual.number or 0.0, words + "as it is set")
    words += f"{over:+.1f} dB against what is set{many}"
    if over > 0 and (mode := _follows_mode(near, worst)):
        return _Said("warn", worst, f"{words}; the power follows the mode: {mode}",
                     "is the EIRP of this mode within the licence? See radio.eirp")  # fmt: skip
    planned = near.end.tx_power_dbm
    if planned is not None and abs(set_dbm - planned) <= POWER_DB + 1e-6:
        words += "; it is set as planned"
    advice = "does a limit, a mode or ATPC move it? Else the transmitter is at fault: try a spare"
    return _Said(verdict, worst, words, advice)


def _judge_actual(near: CarrierEnd, planned: float, actual: Read) -> _Said:
    """Only the actual power is known: within what a device reads of its own, against the plan."""
    worst, many = _worst(actual, planned)
    over, at = worst - planned, f"at {figure(worst)} dBm"
    if near.stage == "alignment":
        verdict, words = _aligning(near, planned, worst, POWER_WARN_DB)
        return _Said(verdict, worst, f"{at}: {words}{many}", _advice(verdict))
    verdict = _by_reading(abs(over))
    if verdict == "pass":
        return _Said("pass", actual.number or 0.0, f"{at}: as planned, as closely as it is read")
    words = f"{over:+.1f} dB against the plan{many}"
    if left_aligning(near):
        return _Said("fail", worst, f"{at}: {LEFT_ALIGNING} ({over:+.1f} dB)", _SET_IT)
    if over > 0 and (mode := _follows_mode(near, worst)):
        return _Said("warn", worst, f"{at}: {words}; the power follows the mode: {mode}",
                     "is the EIRP of this mode within the licence? See radio.eirp")  # fmt: skip
    return _Said(verdict, worst, f"{at}: {words}", _SET_IT)


def _worst(actual: Read, wanted: float) -> tuple[float, str]:
    """The sample farthest from what is wanted where it is beyond what a reading may be off.

    Else the median; with the samples in words where they do not agree.
    """
    median = actual.number or 0.0
    values = [value for _, value in actual.samples] or [median]
    far = max(values, key=lambda v: abs(v - wanted))
    if _by_reading(abs(far - wanted)) == _by_reading(abs(median - wanted)):
        return median, ""
    return far, f" (it came and went: {', '.join(actual.sequence)})"


def _by_reading(off_db: float) -> Verdict:
    """What it means that a power reads so far off."""
    if off_db <= POWER_WARN_DB + 1e-6:
        return "pass"
    return "warn" if off_db <= POWER_FAIL_DB + 1e-6 else "fail"


def _in_range(near: CarrierEnd, planned: float, dbm: float) -> _Said:
    """ATPC moves the power between its lowest and its highest; the plan's power if none is."""
    if near.stage == "alignment":
        verdict, words = _aligning(near, planned, dbm, POWER_WARN_DB)
        if verdict == "pass":
            return _Said(verdict, dbm, f"at {figure(dbm)} dBm: {words}")
    highest = planned if near.end.atpc_max_dbm is None else near.end.atpc_max_dbm
    lowest, at = near.end.atpc_min_dbm, f"at {figure(dbm)} dBm"
    over, under = dbm - highest, (lowest - dbm) if lowest is not None else 0.0
    verdict = _by_reading(max(over, under, 0.0))
    if verdict != "pass":
        words = f"above {figure(highest)} dBm, the most ATPC may use"
        if over > 0 and left_aligning(near):
            return _Said("fail", dbm, f"{at}: {LEFT_ALIGNING}", _SET_IT)
        if under > 0:
            words = f"below {figure(lowest or 0.0)} dBm, the least ATPC may use"
        return _Said(verdict, dbm, f"{at}: {words}", _SET_IT)
    if lowest is None:
        return _Said("pass", dbm, f"{at}: ATPC is on and may lower it from {figure(highest)} dBm")
    return _Said("pass", dbm, f"{at}: inside ATPC's range, {figure(lowest)} to "
                 f"{figure(highest)} dBm")  # fmt: skip


def _aligning(near: CarrierEnd, planned: float, dbm: float, slack: float) -> tuple[Verdict, str]:
    """While aligning: the planned power, or raised up to the most that is allowed."""
    if abs(dbm - planned) <= slack + 1e-6:
        return "pass", "as planned"
    if dbm < planned:
        return "fail", f"{dbm - planned:+.1f} dB against the plan"
    most = _most_aligning(near)
    if isinstance(most, str):
        return "not-tested", f"above the plan, and how far it may be raised is not known: {most}"
    if dbm <= max(most.value, planned) + slack + 1e-6:
        return "pass", f"raised to align; {figure(most.value)} dBm is {most.how}"
    return "fail", f"above {figure(most.value)} dBm, {most.how}"


def _most_aligning(near: CarrierEnd) -> levels.Expected | str:
    """The most this device may transmit while aligning, in the mode it is in."""
    if near.context is None:
        return near.gap
    seen = near.read("tx_modulation")
    return levels.alignment_power(
        near.link, near.end, near.context.profile,
        modulation=seen.word if seen is not None else None, bandwidth_mhz=near.bandwidth_mhz,
    )  # fmt: skip


def _follows_mode(near: CarrierEnd, dbm: float) -> str:
    """The mode in use and its most, where it explains a raised power; else empty.

    A lower mode of an adaptive link may be sent with more power.
    """
    seen, most = near.read("tx_modulation"), near.link.modulation_max
    if near.context is None or seen is None or not seen.word or not radio.is_adaptive(near.link):
        return ""
    if near.context.profile.set_power_caps_modes:
        return ""
    if most is None or radio.plain_modulation(most) == radio.plain_modulation(seen.word):
        return ""
    mode = radio.mode_for(near.context.profile, seen.word, near.bandwidth_mhz)
    if isinstance(mode, str) or mode.max_tx_power_dbm is None:
        return ""
    if dbm > mode.max_tx_power_dbm + POWER_WARN_DB + 1e-6:
        return ""
    return f"up to {figure(mode.max_tx_power_dbm)} dBm at {mode.modulation}"


def _advice(verdict: Verdict) -> str:
    return _SET_IT if verdict == "fail" else ""
