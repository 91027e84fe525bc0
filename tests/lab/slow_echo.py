"""Answers IPv4 echo requests late: `slow_echo.py DELAY_MS`, as root, until it is killed.

It answers at whatever address of this machine it was asked. For a namespace whose kernel does not answer (`net.ipv4.icmp_echo_ignore_all = 1`). ICMP echo and
its checksum: RFC 792 and RFC 1071, from memory.
"""

from __future__ import annotations

import heapq
import selectors
import socket
import struct
import sys
import time

ECHO_REQUEST, ECHO_REPLY = 8, 0
IP_PKTINFO = 8
"""From linux/in.h; Python 3.11 does not name it."""


def checksum(data: bytes) -> int:
    """The Internet checksum: ones' complement of the ones' complement sum of 16-bit words."""
    total = sum(
        int.from_bytes(data[i : i + 2].ljust(2, b"\0"), "big") for i in range(0, len(data), 2)
    )
    while total >> 16:
        total = (total & 0xFFFF) + (total >> 16)
    return ~total & 0xFFFF


def reply_to(message: bytes) -> bytes:
    """The echo reply to an echo request: same identifier, number and payload."""
    body = bytes((ECHO_REPLY, 0, 0, 0)) + message[4:]
    return body[:2] + checksum(body).to_bytes(2, "big") + body[4:]


def main(delay_s: float) -> None:
    """Serves for ever."""
    waiting: list[tuple[float, bytes, str, bytes]] = []
    with socket.socket(socket.AF_INET, socket.SOCK_RAW, socket.IPPROTO_ICMP) as wire:
        wire.settimeout(0)
        wire.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4 << 20)
        selector = selectors.DefaultSelector()
        selector.register(wire, selectors.EVENT_READ)
        print("ready", flush=True)
        while True:
            selector.select(max(0.0, waiting[0][0] - time.monotonic()) if waiting else None)
            try:
                packet, (source, _) = wire.recvfrom(65535)
            except BlockingIOError:
                pass
            else:
                message = packet[(packet[0] & 0x0F) * 4 :]
                if message[0] == ECHO_REQUEST:
                    due = (time.monotonic() + delay_s, reply_to(message), source, packet[16:20])
                    heapq.heappush(waiting, due)
            while waiting and waiting[0][0] <= time.monotonic():
                _, answer, source, own = heapq.heappop(waiting)
                leaving = struct.pack("=I4s4s", 0, own, b"")  # in_pktinfo: ip(7)
                there = [(socket.IPPROTO_IP, IP_PKTINFO, leaving)]
                wire.sendmsg([answer], there, 0, (source, 0))


if __name__ == "__main__":
    main(float(sys.argv[1]) / 1000.0)
