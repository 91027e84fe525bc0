"""The voltage at an alignment port, and the level it stands for: both ways along a table."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from verifier.model.profile import AlignmentPort


def volts_at(port: AlignmentPort, level_dbm: float) -> float | None:
    """The voltage at this level, in V; None outside the table: nothing is guessed beyond it."""
    return _between(port.table, level_dbm)


def level_at(port: AlignmentPort, volts: float) -> float | None:
    """The level at this voltage, in dBm; None outside the table."""
    return _between(tuple((v, dbm) for dbm, v in port.table), volts)


def _between(rows: tuple[tuple[float, float], ...], x: float) -> float | None:
    """Straight lines from row to row; rows rise or fall in either column."""
    for (x0, y0), (x1, y1) in pairwise(sorted(rows)):
        if x0 <= x <= x1:
            return y0 if x1 == x0 else y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return None


def no_signal(port: AlignmentPort, volts: float) -> bool:
    """Whether the voltage is that of a port that receives nothing.

    The voltage of no signal lies beyond the table's weakest row, on whichever side that is.
    """
    if port.no_signal_v is None:
        return False
    weakest = min(port.table)[1]
    if port.no_signal_v == weakest:
        return volts == weakest
    below = port.no_signal_v < weakest
    return volts <= port.no_signal_v if below else volts >= port.no_signal_v


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A level, its voltage, and the voltages that are still right.

    Attributes:
        volts: at `level_dbm`.
        low_v, high_v: the lower and the higher of the voltages at the edges of the tolerance; an
            edge beyond the table is the table's end.
    """

    level_dbm: float
    tolerance_db: float
    volts: float
    low_v: float
    high_v: float

    def holds(self, volts: float) -> bool:
        """Whether a voltage is inside; to a hundredth of a volt, which is what a meter shows."""
        return self.low_v - 0.005 <= volts <= self.high_v + 0.005


def window(port: AlignmentPort, level_dbm: float, tolerance_db: float) -> Window | None:
    """The window around a level; None where the level itself is outside the table."""
    volts = volts_at(port, level_dbm)
    if volts is None:
        return None
    levels = [dbm for dbm, _ in port.table]
    edges = [
        volts_at(port, min(max(level_dbm + step, min(levels)), max(levels)))
        for step in (-tolerance_db, tolerance_db)
    ]
    known = [e for e in edges if e is not None]
    return Window(
        level_dbm=level_dbm, tolerance_db=tolerance_db, volts=volts, low_v=min(known),
        high_v=max(known),
    )  # fmt: skip
