"""The few questions this program asks the Linux kernel by rtnetlink(7), and one kind of order.

Constants: linux/netlink.h, linux/rtnetlink.h, linux/neighbour.h, linux/if_addr.h.
"""

from __future__ import annotations

import errno
import socket
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Self

from verifier.model.address import Address, Interface

_NLMSG_ERROR, _NLMSG_DONE = 2, 3
_RTM_GETLINK = 18
_RTM_NEWADDR, _RTM_DELADDR, _RTM_GETADDR = 20, 21, 22
_RTM_GETNEIGH, _RTM_GETROUTE = 30, 26
_NLM_F_REQUEST, _NLM_F_ACK, _NLM_F_DUMP = 0x001, 0x004, 0x300
_NLM_F_EXCL, _NLM_F_CREATE = 0x200, 0x400
_RTM_F_FIB_MATCH = 0x2000
_RTA_DST, _RTA_OIF, _RTA_GATEWAY, _RTA_PREFSRC = 1, 4, 5, 7
_NDA_DST, _NDA_LLADDR = 1, 2
_IFA_ADDRESS, _IFA_LOCAL, _IFA_CACHEINFO, _IFA_FLAGS = 1, 2, 6, 8
_IFLA_IFNAME, _IFLA_LINKINFO, _IFLA_INFO_KIND, _IFLA_INFO_DATA, _IFLA_VLAN_ID = 3, 18, 1, 2, 1
_HEADER = struct.Struct("=IHHII")
_RTMSG = struct.Struct("=BBBBBBBBI")
_NDMSG = struct.Struct("=BBHiHBB")
_IFADDRMSG = struct.Struct("=BBBBi")
_IFINFOMSG = struct.Struct("=BBHiII")
_CACHEINFO = struct.Struct("=IIII")
_NUD_FAILED = 0x20
_TIMEOUT_S = 2.0


@dataclass(frozen=True, slots=True)
class HeldAddress:
    """An address of an interface.

    Attributes:
        created: when it was set, in 1/100 s since the system started.
        flags: IFA_F_SECONDARY 0x01, IFA_F_DADFAILED 0x08, IFA_F_TENTATIVE 0x40.
    """

    index: int
    packed: bytes
    prefix: int
    created: int
    flags: int


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
        for message in self._ask(_RTM_GETROUTE, 0, _route_question(to, 0)):
            attributes = _attributes(message[_RTMSG.size :])
            return (
                _interface_index(attributes),
                attributes.get(_RTA_PREFSRC),
                attributes.get(_RTA_GATEWAY),
            )
        return None

    def matched(self, to: Address) -> tuple[int, int] | None:
        """Interface index and prefix length of the table's entry for `to`; None if none."""
        for message in self._ask(_RTM_GETROUTE, 0, _route_question(to, _RTM_F_FIB_MATCH)):
            return _interface_index(_attributes(message[_RTMSG.size :])), message[1]
        return None

    def vlans(self) -> Iterator[tuple[str, int]]:
        """Name and VLAN of each tagged interface."""
        for message in self._ask(_RTM_GETLINK, _NLM_F_DUMP, _IFINFOMSG.pack(0, 0, 0, 0, 0, 0)):
            if (vlan := vlan_of(message)) is not None:
                yield vlan

    def addresses(self) -> Iterator[HeldAddress]:
        """Every address of every interface."""
        for message in self._ask(_RTM_GETADDR, _NLM_F_DUMP, _IFADDRMSG.pack(0, 0, 0, 0, 0)):
            _, prefix, short, _, index = _IFADDRMSG.unpack_from(message)
            attributes = _attributes(message[_IFADDRMSG.size :])
            packed = attributes.get(_IFA_LOCAL) or attributes.get(_IFA_ADDRESS)
            if packed:
                created = _CACHEINFO.unpack(attributes[_IFA_CACHEINFO])[2]
                flags = (
                    struct.unpack("=I", attributes[_IFA_FLAGS])[0]
                    if _IFA_FLAGS in attributes
                    else short
                )
                yield HeldAddress(index, packed, prefix, created, flags)

    def add_address(self, index: int, own: Interface) -> None:
        """Sets one more address. Raises OSError: EEXIST, ENODEV, EPERM, ..."""
        flags = _NLM_F_ACK | _NLM_F_CREATE | _NLM_F_EXCL
        list(self._ask(_RTM_NEWADDR, flags, _address_order(index, own)))

    def delete_address(self, index: int, own: Interface) -> None:
        """Takes an address away. Raises OSError: EADDRNOTAVAIL, ENODEV, EPERM, ..."""
        list(self._ask(_RTM_DELADDR, _NLM_F_ACK, _address_order(index, own)))

    def neighbours(self) -> Iterator[tuple[int, bytes, bytes]]:
        """The kernel's neighbour table: interface index, address, hardware address."""
        for message in self._ask(_RTM_GETNEIGH, _NLM_F_DUMP, _NDMSG.pack(0, 0, 0, 0, 0, 0, 0)):
            _, _, _, index, state, _, _ = _NDMSG.unpack_from(message)
            attributes = _attributes(message[_NDMSG.size :])
            if not state & _NUD_FAILED and _NDA_DST in attributes and _NDA_LLADDR in attributes:
                yield index, attributes[_NDA_DST], attributes[_NDA_LLADDR]

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


def vlan_of(message: bytes) -> tuple[str, int] | None:
    """Name and VLAN out of a link's description, or None where it does not tag."""
    attributes = _attributes(message[_IFINFOMSG.size :])
    info = _attributes(attributes.get(_IFLA_LINKINFO, b""))
    tag = _attributes(info.get(_IFLA_INFO_DATA, b"")).get(_IFLA_VLAN_ID)
    if info.get(_IFLA_INFO_KIND, b"").rstrip(b"\0") != b"vlan" or tag is None:
        return None
    name = attributes.get(_IFLA_IFNAME, b"").rstrip(b"\0").decode(errors="replace")
    return name, struct.unpack("=H", tag[:2])[0]


def _route_question(to: Address, flags: int) -> bytes:
    family = socket.AF_INET if to.is_v4 else socket.AF_INET6
    body = _RTMSG.pack(family, to.bits, 0, 0, 0, 0, 0, 0, flags)
    body += _attribute(_RTA_DST, to.ip.packed)
    if to.zone:
        body += _attribute(_RTA_OIF, struct.pack("=I", socket.if_nametoindex(to.zone)))
    return body


def _address_order(index: int, own: Interface) -> bytes:
    family = socket.AF_INET if own.address.is_v4 else socket.AF_INET6
    packed = own.address.ip.packed
    body = _IFADDRMSG.pack(family, own.prefix, 0, 0, index)
    return body + _attribute(_IFA_LOCAL, packed) + _attribute(_IFA_ADDRESS, packed)


def _interface_index(attributes: dict[int, bytes]) -> int:
    return int(struct.unpack("=I", attributes[_RTA_OIF])[0]) if _RTA_OIF in attributes else 0


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
    attributes = {}
    while len(data) >= 4:  # noqa: PLR2004
        length, kind = struct.unpack_from("=HH", data)
        if not 4 <= length <= len(data):  # noqa: PLR2004
            break
        attributes[kind & 0x3FFF] = data[4:length]
        data = data[(length + 3) & ~3 :]
    return attributes
