"""A packet socket on one interface: hears what tells where a device is, and may ask (Linux).

The kernel filters what is heard (ARP, LLDP, ND, frames of one MAC), so that a busy cable does not
drown Python. The kernel also takes VLAN tags off, so they are read from the packet's auxiliary
data.
"""

from __future__ import annotations

import asyncio
import ctypes
import errno
import socket
import struct
import sys
from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import ExitStack
from typing import Final, Self

from verifier.errors import CannotMeasureError
from verifier.model.address import Address, Mac
from verifier.probes.cable.frames import (
    ETH_ARP,
    ETH_IPV6,
    ETH_LLDP,
    Frame,
    arp_request,
    decode,
    nd_solicitation,
)

HOW = "run it as root, or give it the capability CAP_NET_RAW"
_ETH_P_ALL: Final = 0x0003
_SOL_PACKET, _ADD_MEMBERSHIP, _AUXDATA = 263, 1, 8
_MR_PROMISC, _MR_ALLMULTI = 1, 2
_SO_ATTACH_FILTER: Final = 26
_AUX = struct.Struct("=IIIHHHH")
_STATUS_VLAN_VALID: Final = 1 << 4
_OUTGOING: Final = 4
"""packet(7), linux/if_packet.h, asm-generic/socket.h."""
_ARPHRD_ETHER: Final = 1
_LONGEST: Final = 2048
_READ_LIMIT: Final = 512
"""Frames read in one go, so that a busy cable leaves time for the rest."""
_BUFFER_BYTES: Final = 1 << 20


class PacketWire:
    """An open interface; a context manager. Closing it leaves the interface as it was.

    Args:
        interface: its name; Ethernet.
        everything: whether to hear also what is sent to others, by promiscuous mode.
        of: hardware addresses of which every frame is taken, not only ARP, LLDP and neighbour
            discovery; at most 32.

    Raises CannotMeasureError: no permission, no such interface, not Ethernet, not Linux.
    """

    def __init__(
        self, interface: str, *, everything: bool = False, of: Collection[Mac] = ()
    ) -> None:
        if sys.platform != "linux":
            raise CannotMeasureError("frames can be heard and asked for on Linux only")
        self.interface = interface
        self._hearing: asyncio.AbstractEventLoop | None = None
        try:
            self._socket = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
        except OSError as fault:
            why = HOW if isinstance(fault, PermissionError) else str(fault.strerror)
            raise CannotMeasureError(f"no frames can be heard or asked for: {why}") from fault
        try:
            self._open(everything=everything, of=of)
        except OSError as fault:
            self._socket.close()
            raise CannotMeasureError(f"{interface} cannot be listened to: {fault}") from fault

    def _open(self, *, everything: bool, of: Collection[Mac]) -> None:
        sock = self._socket
        # Bound to no protocol so far, so that nothing comes before the filter is there.
        sock.bind((self.interface, 0))
        _, _, _, kind, self._octets = sock.getsockname()
        if kind != _ARPHRD_ETHER or not any(self._octets):
            raise OSError(errno.ENOTSUP, "it is no Ethernet interface")
        self.mac = Mac(self._octets.hex(":"))
        _attach(sock, _filter(of))
        mode = _MR_PROMISC if everything else _MR_ALLMULTI
        request = struct.pack("iHH8s", socket.if_nametoindex(self.interface), mode, 0, b"")
        sock.setsockopt(_SOL_PACKET, _ADD_MEMBERSHIP, request)
        sock.setsockopt(_SOL_PACKET, _AUXDATA, 1)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _BUFFER_BYTES)
        sock.settimeout(0)
        sock.bind((self.interface, _ETH_P_ALL))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def close(self) -> None:
        """Ends it; may be called twice."""
        self._deaf()
        self._socket.close()

    def fileno(self) -> int:
        """For select and event loops."""
        return self._socket.fileno()

    def send(self, frame: bytes) -> None:
        """Sends a whole frame. Raises OSError: the interface is down, its queue is full."""
        self._socket.send(frame)

    def ask(self, address: Address, source: Address | None = None) -> None:
        """Asks once who holds an address: by ARP probe, IPv6 from `source` by solicitation.

        A probe teaches no cache anything. A neighbour solicitation from `::` would make a device
        that is just trying the address give it up (RFC 4862 5.4.3). Raises OSError as `send`.
        """
        if source is None or address.is_v4:
            self.send(arp_request(self._octets, address))
        else:
            self.send(nd_solicitation(self._octets, source, address))

    def hear(self, take: Callable[[Frame], None]) -> None:
        """Has every frame of others taken, in the running event loop, until it is closed."""
        self._hearing = asyncio.get_running_loop()
        self._hearing.add_reader(self.fileno(), self._take, take)

    def _take(self, take: Callable[[Frame], None]) -> None:
        try:
            for frame in self.read():
                take(frame)
        except OSError:  # it went down: what was heard remains
            self._deaf()

    def _deaf(self) -> None:
        if self._hearing is not None:
            self._hearing.remove_reader(self.fileno())
            self._hearing = None

    def read(self) -> Iterator[Frame]:
        """What others sent and has arrived, at most 512 frames. Raises OSError: it went down."""
        room = socket.CMSG_SPACE(_AUX.size)
        for _ in range(_READ_LIMIT):
            try:
                data, extra, _, source = self._socket.recvmsg(_LONGEST, room)
            except BlockingIOError:
                return
            if source[2] == _OUTGOING:
                continue
            if (frame := decode(data, _vlan(extra))) is not None:
                yield frame


