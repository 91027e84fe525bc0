"""Echoes to many targets over one socket per address family, and why some were not answered.

icmplib opens the sockets; sending and matching are ours. Its call for many targets shares ids
between targets, does not look at the source address, and reported 61 % loss where there was none.
"""

from __future__ import annotations

import secrets
import selectors
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from itertools import count as counter
from typing import Final, Literal, Self

from verifier.errors import CannotMeasureError
from verifier.probes.echo.lane import Due, Lane
from verifier.probes.echo.open import open_socket
from verifier.probes.echo.packet import TOKEN_BYTES, EchoReply, Quoted, RequestMaker
from verifier.probes.echo.series import (
    TIMED_OUT,
    EchoSeries,
    EchoTarget,
    Series,
    silence_of_error,
    silence_of_refusal,
)
from verifier.probes.echo.sockets import Arrival, EchoSocket, Kind
from verifier.probes.pace import Pace, Slots

__all__ = ["EchoSeries", "EchoTarget", "Echoer"]

_READ_LIMIT: Final = 4096
_LINGER_S: Final = 0.02
"""How long a target is still listened to after its last echo is judged, for duplicates."""
_LONGEST_WAIT_S: Final = 0.05
_SHORTEST_SELECT_S: Final = 0.001
"""epoll counts milliseconds; less than that is slept: the kernel stamps what arrives meanwhile."""
_TRIES: Final = 3
"""How often an echo is sent whose reply the kernel may have dropped on this machine."""


class Echoer:
    """Sends echoes; a context manager. For one thread at a time.

    Args:
        pace: limit for everything but loopback; share it with the other probes.
        on_link_pace: further limit for the first echo to a target with `on_link_new`.
        loopback_pace: limit for loopback; none if None.
        kind: socket to use; `auto` takes a raw one, else a datagram one.
        whole: echoes leave undivided or not at all, with the don't-fragment bit (RFC 791).

    Attributes:
        sockets: those that are open, by address family (4, 6).
        kernel_drops: packets this machine dropped before they could be read: the receive buffer
            was full. Echoes in flight then are sent again instead of being counted as lost.
    """

    def __init__(
        self,
        *,
        pace: Slots,
        on_link_pace: Slots,
        loopback_pace: Slots | None = None,
        kind: Literal["auto", "raw", "datagram"] = "auto",
        whole: bool = False,
    ) -> None:
        self.pace = pace
        self.on_link_pace = on_link_pace
        self.loopback_pace = loopback_pace or Pace(None)
        self.kernel_drops = 0
        self.sockets: dict[int, EchoSocket] = {}
        self._kind = kind
        self._whole = whole
        self._selector = selectors.DefaultSelector()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc_info: object) -> None:
        self.close()

    def close(self) -> None:
        """Closes the sockets."""
        self._selector.close()
        while self.sockets:
            self.sockets.popitem()[1].close()

    def open(self, version: int) -> Kind:
        """Opens the socket of an address family unless it is open; returns its kind.

        Raises CannotMeasureError, with cause and remedy, where none can be had. `run` calls it.
        """
        if version not in self.sockets:
            self.sockets[version] = opened = open_socket(version, self._kind)
            if self._whole:
                _set_whole(opened)
            self._selector.register(self.sockets[version], selectors.EVENT_READ)
        return self.sockets[version].kind

    def wait(self, pause_s: float) -> None:
        """Waits until something arrives, at most `pause_s`."""
        if pause_s >= _SHORTEST_SELECT_S:
            self._selector.select(pause_s)
        elif pause_s > 0:
            time.sleep(pause_s)

    def run(  # noqa: PLR0913 - each is a knob of its own
        self,
        targets: Sequence[EchoTarget],
        *,
        count: int,
        interval_s: float,
        timeout_s: float,
        payload_bytes: int = 56,
        on_done: Callable[[int, EchoSeries], None] | None = None,
        stop: threading.Event | None = None,
    ) -> list[EchoSeries]:
        """Sends `count` echoes to each target, all interleaved, each `interval_s` apart.

        At most as many echoes are in flight as the receive buffer can hold replies; where the
        system keeps the buffer small (net.core.rmem_max) that is some 500.

        Args:
            targets: whom to ask; an address may be there more than once.
            count: echoes to each.
            interval_s: time between two echoes to one target.
            timeout_s: a reply that took longer is none.
            payload_bytes: 16 to 65,507; ValueError outside.
            on_done: called with a target's position and its series as soon as that is complete.
            stop: once set, `run` returns what has been judged so far; `on_done` is not called.

        Returns:
            One series per target, in order. Raises CannotMeasureError where a socket is missing.
        """
        for version in sorted({t.address.version for t in targets}):
            self.open(version)
        run = _Run(
            self,
            targets=targets,
            count=count,
            interval_s=interval_s,
            timeout_s=timeout_s,
            payload_bytes=payload_bytes,
        )
        for series in run.completed(stop):
            if on_done is not None:
                on_done(series.index, series.result(payload_bytes))
        return [series.result(payload_bytes) for series in run.series]


