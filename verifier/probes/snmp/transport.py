"""One unconnected UDP socket for many agents.

A datagram is an answer only if it carries the id of a request that is open and comes from the
address and port that were asked. One with such an id from elsewhere is told, and never read: an
agent may answer from another of its addresses, and a neighbour may babble. ICMP errors are read
from the socket's error queue (Linux, ip(7) IP_RECVERR), because an unconnected socket hears of none
otherwise. Outside Linux there is no such queue and a closed port looks like silence.
"""

from __future__ import annotations

import asyncio
import errno
import os
import socket
import struct
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from verifier.errors import CannotMeasureError
from verifier.model.address import Address
from verifier.probes.snmp.wire import Header, read_header

SocketAddress = tuple[str, int] | tuple[str, int, int, int]

RECEIVE_BUFFER_BYTES = 4 << 20
"""Asked for; the kernel gives at most net.core.rmem_max (twice that to root)."""
_READS_PER_TURN = 64
"""Datagrams read before other tasks get their turn."""
_DATAGRAM_BYTES = 65535
_RECVERR = {socket.AF_INET: (0, 11), socket.AF_INET6: (41, 25)}
"""Level and option IP_RECVERR, IPV6_RECVERR of Linux (linux/in.h, linux/in6.h)."""
_EXTENDED_ERROR = struct.Struct("=IBBBBII")
"""struct sock_extended_err (linux/errqueue.h): errno, origin, type, code, pad, info, data."""
_UNREACHABLE = {errno.ECONNREFUSED, errno.EHOSTUNREACH, errno.ENETUNREACH, errno.EACCES}


@dataclass(frozen=True, slots=True)
class Endpoint:
    """An address and port to be compared, however a socket spells them.

    Attributes:
        scope: of a link-local IPv6 address the interface's number, else 0 (RFC 4007).
    """

    host: str
    port: int
    scope: int = 0


def endpoint(address: SocketAddress) -> Endpoint:
    """What a socket's address says, without the zone that the resolver adds to its text."""
    host = address[0].partition("%")[0]
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    plain = socket.inet_ntop(family, socket.inet_pton(family, host))
    return Endpoint(plain, address[1], address[3] if len(address) > 2 else 0)  # noqa: PLR2004


def socket_address(address: Address, port: int) -> SocketAddress:
    """An address as sockets take it; a zone is an interface's name or number (RFC 4007 11.2).

    Raises CannotMeasureError where there is no such interface.
    """
    if address.version == 4:  # noqa: PLR2004
        return (str(address.ip), port)
    scope = 0
    if address.zone:
        try:
            scope = (
                int(address.zone) if address.zone.isdigit() else socket.if_nametoindex(address.zone)
            )
        except OSError:
            raise CannotMeasureError(
                f"{address}: this machine has no interface {address.zone}"
            ) from None
    return (str(address.ip), port, 0, scope)


def family_of(address: Address) -> socket.AddressFamily:
    """AF_INET or AF_INET6."""
    return socket.AF_INET if address.version == 4 else socket.AF_INET6  # noqa: PLR2004


def open_socket(family: socket.AddressFamily, source: Address | None) -> socket.socket:
    """A non-blocking UDP socket, bound to `source` if given. Raises CannotMeasureError."""
    try:
        opened = socket.socket(family, socket.SOCK_DGRAM)
        try:
            opened.settimeout(0)
            if source is not None:
                opened.bind(socket_address(source, 0))
            elif family == socket.AF_INET6:
                opened.bind(("::", 0))
            else:
                opened.bind(("0.0.0.0", 0))  # noqa: S104  a client's port, for answers
        except BaseException:
            opened.close()
            raise
    except OSError as failed:
        place = "" if source is None else f" at {source}"
        raise CannotMeasureError(
            f"no UDP socket{place} for SNMP: {os.strerror(failed.errno or 0)}"
        ) from failed
    return opened


def raise_buffer(opened: socket.socket) -> None:
    """Enlarges the receive buffer as far as the kernel lets us."""
    force: Mapping[str, int] = {"linux": 33}  # SO_RCVBUFFORCE; needs CAP_NET_ADMIN
    for option in (force.get(sys.platform), socket.SO_RCVBUF):
        if option is not None:
            try:
                opened.setsockopt(socket.SOL_SOCKET, option, RECEIVE_BUFFER_BYTES)
            except OSError:
                continue
            return


@dataclass(frozen=True, slots=True)
class Unreachable:
    """An ICMP error (or the kernel's own) about datagrams to one address.

    Attributes:
        errno: ECONNREFUSED: the port; others: the host or the way there.
        reporter: address of the machine that says so; None where it is this one.
    """

    errno: int
    reporter: str | None


class AnswerWaiter(Protocol):
    """Who waits for an answer."""

    @property
    def peer(self) -> SocketAddress:
        """Whom the question went to."""

    def arrived(self, datagram: bytes, header: Header) -> None:
        """A datagram with the id of a request of this waiter came from `peer`."""

    def answered_elsewhere(self, sender: Endpoint) -> None:
        """A datagram with such an id came, and not from `peer`."""

    def babbled(self) -> None:
        """A datagram came from `peer` that is no answer of SNMP."""

    def unreachable(self, error: Unreachable) -> None:
        """An error about a datagram to `peer` came."""


