"""Echoes to many targets for hours: each at its own places of a fixed grid, little is kept.

The grid is cut by a clock that nobody sets and that goes on while the machine sleeps; a place that
passes while this program is stopped, asleep, or without its interface is not counted, and no burst
makes up for it. Sending, matching and judging are those of `exchange`, as of a burst.

The clock is CLOCK_BOOTTIME, so that a stop or a sleep shows as a jump. Nothing is kept but the
echoes on their way.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal, Protocol, Self

from verifier.errors import CannotMeasureError
from verifier.probes.echo.exchange import TIMED_OUT, Echo, EchoTarget, Exchange
from verifier.probes.echo.open import EchoSockets
from verifier.probes.echo.packet import Quoted, payload_bytes, words_of
from verifier.probes.laptop.look import Links, LinkState, link_state
from verifier.probes.pace import Pace, Slots

Unheard = Literal["lost", "not-counted"]

STALL_S: Final = 1.5
"""A loop that did not come round for so long was stopped, or the machine slept."""
_LINK_LOOK_S: Final = 0.25
_TICK_S: Final = 0.01
"""Sendings are collected for so long; what arrives is stamped by the kernel meanwhile."""
_BEFORE_END_S: Final = 1e-6
"""A place that falls on the very end belongs to the time after it."""
_REMEMBERED: Final = 64
"""Answered echoes of a target for which a second reply is still a duplicate."""


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
        self._sockets = EchoSockets()
        self._links = Links({w.interface for w in watched if w.interface}, look)
        self._next = 0

    def __enter__(self) -> Self:
        try:
            for version in sorted({w.target.address.version for w in self._watched}):
                self._sockets.open(version)
        except CannotMeasureError:
            self.__exit__()
            raise
        sized = [(w.target, w.payload_bytes) for w in self._watched]
        self._exchange = Exchange(self._sockets.by_version, sized, self._timeout_s, self)
        self._answered: list[dict[int, None]] = [{} for _ in self._watched]
        self._latest = [-1] * len(self._watched)
        self._settled_s = [0.0] * len(self._watched)
        return self

    def __exit__(self, *exc: object) -> None:
        self._sockets.close()

    def run(self, sink: EchoSink, long_s: float, stop: threading.Event) -> None:
        """Measures for `long_s` seconds, time in which nothing could be measured not counted.

        Ends early once `stop` is set; echoes still on their way are then not judged.
        """
        self._sink = sink
        self._start_s = now_s = self._clock()
        end_s = now_s + long_s
        look_s = now_s
        while not stop.is_set() and (
            now_s < end_s or self._exchange.on_way or self._next <= self._due(end_s - _BEFORE_END_S)
        ):
            if now_s >= look_s:
                look_s = now_s + _LINK_LOOK_S
                self._look(now_s)
            self._send_due(min(now_s, end_s - _BEFORE_END_S))
            before_s = time.monotonic()
            if self._exchange.read():
                self._exchange.expire(before_s)
            sink.tick(now_s - self._start_s)
            self._sockets.wait(_TICK_S)
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
        while not self._exchange.read():
            pass
        self._exchange.doubt_until_s = time.monotonic()
        self._next = max(self._next, int((now_s - self._start_s) / self._each_s) + 1)
        self._sink.gap(last_s - self._start_s, now_s - self._start_s, None)
        return now_s - last_s

    def _look(self, now_s: float) -> None:
        for interface, gap in self._links.look(now_s, time.monotonic()):
            if gap is not None:
                start_s, end_s = gap
                self._sink.gap(start_s - self._start_s, end_s - self._start_s, interface)

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
        try:
            self._exchange.send(index, slot)
        except OSError as error:
            self._sink.unheard(index, slot, "not-counted", error.strerror or str(error))

    # -- outcomes of the exchange ------------------------------------------------------------------

    def answered(self, echo: Echo, rtt_s: float) -> None:
        """Its reply came in time."""
        index, slot = echo.row.index, echo.number
        self._settled_s[index] = echo.sent_s
        answered = self._answered[index]
        answered[slot & 0xFFFF_FFFF] = None
        if len(answered) > _REMEMBERED:
            del answered[next(iter(answered))]
        self._sink.heard(index, slot, round(rtt_s * 1e6))
        if slot < self._latest[index]:
            self._sink.again(index, "reordered")
        self._latest[index] = max(self._latest[index], slot)

    def repeated(self, index: int, number: int) -> None:
        """A second reply, unless the first one is too long ago to know."""
        if number in self._answered[index]:
            self._sink.again(index, "duplicates")

    def foreign(self, index: int) -> None:
        """Rewritten on the way: no reply of ours."""

    def failed(self, echo: Echo, error: Quoted, reporter: str) -> None:
        """An ICMP error came instead of its reply."""
        del reporter
        doubtful = echo.sent_s <= self._exchange.doubt_until_s
        why = words_of(echo.row.socket.version, error.type, error.code)
        self._lost(echo, why, doubtful=doubtful)

    def timed_out(self, echo: Echo, *, doubtful: bool) -> None:
        """No reply came in time."""
        self._lost(echo, TIMED_OUT.text, doubtful=doubtful)

    def _lost(self, echo: Echo, why: str, *, doubtful: bool) -> None:
        """Counts an echo as lost, unless its missing reply may be this laptop's fault."""
        index = echo.row.index
        interface = self._watched[index].interface
        doubtful |= interface is not None and self._links.doubts(
            interface, echo.sent_s, self._settled_s[index]
        )
        self._sink.unheard(index, echo.number, "not-counted" if doubtful else "lost", why)
