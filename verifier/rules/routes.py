"""Routes read out of routing tables; whether the default route is the planned one.

No default route is a fault only where the table that lacks it is the right one: it holds the route
of the planned address's own subnet. Agents may show another routing instance than the one that
management uses.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Sequence
from dataclasses import dataclass

from verifier.model.address import Address, Interface
from verifier.model.mib import INET_CIDR_ROUTE_TYPE, IP_CIDR_ROUTE_TYPE, IP_ROUTE, BestRoute, Routes
from verifier.model.observations import CONNECTED_ROUTE, DEFAULT_ROUTE, HOST_ROUTE
from verifier.model.plan import Device, Plan
from verifier.model.result import Verdict
from verifier.rules.observations import Observations

_IPV4, _IPV6 = 1, 2
"""InetAddressType (RFC 4001)."""
_IPV4Z, _IPV6Z, _ZONE = 3, 4, 4
"""The same with a zone index of four octets behind the address (RFC 4001, InetAddressIPv6z)."""
_LENGTHS = {_IPV4: 4, _IPV6: 16, _IPV4Z: 4 + _ZONE, _IPV6Z: 16 + _ZONE}


_LOCAL = 3
"""ipCidrRouteType and inetCidrRouteType local(3); ipRouteType calls it direct(3)."""
DROPPED = {2, 5}
"""Their reject(2) and blackhole(5): what matches goes nowhere (RFC 4292)."""


@dataclass(frozen=True, slots=True)
class RouteTable:
    """A routing table: column of the row's type, of its first metric, and the index of 0/0."""

    type_column: str
    metric_column: str
    default: str

    @property
    def subtree(self) -> str:
        """Root of the rows whose destination is the default."""
        return f"{self.type_column}.{self.default}"

    def subtree_of(self, subnet: Interface) -> str:
        """Root of the rows whose destination is the subnet of an address."""
        first = (
            ipaddress.ip_network((subnet.first, subnet.prefix))
            if subnet.address.is_v4
            else (ipaddress.IPv6Network((subnet.first, subnet.prefix)))
        )
        arcs = ".".join(map(str, first.network_address.packed))
        if self.type_column == IP_CIDR_ROUTE_TYPE:
            return f"{self.type_column}.{arcs}.{subnet.mask}"
        kind, length = (_IPV4, 4) if subnet.address.is_v4 else (_IPV6, 16)
        return f"{self.type_column}.{kind}.{length}.{arcs}.{subnet.prefix}"


def tables(version: int) -> tuple[RouteTable, ...]:
    """The tables that can hold a default route of this address family, older first."""
    metric = INET_CIDR_ROUTE_TYPE.removesuffix(".8") + ".12"
    if version == 6:  # noqa: PLR2004
        return (RouteTable(INET_CIDR_ROUTE_TYPE, metric, "2.16" + ".0" * 17),)
    return (
        RouteTable(
            IP_CIDR_ROUTE_TYPE, IP_CIDR_ROUTE_TYPE.removesuffix(".6") + ".11", "0.0.0.0.0.0.0.0"
        ),
        RouteTable(INET_CIDR_ROUTE_TYPE, metric, "1.4.0.0.0.0.0"),
    )


def next_hop(table: RouteTable, oid: str, subtree: str = "") -> str | None:
    """The next hop in a row's index, or None where the index is none of that destination.

    ipCidrRouteTable: Dest.Mask.Tos.NextHop (RFC 2096). inetCidrRouteTable: DestType.Dest.PfxLen.
    Policy.NextHopType.NextHop, Dest, Policy and NextHop each with its length first (RFC 4292).

    Args:
        table: the table that the row is of.
        oid: of the row.
        subtree: root of the rows of the destination; the default route's if empty.
    """
    subtree = subtree or table.subtree
    if not oid.startswith(subtree + "."):
        return None
    rest = [int(arc) for arc in oid[len(subtree) + 1 :].split(".")]
    if table.type_column == IP_CIDR_ROUTE_TYPE:
        return _address(rest[1:]) if len(rest) == 5 else None  # noqa: PLR2004
    if not rest or len(rest) < rest[0] + 3:
        return None
    kind, length, *address = rest[rest[0] + 1 :]
    if not len(address) == length == _LENGTHS.get(kind):
        return None
    return _address(address[:-_ZONE] if kind in {_IPV4Z, _IPV6Z} else address)


def is_connected(kind: object, hop: str | None, own: Interface) -> bool:
    """Whether a row is the route of a subnet that the device itself stands in.

    Args:
        kind: the row's type, of any of the tables.
        hop: its next hop; None where the index has none.
        own: an address of the device.
    """
    return kind == _LOCAL or hop in {None, "0.0.0.0", "::", str(own.address.ip)}  # noqa: S104


def _address(arcs: list[int]) -> str | None:
    if any(arc > 0xFF for arc in arcs):  # noqa: PLR2004
        return None
    return str(ipaddress.ip_address(bytes(arcs)))


