"""Ethernet frames that tell where a device is, decoded; and those that ask for it. Nothing is sent.

Sources: ARP RFC 826, its probes and announcements RFC 5227; LLDP IEEE 802.1AB; IPv6 neighbour
discovery RFC 4861. Numbers are theirs; scapy, which knows them too, makes the frames of the tests.
Clauses of LLDP are those of the 2016 edition. Whatever comes from the cable is decoded or is None:
a frame cannot make this fail.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, replace

from verifier.model.address import Address, Mac
from verifier.model.search import What

ETH_ARP, ETH_IPV4, ETH_IPV6, ETH_LLDP = 0x0806, 0x0800, 0x86DD, 0x88CC
_TAGS = {0x8100, 0x88A8}
"""IEEE 802.1Q, 802.1ad."""
_MAX_TAGS = 2
_ETHERNET = struct.Struct("!6s6sH")
_ARP = struct.Struct("!HHBBH6s4s6s4s")
_ARP_ETHERNET = 1
_REQUEST, _REPLY = 1, 2
_IPV4_LENGTH, _IPV6_LENGTH = 20, 40
_ICMPV6 = 58
_ND_HOP_LIMIT = 255
"""Neighbour discovery is valid with this one only (RFC 4861 7.1)."""
_ROUTER_SOLICITATION, _ROUTER_ADVERTISEMENT, _SOLICITATION, _ADVERTISEMENT = 133, 134, 135, 136
_ND_FIXED = {
    _ROUTER_SOLICITATION: 8,
    _ROUTER_ADVERTISEMENT: 16,
    _SOLICITATION: 24,
    _ADVERTISEMENT: 24,
}
"""Length of each message before its options (RFC 4861 section 4)."""
_SOURCE_OPTION, _TARGET_OPTION = 1, 2
_FIRST_HOP = {64, 128, 255}
"""Usual values of a packet that has not been forwarded yet: its source is its sender's (common
practice)."""

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
class Frame:
    """What one frame says; the fields are those of `model.search.Heard`.

    Attributes:
        mac: of ARP and neighbour discovery the one in the packet, else the frame's.
        addresses: of LLDP there may be several.
        chassis: of LLDP, the hardware address that the whole device is known by.
    """

    what: What
    mac: Mac
    addresses: tuple[Address, ...] = ()
    name: str = ""
    port: str = ""
    chassis: Mac | None = None
    vlan: int | None = None


def decode(data: bytes, vlan: int | None = None) -> Frame | None:
    """What an Ethernet frame says of its sender; None where it says nothing or is damaged.

    Args:
        data: from the destination address on.
        vlan: of a tag that the kernel has taken off.
    """
    if len(data) < _ETHERNET.size:
        return None
    _, source, kind = _ETHERNET.unpack_from(data)
    at = _ETHERNET.size
    for _ in range(_MAX_TAGS):
        if kind in _TAGS and len(data) >= at + 4:
            tag, kind = struct.unpack_from("!HH", data, at)
            vlan = tag & 0xFFF if vlan is None else vlan
            at += 4
    sender = _mac(source)
    if sender is None:
        return None
    decoder = {ETH_ARP: _arp, ETH_LLDP: _lldp, ETH_IPV6: _ipv6, ETH_IPV4: _ipv4}.get(kind)
    frame = decoder(sender, data[at:]) if decoder else Frame(what="packet", mac=sender)
    return None if frame is None else replace(frame, vlan=vlan or None)


def _arp(sender: Mac, data: bytes) -> Frame | None:
    if len(data) < _ARP.size:
        return None
    hardware, protocol, hlen, plen, operation, mac, holds, _, target = _ARP.unpack_from(data)
    if (hardware, protocol, hlen, plen) != (_ARP_ETHERNET, ETH_IPV4, 6, 4):
        return None
    if operation not in {_REQUEST, _REPLY} or (own := _mac(mac)) is None:
        return None
    del sender  # a bridge may have put its own there
    what: What = "arp-reply" if operation == _REPLY else "arp-request"
    if holds == bytes(4):
        if operation == _REPLY:
            return None
        what, holds = "arp-probe", target
    elif holds == target:
        what = "arp-announcement"
    address = _host(holds)
    return None if address is None else Frame(what=what, mac=own, addresses=(address,))


def _lldp(sender: Mac, data: bytes) -> Frame | None:
    device = lldpdu(data[:MAX_LLDPDU])
    if device is None:
        return None
    addresses = tuple(a for packed in device.addresses if (a := _host(packed)) is not None)
    chassis = _mac(device.chassis) if device.chassis else None
    return Frame(
        what="lldp",
        mac=sender,
        addresses=addresses,
        name=device.name,
        port=device.port,
        chassis=chassis,
    )


def _ipv6(sender: Mac, data: bytes) -> Frame | None:
    if len(data) < _IPV6_LENGTH or data[0] >> 4 != 6:  # noqa: PLR2004
        return None
    source, hops = _host(data[8:24]), data[7]
    end = _IPV6_LENGTH + int.from_bytes(data[4:6], "big")
    message = data[_IPV6_LENGTH:end]
    if data[6] == _ICMPV6 and hops == _ND_HOP_LIMIT and message and message[0] in _ND_FIXED:
        return _neighbour_discovery(sender, source, message)
    own = source if hops in _FIRST_HOP else None
    return Frame(what="packet", mac=sender, addresses=(own,) if own else ())


def _neighbour_discovery(sender: Mac, source: Address | None, message: bytes) -> Frame | None:
    kind, fixed = message[0], _ND_FIXED[message[0]]
    if len(message) < fixed or message[1] != 0 or (options := _options(message[fixed:])) is None:
        return None
    what: What = "nd-router"
    option, address = _SOURCE_OPTION, source
    if kind == _ADVERTISEMENT:
        what, option, address = "nd-advertisement", _TARGET_OPTION, _host(message[8:24])
    elif kind == _SOLICITATION:
        what = "nd-solicitation"
        if source is None:  # duplicate address detection: no option then (RFC 4862 5.4.2)
            what, option, address = "nd-probe", 0, _host(message[8:24])
    if address is None:
        return None
    return Frame(what=what, mac=options.get(option, sender), addresses=(address,))


def _options(data: bytes) -> dict[int, Mac] | None:
    """Link-layer addresses among the options; None where one has no length (RFC 4861 4.6)."""
    options: dict[int, Mac] = {}
    while len(data) >= 2:  # noqa: PLR2004
        kind, length = data[0], data[1] * 8
        if not 0 < length <= len(data):
            return None
        mac = _mac(data[2:8])
        if kind in {_SOURCE_OPTION, _TARGET_OPTION} and length == 8 and mac:  # noqa: PLR2004
            options[kind] = mac
        data = data[length:]
    return options


def _ipv4(sender: Mac, data: bytes) -> Frame | None:
    if len(data) < _IPV4_LENGTH or data[0] >> 4 != 4:  # noqa: PLR2004
        return None
    own = _host(data[12:16]) if data[8] in _FIRST_HOP else None
    return Frame(what="packet", mac=sender, addresses=(own,) if own else ())


def _mac(octets: bytes) -> Mac | None:
    """A station's address; a group's or none is no sender (IEEE 802 8.2)."""
    return Mac(octets.hex(":")) if any(octets) and not octets[0] & 1 else None


def _host(packed: bytes) -> Address | None:
    """A host's address, or None (RFC 1122 3.2.1.3, RFC 4291 2.7)."""
    if len(packed) == 4:  # noqa: PLR2004
        text = ".".join(map(str, packed))
        usable = 0 < packed[0] < 0xE0 and packed[0] != 0x7F  # noqa: PLR2004
    else:
        text = ":".join(packed[i : i + 2].hex() for i in range(0, 16, 2))
        usable = packed[0] != 0xFF and int.from_bytes(packed, "big") > 1  # noqa: PLR2004
    return Address.parse(text) if usable else None