class Transport:
    """Sends requests and gives answers and errors to whoever waits for them.

    Args:
        family: AF_INET or AF_INET6.
        source: local address to send from.
        error_queue: whether to read ICMP errors; False: as outside Linux.

    `open` raises CannotMeasureError where there is no socket to be had.
    """

    def __init__(
        self, family: socket.AddressFamily, source: Address | None, *, error_queue: bool
    ) -> None:
        self._family = family
        self._source = source
        self._error_queue = error_queue
        self._waiters: dict[int, AnswerWaiter] = {}
        self._at_peer: dict[Endpoint, set[AnswerWaiter]] = {}
        self._endpoint: asyncio.DatagramTransport | None = None
        self._socket: socket.socket | None = None
        self._loop = asyncio.get_running_loop()

    async def open(self) -> None:
        """Opens the socket and starts to read."""
        self._socket = open_socket(self._family, self._source)
        raise_buffer(self._socket)
        if self._error_queue:
            self._socket.setsockopt(*_RECVERR[self._family], 1)
            self._loop.add_reader(self._socket, self._readable)
        else:
            self._endpoint, _ = await self._loop.create_datagram_endpoint(
                lambda: _Plain(self._arrived), sock=self._socket
            )

    def close(self) -> None:
        """Closes the socket; whoever still waits hears nothing more."""
        if self._socket is None:
            return
        if self._endpoint is not None:
            self._endpoint.abort()
        else:
            self._loop.remove_reader(self._socket)
            self._socket.close()
        self._socket = None
        self._waiters.clear()
        self._at_peer.clear()

    def expect(self, message_id: int, waiter: AnswerWaiter) -> None:
        """From now on datagrams with this id are the waiter's."""
        self._waiters[message_id] = waiter
        self._at_peer.setdefault(endpoint(waiter.peer), set()).add(waiter)

    def forget(self, message_id: int) -> None:
        """From now on datagrams with this id are late and dropped, and its waiter is gone."""
        waiter = self._waiters.pop(message_id, None)
        if waiter is not None:
            others = self._at_peer.get(endpoint(waiter.peer), set())
            others.discard(waiter)
            if not others:
                self._at_peer.pop(endpoint(waiter.peer), None)

    def send(self, datagram: bytes, peer: SocketAddress) -> None:
        """Sends at once. Raises OSError where this machine cannot send there.

        An error of an earlier datagram, which the kernel hands to the next call, is not raised.
        """
        if self._socket is None:
            raise CannotMeasureError("the SNMP client is closed")
        for last in (False, False, True):
            try:
                if self._endpoint is not None:
                    self._endpoint.sendto(datagram, peer)
                else:
                    self._socket.sendto(datagram, peer)
            except BlockingIOError:
                return  # the send buffer is full: the datagram is lost as on any wire
            except OSError:
                if last:
                    raise
                self._read_errors()
            else:
                return

    async def refused(self, datagram: bytes, peer: SocketAddress, wait_s: float) -> bool:
        """Sends once more from a fresh connected socket; True: the port refused it for certain.

        An answer that comes instead goes to the waiter.
        """
        with open_socket(self._family, self._source) as connected:
            try:
                connected.connect(peer)
                connected.send(datagram)
                async with asyncio.timeout(wait_s):
                    answer = await self._loop.sock_recv(connected, _DATAGRAM_BYTES)
            except ConnectionRefusedError:
                return True
            except OSError:  # TimeoutError is one
                return False
        self._arrived(answer, peer)
        return False

    def _readable(self) -> None:
        self._read_errors()
        for _ in range(_READS_PER_TURN):
            if self._socket is None:
                return
            try:
                datagram, sender = self._socket.recvfrom(_DATAGRAM_BYTES)
            except BlockingIOError:
                return
            except OSError:
                continue  # an error of an earlier datagram; the queue has told it
            self._arrived(datagram, sender)

    def _arrived(self, datagram: bytes, sender: SocketAddress) -> None:
        header = read_header(datagram)
        if header is None or not header.response:
            for waiting in self._at_peer.get(endpoint(sender), ()):
                waiting.babbled()
            return
        waiter = self._waiters.get(header.id)
        if waiter is None:
            return
        if (origin := endpoint(sender)) == endpoint(waiter.peer):
            waiter.arrived(datagram, header)
        else:
            waiter.answered_elsewhere(origin)

    def _read_errors(self) -> None:
        while self._error_queue and self._socket is not None:
            try:
                _, control, _, peer = self._socket.recvmsg(0, 512, socket.MSG_ERRQUEUE)
            except OSError:
                return
            for level, option, data in control:
                if (level, option) == _RECVERR[self._family]:
                    self._failed(peer, data)

    def _failed(self, peer: SocketAddress, data: bytes) -> None:
        number, *_ = _EXTENDED_ERROR.unpack_from(data)
        if number not in _UNREACHABLE:
            return
        error = Unreachable(number, _offender(data[_EXTENDED_ERROR.size :]))
        for waiter in self._at_peer.get(endpoint(peer), ()):
            waiter.unreachable(error)


class _Plain(asyncio.DatagramProtocol):
    """Reads without an error queue."""

    def __init__(self, arrived: Callable[[bytes, Any], None]) -> None:
        self._arrived = arrived

    def datagram_received(self, data: bytes, addr: tuple[str | Any, int]) -> None:
        self._arrived(data, addr)


def has_error_queue() -> bool:
    """Whether this system tells ICMP errors by a queue."""
    return sys.platform == "linux"


def _offender(data: bytes) -> str | None:
    """The address after sock_extended_err: who sent the ICMP message."""
    if len(data) >= 8:  # noqa: PLR2004
        family = int.from_bytes(data[:2], sys.byteorder)
        if family == socket.AF_INET:
            return socket.inet_ntop(family, data[4:8])
        if family == socket.AF_INET6 and len(data) >= 24:  # noqa: PLR2004
            return socket.inet_ntop(family, data[8:24])
    return None
