"""One socket for echoes: raw or datagram, IPv4 or IPv6, with the kernel's receive timestamps.

Linux is what this is made for. On macOS and Windows the options it lacks are left out and the
round trip is a plain monotonic difference; that is untried.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import socket
import struct
import sys
import time
from typing import Any, Final, Literal, NamedTuple

import icmplib

from verifier.errors import CannotMeasureError
from verifier.probes.echo.packet import (
    ECHO_REPLY,
    ERRORS,
    EchoReply,
    Quoted,
    echo_header,
    next_mtu,
    parse,
)

Kind = Literal["raw", "datagram"]
Ancillary = list[tuple[int, int, bytes]]

# Linux constants that Python's socket module lacks, with the header that defines each.
_SO_RCVBUFFORCE: Final = 33  # asm-generic/socket.h
_SO_TIMESTAMPNS: Final = 35  # asm-generic/socket.h; the ancillary message has the same number
_SO_MEMINFO: Final = 55  # asm-generic/socket.h
_SK_MEMINFO_DROPS: Final = 8  # linux/sock_diag.h
_SK_MEMINFO: Final = struct.Struct("@9I")
_IP_PKTINFO: Final = 8  # linux/in.h
_IP_MTU_DISCOVER: Final = 10  # linux/in.h
_IP_RECVERR: Final = 11  # linux/in.h
_IPV6_MTU_DISCOVER: Final = 23  # linux/in6.h
_IPV6_DONTFRAG: Final = 62  # linux/in6.h
_PMTUDISC_PROBE: Final = 3  # linux/in.h: DF set, and no size refused but the interface's
_IPV6_RECVERR: Final = 25  # linux/in6.h
_IPV6_PKTINFO: Final = 50  # linux/in6.h
_SOL_RAW: Final = 255  # linux/socket.h
_ICMP_FILTER: Final = 1  # linux/icmp.h: a set bit blocks the type
_ICMPV6_FILTER: Final = 1  # linux/icmpv6.h, the same over 256 bits
_MSG_ERRQUEUE: Final = 0x2000  # linux/socket.h
_TIMESPEC: Final = struct.Struct("@ll")
_EXTENDED_ERR: Final = struct.Struct("@IBBBBII")  # struct sock_extended_err, linux/errqueue.h
_ORIGIN_ICMP: Final = {4: 2, 6: 3}  # SO_EE_ORIGIN_ICMP, SO_EE_ORIGIN_ICMP6, linux/errqueue.h

_BUFFER_BYTES: Final = 16 << 20
_CHARGE_BYTES: Final = 768  # what the kernel charges for a small packet besides its data; seen
_SEND_TRIES: Final = 5
_SEND_PAUSE_S: Final = 0.001
_CLOCKS_APART_NS: Final = 20_000
LINUX: Final = sys.platform == "linux"


class Arrival(NamedTuple):
    """Something received.

    Attributes:
        source: the sender's socket address; of an error, who reported it.
        stamped_s: `time.monotonic()` at which the kernel received it, or None.
        read_s: `time.monotonic()` at which it was read.
    """

    what: EchoReply | Quoted
    source: tuple[Any, ...]
    stamped_s: float | None
    read_s: float


class EchoSocket:
    """An open socket. Raises OSError where the system does not give one.

    Attributes:
        ident: identifier of all echoes sent: random on a raw socket, given by the kernel else.
        capacity: echoes that may be in flight without overflowing the receive buffer, if each
            has `payload_bytes` of payload.
    """

    def __init__(self, version: int, kind: Kind) -> None:
        self.version = version
        self.kind = kind
        self._opened = _opened(version, kind)  # closes the socket when it goes
        self._socket: socket.socket = self._opened.sock
        try:
            self._set_up()
        except OSError:
            self._socket.close()
            raise
        self._ip_header = version == 4 and (kind == "raw" or not LINUX)  # noqa: PLR2004
        self._buffer = memoryview(bytearray(65536 + 60))
        self._drops = 0

    def _set_up(self) -> None:
        self._socket.settimeout(0)
        self.ident = secrets.randbelow(0x10000)
        if self.kind == "datagram":
            self._socket.bind(("", 0))
            self.ident = self._socket.getsockname()[1]  # net/ipv4/ping.c: the "port" is the id
        self._raise_buffer()
        if not LINUX:
            return
        self._socket.setsockopt(socket.SOL_SOCKET, _SO_TIMESTAMPNS, 1)
        passed = (ECHO_REPLY[self.version], *ERRORS[self.version])
        match self.kind, self.version:
            case "raw", 4:
                mask = ~sum(1 << t for t in passed) & 0xFFFF_FFFF
                self._socket.setsockopt(_SOL_RAW, _ICMP_FILTER, struct.pack("@I", mask))
            case "raw", _:
                words = [0xFFFF_FFFF] * 8
                for t in passed:
                    words[t >> 5] &= ~(1 << (t & 31))
                self._socket.setsockopt(
                    socket.IPPROTO_ICMPV6, _ICMPV6_FILTER, struct.pack("@8I", *words)
                )
            case _, 4:
                self._socket.setsockopt(socket.IPPROTO_IP, _IP_RECVERR, 1)
            case _:
                self._socket.setsockopt(socket.IPPROTO_IPV6, _IPV6_RECVERR, 1)

    def _raise_buffer(self) -> None:
        option = _SO_RCVBUFFORCE if LINUX else socket.SO_RCVBUF
        try:
            self._socket.setsockopt(socket.SOL_SOCKET, option, _BUFFER_BYTES)
        except OSError:  # without CAP_NET_ADMIN the system's maximum holds
            with contextlib.suppress(OSError):
                self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _BUFFER_BYTES)

    def dont_fragment(self) -> None:
        """From now on packets leave whole or not at all; what was learnt of the path is ignored.

        Raises OSError where the system has no such setting.
        """
        if not LINUX:
            raise OSError(errno.ENOPROTOOPT, os.strerror(errno.ENOPROTOOPT))
        if self.version == 4:  # noqa: PLR2004
            self._socket.setsockopt(socket.IPPROTO_IP, _IP_MTU_DISCOVER, _PMTUDISC_PROBE)
        else:
            self._socket.setsockopt(socket.IPPROTO_IPV6, _IPV6_MTU_DISCOVER, _PMTUDISC_PROBE)
            self._socket.setsockopt(socket.IPPROTO_IPV6, _IPV6_DONTFRAG, 1)

    def fileno(self) -> int:
        """The descriptor, for a selector."""
        return self._socket.fileno()

    def close(self) -> None:
        """Closes the socket."""
        self._socket.close()

    def capacity(self, payload_bytes: int) -> int:
        """Returns how many unread replies the receive buffer holds."""
        buffer_bytes = self._socket.getsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF)
        return max(1, buffer_bytes // (_CHARGE_BYTES + payload_bytes))

    def new_drops(self) -> int:
        """Returns how many packets the kernel dropped here since the last call; 0 if not told."""
        if not LINUX:
            return 0
        info = self._socket.getsockopt(socket.SOL_SOCKET, _SO_MEMINFO, _SK_MEMINFO.size)
        if len(info) < _SK_MEMINFO.size:
            return 0
        before, self._drops = self._drops, _SK_MEMINFO.unpack(info)[_SK_MEMINFO_DROPS]
        return int(self._drops - before) & 0xFFFF_FFFF

    def leave_from(self, source: bytes | None, interface: int) -> Ancillary:
        """Returns ancillary data that fix a packet's source address and interface.

        Args:
            source: packed address, or None for the kernel's choice.
            interface: its index, or 0 for the kernel's choice.
        """
        if source is None and not interface:
            return []
        if self.version == 4:  # noqa: PLR2004
            info = struct.pack("@i4s4s", interface, source or bytes(4), bytes(4))
            return [(socket.IPPROTO_IP, _IP_PKTINFO, info)]
        info = struct.pack("@16si", source or bytes(16), interface)
        return [(socket.IPPROTO_IPV6, _IPV6_PKTINFO, info)]

    def send(self, packet: bytes, to: tuple[Any, ...], ancillary: Ancillary) -> float:
        """Sends; returns the `time.monotonic()` just before. Raises OSError if it did not leave.

        A full queue is waited for briefly. On a datagram socket an error that came back for
        another echo is reported by the next call, so there a failure counts only if it repeats.
        """
        sendto, clock = self._socket.sendto, time.monotonic
        for _ in range(_SEND_TRIES - 1):
            try:
                if ancillary:
                    return self._send_message(packet, to, ancillary)
                at_s = clock()
                sendto(packet, to)
            except OSError as error:
                if error.errno in {errno.EAGAIN, errno.ENOBUFS}:
                    time.sleep(_SEND_PAUSE_S)
                elif self.kind == "raw":
                    raise
            else:
                return at_s
        return self._send_message(packet, to, ancillary)

    def _send_message(self, packet: bytes, to: tuple[Any, ...], ancillary: Ancillary) -> float:
        if not hasattr(self._socket, "sendmsg"):
            raise OSError(errno.EOPNOTSUPP, os.strerror(errno.EOPNOTSUPP))
        at_s = time.monotonic()
        self._socket.sendmsg([packet], ancillary, 0, to)
        return at_s

    def drain(self, limit: int) -> tuple[list[Arrival], bool]:
        """Reads what has arrived, at most `limit` packets; the flag says whether all was read."""
        arrivals: list[Arrival] = []
        offset_ns = _realtime_offset_ns()
        receive, buffer, clock = self._receive, self._buffer, time.monotonic
        for _ in range(limit):
            try:
                length, ancillary, source = receive()
            except BlockingIOError:
                break
            except OSError as error:
                if self.kind == "raw":
                    raise CannotMeasureError(f"cannot read echo replies: {error}") from error
                continue  # it is about an echo of this datagram socket and is queued, see below
            read_s = clock()
            what = parse(buffer[:length], self.version, ip_header=self._ip_header)
            if what is not None:
                arrivals.append(Arrival(what, source, _stamp_s(ancillary, offset_ns), read_s))
        else:
            return arrivals, False
        if self.kind == "datagram" and LINUX:
            arrivals += self._drain_errors(limit)
        return arrivals, True

    def _receive(self) -> tuple[int, Ancillary, tuple[Any, ...]]:
        if LINUX:
            length, ancillary, _, source = self._socket.recvmsg_into([self._buffer], 64)
            return length, ancillary, source
        length, source = self._socket.recvfrom_into(self._buffer)
        return length, [], source

    def _drain_errors(self, limit: int) -> list[Arrival]:
        """Reads the error queue: what routers said about echoes of a datagram socket."""
        arrivals = []
        level = socket.IPPROTO_IP if self.version == 4 else socket.IPPROTO_IPV6  # noqa: PLR2004
        option = _IP_RECVERR if self.version == 4 else _IPV6_RECVERR  # noqa: PLR2004
        for _ in range(limit):
            try:
                packet, ancillary, _, to = self._socket.recvmsg(2048, 512, _MSG_ERRQUEUE)
            except OSError:
                break
            echo = echo_header(packet, self.version)
            for at_level, kind, data in ancillary:
                if echo is None or at_level != level or kind != option:
                    continue
                _, origin, type_, code, _, info, _ = _EXTENDED_ERR.unpack_from(data)
                if origin == _ORIGIN_ICMP[self.version]:
                    mtu = next_mtu(self.version, type_, code, info)
                    what = Quoted(type_, code, to[0], *echo, mtu)
                    offender = _offender(data[_EXTENDED_ERR.size :], self.version)
                    arrivals.append(Arrival(what, (offender,), None, time.monotonic()))
        return arrivals


def _offender(sockaddr: bytes, version: int) -> str:
    """Returns the address in a struct sockaddr_in or sockaddr_in6 (linux/in.h, linux/in6.h)."""
    if version == 4:  # noqa: PLR2004
        return socket.inet_ntop(socket.AF_INET, sockaddr[4:8])
    return socket.inet_ntop(socket.AF_INET6, sockaddr[8:24])


def _stamp_s(ancillary: Ancillary, offset_ns: int) -> float | None:
    for level, kind, data in ancillary:
        if kind == _SO_TIMESTAMPNS and level == socket.SOL_SOCKET:
            seconds, nanoseconds = _TIMESPEC.unpack(data)
            return float(seconds * 1_000_000_000 + nanoseconds - offset_ns) / 1e9
    return None


def _realtime_offset_ns() -> int:
    """Returns how far the wall clock (kernel stamps) is ahead of the monotonic clock.

    The thread may be put aside between two readings, so the tightest of a few pairs is taken.
    """
    best_ns, offset_ns = sys.maxsize, 0
    for _ in range(5):
        before_ns, wall_ns, after_ns = time.monotonic_ns(), time.time_ns(), time.monotonic_ns()
        if after_ns - before_ns < best_ns:
            best_ns = after_ns - before_ns
            offset_ns = wall_ns - (before_ns + after_ns) // 2
        if best_ns < _CLOCKS_APART_NS:
            break
    return offset_ns


def _opened(version: int, kind: Kind) -> Any:
    """The library's socket object, whose `sock` is ours to read and write. Raises OSError."""
    opener = icmplib.ICMPv4Socket if version == 4 else icmplib.ICMPv6Socket  # noqa: PLR2004
    try:
        return opener(privileged=kind == "raw")
    except icmplib.ICMPSocketError as fault:
        cause = fault.__context__
        raise cause if isinstance(cause, OSError) else OSError(str(fault)) from None
