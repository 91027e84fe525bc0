"""Requests read from octets, and answers to them from a device's table (RFC 3416 section 4).

Replies are kept: only the request id and sysUpTime are put into one when it is sent.

The key of a request is its octets without those of the request id, so everything else of it, also
the community, must be the same to find the kept reply.

Why it is kept: in measurements (tests/bench) thousands of simulated devices share the cores with
the program. Without it an answer takes them about three times as long, and the figures of a
series of sweeps would be those of the simulator.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from verifier.simulator.agent import cells
from verifier.simulator.agent.cells import (
    LONG_FORM,
    UPTIME,
    BerError,
    BerReader,
    Cell,
    CellTable,
    Oid,
)

GET, GET_NEXT, RESPONSE, SET, GET_BULK, REPORT = 0xA0, 0xA1, 0xA2, 0xA3, 0xA5, 0xA8
V1, V2C, V3 = 0, 1, 3
TOO_BIG, NO_SUCH_NAME, NO_ACCESS, AUTHORIZATION_ERROR = 1, 2, 6, 16
"""error-status: RFC 3416 section 3."""
_READS = {V1: {GET, GET_NEXT}, V2C: {GET, GET_NEXT, GET_BULK}, V3: {GET, GET_NEXT, GET_BULK}}


@dataclass(frozen=True, slots=True)
class Pdu:
    """A request.

    Attributes:
        id_at, id_end: where the octets of the request-id begin and end in the message.
        first, second: error-status and -index, or non-repeaters and max-repetitions of GETBULK.
    """

    tag: int
    request_id: int
    id_at: int
    id_end: int
    first: int
    second: int
    names: tuple[Oid, ...]


class EncodedBinding(NamedTuple):
    """An object of an answer: name and value, both together encoded, and the value's cell."""

    name: Oid
    value: bytes
    octets: bytes
    cell: Cell


@dataclass(frozen=True, slots=True)
class ResponseParts:
    """What goes back."""

    bindings: tuple[EncodedBinding, ...]
    status: int = 0
    index: int = 0


@dataclass(frozen=True, slots=True)
class Asking:
    """How a request is answered.

    Attributes:
        version: V1, V2C or V3.
        up_s: seconds since the device started.
        room: octets that the bindings of the answer may take.
        stuck: an agent whose GETNEXT gives the object it was asked for, again and again.
        most: objects it answers at once, more is too big; None: any number.
    """

    version: int
    up_s: float
    room: int
    stuck: bool = False
    most: int | None = None


def read_pdu(reader: BerReader) -> Pdu:
    """The next element as a request. Raises BerError for what is no read or SET request."""
    tag, start, stop = reader.element()
    if tag not in {GET, GET_NEXT, GET_BULK, SET}:
        raise BerError(f"a PDU of kind {tag:#x} is not answered")
    inside = BerReader(reader.data, start, stop)
    request_id = inside.integer()
    id_end = inside.at
    first, second = inside.integer(), inside.integer()
    if not -(1 << 31) <= request_id < 1 << 31:
        raise BerError("a request-id of more than 32 bits")
    bindings = inside.inside()
    inside.finish()
    names = []
    while bindings.at < bindings.end:
        binding = bindings.inside()
        names.append(binding.object_id())
        binding.skip()
        binding.finish()
    return Pdu(tag, request_id, start + 2, id_end, first, second, tuple(names))


def write_pdu(tag: int, request_id: int, answer: ResponseParts) -> bytes:
    """A response or report, encoded."""
    return cells.sequence(
        cells.integer(request_id),
        cells.integer(answer.status),
        cells.integer(answer.index),
        cells.sequence(*(b.octets for b in answer.bindings)),
        tag=tag,
    )


