"""Echoes to many targets for hours: each at its own places of a fixed grid, little is kept.

The grid is cut by a clock that nobody sets and that goes on while the machine sleeps; a place that
passes while this program is stopped, asleep, or without its interface is not counted, and no burst
makes up for it. Round trips are measured as in `burst`: monotonic, with the kernel's receive
stamps.

The clock is CLOCK_BOOTTIME, so that a stop or a sleep shows as a jump. Nothing is kept but the
echoes on their way.
"""

from __future__ import annotations

import secrets
import selectors
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple, Protocol, Self

from verifier.errors import CannotMeasureError
from verifier.probes.echo.open import open_socket
from verifier.probes.echo.packet import (
    TOKEN_BYTES,
    EchoReply,
    Quoted,
    RequestMaker,
    payload_bytes,
    words_of,
)
from verifier.probes.echo.series import EchoTarget, Series
from verifier.probes.echo.sockets import Arrival, EchoSocket
from verifier.probes.laptop.link_watch import Links
from verifier.probes.laptop.look import LinkState, link_state
from verifier.probes.pace import Pace, Slots

Unheard = Literal["lost", "not-counted"]

STALL_S: Final = 1.5
"""A loop that did not come round for so long was stopped, or the machine slept."""
_LINK_LOOK_S: Final = 0.25
_TICK_S: Final = 0.01
"""Sendings are collected for so long; what arrives is stamped by the kernel meanwhile."""
_BEFORE_END_S: Final = 1e-6
"""A place that falls on the very end belongs to the time after it."""
_READ_LIMIT: Final = 4096
_REMEMBERED: Final = 64
"""Answered echoes of a target for which a second reply is still a duplicate."""
_TIMED_OUT: Final = "no reply in time"


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """One row of the grid: whom, in packets of which size, by which interface of this machine."""

    target: EchoTarget
    packet_bytes: int
    interface: str | None = None

    @property
    def payload_bytes(self) -> int:
        """Payload of an echo that makes a packet so large."""
        return payload_bytes(self.target.address.version, self.packet_bytes)


class EchoSink(Protocol):
    """Takes what was seen; called from the thread that measures."""

    def heard(self, index: int, slot: int, rtt_us: int) -> None:
        """An echo of a row has its reply."""

    def unheard(self, index: int, slot: int, what: Unheard, why: str) -> None:
        """An echo of a row has none, or cannot be counted."""

    def again(self, index: int, what: Literal["duplicates", "reordered"]) -> None:
        """A further reply to an echo, or one that was overtaken."""

    def gap(self, start_s: float, end_s: float, interface: str | None) -> None:
        """Nothing was measured: by this interface, or (None) at all."""

    def tick(self, now_s: float) -> None:
        """Time goes by; every echo older than the timeout is judged."""


class _Out(NamedTuple):
    """An echo on its way; `sent_s` is monotonic."""

    row: int
    slot: int
    key: tuple[str, int]
    sent_s: float


