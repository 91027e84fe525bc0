"""Radio arithmetic: powers, bits, channels, and the path between two sites."""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass
from typing import Literal

from geographiclib.geodesic import Geodesic

from verifier.model.plan import End, Site

_SAME_MHZ = 0.001
"""Frequencies nearer than this are one frequency."""


def same_mhz(a: float, b: float) -> bool:
    """Whether two frequencies are the same within 1 kHz."""
    return abs(a - b) <= _SAME_MHZ * (1 + 1e-6)


# --- power -----------------------------------------------------------------------------------


def losses_after_transmitter_db(end: End) -> float:
    """What is lost between the transmitter and the antenna, in dB."""
    return sum(x or 0.0 for x in (end.line_loss_db, end.tx_loss_db, end.extra_loss_db))


def eirp_dbm(end: End) -> float | None:
    """Power + antenna gain - losses after the transmitter (ITU-R V.573: EIRP), in dBm.

    None where power or gain is not planned.
    """
    if end.tx_power_dbm is None or end.antenna_dbi is None:
        return None
    return end.tx_power_dbm + end.antenna_dbi - losses_after_transmitter_db(end)


# --- modulation ------------------------------------------------------------------------------

_QAM = re.compile(r"(\d{1,5})[ _-]?qam")
_PSK = {"bpsk": 1, "qpsk": 2, "4psk": 2, "8psk": 3}


@functools.lru_cache(maxsize=1024)
def plain_modulation(text: str) -> str:
    """One spelling for one modulation: `256-QAM` is `256qam`, `QPSK` is `4qam`."""
    low = text.strip().lower()
    if (qam := _QAM.fullmatch(low)) is not None:
        return f"{int(qam[1])}qam"
    return {"qpsk": "4qam", "4psk": "4qam"}.get(low, low)


def bits_per_symbol(modulation: str) -> int | None:
    """log2 of the number of states; None where the name does not tell it."""
    text = plain_modulation(modulation)
    if text in _PSK:
        return _PSK[text]
    if (qam := _QAM.fullmatch(text)) is None:
        return None
    states = int(qam[1])
    bits = states.bit_length() - 1
    return bits if bits > 0 and states == 1 << bits else None


# --- channels --------------------------------------------------------------------------------


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


# --- the path --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Path:
    """The shortest line on the WGS 84 ellipsoid between two sites.

    Attributes:
        azimuth_deg: from a to b, clockwise from true north, 0 to 360.
        back_azimuth_deg: from b to a.
    """

    km: float
    azimuth_deg: float
    back_azimuth_deg: float


def path_between(a: Site, b: Site) -> Path | None:
    """The geodesic from `a` to `b`; None where a coordinate is missing or not on the globe.

    Source: C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87 (2013).
    """
    if not (located(a) and located(b)):
        return None
    line = Geodesic.WGS84.Inverse(a.latitude, a.longitude, b.latitude, b.longitude)
    return Path(line["s12"] / 1000, line["azi1"] % 360, (line["azi2"] + 180) % 360)


def located(site: Site) -> bool:
    """Whether both coordinates are given and on the globe."""
    if site.latitude is None or site.longitude is None:
        return False
    return abs(site.latitude) <= 90 and abs(site.longitude) <= 180  # noqa: PLR2004 - degrees


def turn_deg(a: float, b: float) -> float:
    """The angle between two directions, 0 to 180 degrees."""
    return abs(math.remainder(a - b, 360))
