"""Asks the cable who holds an IPv4 address, without holding it: ARP probes (RFC 5227). Linux."""

from __future__ import annotations

import select
import socket
import struct
import time

from verifier.model.address import Address, Mac

_ETH_ARP = 0x0806
_ETHERNET, _IPV4 = 1, 0x0800
_REQUEST, _REPLY = 1, 2
_ARP = struct.Struct("!HHBBH6s4s6s4s")
_ETHERNET_HEADER = struct.Struct("!6s6sH")
_PROBES = 3
"""PROBE_NUM (RFC 5227 1.1)."""
_SPACING_S = 0.2
"""Shorter than PROBE_MIN (1 s): only hosts that are there now are looked for."""


def holder(interface: str, address: Address) -> Mac | None:
    """Who answers for `address` on `interface`; None if nobody does within 0.6 s.

    Raises OSError: no permission, no such interface.
    """
    with socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(_ETH_ARP)) as sock:
        sock.bind((interface, _ETH_ARP))
        mac, wanted = sock.getsockname()[4], address.ip.packed
        if len(mac) != len(b"\xff" * 6) or not any(mac):  # loopback, tunnel
            return None
        for _ in range(_PROBES):
            sock.send(_probe(mac, wanted))
            if (found := _heard(sock, mac, wanted, time.monotonic() + _SPACING_S)) is not None:
                return found
    return None


def _probe(mac: bytes, wanted: bytes) -> bytes:
    """The sender's address is all zeros, so that no cache learns it (RFC 5227 2.1.1)."""
    header = _ETHERNET_HEADER.pack(b"\xff" * 6, mac, _ETH_ARP)
    return header + _ARP.pack(_ETHERNET, _IPV4, 6, 4, _REQUEST, mac, bytes(4), bytes(6), wanted)


def _heard(sock: socket.socket, mac: bytes, wanted: bytes, deadline_s: float) -> Mac | None:
    while (left_s := deadline_s - time.monotonic()) > 0 and select.select([sock], [], [], left_s)[
        0
    ]:
        frame = sock.recv(2048)[_ETHERNET_HEADER.size :]
        if len(frame) >= _ARP.size:
            *_, operation, sender, sender_address, _, _ = _ARP.unpack_from(frame)
            if operation in {_REQUEST, _REPLY} and sender != mac and sender_address == wanted:
                return Mac.parse(sender.hex())
    return None