def _set_whole(opened: EchoSocket) -> None:
    try:
        opened.dont_fragment()
    except OSError as error:
        raise CannotMeasureError(
            f"this system cannot keep echoes from being divided: {error.strerror}"
        ) from error


class _Echo:
    """An echo on its way."""

    __slots__ = ("due", "pending", "sent_s", "sequence")

    def __init__(self, due: Due, sequence: int, sent_s: float) -> None:
        self.due = due
        self.sequence = sequence
        self.sent_s = sent_s
        self.pending = True


class _Run:
    """One call of `Echoer.run`."""

    def __init__(  # noqa: PLR0913 - the arguments of `Echoer.run`
        self,
        echoer: Echoer,
        *,
        targets: Sequence[EchoTarget],
        count: int,
        interval_s: float,
        timeout_s: float,
        payload_bytes: int,
    ) -> None:
        self._echoer = echoer
        self._count, self._interval_s, self._timeout_s = count, interval_s, timeout_s
        self._token = secrets.token_bytes(TOKEN_BYTES)
        sockets = echoer.sockets
        self._makers = {
            s: RequestMaker(s.version, s.ident, self._token, payload_bytes)
            for s in sockets.values()
        }
        self._window = min((s.capacity(payload_bytes) for s in sockets.values()), default=1)
        self.series = [
            Series(i, t, sockets[t.address.version], open=count) for i, t in enumerate(targets)
        ]
        self._unfinished = len(self.series) if count > 0 else 0
        self._again = Lane(echoer.pace, batch=1)
        self._loopback = Lane(echoer.loopback_pace)
        self._steady = Lane(echoer.pace)
        self._on_link = Lane(echoer.on_link_pace, echoer.pace)
        self._lanes = (self._again, self._loopback, self._steady, self._on_link)
        self._sequences = {series.host: counter() for series in self.series}
        self._pending: dict[tuple[str, int], _Echo] = {}
        self._by_age: deque[_Echo] = deque()
        self._lingering: deque[tuple[float, Series]] = deque()
        self._doubtful_until_s = 0.0

    def completed(self, stop: threading.Event | None) -> Iterator[Series]:
        """Does the work; yields each series when it is complete. Ends early once `stop` is set."""
        start_s = time.monotonic()
        for series in self.series:
            new = series.target.on_link_new
            lane = self._on_link if new else self._lane_of(series)
            lane.queue.append(Due(start_s, series, 0))
        while self._unfinished and not (stop is not None and stop.is_set()):
            now_s = time.monotonic()
            self._send_due(now_s)
            if self._read():
                self._expire(now_s)
            while self._lingering and self._lingering[0][0] <= now_s:
                self._unfinished -= 1
                yield self._lingering.popleft()[1]
            if self._unfinished:
                self._echoer.wait(self._next_s() - time.monotonic())

    def _lane_of(self, series: Series) -> Lane:
        return self._loopback if series.target.address.is_loopback else self._steady

    def _send_due(self, now_s: float) -> None:
        for lane in self._lanes:
            for _ in range(lane.batch):
                if len(self._pending) >= self._window or lane.ready_s(now_s) > now_s:
                    break
                self._send(lane.take())

    def _send(self, due: Due) -> None:
        series, number = due.series, due.number
        sequence = next(self._sequences[series.host]) & 0xFFFF
        while (series.host, sequence) in self._pending:
            sequence = next(self._sequences[series.host]) & 0xFFFF
        packet = self._makers[series.socket](sequence, series.index, number)
        try:
            sent_s = series.send(packet)
        except OSError as error:
            sent_s = time.monotonic()
            series.refused(number, silence_of_refusal(error))
            self._settle(series)
        else:
            echo = _Echo(due, sequence, sent_s)
            self._pending[series.host, sequence] = echo
            self._by_age.append(echo)
        if due.tries == 1 and number + 1 < self._count:
            following = Due(sent_s + self._interval_s, series, number + 1)
            self._lane_of(series).queue.append(following)

    def _read(self) -> bool:
        """Takes in what has arrived; returns whether nothing is left unread."""
        all_read = True
        for each in self._makers:
            arrivals, drained = each.drain(_READ_LIMIT)
            all_read &= drained
            for arrival in arrivals:
                if isinstance(arrival.what, EchoReply):
                    self._reply(arrival.what, arrival)
                else:
                    self._error(arrival.what, each, str(arrival.source[0]))
        return all_read

    def _reply(self, reply: EchoReply, arrival: Arrival) -> None:
        if reply.token != self._token or reply.target >= len(self.series):
            return
        series = self.series[reply.target]
        if arrival.source != series.to:
            return
        if reply.ident != series.socket.ident:
            series.foreign_id += 1
            return
        echo = self._pending.get((series.host, reply.sequence))
        if echo is None or echo.due.series is not series or echo.due.number != reply.number:
            series.duplicates += series.rtt_ms.get(reply.number) is not None
            return
        sent_s, stamped_s, received_s = echo.sent_s, arrival.stamped_s, arrival.read_s
        if stamped_s is not None and sent_s <= stamped_s <= received_s:
            received_s = stamped_s
        if received_s - sent_s <= self._timeout_s:
            series.answered(reply.number, (received_s - sent_s) * 1e3)
            self._close(echo)

    def _error(self, quoted: Quoted, heard_on: EchoSocket, reporter: str) -> None:
        echo = self._pending.get((quoted.destination, quoted.sequence))
        if echo is None or quoted.ident != heard_on.ident:
            return
        silence = silence_of_error(quoted, heard_on.version, reporter)
        echo.due.series.lost(echo.due.number, silence)
        self._close(echo)

    def _close(self, echo: _Echo) -> None:
        echo.pending = False
        del self._pending[echo.due.series.host, echo.sequence]
        self._settle(echo.due.series)

    def _settle(self, series: Series) -> None:
        if series.open == 0:
            self._lingering.append((time.monotonic() + _LINGER_S, series))

    def _expire(self, now_s: float) -> None:
        """Judges what has waited too long; the sockets have been read since `now_s`."""
        too_old_s = now_s - self._timeout_s
        overdue = []
        while self._by_age and (not self._by_age[0].pending or self._by_age[0].sent_s < too_old_s):
            echo = self._by_age.popleft()
            if echo.pending:
                overdue.append(echo)
        if not overdue:
            return
        if drops := sum(each.new_drops() for each in self._makers):
            self._echoer.kernel_drops += drops
            self._doubtful_until_s = now_s
        for echo in overdue:
            due = echo.due
            if echo.sent_s > self._doubtful_until_s:
                due.series.lost(due.number, TIMED_OUT)
            elif due.tries < _TRIES:
                self._again.queue.append(due._replace(at_s=now_s, tries=due.tries + 1))
            else:
                due.series.open -= 1
            self._close(echo)

    def _next_s(self) -> float:
        """When there is something to do, unless something arrives before."""
        now_s = time.monotonic()
        next_s = now_s + _LONGEST_WAIT_S
        if len(self._pending) < self._window:
            next_s = min(next_s, *(lane.ready_s(now_s) for lane in self._lanes))
        if self._by_age:
            next_s = min(next_s, self._by_age[0].sent_s + self._timeout_s)
        if self._lingering:
            next_s = min(next_s, self._lingering[0][0])
        return next_s
