"""Sockets and counters inside a namespace: echoes, ARP probes, what the kernel counted."""

from __future__ import annotations

import ctypes
import select
import socket
import struct
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

_CLONE_NEWNET = 0x40000000


def inside(namespace: str) -> ThreadPoolExecutor:
    """One thread that is in that namespace; sockets it opens stay there."""
    libc = ctypes.CDLL(None, use_errno=True)

    def enter() -> None:
        with Path(f"/run/netns/{namespace}").open("rb") as file:
            if libc.setns(file.fileno(), _CLONE_NEWNET):
                raise OSError(ctypes.get_errno(), "setns")

    return ThreadPoolExecutor(1, initializer=enter)


def echoes(version: int) -> socket.socket:
    """A socket that sends echoes and hears their answers."""
    if version == 4:
        return socket.socket(socket.AF_INET, socket.SOCK_RAW, socket.IPPROTO_ICMP)
    return socket.socket(socket.AF_INET6, socket.SOCK_RAW, socket.IPPROTO_ICMPV6)


def arp_socket() -> socket.socket:
    """A socket on the wire itself, for ARP."""
    sock = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(0x0806))
    sock.bind(("br0", 0x0806))
    return sock


def holders(sock: socket.socket, address: str) -> set[bytes]:
    """Hardware addresses that answer an ARP probe (RFC 5227 2.1.1) for `address`."""
    broadcast, packed = b"\xff" * 6, socket.inet_aton(address)
    mac = sock.getsockname()[4]
    probe = struct.pack("!HHBBH", 1, 0x0800, 6, 4, 1) + mac + bytes(4) + bytes(6) + packed
    sock.send(broadcast + mac + struct.pack("!H", 0x0806) + probe)
    found = set()
    while select.select([sock], [], [], 0.03)[0]:
        frame = sock.recv(1500)
        if frame[20:22] == b"\0\2" and frame[28:32] == packed:
            found.add(frame[22:28])
    return found


def send_echo(sock: socket.socket, version: int, number: int, to: str) -> bool:
    """Whether an echo could be sent."""
    kind = 8 if version == 4 else 128
    packet = struct.pack("!BBHHH", kind, 0, 0, number, 1) + b"plan"
    if version == 4:  # the kernel does it for IPv6
        total = sum(struct.unpack("!6H", packet))
        total = (total & 0xFFFF) + (total >> 16)
        packet = (
            struct.pack("!BBHHH", kind, 0, ~(total + (total >> 16)) & 0xFFFF, number, 1) + b"plan"
        )
    try:
        sock.sendto(packet, (to, 0))
    except OSError:
        return False
    return True


def is_answer(sock: socket.socket, version: int, number: int, to: str) -> bool:
    """Whether what has come is the answer to that echo."""
    data, sender = sock.recvfrom(2048)
    if version == 4:
        data = data[(data[0] & 0xF) * 4 :]
    kind, code, _, got, _ = struct.unpack("!BBHHH", data[:8])
    return (kind, code, got) == (0 if version == 4 else 129, 0, number) and sender[0] == to


def counters() -> list[int]:
    """Echo requests received (IPv4, IPv6) and packets forwarded (IPv4, IPv6), by the kernel."""
    rows = [line.split() for line in Path("/proc/thread-self/net/snmp").read_text().splitlines()]
    v4 = {
        (names[0], name): int(value)
        for names, values in zip(rows[::2], rows[1::2], strict=True)
        for name, value in zip(names[1:], values[1:], strict=True)
    }
    v6 = dict(line.split() for line in Path("/proc/thread-self/net/snmp6").read_text().splitlines())
    # a device that has no way back cannot even answer a neighbour solicitation (RFC 4861 7.2.4)
    heard6 = int(v6["Icmp6InEchos"]) + int(v6["Icmp6InNeighborSolicits"])
    return [v4["Icmp:", "InEchos"], heard6, v4["Ip:", "ForwDatagrams"], int(v6["Ip6OutForwDatagrams"])]  # fmt: skip
