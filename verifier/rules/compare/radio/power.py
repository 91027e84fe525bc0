"""What a device transmits: power, transmitter on or off, ATPC; ATPC that leaves a link short."""

from __future__ import annotations

from dataclasses import dataclass

from verifier.model.result import Verdict
from verifier.rules import radio
from verifier.rules.compare.context import Findings
from verifier.rules.compare.radio.carrier_end import (
    EXACT_DB,
    HOT_STANDBY,
    POWER_DB,
    CarrierEnd,
    figure,
)
from verifier.rules.compare.radio.carriers import LOOK_FOR_IT, NOT_REAL, heard_by
from verifier.rules.compare.radio.read import Read
from verifier.rules.radio import levels
from verifier.rules.radio.levels import RequiredLevel, required_level

HEADROOM_DB = 3.0
"""Margin above its threshold at which a mode is safe (requirement)."""
LEFT_ALIGNING = "left in alignment settings: lowest modulation and raised power"
POWER_WARN_DB, POWER_FAIL_DB = 2.0, 3.0
"""What a device reads of its own power may be off (contract: comparing; common practice)."""


def left_aligning(near: CarrierEnd) -> bool:
    """Whether a device that should carry traffic still has its settings for alignment.

    The lowest modulation, and a power that is set above the plan. Where only the actual power is
    known, it tells by more than a device misreads it, and not where the far end's low level
    explains the modulation: then the power may follow it.
    """
    if near.stage not in {"handover", "service"} or near.context is None:
        return False
    planned = near.end.tx_power_dbm
    seen = near.read("tx_modulation")
    lowest = radio.lowest_mode(near.context.profile, near.bandwidth_mhz)
    if planned is None or seen is None or seen.word is None:
        return False
    bottom = {near.link.modulation_min} if isinstance(lowest, str) else {lowest.modulation}
    bottom -= {near.link.modulation_max, None}
    at_bottom = any(radio.plain_modulation(m or "") == radio.plain_modulation(seen.word)
                    for m in bottom)  # fmt: skip
    if not at_bottom:
        return False
    if (set_dbm := near.number("tx_power_set_dbm")) is not None:
        return set_dbm > planned + POWER_DB + 1e-6
    now_dbm = near.number("tx_power_dbm")
    raised = now_dbm is not None and now_dbm > planned + POWER_WARN_DB + 1e-6
    return raised and not _lower_by_level(near)


def _lower_by_level(near: CarrierEnd) -> bool:
    """Whether the far end receives too little for the highest modulation."""
    listener, highest = near.across, near.link.modulation_max
    if listener.context is None or highest is None:
        return False
    mode = radio.mode_for(listener.context.profile, highest, listener.bandwidth_mhz)
    level = listener.number("rx_level_dbm")
    if isinstance(mode, str) or mode.threshold_dbm is None or level is None:
        return False
    return level < mode.threshold_dbm + HEADROOM_DB


def transmitter(near: CarrierEnd) -> Findings:
    """`radio.transmitter`: off on the bench unless an attenuation is given, on afterwards.

    In hot standby one of an end's transmitters is on.
    """
    seen = near.read("tx_enabled")
    if seen is None:
        return
    on = near.transmits
    if on is None:
        yield near.finding("radio.transmitter", "not-tested", near.missing("tx_enabled"),
                           reads=(seen,))  # fmt: skip
        return
    verdict, wanted, reason, advice = _judge_transmitter(near, on=on)
    if not on and (level := heard_by(near)) is not None:
        verdict = "warn" if verdict == "pass" else verdict
        reason += f"; yet {near.across.end.device} receives {figure(level)} dBm: {NOT_REAL}"
        advice = LOOK_FOR_IT
    reads = (seen, *(other.read("tx_enabled") for other in near.others))
    yield near.finding(
        "radio.transmitter", verdict, reason, expected=wanted, observed="on" if on else "off",
        advice=advice, silences=advice is LOOK_FOR_IT,
        reads=reads if near.link.protection in HOT_STANDBY else (seen,),
    )  # fmt: skip


_MUTE = (
    "mute the transmitter: without an attenuator it may damage the far receiver, and nobody "
    "belongs in front of an antenna that transmits"
)


def _judge_transmitter(near: CarrierEnd, *, on: bool) -> tuple[Verdict, str, str, str]:
    """Verdict, what is right, reason, advice."""
    if near.stage == "bench":
        if levels.bench_attenuation_db(near.end, near.far) is not None:
            return "pass", "on or off", "an attenuation is planned for the bench", ""
        if on:
            return "fail", "off", "transmits on the bench, and no attenuation is planned", _MUTE
        return "pass", "off", "off, as is right on the bench", ""
    if near.link.protection in HOT_STANDBY and near.others:
        return _judge_standby(near, on=on)
    if on:
        return "pass", "on", "the transmitter is on", ""
    reason = "left muted" if near.stage == "handover" else "the transmitter is muted"
    return "fail", "on", reason, "nobody in front of the antenna? Then switch the transmitter on"