def answer(table: CellTable, pdu: Pdu, asking: Asking) -> ResponseParts | None:
    """The answer to a request; None where the version has no such request (GETBULK of v1)."""
    if pdu.tag == SET:
        return _refused(pdu, NO_SUCH_NAME if asking.version == V1 else NO_ACCESS, 1)
    if pdu.tag not in _READS[asking.version]:
        return None
    if asking.most is not None and _objects(pdu) > asking.most:
        return _too_big(pdu, asking)
    if pdu.tag == GET_BULK:
        return ResponseParts(tuple(_bulk(table, pdu, asking)))
    return _single(table, pdu, asking)


def _single(table: CellTable, pdu: Pdu, asking: Asking) -> ResponseParts:
    """The answer to a GET or GETNEXT: all of it, or an error."""
    each = _get(table, pdu.names, asking) if pdu.tag == GET else _next(table, pdu.names, asking)
    bindings = tuple(each)
    if asking.version == V1 and (index := _first_missing(bindings)):
        return _refused(pdu, NO_SUCH_NAME, index)
    if sum(len(b.octets) for b in bindings) > asking.room:
        return _too_big(pdu, asking)
    return ResponseParts(bindings)


def _objects(pdu: Pdu) -> int:
    """Objects that a full answer has."""
    if pdu.tag != GET_BULK:
        return len(pdu.names)
    single = max(0, min(pdu.first, len(pdu.names)))
    return single + max(0, pdu.second) * (len(pdu.names) - single)


def _binding(name: Oid, cell: Cell, up_s: float) -> EncodedBinding:
    value = cell if isinstance(cell, bytes) else cell(up_s)
    return EncodedBinding(name, value, cells.sequence(cells.object_id(name), value), cell)


def _get(table: CellTable, names: Iterable[Oid], asking: Asking) -> Iterable[EncodedBinding]:
    for name in names:
        at = bisect_left(table.names, name)
        if at < len(table.names) and table.names[at] == name:
            yield _binding(name, table.cells[at], asking.up_s)
        else:
            beside = table.names[max(at - 1, 0) : at + 1]
            column = name[:-1]
            known = any(n[: len(column)] == column for n in beside)
            yield _binding(
                name, cells.NO_SUCH_INSTANCE if known else cells.NO_SUCH_OBJECT, asking.up_s
            )


def _successor(table: CellTable, name: Oid, asking: Asking) -> EncodedBinding:
    find = bisect_left if asking.stuck else bisect_right
    for at in range(find(table.names, name), len(table.names)):
        binding = _binding(table.names[at], table.cells[at], asking.up_s)
        if asking.version != V1 or binding.value[0] != cells.COUNTER64:
            return binding
    return _binding(name, cells.END_OF_MIB_VIEW, asking.up_s)


def _next(table: CellTable, names: Iterable[Oid], asking: Asking) -> Iterable[EncodedBinding]:
    return (_successor(table, name, asking) for name in names)


def _bulk(table: CellTable, pdu: Pdu, asking: Asking) -> Iterable[EncodedBinding]:
    """RFC 3416 4.2.3: as many repetitions as there is room for."""
    room = asking.room
    single = max(0, min(pdu.first, len(pdu.names)))
    names = list(pdu.names)
    for repetition in range(max(pdu.second, 0) if single < len(names) else 0) or (0,):
        at_end = True
        for at in range(0 if repetition == 0 else single, len(names)):
            if at >= single and pdu.second <= 0:
                break
            binding = _successor(table, names[at], asking)
            room -= len(binding.octets)
            if room < 0:
                return
            yield binding
            if at >= single:
                at_end = at_end and binding.value == cells.END_OF_MIB_VIEW
                names[at] = binding.name
        if at_end:
            return


def _first_missing(bindings: tuple[EncodedBinding, ...]) -> int:
    """Number of the first object that v1 cannot give (RFC 3584 4.2.2); 0: all can be given."""
    missing = {cells.NO_SUCH_OBJECT, cells.NO_SUCH_INSTANCE, cells.END_OF_MIB_VIEW}
    for index, binding in enumerate(bindings, start=1):
        if binding.value in missing or binding.value[0] == cells.COUNTER64:
            return index
    return 0


