"""IP-MIB and IP-FORWARD-MIB of a simulated device.

Sources: RFC 1213 (ipAddrTable, ipRouteTable), RFC 2096 (ipCidrRouteTable), RFC 4293
(ipAddressPrefixTable, ipAddressTable), RFC 4292 (inetCidrRouteTable).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import netaddr

from verifier.model.address import Address, Interface
from verifier.simulator.agent.cells import (
    Cell,
    Oid,
    Row,
    gauge,
    ip_address,
    number,
    oid,
    pointer,
    ticks,
)
from verifier.simulator.condition import ShownDevice

_IP = oid("1.3.6.1.2.1.4")
_ADDR, _ROUTE, _PREFIX, _ADDRESS = (*_IP, 20, 1), (*_IP, 21, 1), (*_IP, 32, 1), (*_IP, 34, 1)
_CIDR_NUMBER, _CIDR = (*_IP, 24, 3, 0), (*_IP, 24, 4, 1)
_INET_NUMBER, _INET = (*_IP, 24, 6, 0), (*_IP, 24, 7, 1)
_FORWARDING, _NOT_FORWARDING = 1, 2
_TTL = 64
_TRUE, _ACTIVE, _UNICAST, _PREFERRED, _MANUAL, _NON_VOLATILE = 1, 1, 1, 1, 2, 3
_DIRECT, _INDIRECT = 3, 4
"""ipRouteType."""
_LOCAL, _REMOTE = 3, 4
"""ipCidrRouteType, inetCidrRouteType."""
_PROTO_LOCAL, _PROTO_NETMGMT = 2, 3
_UNUSED_METRIC = -1
_FOREVER_S = 0xFFFF_FFFF
_NO_POINTER = (0, 0)
_REASSEMBLY = 65535
_ANY_V4 = Address(netaddr.IPAddress("0.0.0.0"))  # noqa: S104 - the destination of a default route


@dataclass(frozen=True, slots=True)
class _Route:
    """A row of the routing tables; `hop` None: the destination is on the link."""

    net: Interface
    hop: Address | None
    index: int
    metric: int


def addresses(shown: ShownDevice) -> Iterator[Row]:
    """The device's addresses with masks and prefixes."""
    forwards = shown.profile.kind == "router"
    yield (*_IP, 1, 0), number(_FORWARDING if forwards else _NOT_FORWARDING)
    yield (*_IP, 2, 0), number(_TTL)
    for interface, index in shown.addresses:
        if interface.address.is_v4:
            yield from _addr_row(interface, index)
        yield from _prefix_row(interface, index)
        yield from _address_row(interface, index)


def _addr_row(interface: Interface, index: int) -> Iterator[Row]:
    suffix = _arcs(interface.address)
    mask = Address(netaddr.IPAddress(interface.mask))
    columns = (
        ip_address(interface.address), number(index), ip_address(mask), number(1),
        number(_REASSEMBLY),
    )  # fmt: skip
    for column, cell in enumerate(columns, start=1):
        yield (*_ADDR, column, *suffix), cell


def _prefix_row(interface: Interface, index: int) -> Iterator[Row]:
    suffix = _prefix_index(interface, index)
    columns = {5: number(_MANUAL), 6: number(_TRUE), 7: number(_TRUE),
               8: gauge(_FOREVER_S), 9: gauge(_FOREVER_S)}  # fmt: skip
    for column, cell in columns.items():
        yield (*_PREFIX, column, *suffix), cell


def _address_row(interface: Interface, index: int) -> Iterator[Row]:
    suffix = _inet(interface.address)
    columns = {
        3: number(index),
        4: number(_UNICAST),
        5: pointer((*_PREFIX, 5, *_prefix_index(interface, index))),
        6: number(_MANUAL),
        7: number(_PREFERRED),
        8: ticks(0),
        9: ticks(0),
        10: number(_ACTIVE),
        11: number(_NON_VOLATILE),
    }
    for column, cell in columns.items():
        yield (*_ADDRESS, column, *suffix), cell


