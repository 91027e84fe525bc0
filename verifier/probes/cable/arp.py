"""Asks the cable who holds an IPv4 address, without holding it: ARP probes (RFC 5227). Linux."""

from __future__ import annotations

import select
import socket
import threading
import time
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from verifier.model.address import Address, Mac
from verifier.probes.cable.frames import ETH_ARP, arp_request, decode
from verifier.probes.pace import Slots

PROBE_NUM: Final = 3
PROBE_MIN_S: Final = 1.0
"""How many probes there are, and how far apart at least (RFC 5227 1.1)."""
_PROXY_S = 1.0
_SPACING_S = 0.2
"""Shorter than PROBE_MIN: only hosts that are there now are looked for."""


def arp_responder(interface: str, address: Address) -> Mac | None:
    """Who answers for `address` on `interface`; None if nobody does within 0.6 s.

    Raises OSError: no permission, no such interface.
    """
    with _opened(interface) as sock:
        if (mac := _own(sock)) is None:
            return None
        for _ in range(PROBE_NUM):
            sock.send(arp_request(mac, address))
            for sender, held in _heard(sock, mac, time.monotonic() + _SPACING_S):
                if held == address:
                    return sender
    return None


def arp_responders(  # noqa: PLR0913, PLR0917
    interface: str,
    source: Address,
    addresses: Sequence[Address],
    unplanned: Sequence[Address],
    pace: Slots,
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
    macs_of: dict[Address, dict[Mac, None]] = {a: {} for a in (*unplanned, *addresses)}
    with _opened(interface) as sock:
        if (mac := _own(sock)) is None:
            return {}
        for wanted in [*macs_of, *macs_of]:
            _note(macs_of, _heard(sock, mac, pace.slot()))
            if stop.is_set():
                break
            sock.send(arp_request(mac, wanted, source))
        asked_s = time.monotonic()
        _note(macs_of, _heard(sock, mac, asked_s + 2 * _SPACING_S))
        held = [m for macs in macs_of.values() for m in macs]
        if not all(macs_of[a] for a in addresses) or len(set(held)) < len(held):
            _note(macs_of, _heard(sock, mac, asked_s + _PROXY_S))
    return {a: tuple(macs_of[a]) for a in (*addresses, *unplanned) if macs_of[a]}


def _note(macs_of: dict[Address, dict[Mac, None]], heard: Iterable[tuple[Mac, Address]]) -> None:
    for sender, held in heard:
        if held in macs_of:
            macs_of[held][sender] = None


def _opened(interface: str) -> socket.socket:
    sock = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(ETH_ARP))
    try:
        sock.bind((interface, ETH_ARP))
    except OSError:
        sock.close()
        raise
    return sock


def _own(sock: socket.socket) -> bytes | None:
    """The interface's own hardware address; None for loopback and tunnels."""
    mac: bytes = sock.getsockname()[4]
    return mac if len(mac) == len(b"\xff" * 6) and any(mac) else None


def _heard(sock: socket.socket, mac: bytes, until_s: float) -> Iterator[tuple[Mac, Address]]:
    """Hardware address and address of everybody who speaks until then, and what waits already."""
    own = Mac(mac.hex(":"))
    while select.select([sock], [], [], max(0.0, until_s - time.monotonic()))[0]:
        frame = decode(sock.recv(2048))
        if frame is not None and frame.what != "arp-probe" and frame.mac != own:
            for address in frame.addresses:
                yield frame.mac, address
        if time.monotonic() > until_s:
            return
