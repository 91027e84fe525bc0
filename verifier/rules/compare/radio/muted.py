"""What is received though the far end says that its transmitter is off."""

from __future__ import annotations

import math

from verifier.model.result import Finding
from verifier.rules.compare.radio.carrier_end import HOT_STANDBY, CarrierEnd, figure
from verifier.rules.compare.radio.read import Read

MUTED_FAR = "the far end says that its transmitter is off"
NOT_REAL = "something else transmits, or the mute is not real"
LOOK_FOR_IT = (
    "nobody in front of the antenna: switch the far device's power off; if the level stays, "
    "somebody else transmits on this frequency"
)
_NOISE_DBM_PER_HZ, _FIGURE_DB, _ABOVE_DB = -174.0, 5.0, 10.0
"""Thermal noise at 290 K, a usual receiver's figure, and how far above both a signal stands
clear. Common practice, no source for the last two."""
_USUAL_MHZ = 28.0
_LEAK_DB = 15.0
"""The other polarisation of one channel arrives at least so much weaker. Common practice."""


def signal_of_nobody(side: CarrierEnd, seen: Read | None) -> Finding | None:
    """`radio.rx-level` where a signal is received from an end that says it is off; else None.

    On a bench where no level is planned other radios may be near: there it warns.
    """
    if seen is None or seen.number is None or side.sender.transmits is not False:
        return None
    level = seen.number
    if level < floor_dbm(side) or _leaks(side, level):
        return None
    at = "bench_rx_level_dbm" if side.stage == "bench" else "rx_level_dbm"
    by_the_way = side.stage == "bench" and side.end.bench_rx_level_dbm is None
    return side.finding(
        "radio.rx-level", "warn" if by_the_way else "fail",
        f"{figure(level)} dBm is received, and {MUTED_FAR}: {NOT_REAL}", at=at, expected=None,
        observed=level, unit="dBm", advice=LOOK_FOR_IT, silences=True,
        reads=(seen, side.sender.read("tx_enabled")),
    )  # fmt: skip


def heard_by(side: CarrierEnd) -> float | None:
    """The level at the other end of a transmitter that says it is off; None: nothing stands out."""
    listener = side.across
    if listener.context is None or listener.sender is not side:
        return None
    seen = listener.read("rx_level_dbm")
    if seen is None or seen.number is None or seen.number < floor_dbm(listener):
        return None
    return None if _leaks(listener, seen.number) else seen.number


def floor_dbm(side: CarrierEnd) -> float:
    """Below, what a receiver shows may be its own noise."""
    width_hz = (side.bandwidth_mhz or _USUAL_MHZ) * 1e6
    return _NOISE_DBM_PER_HZ + 10 * math.log10(width_hz) + _FIGURE_DB + _ABOVE_DB


def outage_db(side: CarrierEnd) -> float:
    """What must be lost on the way before nothing of the planned level is left; inf: not known."""
    planned = side.end.rx_level_dbm
    return math.inf if planned is None else planned - floor_dbm(side)


def _leaks(side: CarrierEnd, level: float) -> bool:
    """Whether another carrier of the same channel accounts for it."""
    planned = side.end.rx_level_dbm
    if side.link.protection in HOT_STANDBY:
        return False
    same = [o for o in side.others if o.far.tx_mhz == side.far.tx_mhz and o.sender.transmits]
    return bool(same) and (planned is None or level <= planned - _LEAK_DB)
