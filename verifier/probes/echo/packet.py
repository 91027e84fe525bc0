"""Echo packets as bytes: requests out, replies and the errors that quote a request in. Pure.

The payload of a request begins with a token, the number of its target and the number of the echo:
16 bits of identifier and 16 of sequence are not enough to tell two programs, or two days, apart.
"""

from __future__ import annotations

import socket
import struct
from typing import Final, NamedTuple

ECHO_REQUEST: Final = {4: 8, 6: 128}
"""Type of an echo request (RFC 792; RFC 4443 4.1)."""
ECHO_REPLY: Final = {4: 0, 6: 129}
"""Type of an echo reply (RFC 792; RFC 4443 4.2)."""
ERRORS: Final = {4: (3, 11, 12), 6: (1, 2, 3, 4)}
"""Types of errors that quote the packet they are about (RFC 792; RFC 4443 section 3)."""

TOKEN_BYTES: Final = 8
MIN_PAYLOAD_BYTES: Final = 16
MAX_PAYLOAD_BYTES: Final = 65507
"""An IPv4 packet holds 65,535 bytes, 20 of header and 8 of ICMP header (RFC 791 3.1, RFC 792)."""

_HEADERS: Final = {4: 28, 6: 48}
"""IP header without options and ICMP header, in bytes (RFC 791, RFC 8200, RFC 792, RFC 4443)."""
_ECHO = struct.Struct("!BBHHH8sII")
_ECHO_HEADER = struct.Struct("!BBHHH")
_ONES: Final = 0xFFFF
_IPV6_HEADER: Final = 40
_ICMP_HEADER: Final = 8
_FRAGMENT: Final = 44

_WORDS: Final = {
    # RFC 792; codes 6 to 12 RFC 1122 3.2.2.1; codes 13 to 15 RFC 1812 5.2.7.1
    (4, 3): (
        "network unreachable",
        "host unreachable",
        "protocol unreachable",
        "port unreachable",
        "fragmentation needed and DF set",
        "source route failed",
        "destination network unknown",
        "destination host unknown",
        "source host isolated",
        "communication with destination network administratively prohibited",
        "communication with destination host administratively prohibited",
        "network unreachable for type of service",
        "host unreachable for type of service",
        "communication administratively prohibited",
        "host precedence violation",
        "precedence cutoff in effect",
    ),
    (4, 11): ("time to live exceeded in transit", "fragment reassembly time exceeded"),
    (4, 12): ("parameter problem", "required option missing", "parameter problem: bad length"),
    # RFC 4443 3.1 to 3.4; code 7 RFC 6554 section 4.2
    (6, 1): (
        "no route to destination",
        "communication administratively prohibited",
        "beyond scope of source address",
        "address unreachable",
        "port unreachable",
        "source address failed ingress/egress policy",
        "reject route to destination",
        "error in source routing header",
    ),
    (6, 2): ("packet too big",),
    (6, 3): ("hop limit exceeded in transit", "fragment reassembly time exceeded"),
    (6, 4): (
        "erroneous header field",
        "unrecognized next header type",
        "unrecognized IPv6 option",
    ),
}


def payload_bytes(version: int, packet_bytes: int) -> int:
    """Payload of an echo that makes a whole IP packet so large."""
    return packet_bytes - _HEADERS[version]


class EchoReply(NamedTuple):
    """An echo reply long enough to carry our payload; whether it is ours is not yet known."""

    ident: int
    sequence: int
    token: bytes
    target: int
    number: int


class Quoted(NamedTuple):
    """An error about an echo request that somebody on this machine sent to `destination`.

    `mtu`: the largest packet that goes on from there, where the error is about that (RFC 1191
    section 4, RFC 4443 3.2); None where it does not say.
    """

    type: int
    code: int
    destination: str
    ident: int
    sequence: int
    mtu: int | None = None


def ones_sum(data: bytes) -> int:
    """Returns the 16-bit one's complement sum (RFC 1071 section 1); an odd byte is padded with 0.

    65,536 leaves 1 when divided by 65,535, so the sum of the words is the remainder of the whole.
    """
    number = int.from_bytes(data, "big") << 8 * (len(data) & 1)
    return number % _ONES or (_ONES if number else 0)


def checksum(data: bytes) -> int:
    """Returns the Internet checksum of `data` whose checksum field is zero (RFC 1071)."""
    return _ONES - ones_sum(data)


def words_of(version: int, type_: int, code: int) -> str:
    """Returns an error's type and code in words: `host unreachable`."""
    words = _WORDS.get((version, type_), ())
    return words[code] if code < len(words) else f"ICMP type {type_} code {code}"