NONE = "none"
"""Written for a gateway: there is none, in the plan or in the device."""
_CORRECT = "correct the gateway in the device, save, and read it again"
_SET = "set the gateway in the device, save, and read it again"


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedRoute:
    """What a device's default route comes to; `found` is `none` where it has none."""

    verdict: Verdict
    reason: str
    found: str | None = None
    advice: str = ""


def read_routes(seen: Observations) -> Routes:
    """What all that was seen of a device's routing tables says."""
    rows = seen.all(DEFAULT_ROUTE)
    return Routes(
        defaults=tuple(
            BestRoute(
                next_hop=str(route.next_hop),
                metric=route.metric,
                older=(o.oid or "").startswith(IP_ROUTE["ipRouteNextHop"]),
            )
            for o in rows
            if (route := o.value) is not None
        ),
        connected=bool(seen.values(CONNECTED_ROUTE)),
        to_hosts=tuple((str(r.host), r.next_hops) for r in seen.values(HOST_ROUTE)),
        gap=next((o.raw or "" for o in rows if o.value is None), ""),
    )


def hosts_outside(plan: Plan, device: Device, at: Interface | None = None) -> tuple[Address, ...]:
    """The management hosts that a device reaches by a gateway only.

    `at`: the one address it has, where it has not its planned ones.
    """
    own = (device.address, *(o.address for o in device.other_addresses)) if at is None else (at,)
    return tuple(
        host.address
        for host in plan.management.hosts
        if host.address.version == own[0].version and not any(a.holds(host.address) for a in own)
    )


def judge_default_route(
    planned: Address | None,
    routes: Routes,
    *,
    hosts: Sequence[Address] = (),
    outsider: str | None = None,
) -> JudgedRoute:
    """What the device's routes mean.

    Args:
        planned: its gateway; None: it is to have none.
        routes: as `told` gives them.
        hosts: management hosts outside its subnets.
        outsider: who has got an answer of it in this run, although outside its subnets.
    """
    if routes.defaults:
        return _with_default(planned, routes.defaults)
    if not routes.connected:
        gap = routes.gap or "no routing table is readable"
        return JudgedRoute(verdict="not-tested", reason=gap)
    if planned is None:
        return JudgedRoute(
            verdict="pass", reason="the device has no default route, as planned", found=NONE
        )
    return _without_default(planned, routes, hosts, outsider)


def _with_default(planned: Address | None, defaults: Sequence[BestRoute]) -> JudgedRoute:
    listed = ", ".join(dict.fromkeys(d.next_hop for d in defaults))
    if planned is None:
        reason = "the device has a default route, and the plan wants none"
        advice = "take the gateway out of the device, or write it into the plan"
        return JudgedRoute(verdict="fail", reason=reason, found=listed, advice=advice)
    best = best_of(defaults)
    if str(planned.ip) in best:
        several = "one of its best default routes is" if len(best) > 1 else "its best one is"
        if len({d.next_hop for d in defaults}) == 1:
            several = "the device's default route is"
        return JudgedRoute(verdict="pass", reason=f"{several} the planned one", found=listed)
    reason = "the device's default route goes elsewhere: it is reached from its own subnet only"
    if any(d.next_hop == str(planned.ip) for d in defaults):
        reason = f"the device prefers another default route, by {', '.join(best)}"
    return JudgedRoute(verdict="fail", reason=reason, found=listed, advice=_CORRECT)


def best_of(defaults: Sequence[BestRoute]) -> tuple[str, ...]:
    """The next hops of the best default routes: of the smallest metric, or of none that is told.

    ipRouteTable holds one route for each destination, so a newer table decides where there is one.
    A metric of -1 is not used (RFC 4292).
    """
    rows = [d for d in defaults if not d.older] or list(defaults)
    used = {n: d.metric for n, d in enumerate(rows) if d.metric is not None and d.metric >= 0}
    least = min(used.values(), default=0)
    best = (d.next_hop for n, d in enumerate(rows) if used.get(n, least) == least)
    return tuple(dict.fromkeys(best))


def _without_default(
    planned: Address, routes: Routes, hosts: Sequence[Address], outsider: str | None
) -> JudgedRoute:
    ways = dict(routes.to_hosts)
    by_planned = [h for h in hosts if ways.get(str(h.ip)) == (str(planned.ip),)]
    if hosts and len(by_planned) == len(hosts):
        number = f"all {len(hosts)} management hosts" if len(hosts) > 1 else "the management host"
        reason = f"no default route, but a route to {number} by the planned gateway"
        return JudgedRoute(verdict="pass", reason=reason, found=str(planned))
    has_none = (
        "the device has no gateway: its routing table holds its own subnet, but no default route"
    )
    lost = [str(h) for h in hosts if h not in by_planned]
    if outsider is not None:
        return JudgedRoute(
            verdict="warn",
            reason=f"{has_none}; yet it answered {outsider}, which is outside its subnet",
            found=NONE,
            advice="look into the device which way its answers take, and set the planned gateway",
        )
    if lost:
        has_none += f"; nor a route by it to {', '.join(lost)}"
    return JudgedRoute(verdict="fail", reason=has_none, found=NONE, advice=_SET)