# -- what asks ------------------------------------------------------------------------------------


def arp_request(mac: bytes, wanted: Address, source: Address | None = None) -> bytes:
    """Asks who holds an IPv4 address, from the address `mac`.

    Without `source` no cache learns the sender: that is an ARP probe (RFC 5227 2.1.1).
    """
    header = _ETHERNET.pack(b"\xff" * 6, mac, ETH_ARP)
    own = bytes(4) if source is None else source.ip.packed
    return header + _ARP.pack(
        _ARP_ETHERNET, ETH_IPV4, 6, 4, _REQUEST, mac, own, bytes(6), wanted.ip.packed
    )


def nd_solicitation(mac: bytes, source: Address, wanted: Address) -> bytes:
    """Asks who holds an IPv6 address, from the link-local address `source` (RFC 4861 7.2.2).

    Not from the unspecified address: a device that is just trying the address would give it up
    (RFC 4862 5.4.3).
    """
    packed = wanted.ip.packed
    group = b"\xff\x02" + bytes(9) + b"\x01\xff" + packed[13:]
    body = bytes(4) + packed + bytes((_SOURCE_OPTION, 1)) + mac
    length = len(body) + 4
    pseudo = source.ip.packed + group + struct.pack("!II", length, _ICMPV6)
    checksum = _checksum(pseudo + bytes((_SOLICITATION, 0, 0, 0)) + body)
    message = struct.pack("!BBH", _SOLICITATION, 0, checksum) + body
    header = struct.pack("!IHBB", 6 << 28, length, _ICMPV6, _ND_HOP_LIMIT)
    ethernet = _ETHERNET.pack(b"\x33\x33" + group[12:], mac, ETH_IPV6)
    return ethernet + header + source.ip.packed + group + message


def _checksum(data: bytes) -> int:
    """Internet checksum (RFC 1071)."""
    total: int = sum(struct.unpack(f"!{len(data) // 2}H", data))
    while total >> 16:
        total = (total & 0xFFFF) + (total >> 16)
    return ~total & 0xFFFF


# --- LLDP (IEEE 802.1AB clause 8) ----------------------------------------------------------------


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
