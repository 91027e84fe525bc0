"""Sites on the globe: coordinates, path lengths, azimuths."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

from verifier.model.plan import Carrier, Link, Site
from verifier.model.subject import Subject
from verifier.rules import radio
from verifier.rules.plan.figures import END_RANGES, LINK_RANGES, probable
from verifier.rules.plan.scope import Found, RuleProblem, Scope, end_of, end_path, figure

_LONGEST_HOP_KM = 250
"""Longer than any line-of-sight hop in use (common practice)."""
_LENGTH_SHARE, _LENGTH_KM = 0.01, 0.1
"""What a planned length may differ by: 1 %, or 100 m where that is more (common practice)."""
_AZIMUTH_DEG = 2.0
"""What a planned azimuth may differ by: about a dish's beam (common practice)."""
_CONVERGENCE_DEG = 3.0
"""Two directions of one line differ from 180 degrees by less on any hop below 60 degrees north."""
_SURVEY_KM = 0.03
"""How well two sites are known."""


def coordinates_incomplete(scope: Scope) -> Found:
    """A site has a latitude without a longitude, or the other way round."""
    for site in scope.plan.sites:
        values = {"latitude": site.latitude, "longitude": site.longitude}
        missing = [name for name, value in values.items() if value is None]
        if len(missing) == 1 and not scope.written("sites", site.name, missing[0]):
            message = f"{missing[0]} is missing: write both coordinates, or none"
            yield RuleProblem(Subject("site", site.name), ("sites", site.name), message)


def _mistakes(site: Site) -> Iterator[tuple[str, Site]]:
    """What the site would be without a usual mistake."""
    north, east = site.latitude or 0, site.longitude or 0
    yield "latitude and longitude look exchanged", replace(site, latitude=east, longitude=north)
    yield "the sign of the longitude looks wrong", replace(site, longitude=-east)
    yield "the sign of the latitude looks wrong", replace(site, latitude=-north)


def _explained(scope: Scope) -> dict[str, str]:
    """Sites whose hops are too long but for a usual mistake in their coordinates."""
    hops = Counter(s.name for a, b, _ in scope.paths.values() for s in (a, b))
    long = [(a, b) for a, b, path in scope.paths.values() if path.km > _LONGEST_HOP_KM]
    bad = Counter(s.name for pair in long for s in pair)
    found: dict[str, str] = {}
    for pair in long:
        suspects = sorted(pair, key=lambda s: (-bad[s.name] / hops[s.name], -bad[s.name]))
        if not found.keys() & {s.name for s in pair}:
            for site, other in (suspects, suspects[::-1]):
                for what, mended in _mistakes(site):
                    path = radio.path_between(mended, other)
                    if path is not None and path.km <= _LONGEST_HOP_KM:
                        found.setdefault(site.name, f"{what}: then it is {path.km:.1f} km to "
                                         f"{other.name}")  # fmt: skip
                if site.name in found:
                    break
    return found


def coordinates_swapped(scope: Scope) -> Found:
    """Coordinates exchanged, or a sign wrong: only so are a site's hops impossibly long."""
    for name, what in _explained(scope).items():
        message = f"{what}; as written the hop is over {_LONGEST_HOP_KM} km"
        yield RuleProblem(Subject("site", name), ("sites", name, "latitude"), message)


def coordinates_far_off(scope: Scope) -> Found:
    """A hop is impossibly long by the coordinates of its sites."""
    told = _explained(scope)
    for name, (a, b, path) in scope.paths.items():
        if path.km > _LONGEST_HOP_KM and not told.keys() & {a.name, b.name}:
            message = (
                f"{a.name} and {b.name} are {path.km:.0f} km apart by their coordinates: "
                "check both sites"
            )
            yield RuleProblem(Subject("link", name), ("links", name), message)


def _sound(scope: Scope, link: Link) -> radio.Path | None:
    """The path by coordinates, if those can be meant."""
    found = scope.paths.get(link.name)
    return found[2] if found is not None and found[2].km <= _LONGEST_HOP_KM else None


def path_length_differs(scope: Scope) -> Found:
    """The planned length is not that between the coordinates."""
    for link in scope.plan.links:
        planned, path = probable(link, "path_km", LINK_RANGES), _sound(scope, link)
        if planned is None or path is None:
            continue
        if abs(planned - path.km) > max(_LENGTH_KM, _LENGTH_SHARE * path.km):
            message = (
                f"{figure(planned)} km planned, {path.km:.2f} km by the coordinates of the sites: "
                "mend the length or a coordinate"
            )
            yield RuleProblem(Subject("link", link.name), ("links", link.name, "path_km"), message)


def _planned_azimuths(carrier: Carrier) -> tuple[float | None, float | None]:
    a, b = (probable(end, "azimuth_deg", END_RANGES) for _, end in carrier.ends())
    return a, b


def azimuth_off_coordinates(scope: Scope) -> Found:
    """An antenna is planned to point elsewhere than to the far site."""
    for link, carrier in scope.carriers:
        path = _sound(scope, link)
        if path is None or path.km == 0:
            continue
        allowed = _AZIMUTH_DEG + math.degrees(math.atan(_SURVEY_KM / path.km))
        true = path.azimuth_deg, path.back_azimuth_deg
        planned = _planned_azimuths(carrier)
        for n, (name, _) in enumerate(carrier.ends()):
            azimuth = planned[n]
            if azimuth is None or radio.turn_deg(azimuth, true[n]) <= allowed:
                continue
            back = radio.turn_deg(azimuth, true[1 - n]) <= allowed
            message = (
                f"azimuth {figure(azimuth)} planned, the far site lies at {true[n]:.2f} degrees by "
                "the coordinates" + (": that is the other end's" if back else ": mend one of them")
            )
            path_of = end_path(link, carrier, name, "azimuth_deg")
            yield RuleProblem(end_of(link, carrier, name), path_of, message)


def azimuths_not_facing(scope: Scope) -> Found:
    """The azimuths of both ends are not opposite, and no coordinates say which is wrong."""
    for link, carrier in scope.carriers:
        a, b = _planned_azimuths(carrier)
        if a is None or b is None or _sound(scope, link) is not None:
            continue
        off = abs(180 - radio.turn_deg(a, b))
        if off > _CONVERGENCE_DEG:
            message = (
                f"azimuths {figure(a)} and {figure(b)} are {figure(180 - off)} degrees apart, "
                "not 180: the antennas do not face each other"
            )
            subject = Subject("link", link.name, carrier=carrier.carrier)
            yield RuleProblem(subject, end_path(link, carrier, "b", "azimuth_deg"), message)


def link_within_site(scope: Scope) -> Found:
    """Both ends of a link are at one site."""
    for link in scope.plan.links:
        for carrier in link.carriers[:1]:
            a, b = scope.devices.get(carrier.a.device), scope.devices.get(carrier.b.device)
            if a is not None and b is not None and a is not b and a.site and a.site == b.site:
                message = f"both ends are at {a.site}: mend the site of one device"
                yield RuleProblem(Subject("link", link.name), ("links", link.name), message)