def elapsed() -> float:
    """Seconds on a clock that nobody sets; on Linux it goes on while the machine sleeps."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


class EchoWatch:
    """Measures until it is told to stop; a context manager, for one thread.

    Args:
        watched: the rows; an address may be there in several sizes.
        step_s: time between two echoes of a row; the rows are spread over it evenly.
        timeout_s: a reply that took longer is none.
        pace: sending slots shared with other probes; None: no limit.
        clock: the grid's clock.
        look: state of an interface by its name.

    Raises CannotMeasureError, with cause and remedy, where a socket cannot be had.
    """

    def __init__(  # noqa: PLR0913
        self,
        watched: Sequence[Watched],
        *,
        step_s: float,
        timeout_s: float,
        pace: Slots | None = None,
        clock: Callable[[], float] = elapsed,
        look: Callable[[str], LinkState] = link_state,
    ) -> None:
        self._watched = tuple(watched)
        self._step_s, self._timeout_s = step_s, timeout_s
        self._each_s = step_s / max(1, len(watched))
        self._pace = pace or Pace(None)
        self._slot_at_s = 0.0
        self._clock = clock
        self._selector = selectors.DefaultSelector()
        self._sockets: dict[int, EchoSocket] = {}
        self._links = Links({w.interface for w in watched if w.interface}, look)
        self._token = secrets.token_bytes(TOKEN_BYTES)
        self._pending: dict[tuple[str, int], _Out] = {}
        self._by_age: deque[_Out] = deque()
        self._sequence = 0
        self._next = 0
        self._doubt_until_s = 0.0

    def __enter__(self) -> Self:
        try:
            for version in sorted({w.target.address.version for w in self._watched}):
                self._sockets[version] = open_socket(version, "auto")
                self._selector.register(self._sockets[version], selectors.EVENT_READ)
            self._rows = [
                Series(i, w.target, self._sockets[w.target.address.version], open=0)
                for i, w in enumerate(self._watched)
            ]
        except CannotMeasureError:
            self.__exit__()
            raise
        sizes = {(w.target.address.version, w.payload_bytes) for w in self._watched}
        self._makers = {
            (v, b): RequestMaker(v, self._sockets[v].ident, self._token, b) for v, b in sizes
        }
        self._answered: list[dict[int, None]] = [{} for _ in self._watched]
        self._latest = [-1] * len(self._watched)
        self._settled_s = [0.0] * len(self._watched)
        return self

    def __exit__(self, *exc: object) -> None:
        self._selector.close()
        while self._sockets:
            self._sockets.popitem()[1].close()

    def run(self, sink: EchoSink, long_s: float, stop: threading.Event) -> None:
        """Measures for `long_s` seconds, time in which nothing could be measured not counted.

        Ends early once `stop` is set; echoes still on their way are then not judged.
        """
        self._sink = sink
        self._start_s = now_s = self._clock()
        end_s = now_s + long_s
        look_s = now_s
        while not stop.is_set() and (
            now_s < end_s or self._pending or self._next <= self._due(end_s - _BEFORE_END_S)
        ):
            if now_s >= look_s:
                look_s = now_s + _LINK_LOOK_S
                self._look(now_s)
            self._send_due(min(now_s, end_s - _BEFORE_END_S))
            if self._read():
                self._expire()
            sink.tick(now_s - self._start_s)
            self._selector.select(_TICK_S)
            last_s, now_s = now_s, self._clock()
            if now_s - last_s > STALL_S:
                end_s += self._stalled(last_s, now_s)
        for interface, since_s in self._links.still_down().items():
            sink.gap(since_s - self._start_s, min(now_s, end_s) - self._start_s, interface)

    @property
    def rows(self) -> int:
        """How many rows the grid has."""
        return len(self._watched)

    # -- what this laptop could not do ------------------------------------------------------------

    def _stalled(self, last_s: float, now_s: float) -> float:
        """The program stood still: what is pending cannot be judged unless its reply is here."""
        while not self._read():
            pass
        self._doubt_until_s = time.monotonic()
        self._next = max(self._next, int((now_s - self._start_s) / self._each_s) + 1)
        self._sink.gap(last_s - self._start_s, now_s - self._start_s, None)
        return now_s - last_s

    def _look(self, now_s: float) -> None:
        for interface, gap in self._links.look(now_s, time.monotonic()):
            if gap is not None:
                start_s, end_s = gap
                self._sink.gap(start_s - self._start_s, end_s - self._start_s, interface)

    def _in_doubt(self, out: _Out) -> bool:
        """Whether a missing reply may be this laptop's fault."""
        if out.sent_s <= self._doubt_until_s:
            return True
        interface = self._watched[out.row].interface
        return interface is not None and self._links.doubts(
            interface, out.sent_s, self._settled_s[out.row]
        )

    # -- sending ----------------------------------------------------------------------------------

    def _due(self, now_s: float) -> int:
        """The last place of the grid that has come."""
        return int((now_s - self._start_s) / self._each_s)

    def _send_due(self, now_s: float) -> None:
        due = self._due(now_s)
        while self._next <= due:
            if not self._may_send():
                return
            slot, index = divmod(self._next, len(self._watched))
            interface = self._watched[index].interface
            if interface is None or self._links.is_up(interface):
                self._send(index, slot)
            self._next += 1

    def _may_send(self) -> bool:
        if self._pace.unlimited:
            return True
        now_s = time.monotonic()
        if not self._slot_at_s:
            self._slot_at_s = self._pace.slot(now_s)
        if self._slot_at_s > now_s:
            return False
        self._slot_at_s = 0.0
        return True

    def _send(self, index: int, slot: int) -> None:
        row, watched = self._rows[index], self._watched[index]
        key = row.host, self._new_sequence(row.host)
        make = self._makers[watched.target.address.version, watched.payload_bytes]
        try:
            sent_s = row.send(make(key[1], index, slot & 0xFFFF_FFFF))
        except OSError as error:
            self._sink.unheard(index, slot, "not-counted", error.strerror or str(error))
            return
        out = self._pending[key] = _Out(index, slot, key, sent_s)
        self._by_age.append(out)

    def _new_sequence(self, host: str) -> int:
        self._sequence = (self._sequence + 1) & 0xFFFF
        while (host, self._sequence) in self._pending:
            self._sequence = (self._sequence + 1) & 0xFFFF
        return self._sequence

    # -- hearing ----------------------------------------------------------------------------------

    def _read(self) -> bool:
        """Takes in what has arrived; returns whether nothing is left unread."""
        all_read = True
        for each in self._sockets.values():
            arrivals, drained = each.drain(_READ_LIMIT)
            all_read &= drained
            for arrival in arrivals:
                if isinstance(arrival.what, EchoReply):
                    self._reply(arrival.what, arrival)
                else:
                    self._error(arrival.what, each)
        return all_read

    def _reply(self, reply: EchoReply, arrival: Arrival) -> None:
        if reply.token != self._token or reply.target >= len(self._rows):
            return
        row, index = self._rows[reply.target], reply.target
        if arrival.source != row.to or reply.ident != row.socket.ident:
            return
        out = self._pending.get((row.host, reply.sequence))
        if out is None or out.row != index or out.slot & 0xFFFF_FFFF != reply.number:
            if reply.number in self._answered[index]:
                self._sink.again(index, "duplicates")
            return
        stamped_s, received_s = arrival.stamped_s, arrival.read_s
        if stamped_s is not None and out.sent_s <= stamped_s <= received_s:
            received_s = stamped_s
        if received_s - out.sent_s > self._timeout_s:
            return
        del self._pending[out.key]
        self._settled_s[index] = out.sent_s
        answered = self._answered[index]
        answered[reply.number] = None
        if len(answered) > _REMEMBERED:
            del answered[next(iter(answered))]
        self._sink.heard(index, out.slot, round((received_s - out.sent_s) * 1e6))
        if out.slot < self._latest[index]:
            self._sink.again(index, "reordered")
        self._latest[index] = max(self._latest[index], out.slot)

    def _error(self, quoted: Quoted, heard_on: EchoSocket) -> None:
        out = self._pending.get((quoted.destination, quoted.sequence))
        if out is not None and quoted.ident == heard_on.ident:
            self._lost(out, words_of(heard_on.version, quoted.type, quoted.code))

    def _expire(self) -> None:
        """Judges what has waited too long; the sockets have just been read."""
        too_old_s = time.monotonic() - self._timeout_s
        overdue = []
        while self._by_age and (
            self._by_age[0].sent_s < too_old_s or self._by_age[0].key not in self._pending
        ):
            out = self._by_age.popleft()
            if self._pending.get(out.key) is out:
                overdue.append(out)
        if overdue and sum(each.new_drops() for each in self._sockets.values()):
            self._doubt_until_s = time.monotonic()
        for out in overdue:
            self._lost(out, _TIMED_OUT)

    def _lost(self, out: _Out, why: str) -> None:
        del self._pending[out.key]
        self._sink.unheard(out.row, out.slot, "not-counted" if self._in_doubt(out) else "lost", why)
