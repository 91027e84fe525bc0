"""TCP services of simulated devices: they take a connection and close it, nothing more."""

from __future__ import annotations

import os
import socket
from contextlib import suppress

from verifier.simulator.network import SimulatedNetwork

_BACKLOG = 16


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