def open_wires(interfaces: Iterable[str], *, everything: bool, of: Collection[Mac]) -> WireSet:
    """Each of the interfaces that can be opened, and why another could not."""
    wires = WireSet()
    for name in interfaces:
        try:
            wires.opened[name] = wires.stack.enter_context(
                PacketWire(name, everything=everything, of=of)
            )
        except CannotMeasureError as fault:
            wires.refused.append(str(fault))
    return wires


class WireSet:
    """Open interfaces; a context manager.

    Attributes:
        opened: by name.
        refused: why others could not be opened, once each.
    """

    def __init__(self) -> None:
        self.opened: dict[str, PacketWire] = {}
        self.refused: list[str] = []
        self.stack = ExitStack()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.stack.close()


def _vlan(extra: Iterable[tuple[int, int, bytes]]) -> int | None:
    """VLAN of a tag the kernel has taken off (struct tpacket_auxdata)."""
    for level, kind, data in extra:
        if (level, kind) == (_SOL_PACKET, _AUXDATA) and len(data) >= _AUX.size:
            status, _, _, _, _, tag, _ = _AUX.unpack_from(data)
            return tag & 0xFFF if status & _STATUS_VLAN_VALID else None
    return None


# -- filter ---------------------------------------------------------------------------------------

_LD_W, _LD_H, _LD_B, _JEQ, _JGE, _RET = 0x20, 0x28, 0x30, 0x15, 0x35, 0x06
"""Opcodes of the classic packet filter (linux/filter.h): load at an offset, jump, return."""
_NEXT_HEADER, _ICMPV6_TYPE = 14 + 6, 14 + 40
_ICMPV6, _ND_FIRST, _ND_LAST = 58, 133, 136

_MOST_SENDERS = 32
"""A jump reaches 255 steps."""
_Step = tuple[int, int, str, str]
"""Opcode, operand, and for a jump where to go if it holds and if not; empty: the next."""


def _filter(of: Collection[Mac]) -> bytes:
    """ARP, LLDP, neighbour discovery, every frame of some senders; the kernel drops the rest."""
    steps: list[_Step | str] = []
    for n, mac in enumerate(sorted(of, key=str)[:_MOST_SENDERS]):
        high, low = struct.unpack("!IH", bytes.fromhex(mac.text.replace(":", "")))
        steps += [(_LD_W, 6, "", ""), (_JEQ, high, "", f"not {n}"), (_LD_H, 10, "", "")]
        steps += [(_JEQ, low, "take", ""), f"not {n}"]
    steps += [
        (_LD_H, 12, "", ""),
        (_JEQ, ETH_ARP, "take", ""),
        (_JEQ, ETH_LLDP, "take", ""),
        (_JEQ, ETH_IPV6, "", "leave"),
        (_LD_B, _NEXT_HEADER, "", ""),
        (_JEQ, _ICMPV6, "", "leave"),
        (_LD_B, _ICMPV6_TYPE, "", ""),
        (_JGE, _ND_FIRST, "", "leave"),
        (_JGE, _ND_LAST + 1, "leave", "take"),
        "leave",
        (_RET, 0, "", ""),
        "take",
        (_RET, _LONGEST, "", ""),
    ]
    return _assembled(steps)


def _assembled(steps: list[_Step | str]) -> bytes:
    labels: dict[str, int] = {}
    lines: list[_Step] = []
    for step in steps:
        if isinstance(step, str):
            labels[step] = len(lines)
        else:
            lines.append(step)

    def jump(at: int, label: str) -> int:
        return labels[label] - at - 1 if label else 0

    return b"".join(
        struct.pack("=HBBI", code, jump(at, yes), jump(at, no), operand)
        for at, (code, operand, yes, no) in enumerate(lines)
    )


def _attach(sock: socket.socket, program: bytes) -> None:
    """Sets the socket's filter (struct sock_fprog: a count, and where the program is)."""
    held = ctypes.create_string_buffer(program, len(program))
    place = struct.pack("HL", len(program) // 8, ctypes.addressof(held))
    sock.setsockopt(socket.SOL_SOCKET, _SO_ATTACH_FILTER, place)