def _refused(pdu: Pdu, status: int, index: int) -> ResponseParts:
    """An error with the objects of the request."""
    names = tuple(_binding(name, cells.NULL_VALUE, 0.0) for name in pdu.names)
    return ResponseParts(names, status, min(index, len(names)))


def _too_big(pdu: Pdu, asking: Asking) -> ResponseParts:
    """v1 repeats the request (RFC 1157 4.1.2), later versions send no objects (RFC 3416 4.2.1)."""
    return _refused(pdu, TOO_BIG, 0) if asking.version == V1 else ResponseParts((), TOO_BIG)


_LONG = LONG_FORM - 2
"""A first length octet less this: octets of tag and length together, in the long form."""
_MOST = 24
"""Kept replies of one device; beyond that all are dropped."""


class _Reply(NamedTuple):
    """A reply in pieces: `head`, the request id, `before`, `size` octets of time ticks, `after`.

    `low` and `high`: ticks between which they take so many octets; `size` 0: there are none.
    """

    head: bytes
    before: bytes
    after: bytes
    size: int
    low: int
    high: int


def locate(data: bytes) -> tuple[int, int]:
    """Where the octets of the request id begin and end in a message of v1 or v2c.

    Holds for communities of less than 128 octets; for other octets it may point anywhere.
    """
    try:
        size = data[1]
        at = 2 if size < LONG_FORM else size - _LONG
        at += 5 + data[at + 4]
        size = data[at + 1]
        at += 4 if size < LONG_FORM else size - _LONG + 2
        return at, at + data[at - 1]
    except IndexError:
        return 0, 0


class ReplyCache:
    """The kept replies of one device."""

    __slots__ = ("_replies",)

    def __init__(self) -> None:
        self._replies: dict[bytes, _Reply] = {}

    def __len__(self) -> int:
        """How many replies are kept."""
        return len(self._replies)

    def find(self, data: bytes, up_s: float) -> bytes | None:
        """The reply to a request `up_s` seconds after the device's start, if one is kept."""
        if not self._replies:
            return None
        at, end = locate(data)
        kept = self._replies.get(data[:at] + data[end:])
        if kept is None:
            return None
        head, before, after, size, low, high = kept
        if not size:
            return head + data[at:end] + before
        ticks = UPTIME.ticks(up_s)
        if not low <= ticks < high:
            return None
        return head + data[at:end] + before + ticks.to_bytes(size, "big") + after

    def keep(self, data: bytes, request: Pdu, reply: bytes, answer: ResponseParts) -> None:
        """Keeps a reply for requests that differ from `data` in the request id alone.

        Not where something else than one sysUpTime runs with time.
        """
        if locate(data) != (request.id_at, request.id_end):
            return
        if (pieces := _pieces(reply, answer)) is not None:
            if len(self._replies) >= _MOST:
                self._replies.clear()
            self._replies[data[: request.id_at] + data[request.id_end :]] = pieces


def _pieces(reply: bytes, answer: ResponseParts) -> _Reply | None:
    """A reply in pieces; None where something else than one sysUpTime runs with time."""
    bindings = answer.bindings
    at, end = locate(reply)
    running = [n for n, b in enumerate(bindings) if not isinstance(b.cell, bytes)]
    if not running:
        return _Reply(reply[:at], reply[end:], b"", 0, 0, 0)
    if len(running) > 1 or bindings[running[0]].cell is not UPTIME:
        return None
    size = len(bindings[running[0]].value) - 2
    stop = len(reply) - sum(len(b.octets) for b in bindings[running[0] + 1 :])
    low = 0 if size == 1 else 1 << 8 * (size - 1) - 1
    return _Reply(reply[:at], reply[end : stop - size], reply[stop:], size, low, 1 << 8 * size - 1)
