"""Asks the cable who holds an IPv4 address, without holding it: ARP probes (RFC 5227). Linux."""

from __future__ import annotations

import select
import socket
import struct
import threading
import time
from collections.abc import Iterable, Iterator, Sequence

from verifier.model.address import Address, Mac
from verifier.probes.pace import Pace

_ETH_ARP = 0x0806
_ETHERNET, _IPV4 = 1, 0x0800
_REQUEST, _REPLY = 1, 2
_ARP = struct.Struct("!HHBBH6s4s6s4s")
_ETHERNET_HEADER = struct.Struct("!6s6sH")
_PROBES = 3
"""PROBE_NUM (RFC 5227 1.1)."""
_PROXY_S = 1.0
_SPACING_S = 0.2
"""Shorter than PROBE_MIN (1 s): only hosts that are there now are looked for."""


def holder(interface: str, address: Address) -> Mac | None:
    """Who answers for `address` on `interface`; None if nobody does within 0.6 s.

    Raises OSError: no permission, no such interface.
    """
    with _opened(interface) as sock:
        if (mac := _own(sock)) is None:
            return None
        for _ in range(_PROBES):
            sock.send(_request(mac, address.ip.packed))
            for sender, held in _heard(sock, mac, time.monotonic() + _SPACING_S):
                if held == address.ip.packed:
                    return Mac.parse(sender.hex())
    return None


def holders(  # noqa: PLR0913, PLR0917
    interface: str,
    source: Address,
    addresses: Sequence[Address],
    unplanned: Sequence[Address],
    pace: Pace,
    stop: threading.Event,
) -> dict[Address, tuple[Mac, ...]]:
    """Everybody who answers for each of these addresses on `interface`; those without are left out.

    The questions are those that this machine's kernel itself would send from `source`: a router
    that answers for others does not answer a probe without a sender (Linux, as seen).

    Each is asked twice; what comes until 0.4 s after the last question counts. Where one of
    `addresses` has no answer yet, or one hardware address answers for several, that is 1 s: a
    router that answers for others lets up to 0.8 s pass (Linux, `proxy_delay`).
    Raises OSError: no permission, no such interface.
    """
    found: dict[bytes, dict[bytes, None]] = {a.ip.packed: {} for a in (*unplanned, *addresses)}
    with _opened(interface) as sock:
        if (mac := _own(sock)) is None:
            return {}
        for wanted in [*found, *found]:
            _note(found, _heard(sock, mac, pace.slot()))
            if stop.is_set():
                break
            sock.send(_request(mac, wanted, source.ip.packed))
        asked_s = time.monotonic()
        _note(found, _heard(sock, mac, asked_s + 2 * _SPACING_S))
        held = [m for macs in found.values() for m in macs]
        if not all(found[a.ip.packed] for a in addresses) or len(set(held)) < len(held):
            _note(found, _heard(sock, mac, asked_s + _PROXY_S))
    macs = {
        a: tuple(Mac.parse(m.hex()) for m in found[a.ip.packed]) for a in (*addresses, *unplanned)
    }
    return {a: held_by for a, held_by in macs.items() if held_by}


def _note(found: dict[bytes, dict[bytes, None]], heard: Iterable[tuple[bytes, bytes]]) -> None:
    for sender, held in heard:
        if held in found:
            found[held][sender] = None


def _opened(interface: str) -> socket.socket:
    sock = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(_ETH_ARP))
    try:
        sock.bind((interface, _ETH_ARP))
    except OSError:
        sock.close()
        raise
    return sock


def _own(sock: socket.socket) -> bytes | None:
    """The interface's own hardware address; None for loopback and tunnels."""
    mac: bytes = sock.getsockname()[4]
    return mac if len(mac) == len(b"\xff" * 6) and any(mac) else None


def _request(mac: bytes, wanted: bytes, source: bytes = bytes(4)) -> bytes:
    """Without a source no cache learns it: that is an ARP probe (RFC 5227 2.1.1)."""
    header = _ETHERNET_HEADER.pack(b"\xff" * 6, mac, _ETH_ARP)
    return header + _ARP.pack(_ETHERNET, _IPV4, 6, 4, _REQUEST, mac, source, bytes(6), wanted)


def _heard(sock: socket.socket, mac: bytes, until_s: float) -> Iterator[tuple[bytes, bytes]]:
    """Hardware address and address of everybody who speaks until then, and what waits already."""
    while select.select([sock], [], [], max(0.0, until_s - time.monotonic()))[0]:
        frame = sock.recv(2048)[_ETHERNET_HEADER.size :]
        if len(frame) >= _ARP.size:
            *_, operation, sender, sender_address, _, _ = _ARP.unpack_from(frame)
            if operation in {_REQUEST, _REPLY} and sender != mac:
                yield sender, sender_address
        if time.monotonic() > until_s:
            return
