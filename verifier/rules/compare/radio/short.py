"""ATPC that leaves a link short: too low a level, while the far end could transmit more."""

from __future__ import annotations

from dataclasses import dataclass

from verifier.rules import radio
from verifier.rules.compare.radio.carrier_end import EXACT_DB, CarrierEnd
from verifier.rules.compare.radio.read import Read
from verifier.rules.radio import figure
from verifier.rules.radio.levels import Asked, asked_level

SPARE_DB = 1.0
"""A power less than this under its most is at its most (requirement)."""
_STAGES = frozenset({"handover", "service"})


@dataclass(frozen=True, slots=True)
class Short:
    """An end that ATPC leaves short; `reads` are what it rests on."""

    asked: Asked
    reason: str
    reads: tuple[Read, ...]


def asked(listener: CarrierEnd) -> Asked | None:
    """The level that the far end's ATPC has to keep at an end; None where that is not known."""
    if listener.context is None:
        return None
    return asked_level(
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
    wanted, most = asked(listener), most_dbm(sender)
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
        f"ATPC leaves {listener.end.device} short: it receives {figure(highest)} dBm at most, "
        f"{wanted.how}, and {sender.end.device} transmits {figure(strongest)} dBm of the "
        f"{figure(most)} dBm that it may"
    )
    return Short(wanted, reason, (level, power))
