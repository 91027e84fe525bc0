"""SNMP messages by hand: their ids, the first fields of any, and a whole response of v1 or v2c.

Late, doubled and foreign datagrams are told by a few comparisons, before anything is decoded.
Values stay octets: `smi` reads them.
BER: ITU-T X.690 section 8.1. Messages: RFC 1157 section 4, RFC 3412 section 6, RFC 3414 section
2.4.

Responses of v1 and v2c are read here and not by pysnmp; those of v3 see `engine`.

Nobody can guess an id, and none is used twice while it is open. An id that counts up, as pysnmp's
own do, lets whoever is asked answer for the one that is asked next. So each is drawn anew from the
system's random numbers (RFC 3416 section 3 and RFC 3412 section 6.2 leave the choice to the
sender), for every engine and device of this process from one place.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable
from dataclasses import dataclass

INTEGER, OCTETS, OID, SEQUENCE, RESPONSE = 0x02, 0x04, 0x06, 0x30, 0xA2
_MOST_ARC = 2**32 - 1
"""RFC 2578 section 7.1.3."""
V1, V2C, V3 = 0, 1, 3
_MOST_ID = 2**31 - 1
"""RFC 3416 section 3 (request-id), RFC 3412 section 6.2 (msgID)."""


class MessageIds:
    """Ids that are open: drawn, and not closed yet.

    Args:
        below: gives a random number from 0 up to, and not including, its argument.
    """

    def __init__(self, below: Callable[[int], int] = secrets.randbelow) -> None:
        self._below = below
        self._open: set[int] = set()

    def draw(self) -> int:
        """A random id from 1 to 2^31-1 that is not open; it is now."""
        while True:
            drawn = self._below(_MOST_ID) + 1
            if drawn not in self._open:
                self._open.add(drawn)
                return drawn

    def close(self, ids: Iterable[int]) -> None:
        """From now on these may be drawn again."""
        self._open.difference_update(ids)


IDS = MessageIds()
"""Of this process: one for all its engines and devices."""


@dataclass(frozen=True, slots=True)
class Header:
    """What is known of a message before it is decoded.

    Attributes:
        id: request-id of v1 and v2c, msgID of v3.
        response: whether it can be an answer: a Response PDU, or any v3 message.
    """

    version: int
    id: int
    response: bool
    engine_id: bytes = b""
    boots: int = 0
    time: int = 0


@dataclass(frozen=True, slots=True)
class Plain:
    """A Response of v1 or v2c (RFC 1157 section 4.1.2, RFC 3416 section 3).

    Attributes:
        bindings: names, and the octets of values with their tags and lengths.
    """

    version: int
    community: bytes
    id: int
    error_status: int
    error_index: int
    bindings: tuple[tuple[tuple[int, ...], bytes], ...]


class _TlvReader:
    """Walks over tag, length, value."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def enter(self, *tags: int) -> int:
        """Steps over a tag and its length; returns the length."""
        tag = self._data[self._at]
        if tags and tag not in tags:
            raise ValueError(tag)
        length = self._data[self._at + 1]
        self._at += 2
        if length > 0x80:  # noqa: PLR2004
            size = length & 0x7F
            length = int.from_bytes(self._data[self._at : self._at + size], "big")
            self._at += size
        return length

    def value(self, tag: int) -> bytes:
        length = self.enter(tag)
        content = self._data[self._at : self._at + length]
        if len(content) != length:
            raise ValueError(length)
        self._at += length
        return content

    def whole(self) -> bytes:
        """The next value with its tag and length, whatever it is."""
        begin = self._at
        length = self.enter()
        self._at += length
        if self._at > len(self._data):
            raise ValueError(length)
        return self._data[begin : self._at]

    @property
    def left(self) -> bool:
        return self._at < len(self._data)

    def integer(self) -> int:
        return int.from_bytes(self.value(INTEGER), "big", signed=True)

    def peek(self) -> int:
        return self._data[self._at]


def read_header(datagram: bytes) -> Header | None:
    """The message's header; None where it is not SNMP."""
    try:
        reader = _TlvReader(datagram)
        reader.enter(SEQUENCE)
        version = reader.integer()
        if version == V3:
            return _header_v3(reader)
        if version not in {V1, V2C}:
            return None
        reader.value(OCTETS)
        kind = reader.peek()
        reader.enter()
        return Header(version, reader.integer(), kind == RESPONSE)
    except (IndexError, ValueError):
        return None


def _header_v3(reader: _TlvReader) -> Header:
    fields = _TlvReader(reader.value(SEQUENCE))
    security = _TlvReader(reader.value(OCTETS))
    security.enter(SEQUENCE)
    return Header(
        version=V3,
        id=fields.integer(),
        response=True,
        engine_id=security.value(OCTETS),
        boots=security.integer(),
        time=security.integer(),
    )


def read_response(datagram: bytes) -> Plain | None:
    """A Response of v1 or v2c; None where the octets are none."""
    try:
        message = _TlvReader(_TlvReader(datagram).value(SEQUENCE))
        version, community = message.integer(), message.value(OCTETS)
        pdu = _TlvReader(message.value(RESPONSE))
        id_, status, index = pdu.integer(), pdu.integer(), pdu.integer()
        listed = _TlvReader(pdu.value(SEQUENCE))
        bindings = []
        while listed.left:
            one = _TlvReader(listed.value(SEQUENCE))
            bindings.append((_name(one.value(OID)), one.whole()))
            if one.left:
                return None
    except (IndexError, ValueError):
        return None
    if version not in {V1, V2C} or pdu.left:
        return None
    return Plain(version, community, id_, status, index, tuple(bindings))


def _name(content: bytes) -> tuple[int, ...]:
    """The name of an object (X.690 section 8.19). Raises ValueError where it is none."""
    arcs, arc = [], 0
    for octet in content:
        arc = arc << 7 | octet & 0x7F
        if not octet & 0x80:
            arcs.append(arc)
            arc = 0
    if not arcs or content[-1] & 0x80 or max(arcs) > _MOST_ARC:
        raise ValueError(content)
    first = min(arcs[0] // 40, 2)
    return (first, arcs[0] - 40 * first, *arcs[1:])
