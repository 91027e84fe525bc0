"""The event loop: one UDP socket for each port of agents, one TCP socket for each open service.

A reply leaves from the address that was asked: the kernel tells it with each datagram (IP_PKTINFO)
and takes it back with the reply. That needs a socket bound to every address of this machine; a
datagram that was not sent from and to 127.0.0.0/8 is dropped, so nothing else is ever served.
"""

from __future__ import annotations

import heapq
import itertools
import os
import select
import socket
import struct
import time
from contextlib import ExitStack, suppress

from verifier.errors import UsageError
from verifier.model.address import Address
from verifier.simulator.device import SimulatedDevice
from verifier.simulator.network import SimulatedNetwork

_IP_PKTINFO = 8
"""From linux/in.h; Python 3.11 does not name it."""
_PKTINFO = struct.Struct("=I4s4s")
"""in_pktinfo: interface, local address, destination in the header (ip(7))."""
_ANCILLARY_SPACE = socket.CMSG_SPACE(_PKTINFO.size)
_EVERY_ADDRESS = "0.0.0.0"  # noqa: S104 - see above
_LOOPBACK_NET = "127."
_MAX_DATAGRAM = 65535
_BUFFER_OCTETS = 8 << 20
_BACKLOG = 16
_BURST = 512
"""Datagrams of one socket before the others get their turn."""

Ancillary = list[tuple[int, int, bytes]]
Peer = tuple[str, int]


def _from(address: bytes) -> Ancillary:
    """What makes a datagram leave from this address."""
    return [(socket.IPPROTO_IP, _IP_PKTINFO, _PKTINFO.pack(0, address, b"\0\0\0\0"))]


class _Port:
    """A socket and the agents behind it."""

    def __init__(self, port: int, agents: dict[bytes, SimulatedDevice]) -> None:
        self.agents = {address: (device, _from(address)) for address, device in agents.items()}
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK)
        self.socket.setsockopt(socket.IPPROTO_IP, _IP_PKTINFO, 1)
        for option in (socket.SO_RCVBUF, getattr(socket, "SO_RCVBUFFORCE", 33)):
            with suppress(PermissionError):
                self.socket.setsockopt(socket.SOL_SOCKET, option, _BUFFER_OCTETS)
        try:
            self.socket.bind((_EVERY_ADDRESS, port))
        except OSError as error:
            self.socket.close()
            raise UsageError(
                f"UDP port {port} cannot be listened on: {os.strerror(error.errno or 0)}"
            ) from None


class Listeners:
    """One socket for each open service of each device, at the device's own address.

    Attributes:
        not_listening: services that could not be opened, and why: ports below 1024 need a
            privilege, and the number of open files has a limit.
    """

    def __init__(self, network: SimulatedNetwork | None) -> None:
        self.not_listening: list[str] = []
        self._sockets: dict[int, socket.socket] = {}
        for device in network.devices.values() if network is not None else ():
            own, usual = device.device.services, device.profile.services
            for service in sorted({*own.open, *usual.open} - {*own.closed}, key=str):
                self._open(str(device.device.address.address), service.port, device.device.name)

    def _open(self, address: str, port: int, name: str) -> None:
        try:
            opened = socket.create_server((address, port), backlog=_BACKLOG)
        except OSError as error:
            reason = os.strerror(error.errno or 0)
            self.not_listening.append(f"{name}: {address}, TCP port {port}: {reason}")
            return
        opened.settimeout(0)
        self._sockets[opened.fileno()] = opened

    def descriptors(self) -> tuple[int, ...]:
        """What to wait for."""
        return tuple(self._sockets)

    def accept(self, fd: int) -> None:
        """Takes a connection and closes it."""
        with suppress(OSError):
            self._sockets[fd].accept()[0].close()

    def close(self) -> None:
        """Closes every socket."""
        for opened in self._sockets.values():
            opened.close()
        self._sockets.clear()


class Server:
    """Serves a network until it is told to stop.

    Args:
        network: whose agents answer; its faults may change while it runs.
        services: whether to listen at the planned TCP services as well.

    Attributes:
        not_listening: TCP services that could not be opened, in words.

    Raises UsageError where a UDP port cannot be listened on.
    """

    def __init__(self, network: SimulatedNetwork, *, services: bool = False) -> None:
        with ExitStack() as opened:
            self._ports: dict[int, _Port] = {}
            for number, agents in network.agents().items():
                port = _Port(number, agents)
                opened.callback(port.socket.close)
                self._ports[port.socket.fileno()] = port
            self._listeners = Listeners(network if services else None)
            opened.callback(self._listeners.close)
            self._stop = os.eventfd(0, os.EFD_NONBLOCK | os.EFD_CLOEXEC)
            opened.callback(os.close, self._stop)
            self._poll = select.epoll()
            opened.callback(self._poll.close)
            for fd in (*self._ports, *self._listeners.descriptors(), self._stop):
                self._poll.register(fd, select.EPOLLIN)
            self._opened = opened.pop_all()
        self._late: list[tuple[float, int, socket.socket, bytes, Ancillary, Peer]] = []
        self._numbers = itertools.count()
        self.not_listening = self._listeners.not_listening

    def stop(self) -> None:
        """Ends `run`; may be called from another thread, and twice."""
        with suppress(OSError):
            os.eventfd_write(self._stop, 1)

    def run(self) -> None:
        """Serves until `stop`; then every socket is closed."""
        with self._opened:
            while True:
                for fd, _ in self._poll.poll(self._wait_s()):
                    if fd == self._stop:
                        return
                    if fd in self._ports:
                        self._drain(self._ports[fd])
                    else:
                        self._listeners.accept(fd)
                self._send_late()

    def _drain(self, port: _Port) -> None:
        """Answers what has come to a socket."""
        receive, send, agents = port.socket.recvmsg, port.socket.sendmsg, port.agents
        clock = time.monotonic
        try:
            for _ in range(_BURST):
                data, ancillary, _, peer = receive(_MAX_DATAGRAM, _ANCILLARY_SPACE)
                agent = agents.get(ancillary[0][2][8:12]) if ancillary else None
                if agent is None or not peer[0].startswith(_LOOPBACK_NET):
                    continue
                device, origin = agent
                reply = device.kept_reply(data, clock())
                if reply is None:
                    self._answer(port, device, data, origin, peer)
                else:
                    send((reply,), origin, 0, peer)
        except BlockingIOError:
            return
        except OSError:  # a reply that cannot be sent: nobody waits for it any more
            return

    def _answer(
        self, port: _Port, device: SimulatedDevice, data: bytes, origin: Ancillary, peer: Peer
    ) -> None:
        """Works out and sends a reply that is not kept."""
        now_s = time.monotonic()
        reply = device.reply(data, now_s)
        if reply is None:
            return
        condition = device.condition
        if isinstance(condition.responder, Address):
            origin = _from(condition.responder.ip.packed)
        if condition.delay_s:
            due = (now_s + condition.delay_s, next(self._numbers))
            heapq.heappush(self._late, (*due, port.socket, reply, origin, peer))
        else:
            port.socket.sendmsg((reply,), origin, 0, peer)

    def _wait_s(self) -> float | None:
        return max(0.0, self._late[0][0] - time.monotonic()) if self._late else None

    def _send_late(self) -> None:
        while self._late and self._late[0][0] <= time.monotonic():
            _, _, origin_socket, reply, origin, peer = heapq.heappop(self._late)
            with suppress(OSError):
                origin_socket.sendmsg((reply,), origin, 0, peer)
