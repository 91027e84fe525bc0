"""Replies that an agent keeps: only the request id and sysUpTime are put into one when it is sent.

The key of a request is its octets without those of the request id, so everything else of it, also
the community, must be the same to find the kept reply.

Why it is kept: in measurements (tests/bench) thousands of simulated devices share the cores with
the program. Without it an answer takes them about three times as long, and the figures of a
series of sweeps would be those of the simulator.
"""

from __future__ import annotations

from typing import NamedTuple

from verifier.simulator.agent.ber import LONG_FORM
from verifier.simulator.agent.cells import UPTIME
from verifier.simulator.agent.pdu import Pdu, ResponseParts

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
