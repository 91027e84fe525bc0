"""What a unit transmits: power, transmitter on or off, ATPC."""

from __future__ import annotations

from verifier.model.result import Verdict
from verifier.rules import radio
from verifier.rules.compare.context import Findings
from verifier.rules.compare.radio.hop import EXACT_DB, HOT_STANDBY, POWER_DB, Side, figure
from verifier.rules.compare.radio.read import Read
from verifier.rules.compare.radio.short import left_short
from verifier.rules.radio import levels

LEFT_ALIGNING = "left in alignment settings: lowest modulation and raised power"
_POWER = ("tx_power_dbm", "tx_power_set_dbm")


def left_aligning(side: Side) -> bool:
    """Whether a unit that should carry traffic still has its settings for alignment."""
    if side.stage not in {"handover", "service"} or side.context is None:
        return False
    planned, power = side.end.tx_power_dbm, side.number(*_POWER)
    seen = side.read("tx_modulation")
    lowest = radio.lowest_mode(side.context.profile, side.bandwidth_mhz)
    if planned is None or power is None or seen is None or seen.word is None:
        return False
    bottom = {side.link.modulation_min} if isinstance(lowest, str) else {lowest.modulation}
    bottom -= {side.link.modulation_max, None}
    at_bottom = any(radio.plain_modulation(m or "") == radio.plain_modulation(seen.word)
                    for m in bottom)  # fmt: skip
    return at_bottom and power > planned + POWER_DB


def tx_power(side: Side) -> Findings:
    """`radio.tx-power`: within 0.5 dB; with ATPC inside its range; while aligning up to the most.

    The actual power, else the one that is set.
    """
    end, at = side.end, "tx_power_dbm"
    planned = end.tx_power_dbm
    if side.stage == "bench" and end.bench_tx_power_dbm is not None:
        planned, at = end.bench_tx_power_dbm, "bench_tx_power_dbm"
    if planned is None:
        return
    seen = _shown_power(side, planned)
    if isinstance(seen, str):
        yield side.finding("radio.tx-power", "not-tested", seen, at=at, expected=planned,
                           unit="dBm", reads=(side.read(*_POWER),))  # fmt: skip
        return
    power = seen.number or 0.0
    verdict, reason = _judge_power(side, planned, power)
    what = "set to" if seen.reading.field == "tx_power_set_dbm" else "at"
    advice = ""
    if verdict == "fail":
        advice = "set the planned power, save, and read it again"
    told = side.read("tx_power_set_dbm")
    if verdict == "fail" and told is not seen and _near(told, planned):
        reason += "; it is set as planned"
        advice = "does a limit or ATPC move it? Else the transmitter is at fault: try a spare"
        reads: tuple[Read | None, ...] = (seen, told)
    else:
        reads = (seen,)
    yield side.finding(
        "radio.tx-power", verdict, f"{what} {figure(power)} dBm: {reason}", at=at,
        expected=planned, observed=power, unit="dBm", advice=advice, reads=reads,
    )  # fmt: skip


def _near(seen: Read | None, planned: float) -> bool:
    """Whether a power is the planned one, as closely as powers are told."""
    number = seen.number if seen is not None else None
    return number is not None and abs(number - planned) <= POWER_DB + 1e-6


def _shown_power(side: Side, planned: float) -> Read | str:
    """The reading that tells the power; of a transmitter that is off, what it is set to."""
    seen = side.read(*_POWER)
    if side.transmits is False and side.read("tx_power_set_dbm") is not None:
        seen = side.read("tx_power_set_dbm")
    if seen is None or seen.number is None:
        return side.missing(*_POWER)
    off = side.transmits is False and seen.reading.field == "tx_power_dbm"
    if off and abs(seen.number - planned) > POWER_DB + EXACT_DB:
        return "the transmitter is off, and the unit does not tell what it is set to"
    return seen


def _judge_power(side: Side, planned: float, power: float) -> tuple[Verdict, str]:
    over, slack = power - planned, POWER_DB + 1e-6
    on_bench = side.stage == "bench" and side.end.bench_tx_power_dbm is not None
    by_atpc = _atpc_power(side, planned, power) if side.atpc_on and not on_bench else None
    if by_atpc is not None and (side.stage != "alignment" or by_atpc[0] == "pass"):
        return by_atpc
    if side.stage == "alignment":
        return _aligning_power(side, planned, power)
    if abs(over) <= slack:
        return "pass", "as planned"
    if left_aligning(side):
        return "fail", f"{LEFT_ALIGNING} ({over:+.1f} dB)"
    return "fail", f"{over:+.1f} dB against the plan"


def _aligning_power(side: Side, planned: float, power: float) -> tuple[Verdict, str]:
    slack = POWER_DB + 1e-6
    if abs(power - planned) <= slack:
        return "pass", "as planned"
    if power < planned:
        return "fail", f"{power - planned:+.1f} dB against the plan"
    most = _most_aligning(side)
    if isinstance(most, str):
        return "not-tested", f"above the plan, and how far it may be raised is not known: {most}"
    if power <= max(most.value, planned) + slack:
        return "pass", f"raised to align; {figure(most.value)} dBm is {most.how}"
    return "fail", f"above {figure(most.value)} dBm, {most.how}"


def _most_aligning(side: Side) -> levels.Expected | str:
    """The most this unit may transmit while aligning, in the mode it is in."""
    if side.context is None:
        return side.gap
    seen = side.read("tx_modulation")
    return levels.alignment_power(
        side.link, side.end, side.context.profile,
        modulation=seen.word if seen is not None else None, bandwidth_mhz=side.bandwidth_mhz,
    )  # fmt: skip


