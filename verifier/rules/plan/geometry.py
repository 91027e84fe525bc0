"""Sites on the globe: coordinates, path lengths, azimuths; halves of a band over the sites.

Halves of a band are looked at only for `fdd`.

A site should transmit in one half of a band only: its own transmitters are too near to its own
receivers. So the sites of a band alternate along the hops, which a ring of odd length cannot do.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace

from verifier.model.plan import Carrier, EndName, Link, Site
from verifier.model.problem import Subject
from verifier.rules import radio
from verifier.rules.plan.figures import END_RANGES, LINK_RANGES, probable
from verifier.rules.plan.frequencies import Halves, halves, tx_mhz
from verifier.rules.plan.scope import Found, PlanScope, RuleProblem, end_of, end_path, figure

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


def coordinates_incomplete(scope: PlanScope) -> Found:
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


def _explained(scope: PlanScope) -> dict[str, str]:
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


def coordinates_swapped(scope: PlanScope) -> Found:
    """Coordinates exchanged, or a sign wrong: only so are a site's hops impossibly long."""
    for name, what in _explained(scope).items():
        message = f"{what}; as written the hop is over {_LONGEST_HOP_KM} km"
        yield RuleProblem(Subject("site", name), ("sites", name, "latitude"), message)


def coordinates_far_off(scope: PlanScope) -> Found:
    """A hop is impossibly long by the coordinates of its sites."""
    told = _explained(scope)
    for name, (a, b, path) in scope.paths.items():
        if path.km > _LONGEST_HOP_KM and not told.keys() & {a.name, b.name}:
            message = (
                f"{a.name} and {b.name} are {path.km:.0f} km apart by their coordinates: "
                "check both sites"
            )
            yield RuleProblem(Subject("link", name), ("links", name), message)


def _sound(scope: PlanScope, link: Link) -> radio.RadioPath | None:
    """The path by coordinates, if those can be meant."""
    found = scope.paths.get(link.name)
    return found[2] if found is not None and found[2].km <= _LONGEST_HOP_KM else None


def path_length_differs(scope: PlanScope) -> Found:
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


def azimuth_off_coordinates(scope: PlanScope) -> Found:
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


def azimuths_not_facing(scope: PlanScope) -> Found:
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


def link_within_site(scope: PlanScope) -> Found:
    """Both ends of a link are at one site."""
    for link in scope.plan.links:
        for carrier in link.carriers[:1]:
            a, b = scope.devices.get(carrier.a.device), scope.devices.get(carrier.b.device)
            if a is not None and b is not None and a is not b and a.site and a.site == b.site:
                message = f"both ends are at {a.site}: mend the site of one device"
                yield RuleProblem(Subject("link", link.name), ("links", link.name), message)


@dataclass(frozen=True, slots=True)
class _Hop:
    """A link between two sites, in one band."""

    link: str
    band: int
    sites: tuple[str, str]
    devices: tuple[str, str]
    mhz: tuple[float | None, float | None]
    high: EndName | None


def _hops(scope: PlanScope) -> Iterator[_Hop]:
    """The hops of the network: one for each carrier whose band is known."""
    carriers = list(halves(scope))
    bands = _bands(carriers)
    for number, h in enumerate(carriers):
        a, b = scope.site_of(h.carrier.a.device), scope.site_of(h.carrier.b.device)
        if number in bands and a is not None and b is not None and a.name != b.name:
            yield _Hop(
                h.link.name,
                bands[number],
                (a.name, b.name),
                (h.carrier.a.device, h.carrier.b.device),
                (tx_mhz(h.carrier.a), tx_mhz(h.carrier.b)),
                h.high,
            )


