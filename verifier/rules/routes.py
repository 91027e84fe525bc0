"""Reading a default route out of the index of a routing table's row."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass

from verifier.model.mib import INET_CIDR_ROUTE_TYPE, IP_CIDR_ROUTE_TYPE

_IPV4, _IPV6 = 1, 2
"""InetAddressType (RFC 4001)."""
_IPV4Z, _IPV6Z, _ZONE = 3, 4, 4
"""The same with a zone index of four octets behind the address (RFC 4001, InetAddressIPv6z)."""
_LENGTHS = {_IPV4: 4, _IPV6: 16, _IPV4Z: 4 + _ZONE, _IPV6Z: 16 + _ZONE}


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


def next_hop(table: RouteTable, oid: str) -> str | None:
    """The next hop in a row's index, or None where the index is none of a default route.

    ipCidrRouteTable: Dest.Mask.Tos.NextHop (RFC 2096). inetCidrRouteTable: DestType.Dest.PfxLen.
    Policy.NextHopType.NextHop, Dest, Policy and NextHop each with its length first (RFC 4292).
    """
    if not oid.startswith(table.subtree + "."):
        return None
    rest = [int(arc) for arc in oid[len(table.subtree) + 1 :].split(".")]
    if table.type_column == IP_CIDR_ROUTE_TYPE:
        return _address(rest[1:]) if len(rest) == 5 else None  # noqa: PLR2004
    if not rest or len(rest) < rest[0] + 3:
        return None
    kind, length, *address = rest[rest[0] + 1 :]
    if not len(address) == length == _LENGTHS.get(kind):
        return None
    return _address(address[:-_ZONE] if kind in {_IPV4Z, _IPV6Z} else address)


def _address(arcs: list[int]) -> str | None:
    if any(arc > 0xFF for arc in arcs):  # noqa: PLR2004
        return None
    return str(ipaddress.ip_address(bytes(arcs)))