def _judge_standby(near: CarrierEnd, *, on: bool) -> tuple[Verdict, str, str, str]:
    """One of two radiates; that both are enabled proves nothing without their actual power."""
    others = [other.transmits for other in near.others]
    wanted = "one of two on"
    if on and True in others:
        dark = [s for s in (near, *near.others)
                if s.transmits and s.number("tx_power_dbm") is None]  # fmt: skip
        if dark:
            why = dark[0].missing("tx_power_dbm")
            reason = "both transmitters of the hot standby are enabled; whether both radiate is "
            reason += f"not known without their actual power: {why}"
            return "not-tested", wanted, reason, ""
        return (
            "fail", wanted, "both transmitters of the hot standby are on: they disturb each other",
            "look at the protection settings of both devices",
        )  # fmt: skip
    if on:
        return "pass", wanted, "the transmitter is on, the active one of the hot standby", ""
    if True in others:
        how = "enabled, and its output is muted" if near.output_muted else "off"
        return "pass", wanted, f"{how} rightly: the other device of the hot standby transmits", ""
    if None in others:
        return "not-tested", wanted, "off, and whether the other device transmits is not known", ""
    return (
        "fail", wanted, "muted, and so is the other device of the hot standby",
        "nobody in front of the antenna? Then switch one transmitter on",
    )  # fmt: skip


def atpc(near: CarrierEnd) -> Findings:
    """`radio.atpc`: as planned, and doing its work; while aligning off."""
    planned, seen = near.end.atpc, near.read("atpc")
    aligning = near.stage == "alignment"
    left = left_short(near) if seen is not None and seen.truth else None
    if planned is None and left is None and not (aligning and seen is not None):
        return
    wanted = bool(planned) and not aligning
    on = seen.truth if seen is not None else None
    expected = "on" if wanted else None if planned is None and not aligning else "off"
    if on is None:
        yield near.finding("radio.atpc", "not-tested", near.missing("atpc"), at="atpc",
                           expected=expected, reads=(seen,))  # fmt: skip
        return
    verdict: Verdict = "pass" if on == wanted else "fail"
    reason, advice = f"ATPC is {'on' if on else 'off'}, as planned", ""
    if aligning:
        reason = "ATPC is off, as is right while aligning"
        if on:
            reason = "ATPC is on while aligning: it hides whether the antenna moves to its peak"
            advice = "switch ATPC off at both ends until the antennas are fixed"
    elif verdict == "fail":
        reason = f"ATPC is {'on' if on else 'off'}, the plan says {expected}"
        if left_aligning(near):
            reason = f"{reason}; {LEFT_ALIGNING}"
        advice = "set it as planned, save, and read it again"
    reads: tuple[Read | None, ...] = (seen,)
    if left is not None:
        reason = left.reason if verdict == "pass" or planned is None else f"{reason}; {left.reason}"
        verdict, reads = "fail", (seen, *left.reads)
        advice = "look at ATPC's highest power and target at both ends; switch it off to compare"
    yield near.finding("radio.atpc", verdict, reason, at="atpc", expected=expected,
                       observed="on" if on else "off", advice=advice, reads=reads)  # fmt: skip


SPARE_DB = 1.0
"""A power less than this under its most is at its most (requirement)."""
_STAGES = frozenset({"handover", "service"})


@dataclass(frozen=True, slots=True)
class Short:
    """An end that ATPC leaves short; `reads` are what it rests on."""

    required: RequiredLevel
    reason: str
    reads: tuple[Read, ...]


def required_at(listener: CarrierEnd) -> RequiredLevel | None:
    """The level that the far end's ATPC has to keep at an end; None where that is not known."""
    if listener.context is None:
        return None
    return required_level(
        listener.link, listener.end, listener.context.profile, listener.bandwidth_mhz
    )


def most_dbm(sender: CarrierEnd) -> float | None:
    """The most that ATPC of this end may transmit by the plan, in the mode it is in, in dBm."""
    planned = sender.end.atpc_max_dbm
    planned = sender.end.tx_power_dbm if planned is None else planned
    seen = sender.read("tx_modulation")
    if sender.context is None or seen is None or seen.word is None:
        return planned
    mode = radio.mode_for(sender.context.profile, seen.word, sender.bandwidth_mhz)
    limit = None if isinstance(mode, str) else mode.max_tx_power_dbm
    known = [x for x in (planned, limit) if x is not None]
    return min(known, default=None)


def left_short(sender: CarrierEnd, listener: CarrierEnd | None = None) -> Short | None:
    """How this end's ATPC leaves the far end short; None: it does not, as far as is known.

    Every sample of the level is under what is asked for, and every sample of the power over 1 dB
    under its most.

    Args:
        sender: the end whose ATPC it is.
        listener: who receives it; in hot standby another than the other end of its carrier.
    """
    listener = sender.across if listener is None else listener
    level, power = listener.read("rx_level_dbm"), sender.read("tx_power_dbm")
    if sender.stage not in _STAGES or not sender.atpc_on or sender.transmits is False:
        return None
    wanted, most = required_at(listener), most_dbm(sender)
    if level is None or power is None or wanted is None or most is None:
        return None
    if level.nothing or not level.samples or not power.samples:
        return None
    highest, strongest = max(v for _, v in level.samples), max(v for _, v in power.samples)
    if highest >= wanted.dbm - wanted.slack_db - EXACT_DB:
        return None
    if strongest >= most - SPARE_DB - EXACT_DB:
        return None
    reason = (
        f"ATPC leaves {listener.end.device} short: it receives {radio.figure(highest)} dBm "
        f"at most, "
        f"{wanted.how}, and {sender.end.device} transmits {radio.figure(strongest)} dBm of the "
        f"{radio.figure(most)} dBm that it may"
    )
    return Short(wanted, reason, (level, power))
