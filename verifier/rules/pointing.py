"""Pointing an antenna: its beam, its first side lobe, the tilt towards the far end."""

from __future__ import annotations

import math

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
