"""The path between two sites: length and directions, the beam of an antenna, rain on the way.

Lengths are on the ellipsoid. Rain is ITU-R P.838-3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from geographiclib.geodesic import Geodesic

from verifier.model.plan import Link, Site


@dataclass(frozen=True, slots=True)
class RadioPath:
    """The shortest line on the WGS 84 ellipsoid between two sites.

    Attributes:
        azimuth_deg: from a to b, clockwise from true north, 0 to 360.
        back_azimuth_deg: from b to a.
    """

    km: float
    azimuth_deg: float
    back_azimuth_deg: float


def path_between(a: Site, b: Site) -> RadioPath | None:
    """The geodesic from `a` to `b`; None where a coordinate is missing or not on the globe.

    Source: C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87 (2013).
    """
    if not (located(a) and located(b)):
        return None
    line = Geodesic.WGS84.Inverse(a.latitude, a.longitude, b.latitude, b.longitude)
    return RadioPath(line["s12"] / 1000, line["azi1"] % 360, (line["azi2"] + 180) % 360)


def located(site: Site) -> bool:
    """Whether both coordinates are given and on the globe."""
    if site.latitude is None or site.longitude is None:
        return False
    return abs(site.latitude) <= 90 and abs(site.longitude) <= 180  # noqa: PLR2004 - degrees


def turn_deg(a: float, b: float) -> float:
    """The angle between two directions, 0 to 180 degrees."""
    return abs(math.remainder(a - b, 360))


def link_km(link: Link, a: Site | None, b: Site | None) -> float | None:
    """Length of a link's path, in km: as planned, else from its sites; None: not known."""
    if link.path_km is not None:
        return link.path_km
    path = path_between(a, b) if a is not None and b is not None else None
    return path.km if path is not None else None


_LIGHT_M_PER_S = 299_792_458.0
"""Exact, by the definition of the metre."""
_BEAM = 70.0
"""Half-power beamwidth in degrees is 70 lambda / D (ITU-R F.699, note on beamwidth)."""
SIDE_LOBE = 1.5
"""The first side lobe lies near so many beamwidths off the axis (common practice)."""
_EARTH_KM = 6371.0
_RADIO_EARTH = 4 / 3
"""Ratio of effective to true radius of the earth in a standard atmosphere (ITU-R P.834)."""


def beamwidth_deg(diameter_m: float | None, mhz: float | None) -> float | None:
    """Half-power beamwidth of a dish, in degrees; None where diameter or frequency is unknown."""
    if not (diameter_m and mhz) or diameter_m <= 0 or mhz <= 0:
        return None
    return _BEAM * _LIGHT_M_PER_S / (mhz * 1e6) / diameter_m


def tilt_deg(own_amsl_m: float, far_amsl_m: float, km: float) -> float:
    """The angle above the horizon at which a ray leaves for the far antenna, in degrees."""
    along = math.degrees(math.atan((far_amsl_m - own_amsl_m) / (km * 1000)))
    return along - math.degrees(km / (2 * _RADIO_EARTH * _EARTH_KM))


@dataclass(frozen=True, slots=True)
class _Curve:
    """One of the Recommendation's curves over log10 of the frequency in GHz.

    The sum of `a exp(-((log f - b) / c) ** 2)` over `terms`, and `slope` times log f + `offset`.
    """

    terms: tuple[tuple[float, float, float], ...]
    slope: float
    offset: float

    def at(self, ghz: float) -> float:
        """The value of the curve at a frequency."""
        x = math.log10(ghz)
        bells = math.fsum(a * math.exp(-(((x - b) / c) ** 2)) for a, b, c in self.terms)
        return bells + self.slope * x + self.offset


_K_H = _Curve(
    (
        (-5.33980, -0.10008, 1.13098),
        (-0.35351, 1.26970, 0.45400),
        (-0.23789, 0.86036, 0.15354),
        (-0.94158, 0.64552, 0.16817),
    ),
    -0.18961,
    0.71147,
)
"""log10 of k, horizontal polarisation: P.838-3 Table 1."""
_K_V = _Curve(
    (
        (-3.80595, 0.56934, 0.81061),
        (-3.44965, -0.22911, 0.51059),
        (-0.39902, 0.73042, 0.11899),
        (0.50167, 1.07319, 0.27195),
    ),
    -0.16398,
    0.63297,
)
"""log10 of k, vertical polarisation: P.838-3 Table 2."""
_ALPHA_H = _Curve(
    (
        (-0.14318, 1.82442, -0.55187),
        (0.29591, 0.77564, 0.19822),
        (0.32177, 0.63773, 0.13164),
        (-5.37610, -0.96230, 1.47828),
        (16.1721, -3.29980, 3.43990),
    ),
    0.67849,
    -1.95537,
)
"""The exponent alpha, horizontal polarisation: P.838-3 Table 3."""
_ALPHA_V = _Curve(
    (
        (-0.07771, 2.33840, -0.76284),
        (0.56727, 0.95545, 0.54039),
        (-0.20238, 1.14520, 0.26809),
        (-48.2991, 0.791669, 0.116226),
        (48.5833, 0.791459, 0.116479),
    ),
    -0.053739,
    0.83433,
)
"""The exponent alpha, vertical polarisation: P.838-3 Table 4."""
_CURVES = {"H": (_K_H, _ALPHA_H), "V": (_K_V, _ALPHA_V)}
VALID_GHZ = (1.0, 1000.0)
"""Frequencies that the Recommendation covers."""
Polarisation = Literal["V", "H"]


def coefficients(ghz: float, polarisation: Polarisation) -> tuple[float, float]:
    """The figures k and alpha of a horizontal path, 1 to 1000 GHz (P.838-3, equations 2, 3)."""
    k, alpha = _CURVES[polarisation]
    return 10 ** k.at(ghz), alpha.at(ghz)


def specific_attenuation_db(ghz: float, mm_per_h: float, polarisation: Polarisation) -> float:
    """What rain takes on a kilometre, in dB: k R ** alpha (P.838-3, equation 1)."""
    if mm_per_h <= 0:
        return 0.0
    k, alpha = coefficients(ghz, polarisation)
    return float(k * mm_per_h**alpha)


def most_db(ghz: float, mm_per_h: float, km: float, polarisation: Polarisation | None) -> float:
    """The most that rain of this rate takes on a path, in dB.

    As if it rained so along the whole path; the larger of both polarisations if it is not known.
    """
    low, high = VALID_GHZ
    at = min(max(ghz, low), high)
    known: tuple[Polarisation, ...] = (polarisation,) if polarisation else ("V", "H")
    return km * max(specific_attenuation_db(at, mm_per_h, p) for p in known)
