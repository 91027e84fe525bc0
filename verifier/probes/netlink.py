"""The few questions this program asks the Linux kernel by rtnetlink(7). Read only.

Constants: linux/netlink.h, linux/rtnetlink.h, linux/neighbour.h.
"""

from __future__ import annotations

import errno
import socket
import struct
from collections.abc import Iterator
from typing import Self

from verifier.model.address import Address

_NLMSG_ERROR, _NLMSG_DONE = 2, 3
_RTM_GETNEIGH, _RTM_GETROUTE = 30, 26
_NLM_F_REQUEST, _NLM_F_DUMP = 0x001, 0x300
_RTA_DST, _RTA_OIF, _RTA_GATEWAY, _RTA_PREFSRC = 1, 4, 5, 7
_NDA_DST, _NDA_LLADDR = 1, 2
_HEADER = struct.Struct("=IHHII")
_RTMSG = struct.Struct("=BBBBBBBBI")
_NDMSG = struct.Struct("=BBHiHBB")
_NUD_FAILED = 0x20
_TIMEOUT_S = 2.0


class Netlink:
    """A netlink socket; a context manager. Raises OSError where the kernel has none."""

    def __init__(self) -> None:
        self._socket = socket.socket(socket.AF_NETLINK, socket.SOCK_RAW, 0)
        self._socket.settimeout(_TIMEOUT_S)
        self._sequence = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self._socket.close()

    def route(self, to: Address) -> tuple[int, bytes | None, bytes | None] | None:
        """The kernel's route to `to`: interface index, source address, next hop; None if none."""
        family = socket.AF_INET if to.is_v4 else socket.AF_INET6
        body = _RTMSG.pack(family, to.bits, 0, 0, 0, 0, 0, 0, 0)
        body += _attribute(_RTA_DST, to.ip.packed)
        if to.zone:
            body += _attribute(_RTA_OIF, struct.pack("=I", socket.if_nametoindex(to.zone)))
        for message in self._ask(_RTM_GETROUTE, 0, body):
            found = _attributes(message[_RTMSG.size :])
            index = struct.unpack("=I", found[_RTA_OIF])[0] if _RTA_OIF in found else 0
            return index, found.get(_RTA_PREFSRC), found.get(_RTA_GATEWAY)
        return None

    def neighbours(self) -> Iterator[tuple[int, bytes, bytes]]:
        """The kernel's neighbour table: interface index, address, hardware address."""
        for message in self._ask(_RTM_GETNEIGH, _NLM_F_DUMP, _NDMSG.pack(0, 0, 0, 0, 0, 0, 0)):
            _, _, _, index, state, _, _ = _NDMSG.unpack_from(message)
            found = _attributes(message[_NDMSG.size :])
            if not state & _NUD_FAILED and _NDA_DST in found and _NDA_LLADDR in found:
                yield index, found[_NDA_DST], found[_NDA_LLADDR]

    def _ask(self, kind: int, flags: int, body: bytes) -> Iterator[bytes]:
        """Sends one request; yields the bodies of its answers. Nothing where there is no route."""
        self._sequence += 1
        header = _HEADER.pack(
            _HEADER.size + len(body), kind, _NLM_F_REQUEST | flags, self._sequence, 0
        )
        self._socket.sendto(header + body, (0, 0))
        while True:
            for message_kind, payload in _messages(self._socket.recv(1 << 18), self._sequence):
                if message_kind == _NLMSG_DONE:
                    return
                if message_kind == _NLMSG_ERROR:
                    code = -struct.unpack_from("=i", payload)[0]
                    if code in {0, errno.ENETUNREACH, errno.EHOSTUNREACH, errno.ENETDOWN}:
                        return
                    raise OSError(code, "rtnetlink")
                yield payload
            if not flags & _NLM_F_DUMP:
                return


def _messages(data: bytes, sequence: int) -> Iterator[tuple[int, bytes]]:
    while len(data) >= _HEADER.size:
        length, kind, _, number, _ = _HEADER.unpack_from(data)
        if not _HEADER.size <= length <= len(data):
            return
        if number == sequence:
            yield kind, data[_HEADER.size : length]
        data = data[(length + 3) & ~3 :]


def _attribute(kind: int, value: bytes) -> bytes:
    length = 4 + len(value)
    return struct.pack("=HH", length, kind) + value + b"\0" * (-length % 4)


def _attributes(data: bytes) -> dict[int, bytes]:
    found = {}
    while len(data) >= 4:  # noqa: PLR2004
        length, kind = struct.unpack_from("=HH", data)
        if not 4 <= length <= len(data):  # noqa: PLR2004
            break
        found[kind & 0x3FFF] = data[4:length]
        data = data[(length + 3) & ~3 :]
    return found
