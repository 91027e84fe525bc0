"""Frequencies: when two are the same, and the channels of ITU-R arrangements."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

_SAME_MHZ = 0.001
"""Frequencies nearer than this are one frequency."""


def same_mhz(a: float, b: float, shown_mhz: float = 0.0) -> bool:
    """Whether two frequencies are the same within 1 kHz, or as closely as they are shown."""
    return abs(a - b) <= max(_SAME_MHZ, shown_mhz) * (1 + 1e-6)


Half = Literal["lower", "upper"]
HALVES: tuple[Half, Half] = ("lower", "upper")


@dataclass(frozen=True, slots=True, kw_only=True)
class Raster:
    """A radio-frequency channel arrangement: centres `centre + offset + n * step`, in MHz.

    Attributes:
        name: the ITU-R recommendation.
        centre_mhz: the reference frequency.
        lower_mhz, upper_mhz: offsets of the lower and the upper half of the band.
        numbers: first and last n.
        duplex_mhz: between the two channels of one n.
    """

    name: str
    centre_mhz: float
    lower_mhz: float
    upper_mhz: float
    step_mhz: float
    numbers: tuple[int, int]
    duplex_mhz: float

    def channel_mhz(self, half: Half, n: int) -> float:
        """The centre of channel `n`, in MHz."""
        offset = self.lower_mhz if half == "lower" else self.upper_mhz
        return self.centre_mhz + offset + n * self.step_mhz

    def nearest(self, mhz: float) -> tuple[int, Half, float]:
        """The channel nearest to `mhz`: its number, half and centre in MHz."""
        first, last = self.numbers
        found: list[tuple[int, Half, float]] = []
        for half in HALVES:
            n = round((mhz - self.channel_mhz(half, 0)) / self.step_mhz)
            n = min(max(n, first), last)
            found.append((n, half, self.channel_mhz(half, n)))
        return min(found, key=lambda channel: abs(channel[2] - mhz))

    def fits(self, bandwidth_mhz: float, duplex_mhz: float) -> bool:
        """Whether a carrier of this bandwidth and duplex spacing belongs to this arrangement.

        A much narrower carrier has a finer arrangement, a wider one joins channels.
        """
        return self.step_mhz / 2 < bandwidth_mhz <= self.step_mhz and same_mhz(
            self.duplex_mhz, duplex_mhz
        )


def _raster(  # noqa: PLR0913, PLR0917 - the columns of a table
    name: str,
    centre: float,
    lower: float,
    upper: float,
    step: float,
    first: int,
    last: int,
) -> Raster:
    return Raster(
        name=name, centre_mhz=centre, lower_mhz=lower, upper_mhz=upper, step_mhz=step,
        numbers=(first, last), duplex_mhz=upper - lower,
    )  # fmt: skip


RASTERS = (
    _raster("F.383", 6175, -259.45, -7.41, 29.65, 1, 8),
    _raster("F.384", 6770, -350, -10, 40, 1, 8),
    _raster("F.385", 7575, -154, 7, 7, 1, 20),
    _raster("F.386", 8000, -281.95, 29.37, 29.65, 1, 8),
    _raster("F.387", 11200, -525, 5, 40, 1, 12),
    _raster("F.387", 11200, -545, -15, 40, 2, 12),
    _raster("F.497", 12996, -259, 7, 28, 1, 8),
    _raster("F.497", 12996, -248.5, 17.5, 7, 1, 32),
    _raster("F.595", 18700, -1000, 10, 110, 1, 8),
    _raster("F.595", 18700, -1000, 10, 27.5, 1, 35),
    _raster("F.637", 22400, -1232, 0, 112, 1, 10),
    _raster("F.637", 22400, -1190, 42, 28, 1, 40),
    _raster("F.637", 22400, -1183, 49, 14, 1, 80),
    _raster("F.1099", 4700, -310, -10, 40, 1, 7),
)
"""Arrangements of ITU-R Recommendations of those numbers (main text or Annex 1). A band has further
ones, nationally; what is not here is not judged."""

_SERIES = re.compile(r"(?:ITU-R )?(?:REC\.? )?F[. ]?(\d{3,4})(?:-\d+)?", re.IGNORECASE)


def rasters(name: str) -> list[Raster]:
    """The arrangements known by this name (`F.497`, `ITU-R F.497-7`); none is empty."""
    found = _SERIES.fullmatch(name.strip())
    return [r for r in RASTERS if found is not None and r.name == f"F.{found[1]}"]
