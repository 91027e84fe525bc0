"""The link layer discovery protocol's data device, decoded (IEEE 802.1AB clause 8).

Clauses and tables are named from memory of the 2016 edition.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

MAX_LLDPDU = 1500
"""It fits one frame; what is longer is no LLDPDU (8.1)."""
MULTICAST = (b"\x01\x80\xc2\x00\x00\x0e", b"\x01\x80\xc2\x00\x00\x03", b"\x01\x80\xc2\x00\x00\x00")
"""Nearest bridge, nearest non-TPMR bridge, nearest customer bridge (7.1, table 7-1)."""
_END, _CHASSIS, _PORT, _TTL, _NAME, _MANAGEMENT = 0, 1, 2, 3, 5, 8
_FIRST = (_CHASSIS, _PORT, _TTL)
"""These three come first, in this order, or the device is discarded (8.2, 9.2.7.7.1)."""
_MAC_SUBTYPE = {_CHASSIS: 4, _PORT: 3}
_NETWORK_SUBTYPE = {_CHASSIS: 5, _PORT: 4}
"""Chassis and port id subtypes (tables 8-2 and 8-3)."""
_LENGTHS = {1: 4, 2: 16}
"""Octets of an address by IANA address family number: IPv4, IPv6."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lldpdu:
    """What a device says of itself.

    Attributes:
        chassis: its hardware address, if that is what it is known by.
        addresses: management addresses (8.5.9), else a network address that it is known by; packed.
        ttl_s: how long this holds; 0: it says goodbye (8.5.4).
    """

    chassis: bytes | None
    port: str
    ttl_s: int
    name: str = ""
    addresses: tuple[bytes, ...] = ()


def lldpdu(data: bytes) -> Lldpdu | None:
    """What a data device says; None where it is none. The same management address counts once."""
    tlvs = list(_tlvs(data))
    if tuple(kind for kind, _ in tlvs[:3]) != _FIRST or any(len(v) < 2 for _, v in tlvs[:3]):  # noqa: PLR2004
        return None
    (_, chassis), (_, port), (_, ttl) = tlvs[:3]
    managed = [a for kind, v in tlvs[3:] if kind == _MANAGEMENT and (a := _management(v))]
    known_by = _address(chassis[1:]) if chassis[0] == _NETWORK_SUBTYPE[_CHASSIS] else None
    addresses = managed or ([known_by] if known_by else [])
    ttl_s = int.from_bytes(ttl[:2], "big")
    return Lldpdu(
        chassis=_hardware(_CHASSIS, chassis),
        port=_port(port),
        ttl_s=ttl_s,
        name=next((_text(v) for kind, v in tlvs[3:] if kind == _NAME), ""),
        addresses=tuple(dict.fromkeys(addresses)) if ttl_s else (),
    )


def _tlvs(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Type (7 bits), length (9 bits), value; up to the end, or to where it is cut off."""
    while len(data) >= 2:  # noqa: PLR2004
        head = int.from_bytes(data[:2], "big")
        kind, length = head >> 9, head & 0x1FF
        if kind == _END or len(data) < 2 + length:
            return
        yield kind, data[2 : 2 + length]
        data = data[2 + length :]


def _management(value: bytes) -> bytes | None:
    """The address of a management address TLV: length of what follows, family, address."""
    length = value[0] if value else 0
    return _address(value[1 : 1 + length]) if 1 < length < len(value) else None


def _address(value: bytes) -> bytes | None:
    """An address behind its family's number."""
    return value[1:] if value and _LENGTHS.get(value[0]) == len(value) - 1 else None


def _hardware(kind: int, value: bytes) -> bytes | None:
    return value[1:] if value[0] == _MAC_SUBTYPE[kind] and len(value) == 7 else None  # noqa: PLR2004


def _port(value: bytes) -> str:
    octets = _hardware(_PORT, value)
    if octets is None and value[0] == _NETWORK_SUBTYPE[_PORT]:
        octets = value[1:]
    return octets.hex(":") if octets is not None else _text(value[1:])


def _text(octets: bytes) -> str:
    return octets.rstrip(b"\0").decode("utf-8", "replace")
