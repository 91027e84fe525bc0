"""High and low halves of a band over the sites of a network. Only for `fdd`.

A site should transmit in one half of a band only: its own transmitters are too near to its own
receivers. So the sites of a band alternate along the hops, which a ring of odd length cannot do.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from verifier.model.plan import EndName
from verifier.model.subject import Subject
from verifier.rules.plan.frequencies import Halves, halves, tx_mhz
from verifier.rules.plan.scope import Found, RuleProblem, Scope, figure


@dataclass(frozen=True, slots=True)
class _Hop:
    """A link between two sites, in one band."""

    link: str
    band: int
    sites: tuple[str, str]
    devices: tuple[str, str]
    mhz: tuple[float | None, float | None]
    high: EndName | None


def _hops(scope: Scope) -> Iterator[_Hop]:
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


def ring_of_odd_hops(scope: Scope) -> Found:
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


def both_halves_at_site(scope: Scope) -> Found:
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
