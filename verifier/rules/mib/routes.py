"""Reading routes out of the indices of routing tables' rows."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass

from verifier.model.address import Interface
from verifier.model.mib import INET_CIDR_ROUTE_TYPE, IP_CIDR_ROUTE_TYPE

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
