"""Which addresses can be a host's, why another cannot, and which are still free."""

from __future__ import annotations

import itertools
from collections.abc import Container, Iterable, Iterator

import netaddr

from verifier.model.address import Address, Interface

_POINT_TO_POINT_BITS = 1
"""A subnet of two addresses (/31, /127) has two hosts and no broadcast (RFC 3021 2.1, RFC 6164)."""
_NEVER = tuple(
    netaddr.IPNetwork(text)
    for text in (
        "0.0.0.0/8", "127.0.0.0/8", "169.254.0.0/16", "224.0.0.0/3", "::1/128", "fe80::/10",
        "ff00::/8",
    )
)  # fmt: skip
"""Where no address is looked for: this network, loopback, link-local, multicast and reserved."""
_SEARCHED_V6 = 1 << 16
"""A free IPv6 address is looked for among so many at the end of the subnet."""


def not_a_host(address: Address) -> str | None:
    """Why `address` cannot be a host's whatever its subnet is, or None.

    Source: RFC 1122 3.2.1.3, RFC 1112 section 4 (240.0.0.0/4), RFC 5771, RFC 4291 2.5.2 and 2.7.
    """
    ip = address.ip
    if address.value == 0:
        return f"{ip} is the unspecified address"
    if ip.is_multicast():
        return f"{ip} is a multicast address"
    if address.is_v4:
        if address.value == 0xFFFFFFFF:  # noqa: PLR2004
            return f"{ip} is the limited broadcast address"
        if address.value >> 28 == 0xF:  # noqa: PLR2004
            return f"{ip} is in the reserved range 240.0.0.0/4"
        if address.value >> 24 == 0:
            return f"{ip} is in 0.0.0.0/8, which names no host"
    return None


def point_to_point(interface: Interface) -> bool:
    """Whether the subnet has two addresses and both are hosts' (/31, /127)."""
    return interface.address.bits - interface.prefix == _POINT_TO_POINT_BITS


def broadcast(interface: Interface) -> int | None:
    """The subnet's broadcast address as a number; IPv6, /31 and /32 have none."""
    if not interface.address.is_v4:
        return None
    small = interface.address.bits - interface.prefix <= _POINT_TO_POINT_BITS
    return None if small else interface.last


def unusable(interface: Interface) -> str | None:
    """Why an address with its prefix cannot be a host's, or None.

    Source: RFC 1122 3.2.1.3 (network, broadcast), RFC 3021 (/31), RFC 4291 2.6.1 (subnet-router
    anycast; not at /127, RFC 6164).
    """
    address = interface.address
    if (why := not_a_host(address)) is not None:
        return why
    if address.bits - interface.prefix <= _POINT_TO_POINT_BITS:
        return None
    if address.value == interface.first:
        kind = "network" if address.is_v4 else "subnet-router anycast"
        return f"{address} is the {kind} address of {interface.subnet}"
    if address.value == broadcast(interface):
        return f"{address} is the broadcast address of {interface.subnet}"
    return None


def too_wide(interface: Interface) -> str | None:
    """Why a device's own prefix is too short for any subnet, or None.

    IPv4 ends at /8, a former class A network (RFC 791 3.2); IPv6 at /16, far below a site's prefix.
    """
    shortest = 8 if interface.address.is_v4 else 16
    if interface.prefix >= shortest:
        return None
    return (
        f"/{interface.prefix} takes {interface.subnet} for the device's own subnet: write "
        f"the subnet's own prefix, /{shortest} or longer"
    )


def downwards(subnet: Interface, own: Address | None = None) -> Iterator[int]:
    """The addresses of a subnet as numbers, from its last one down.

    Ranges that no network is planned in are left out, unless the subnet's own address lies there
    and can be a host's.
    What is left out is stepped over, so that whoever stops at the first that fits stops soon,
    however wide the subnet is. Of an IPv6 subnet it is the last 2^16 of the rest.

    Args:
        subnet: any address of it.
        own: an address of the plan; that of `subnet` if None.
    """
    own = own or subnet.address
    left_out = [
        (r.first, r.last)
        for r in _NEVER
        if r.version == subnet.version
        and (not_a_host(own) is not None or not r.first <= own.value <= r.last)
    ]
    return itertools.islice(_between(subnet, left_out), None if own.is_v4 else _SEARCHED_V6)


def _between(subnet: Interface, left_out: Iterable[tuple[int, int]]) -> Iterator[int]:
    """The addresses of a subnet from its last one down, some ranges stepped over."""
    top = subnet.last
    for first, last in sorted(left_out, reverse=True):
        yield from range(top, max(last, subnet.first - 1), -1)
        top = min(top, first - 1)
    yield from range(top, subnet.first - 1, -1)


def highest_free(subnet: Interface, taken: Container[tuple[int, int]]) -> Interface | None:
    """The highest host address of the subnet that is not taken, or None; as `downwards` has them.

    Args:
        subnet: any address of it.
        taken: address family (4, 6) and number of each address in use.
    """
    for value in downwards(subnet):
        if (subnet.version, value) not in taken:
            found = with_value(subnet, value)
            if unusable(found) is None:
                return found
    return None


def with_value(like: Interface, value: int) -> Interface:
    """Another address of the same subnet."""
    ip = netaddr.IPAddress(value, 4 if like.address.is_v4 else 6)
    return Interface(Address(ip, like.address.zone), like.prefix)