def _atpc_power(side: Side, planned: float, power: float) -> tuple[Verdict, str]:
    """ATPC moves the power between its lowest and its highest; the plan's power if none is."""
    slack = POWER_DB + 1e-6
    highest = planned if side.end.atpc_max_dbm is None else side.end.atpc_max_dbm
    lowest = side.end.atpc_min_dbm
    if (wrong := _set_under_atpc(side, planned, highest)) and power <= highest + slack:
        return "fail", wrong
    if power > highest + slack:
        if left_aligning(side):
            return "fail", LEFT_ALIGNING
        return "fail", f"above {figure(highest)} dBm, the most ATPC may use"
    if lowest is not None and power < lowest - slack:
        return "fail", f"below {figure(lowest)} dBm, the least ATPC may use"
    if lowest is None:
        return "pass", f"ATPC is on and may lower it from {figure(highest)} dBm"
    return "pass", f"inside ATPC's range, {figure(lowest)} to {figure(highest)} dBm"


def _set_under_atpc(side: Side, planned: float, highest: float) -> str:
    """What is wrong with the set power, which is the most that ATPC may use; empty: nothing."""
    told = side.number("tx_power_set_dbm")
    if told is None:
        return ""
    if told > max(planned, highest) + POWER_DB + 1e-6:
        return f"set to {figure(told)} dBm, above {figure(highest)} dBm, the most ATPC may use"
    if told < min(planned, highest) - POWER_DB - 1e-6:
        return f"set to {figure(told)} dBm, {told - planned:+.1f} dB against the plan"
    return ""


def transmitter(side: Side) -> Findings:
    """`radio.transmitter`: off on the bench unless an attenuation is given, on afterwards.

    In hot standby one of an end's transmitters is on.
    """
    seen = side.read("tx_enabled")
    if seen is None:
        return
    on = seen.truth
    if on is None:
        yield side.finding("radio.transmitter", "not-tested", side.missing("tx_enabled"),
                           reads=(seen,))  # fmt: skip
        return
    verdict, wanted, reason, advice = _judge_transmitter(side, on=on)
    reads = (seen, *(other.read("tx_enabled") for other in side.others))
    yield side.finding(
        "radio.transmitter", verdict, reason, expected=wanted, observed="on" if on else "off",
        advice=advice, reads=reads if side.link.protection in HOT_STANDBY else (seen,),
    )  # fmt: skip


_MUTE = (
    "mute the transmitter: without an attenuator it may damage the far receiver, and nobody "
    "belongs in front of an antenna that transmits"
)


def _judge_transmitter(side: Side, *, on: bool) -> tuple[Verdict, str, str, str]:
    """Verdict, what is right, reason, advice."""
    if side.stage == "bench":
        if levels.bench_attenuation_db(side.end, side.far) is not None:
            return "pass", "on or off", "an attenuation is planned for the bench", ""
        if on:
            return "fail", "off", "transmits on the bench, and no attenuation is planned", _MUTE
        return "pass", "off", "off, as is right on the bench", ""
    if side.link.protection in HOT_STANDBY and side.others:
        return _judge_standby(side, on=on)
    if on:
        return "pass", "on", "the transmitter is on", ""
    reason = "left muted" if side.stage == "handover" else "the transmitter is muted"
    return "fail", "on", reason, "nobody in front of the antenna? Then switch the transmitter on"


def _judge_standby(side: Side, *, on: bool) -> tuple[Verdict, str, str, str]:
    others = [other.transmits for other in side.others]
    wanted = "one of two on"
    if on and True in others:
        return (
            "fail", wanted, "both transmitters of the hot standby are on: they disturb each other",
            "look at the protection settings of both units",
        )  # fmt: skip
    if on:
        return "pass", wanted, "the transmitter is on, the active one of the hot standby", ""
    if True in others:
        return "pass", wanted, "off rightly: the other unit of the hot standby transmits", ""
    if None in others:
        return "not-tested", wanted, "off, and whether the other unit transmits is not known", ""
    return (
        "fail", wanted, "muted, and so is the other unit of the hot standby",
        "nobody in front of the antenna? Then switch one transmitter on",
    )  # fmt: skip


def atpc(side: Side) -> Findings:
    """`radio.atpc`: as planned, and doing its work; while aligning off."""
    planned, seen = side.end.atpc, side.read("atpc")
    aligning = side.stage == "alignment"
    left = left_short(side) if seen is not None and seen.truth else None
    if planned is None and left is None and not (aligning and seen is not None):
        return
    wanted = bool(planned) and not aligning
    on = seen.truth if seen is not None else None
    expected = "on" if wanted else None if planned is None and not aligning else "off"
    if on is None:
        yield side.finding("radio.atpc", "not-tested", side.missing("atpc"), at="atpc",
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
        if left_aligning(side):
            reason = f"{reason}; {LEFT_ALIGNING}"
        advice = "set it as planned, save, and read it again"
    reads: tuple[Read | None, ...] = (seen,)
    if left is not None:
        reason = left.reason if verdict == "pass" or planned is None else f"{reason}; {left.reason}"
        verdict, reads = "fail", (seen, *left.reads)
        advice = "look at ATPC's highest power and target at both ends; switch it off to compare"
    yield side.finding("radio.atpc", verdict, reason, at="atpc", expected=expected,
                       observed="on" if on else "off", advice=advice, reads=reads)  # fmt: skip