def _bands(carriers: list[Halves]) -> dict[int, int]:
    """The band of each carrier, by its place in the list.

    Two channels of one band always overlap if each is taken from its lower to its upper frequency:
    the halves are nearer to each other than the duplex spacing. Where no frequency is planned, the
    raster's name tells the band.
    """
    spans = []
    for number, h in enumerate(carriers):
        a, b = tx_mhz(h.carrier.a), tx_mhz(h.carrier.b)
        if a is not None and b is not None and h.verdict != "same":
            spans.append((min(a, b), max(a, b), number))
    found: dict[int, int] = {}
    rasters: dict[str, int] = {}
    band, end = -1, 0.0
    for low, high, number in sorted(spans):
        band += low > end
        end = max(end, high)
        found[number] = band
        rasters.setdefault((carriers[number].link.raster or "").casefold(), band)
    rasters.pop("", None)
    for number, h in enumerate(carriers):
        if number not in found and h.link.raster is not None:
            found[number] = rasters.setdefault(h.link.raster.casefold(), band + 1 + len(rasters))
    return found


def ring_of_odd_hops(scope: PlanScope) -> Found:
    """A ring with an odd number of hops in one band: the halves cannot alternate."""
    for ring in _odd_rings(list(_hops(scope))):
        names = [hop.link for hop in ring]
        message = (
            f"{len(names)} hops of one band form a ring ({', '.join(names)}): with an odd number "
            "some site transmits in both halves; put one hop into another band"
        )
        yield RuleProblem(Subject("link", names[0]), ("links", names[0]), message)


def _odd_rings(hops: list[_Hop]) -> list[list[_Hop]]:
    """One ring of odd length for each connected part of a band that has one."""
    around: dict[tuple[int, str], list[tuple[str, _Hop]]] = defaultdict(list)
    for hop in hops:
        a, b = hop.sites
        around[hop.band, a].append((b, hop))
        around[hop.band, b].append((a, hop))
    back: dict[tuple[int, str], tuple[int, str | None, _Hop | None]] = {}
    rings = []
    for start in around:
        if start in back:
            continue
        band, site = start
        back[start] = (0, None, None)
        queue = [site]
        ring: list[_Hop] = []
        for here in queue:
            for there, hop in around[band, here]:
                depth = back[band, here][0]
                if (band, there) not in back:
                    back[band, there] = (depth + 1, here, hop)
                    queue.append(there)
                elif not ring and (back[band, there][0] - depth) % 2 == 0:
                    ring = _ring(back, hop)
        if ring:
            rings.append(ring)
    return rings


def _ring(
    back: dict[tuple[int, str], tuple[int, str | None, _Hop | None]], closing: _Hop
) -> list[_Hop]:
    """The hops from both ends of `closing` back to where their ways meet."""
    a, b = closing.sites
    ways: tuple[list[_Hop], list[_Hop]] = ([], [])
    while a != b:
        deeper = 0 if back[closing.band, a][0] >= back[closing.band, b][0] else 1
        _, towards, hop = back[closing.band, (a, b)[deeper]]
        assert towards is not None
        assert hop is not None
        ways[deeper].append(hop)
        a, b = (towards, b) if deeper == 0 else (a, towards)
    return [*reversed(ways[0]), closing, *ways[1]]


def both_halves_at_site(scope: PlanScope) -> Found:
    """A site transmits in both halves of one band."""
    hops = list(_hops(scope))
    told = {(h.band, site) for ring in _odd_rings(hops) for h in ring for site in h.sites}
    roles: dict[tuple[int, str], dict[bool, tuple[str, float | None]]] = defaultdict(dict)
    for hop in hops:
        for n, end in enumerate(("a", "b")):
            if hop.high is not None:
                device = hop.devices[n], hop.mhz[n]
                roles[hop.band, hop.sites[n]].setdefault(end == hop.high, device)
    for (band, site), devices in roles.items():
        if len(devices) > 1 and (band, site) not in told:
            message = (
                f"{_said(devices[True])} transmits in the high half, "
                f"{_said(devices[False])} in the "
                "low half of one band: they disturb each other; exchange the halves of one hop"
            )
            yield RuleProblem(Subject("site", site), ("sites", site), message)


def _said(device: tuple[str, float | None]) -> str:
    name, mhz = device
    return name if mhz is None else f"{name} ({figure(mhz)} MHz)"