class RequestMaker:
    """Builds the echo requests of one run on one socket, quickly.

    Args:
        token: 8 random bytes of this run.
        payload_bytes: bytes after the ICMP header, 16 to 65,507; ValueError outside.
    """

    def __init__(self, version: int, ident: int, token: bytes, payload_bytes: int) -> None:
        if not MIN_PAYLOAD_BYTES <= payload_bytes <= MAX_PAYLOAD_BYTES:
            raise ValueError(
                f"{payload_bytes} bytes of payload: {MIN_PAYLOAD_BYTES} to {MAX_PAYLOAD_BYTES}"
            )
        self._type = ECHO_REQUEST[version]
        self._ident = ident
        self._token = token
        self._filler = bytes(i & 0xFF for i in range(payload_bytes - MIN_PAYLOAD_BYTES))
        fixed = _ECHO.pack(self._type, 0, 0, ident, 0, token, 0, 0) + self._filler
        # The checksum of ICMPv6 covers addresses that only the kernel knows (RFC 4443 2.3).
        self._sum = ones_sum(fixed) if version == 4 else None  # noqa: PLR2004

    def __call__(self, sequence: int, target: int, number: int) -> bytes:
        """Returns a finished packet; the checksum is 0 for IPv6, where the kernel writes it."""
        check = 0 if self._sum is None else -(self._sum + sequence + target + number) % _ONES
        head = _ECHO.pack(self._type, 0, check, self._ident, sequence, self._token, target, number)
        return head + self._filler


def parse(
    packet: bytes | memoryview, version: int, *, ip_header: bool = False
) -> EchoReply | Quoted | None:
    """Reads what an ICMP socket delivered.

    Args:
        packet: the bytes as they were delivered.
        version: 4 or 6.
        ip_header: whether the packet begins with its IPv4 header, as on a raw socket.

    Returns:
        None for anything else than an echo reply or an error about an echo request, and for an
        IPv4 packet whose checksum is wrong (the kernel checks ICMPv6 itself). Raises nothing.
    """
    start = _ipv4_header_bytes(packet) if ip_header else 0
    if start is None or len(packet) < start + _ICMP_HEADER:
        return None
    if version == 4 and int.from_bytes(packet[start:], "big") % _ONES:  # noqa: PLR2004
        return None
    type_, code = packet[start], packet[start + 1]
    if type_ in ERRORS[version]:
        quoted = _parse_quoted(packet[start + _ICMP_HEADER :], version, type_, code)
        mtu = int.from_bytes(packet[start + 4 : start + _ICMP_HEADER], "big")
        return quoted and quoted._replace(mtu=next_mtu(version, type_, code, mtu))
    if type_ != ECHO_REPLY[version] or code or len(packet) < start + _ECHO.size:
        return None
    return EchoReply._make(_ECHO.unpack_from(packet, start)[3:])


def _ipv4_header_bytes(packet: bytes | memoryview) -> int | None:
    """Returns the length of the IPv4 header of a whole ICMP packet, or None."""
    if len(packet) < 20 or packet[0] >> 4 != 4 or packet[9] != socket.IPPROTO_ICMP:  # noqa: PLR2004
        return None
    length = (packet[0] & 0x0F) * 4
    return length if length >= 20 else None  # noqa: PLR2004


def _parse_quoted(quote: bytes | memoryview, version: int, type_: int, code: int) -> Quoted | None:
    """Reads the packet inside an error: IP header and at least 8 bytes (RFC 792, RFC 4443 2.4)."""
    if version == 4:  # noqa: PLR2004
        start = _ipv4_header_bytes(quote)
        if start is None or int.from_bytes(quote[6:8], "big") & 0x1FFF:  # a later fragment
            return None
        destination = quote[16:20]
    else:
        if len(quote) < _IPV6_HEADER + _ICMP_HEADER or quote[0] >> 4 != 6:  # noqa: PLR2004
            return None
        start, next_header, destination = _IPV6_HEADER, quote[6], quote[24:40]
        if next_header == _FRAGMENT and not int.from_bytes(quote[42:44], "big") & 0xFFF8:
            start, next_header = start + 8, quote[40]  # RFC 8200 4.5
        if next_header != socket.IPPROTO_ICMPV6:
            return None
    echo = echo_header(quote[start:], version)
    if echo is None:
        return None
    family = socket.AF_INET if version == 4 else socket.AF_INET6  # noqa: PLR2004
    return Quoted(type_, code, socket.inet_ntop(family, bytes(destination)), *echo)


def next_mtu(version: int, type_: int, code: int, rest: int) -> int | None:
    """The MTU that the second word of an error's header tells, where it is such an error."""
    if (version, type_, code) == (4, 3, 4):
        return (rest & 0xFFFF) or None
    return rest or None if (version, type_) == (6, 2) else None


def echo_header(packet: bytes | memoryview, version: int) -> tuple[int, int] | None:
    """Returns identifier and sequence of an echo request, or None if it is not one."""
    if len(packet) < _ICMP_HEADER:
        return None
    type_, code, _, ident, sequence = _ECHO_HEADER.unpack_from(packet)
    return (ident, sequence) if type_ == ECHO_REQUEST[version] and code == 0 else None