def routes(shown: ShownDevice) -> Iterator[Row]:
    """The device's subnets and its default route, in all three routing tables."""
    routes = list(_routes(shown))
    yield _CIDR_NUMBER, gauge(sum(r.net.address.is_v4 for r in routes))
    yield _INET_NUMBER, gauge(len(routes))
    for route in routes:
        if route.net.address.is_v4:
            yield from _route_row(route)
            yield from _cidr_row(route)
        yield from _inet_row(route)


def _routes(shown: ShownDevice) -> Iterator[_Route]:
    for interface, index in shown.addresses:
        net = Address(netaddr.IPAddress(interface.first, interface.address.ip.version))
        yield _Route(Interface(net, interface.prefix), None, index, 0)
    gateway = shown.device.gateway
    if gateway is not None:
        anywhere = Address(netaddr.IPAddress(0, gateway.ip.version))
        yield _Route(Interface(anywhere, 0), gateway, shown.addresses[0][1], 1)


def _route_row(route: _Route) -> Iterator[Row]:
    """RFC 1213; the next hop of a subnet is the device itself, here left unspecified."""
    remote = route.hop is not None
    columns = {
        1: ip_address(route.net.address),
        2: number(route.index),
        3: number(route.metric),
        **dict.fromkeys((4, 5, 6, 12), number(_UNUSED_METRIC)),
        7: ip_address(route.hop or _ANY_V4),
        8: number(_INDIRECT if remote else _DIRECT),
        9: number(_PROTO_NETMGMT if remote else _PROTO_LOCAL),
        10: number(0),
        11: ip_address(Address(netaddr.IPAddress(route.net.mask))),
        13: pointer(_NO_POINTER),
    }
    for column, cell in columns.items():
        yield (*_ROUTE, column, *_arcs(route.net.address)), cell


def _cidr_row(route: _Route) -> Iterator[Row]:
    mask = Address(netaddr.IPAddress(route.net.mask))
    hop = route.hop or _ANY_V4
    columns = {
        1: ip_address(route.net.address),
        2: ip_address(mask),
        3: number(0),
        4: ip_address(hop),
        **_shared(route, first=5),
        9: pointer(_NO_POINTER),
        10: number(0),
        **_metrics(route, first=11),
        16: number(_ACTIVE),
    }
    suffix = (*_arcs(route.net.address), *_arcs(mask), 0, *_arcs(hop))
    for column, cell in columns.items():
        yield (*_CIDR, column, *suffix), cell


def _inet_row(route: _Route) -> Iterator[Row]:
    """Index: destination, prefix length, policy 0.0, next hop, each as RFC 4292 spells it."""
    hop = (0, 0) if route.hop is None else _inet(route.hop)
    suffix = (*_inet(route.net.address), route.net.prefix, 2, *_NO_POINTER, *hop)
    columns = {
        **_shared(route, first=7),
        11: gauge(0),
        **_metrics(route, first=12),
        17: number(_ACTIVE),
    }
    for column, cell in columns.items():
        yield (*_INET, column, *suffix), cell


def _shared(route: _Route, first: int) -> dict[int, Cell]:
    """ifIndex, type, protocol and age, which two tables have in this order."""
    remote = route.hop is not None
    return {
        first: number(route.index),
        first + 1: number(_REMOTE if remote else _LOCAL),
        first + 2: number(_PROTO_NETMGMT if remote else _PROTO_LOCAL),
        first + 3: number(0),
    }


def _metrics(route: _Route, first: int) -> dict[int, Cell]:
    unused = dict.fromkeys(range(first + 1, first + 5), number(_UNUSED_METRIC))
    return {first: number(route.metric), **unused}


def _arcs(address: Address) -> Oid:
    return tuple(address.ip.packed)


def _inet(address: Address) -> Oid:
    """InetAddressType, length and octets (RFC 4001)."""
    octets = address.ip.packed
    return (1 if address.is_v4 else 2, len(octets), *octets)


def _prefix_index(interface: Interface, index: int) -> Oid:
    net = Address(netaddr.IPAddress(interface.first, interface.address.ip.version))
    return (index, *_inet(net), interface.prefix)
