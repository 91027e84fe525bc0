"""The path between two sites: length and directions on the ellipsoid."""

from __future__ import annotations

import math
from dataclasses import dataclass

from geographiclib.geodesic import Geodesic

from verifier.model.plan import Link, Site


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


def link_km(link: Link, a: Site | None, b: Site | None) -> float | None:
    """Length of a link's path, in km: as planned, else from its sites; None: not known."""
    if link.path_km is not None:
        return link.path_km
    path = path_between(a, b) if a is not None and b is not None else None
    return path.km if path is not None else None
