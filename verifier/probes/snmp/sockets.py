"""UDP sockets and their addresses."""

from __future__ import annotations

import os
import socket
import sys
from collections.abc import Mapping
from dataclasses import dataclass

from verifier.errors import CannotMeasureError
from verifier.model.address import Address

SocketAddress = tuple[str, int] | tuple[str, int, int, int]


@dataclass(frozen=True, slots=True)
class Endpoint:
    """An address and port to be compared, however a socket spells them.

    Attributes:
        scope: of a link-local IPv6 address the interface's number, else 0 (RFC 4007).
    """

    host: str
    port: int
    scope: int = 0


RECEIVE_BUFFER_BYTES = 4 << 20
"""Asked for; the kernel gives at most net.core.rmem_max (twice that to root)."""


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
