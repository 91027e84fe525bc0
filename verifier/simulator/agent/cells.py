"""Values of a simulated device: encoded once, or anew for each answer where they run with time."""

from __future__ import annotations

import functools
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from verifier.model.address import Address
from verifier.simulator.agent import ber
from verifier.simulator.agent.ber import Oid

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
    return ber.integer(max(-(1 << 31), min(value, (1 << 31) - 1)))


def text(value: str) -> bytes:
    """An OCTET STRING in UTF-8."""
    return ber.octets(value.encode())


def gauge(value: int) -> bytes:
    """A Gauge32, which latches at its largest value (RFC 2578 7.1.7)."""
    return ber.integer(min(value, _WRAP_32 - 1), ber.GAUGE32)


def counter(value: int) -> bytes:
    """A Counter32."""
    return ber.integer(value % _WRAP_32, ber.COUNTER32)


def ticks(value: int) -> bytes:
    """TimeTicks, hundredths of a second."""
    return ber.integer(value % _WRAP_32, ber.TIME_TICKS)


def pointer(arcs: Oid) -> bytes:
    """An OBJECT IDENTIFIER."""
    return ber.object_id(arcs)


def ip_address(address: Address) -> bytes:
    """An IpAddress."""
    return ber.tlv(ber.IP_ADDRESS, address.ip.packed)


class Uptime:
    """sysUpTime. There is one: replies that hold it are kept, and its octets put in."""

    __slots__ = ()

    @staticmethod
    def ticks(up_s: float) -> int:
        """Hundredths of a second, from 0 again after 497 days (RFC 2578 7.1.8)."""
        return int(up_s * _TICKS_PER_S) % _WRAP_32

    def __call__(self, up_s: float) -> bytes:
        """The encoded TimeTicks."""
        return ber.integer(self.ticks(up_s), ber.TIME_TICKS)


UPTIME = Uptime()


@dataclass(frozen=True, slots=True)
class Count:
    """A counter that grows evenly from 0 at the device's start."""

    per_s: float
    tag: int = ber.COUNTER32

    def __call__(self, up_s: float) -> bytes:
        """The encoded counter, from 0 again after its largest value."""
        wrap = _WRAP_64 if self.tag == ber.COUNTER64 else _WRAP_32
        return ber.integer(int(up_s * self.per_s) % wrap, self.tag)


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
