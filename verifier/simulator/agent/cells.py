"""Values of a simulated device in BER: encoded once, or for each answer where they run with time.

BER as SNMP uses it has one-octet tags, definite lengths, primitive octets (RFC 3417 section 8).

Clauses named here are those of ITU-T X.690; pyasn1, another codec, agrees in tests. What is read is
read strictly: whatever is cut short, indefinite, or not the shortest form of a number raises
BerError.
"""

from __future__ import annotations

import functools
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from verifier.model.address import Address

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


_TICKS_PER_S = 100
_WRAP_32 = 1 << 32
_WRAP_64 = 1 << 64

Running = Callable[[float], bytes]
"""The encoded value so many seconds after the device started."""
Cell = bytes | Running
Row = tuple[Oid, Cell]


def oid(text: str) -> Oid:
    """Arcs of a dotted object identifier."""
    return tuple(map(int, text.split(".")))


def number(value: int) -> bytes:
    """An INTEGER; what does not fit in 32 bits stops at their end."""
    return integer(max(-(1 << 31), min(value, (1 << 31) - 1)))


def text(value: str) -> bytes:
    """An OCTET STRING in UTF-8."""
    return octets(value.encode())


def gauge(value: int) -> bytes:
    """A Gauge32, which latches at its largest value (RFC 2578 7.1.7)."""
    return integer(min(value, _WRAP_32 - 1), GAUGE32)


def counter(value: int) -> bytes:
    """A Counter32."""
    return integer(value % _WRAP_32, COUNTER32)


def ticks(value: int) -> bytes:
    """TimeTicks, hundredths of a second."""
    return integer(value % _WRAP_32, TIME_TICKS)


def pointer(arcs: Oid) -> bytes:
    """An OBJECT IDENTIFIER."""
    return object_id(arcs)


def ip_address(address: Address) -> bytes:
    """An IpAddress."""
    return tlv(IP_ADDRESS, address.ip.packed)


class Uptime:
    """sysUpTime. There is one: replies that hold it are kept, and its octets put in."""

    __slots__ = ()

    @staticmethod
    def ticks(up_s: float) -> int:
        """Hundredths of a second, from 0 again after 497 days (RFC 2578 7.1.8)."""
        return int(up_s * _TICKS_PER_S) % _WRAP_32

    def __call__(self, up_s: float) -> bytes:
        """The encoded TimeTicks."""
        return integer(self.ticks(up_s), TIME_TICKS)


UPTIME = Uptime()


@dataclass(frozen=True, slots=True)
class RunningCount:
    """A counter that grows evenly from 0 at the device's start."""

    per_s: float
    tag: int = COUNTER32

    def __call__(self, up_s: float) -> bytes:
        """The encoded counter, from 0 again after its largest value."""
        wrap = _WRAP_64 if self.tag == COUNTER64 else _WRAP_32
        return integer(int(up_s * self.per_s) % wrap, self.tag)


@dataclass(frozen=True, slots=True)
class SecondsCell:
    """Seconds that go by since the device's start as an INTEGER, `per_s` of each."""

    per_s: float = 1.0

    def __call__(self, up_s: float) -> bytes:
        """The encoded number."""
        return number(int(up_s * self.per_s))


def clock(up_s: float) -> bytes:
    """The time of day, UTC, RFC 3339."""
    del up_s
    return text(time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()))


@dataclass(frozen=True, slots=True)
class CellTable:
    """What a device shows: object identifiers in ascending order, and a cell for each."""

    names: tuple[Oid, ...]
    cells: tuple[Cell, ...]

    @classmethod
    def of(cls, rows: dict[Oid, Cell]) -> CellTable:
        """A table of these rows, in order. What other devices have as well is stored once."""
        names = sorted(rows)
        return cls(tuple(map(_stored, names)), tuple(_stored(rows[name]) for name in names))


@functools.lru_cache(maxsize=8192)
def _stored(value: Any) -> Any:
    """The same value, and the same object for devices that show alike: the last used are kept."""
    return value
