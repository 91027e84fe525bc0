"""BER as SNMP uses it: one-octet tags, definite lengths, primitive octets (RFC 3417 section 8).

Clauses named here are those of ITU-T X.690; pyasn1, another codec, agrees in tests. What is read is
read strictly: whatever is cut short, indefinite, or not the shortest form of a number raises
BerError.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable

Oid = tuple[int, ...]

INTEGER, OCTETS, NULL, OBJECT_ID, SEQUENCE = 0x02, 0x04, 0x05, 0x06, 0x30
IP_ADDRESS, COUNTER32, GAUGE32, TIME_TICKS, COUNTER64 = 0x40, 0x41, 0x42, 0x43, 0x46
"""Application tags of RFC 2578 section 7.1."""
NO_SUCH_OBJECT, NO_SUCH_INSTANCE, END_OF_MIB_VIEW = b"\x80\x00", b"\x81\x00", b"\x82\x00"
"""Exceptions of RFC 3416 section 3, encoded."""
NULL_VALUE = b"\x05\x00"

LONG_FORM = 0x80
_MAX_LENGTH_OCTETS = 4
_MAX_INTEGER_OCTETS = 9
_MAX_ARCS, _MAX_ARC = 128, 0xFFFF_FFFF
"""Limits of an object identifier: RFC 2578 section 3.5."""


class BerError(ValueError):
    """The octets are not BER, or not what was expected of them."""


def tlv(tag: int, content: bytes) -> bytes:
    """Tag, length and content; the length in its shortest form (8.1.3)."""
    size = len(content)
    if size < LONG_FORM:
        return bytes((tag, size)) + content
    octets = size.to_bytes((size.bit_length() + 7) // 8, "big")
    return bytes((tag, LONG_FORM | len(octets))) + octets + content


def sequence(*parts: bytes, tag: int = SEQUENCE) -> bytes:
    """Encoded parts in a SEQUENCE, or in a PDU of another constructed tag."""
    return tlv(tag, b"".join(parts))


def integer(value: int, tag: int = INTEGER) -> bytes:
    """A number in two's complement, as few octets as it needs (8.3); unsigned types alike."""
    size = ((value + 1 if value < 0 else value).bit_length() // 8) + 1
    return tlv(tag, value.to_bytes(size, "big", signed=True))


def octets(value: bytes) -> bytes:
    """An OCTET STRING."""
    return tlv(OCTETS, value)


@functools.lru_cache(maxsize=16384)
def object_id(arcs: Oid) -> bytes:
    """An OBJECT IDENTIFIER (8.19): the first two arcs share a number, each in base 128."""
    content = bytearray()
    for arc in (40 * arcs[0] + arcs[1], *arcs[2:]):
        content += _base_128(arc)
    return tlv(OBJECT_ID, bytes(content))


def _base_128(arc: int) -> bytes:
    if arc < LONG_FORM:
        return bytes((arc,))
    reverse = [arc & 0x7F]
    while arc := arc >> 7:
        reverse.append(LONG_FORM | (arc & 0x7F))
    return bytes(reversed(reverse))


class BerReader:
    """Reads elements one after another from `data[at:end]`.

    Attributes:
        at: where the next element begins, from the start of the whole message.
    """

    __slots__ = ("at", "data", "end")

    def __init__(self, data: bytes, at: int = 0, end: int | None = None) -> None:
        self.data = data
        self.at = at
        self.end = len(data) if end is None else end

    def element(self) -> tuple[int, int, int]:
        """Tag of the next element, and where its content begins and ends."""
        data, at = self.data, self.at
        if at + 2 > self.end:
            raise BerError("cut short")
        tag, size = data[at], data[at + 1]
        at += 2
        if size >= LONG_FORM:
            count = size & 0x7F
            if not 0 < count <= _MAX_LENGTH_OCTETS or at + count > self.end:
                raise BerError("impossible length")
            size = int.from_bytes(data[at : at + count], "big")
            at += count
        if at + size > self.end:
            raise BerError("cut short")
        self.at = at + size
        return tag, at, at + size

    def expect(self, wanted: int) -> tuple[int, int]:
        """Where the content of the next element begins and ends; its tag must be `wanted`."""
        tag, start, stop = self.element()
        if tag != wanted:
            raise BerError(f"tag {tag:#x} where {wanted:#x} is expected")
        return start, stop

    def inside(self, tag: int = SEQUENCE) -> BerReader:
        """A reader of the elements inside the next one."""
        start, stop = self.expect(tag)
        return BerReader(self.data, start, stop)

    def octets(self) -> bytes:
        """The next element, an OCTET STRING."""
        start, stop = self.expect(OCTETS)
        return self.data[start:stop]

    def integer(self) -> int:
        """The next element, an INTEGER in its shortest form (8.3.2)."""
        start, stop = self.expect(INTEGER)
        content = self.data[start:stop]
        if not 0 < len(content) <= _MAX_INTEGER_OCTETS:
            raise BerError("an integer of so many octets")
        if len(content) > 1 and (content[0], content[1] >> 7) in {(0x00, 0), (0xFF, 1)}:
            raise BerError("an integer that is not in its shortest form")
        return int.from_bytes(content, "big", signed=True)

    def object_id(self) -> Oid:
        """The next element, an OBJECT IDENTIFIER (8.19)."""
        start, stop = self.expect(OBJECT_ID)
        return arcs_of(self.data[start:stop])

    def skip(self) -> None:
        """Passes over the next element, whatever it is."""
        self.element()

    def finish(self) -> None:
        """Nothing may follow."""
        if self.at != self.end:
            raise BerError("octets after the end")


@functools.lru_cache(maxsize=16384)
def arcs_of(content: bytes) -> Oid:
    """The arcs of an object identifier's content octets (8.19)."""
    if not content or content[-1] & LONG_FORM:
        raise BerError("an object identifier that ends early")
    numbers: list[int] = []
    for number in _numbers(content):
        if number > _MAX_ARC + (0 if numbers else 80):
            raise BerError("an arc that is too large")
        numbers.append(number)
    first = min(numbers[0] // 40, 2)
    if len(numbers) >= _MAX_ARCS:
        raise BerError("an object identifier of too many arcs")
    return (first, numbers[0] - 40 * first, *numbers[1:])


def _numbers(content: bytes) -> Iterable[int]:
    number, fresh = 0, True
    for octet in content:
        if fresh and octet == LONG_FORM:
            raise BerError("an arc that is not in its shortest form")
        number = number << 7 | octet & 0x7F
        fresh = not octet & LONG_FORM
        if fresh:
            yield number
            number = 0
