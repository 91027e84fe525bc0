"""Which addresses can be a host's, and why another cannot."""

from __future__ import annotations

from verifier.model.address import Address, Interface

_POINT_TO_POINT_BITS = 1
"""A subnet of two addresses (/31, /127) has two hosts and no broadcast (RFC 3021 2.1, RFC 6164)."""


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
    if address.is_v4 and address.value == interface.last:
        return f"{address} is the broadcast address of {interface.subnet}"
    return None
