"""The lean path: a reply is prepared once, then only the request id and sysUpTime are put in.

The key of a request is its octets without those of the request id, so everything else of it, also
the community, must be the same to find the prepared reply.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from verifier.simulator.agent.ber import LONG_FORM
from verifier.simulator.agent.cells import UPTIME
from verifier.simulator.agent.pdu import EncodedBinding

_LONG = LONG_FORM - 2
"""A first length octet less this: octets of tag and length together, in the long form."""


class Prepared(NamedTuple):
    """A reply in pieces: `head`, the request id, `before`, `size` octets of time ticks, `after`.

    `low` and `high`: ticks between which they take so many octets; `size` 0: there are none.
    """

    head: bytes
    before: bytes
    after: bytes
    size: int
    low: int
    high: int


Lean = dict[bytes, Prepared]


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


def find(lean: Lean, data: bytes, up_s: float) -> bytes | None:
    """The reply to a request, if one is prepared."""
    at, end = locate(data)
    prepared = lean.get(data[:at] + data[end:])
    if prepared is None:
        return None
    head, before, after, size, low, high = prepared
    if not size:
        return head + data[at:end] + before
    ticks = UPTIME.ticks(up_s)
    if not low <= ticks < high:
        return None
    return head + data[at:end] + before + ticks.to_bytes(size, "big") + after


def prepare(reply: bytes, bindings: Sequence[EncodedBinding]) -> Prepared | None:
    """A reply in pieces; None where something else than one sysUpTime runs with time."""
    at, end = locate(reply)
    running = [n for n, b in enumerate(bindings) if not isinstance(b.cell, bytes)]
    if not running:
        return Prepared(reply[:at], reply[end:], b"", 0, 0, 0)
    if len(running) > 1 or bindings[running[0]].cell is not UPTIME:
        return None
    size = len(bindings[running[0]].value) - 2
    stop = len(reply) - sum(len(b.octets) for b in bindings[running[0] + 1 :])
    low = 0 if size == 1 else 1 << 8 * (size - 1) - 1
    return Prepared(
        reply[:at], reply[end : stop - size], reply[stop:], size, low, 1 << 8 * size - 1
    )
