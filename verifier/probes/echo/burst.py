"""A burst: some echoes to each of many targets, as fast as their paces let them leave."""

from __future__ import annotations

import math
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal, NamedTuple, Self

from verifier.model.observations import Silence
from verifier.probes.echo.exchange import (
    TIMED_OUT,
    Echo,
    EchoBurst,
    EchoTarget,
    Exchange,
    silence_of_error,
    silence_of_refusal,
)
from verifier.probes.echo.open import EchoSockets
from verifier.probes.echo.packet import Quoted
from verifier.probes.echo.sockets import Kind
from verifier.probes.pace import Pace, Slots

_LINGER_S: Final = 0.02
"""How long a target is still listened to after its last echo is judged, for duplicates."""
_LONGEST_WAIT_S: Final = 0.05
_TRIES: Final = 3
"""How often an echo is sent whose reply the kernel may have dropped on this machine."""


class Echoer:
    """Sends bursts of echoes; a context manager. For one thread at a time.

    Args:
        pace: limit for everything but loopback; share it with the other probes.
        on_link_pace: further limit for the first echo to a target with `on_link_new`.
        loopback_pace: limit for loopback; none if None.
        kind: socket to use; `auto` takes a raw one, else a datagram one.
        whole: echoes leave undivided or not at all, with the don't-fragment bit (RFC 791).

    Attributes:
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
        self.sockets = EchoSockets(kind, whole=whole)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc_info: object) -> None:
        self.close()

    def close(self) -> None:
        """Closes the sockets."""
        self.sockets.close()

    def open(self, version: int) -> Kind:
        """Opens the socket of an address family unless it is open; returns its kind.

        Raises CannotMeasureError, with cause and remedy, where none can be had. `run` calls it.
        """
        return self.sockets.open(version).kind

    def run(  # noqa: PLR0913 - each is a knob of its own
        self,
        targets: Sequence[EchoTarget],
        *,
        count: int,
        interval_s: float,
        timeout_s: float,
        payload_bytes: int = 56,
        on_done: Callable[[int, EchoBurst], None] | None = None,
        stop: threading.Event | None = None,
    ) -> list[EchoBurst]:
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
        burst = _Burst(
            self,
            targets=targets,
            count=count,
            interval_s=interval_s,
            timeout_s=timeout_s,
            payload_bytes=payload_bytes,
        )
        for series in burst.completed(stop):
            if on_done is not None:
                on_done(series.index, series.result(payload_bytes))
        return [series.result(payload_bytes) for series in burst.series]


@dataclass(slots=True, eq=False)
class _Series:
    """The echoes to one target in the making; `open`: how many are not yet judged."""

    index: int
    target: EchoTarget
    open: int
    latest: int = -1
    rtt_ms: dict[int, float | None] = field(default_factory=dict)
    silences: dict[int, Silence] = field(default_factory=dict)
    duplicates: int = 0
    reordered: int = 0
    foreign_id: int = 0

    def answered(self, number: int, rtt_ms: float) -> None:
        self.open -= 1
        self.rtt_ms[number] = rtt_ms
        self.reordered += number < self.latest
        self.latest = max(number, self.latest)

    def lost(self, number: int, silence: Silence) -> None:
        self.rtt_ms[number] = None
        self.not_sent(number, silence)

    def not_sent(self, number: int, silence: Silence) -> None:
        self.open -= 1
        self.silences[number] = silence

    def result(self, payload_bytes: int) -> EchoBurst:
        """What has been judged so far."""
        return EchoBurst(
            target=self.target,
            rtt_ms=tuple(self.rtt_ms[n] for n in sorted(self.rtt_ms)),
            silences=tuple(self.silences[n] for n in sorted(self.silences)),
            duplicates=self.duplicates,
            reordered=self.reordered,
            foreign_id=self.foreign_id,
            payload_bytes=payload_bytes,
        )


# -- the order in which echoes leave ---------------------------------------------------------------


class _Due(NamedTuple):
    """An echo to be sent, not before `at_s`."""

    at_s: float
    series: _Series
    number: int
    tries: int = 1


class _Lane:
    """Echoes that wait for the same paces, in order of time.

    Attributes:
        batch: most echoes to send between two looks at the socket.
    """

    def __init__(self, *paces: Slots, batch: int = 32) -> None:
        self.queue: deque[_Due] = deque()
        self.batch = batch
        self._paces = tuple(p for p in paces if not p.unlimited)
        self._passed = 0
        self._slot_s = 0.0

    def ready_s(self, now_s: float) -> float:
        """When the first one may leave; no slot is taken before it could be used."""
        if not self.queue:
            return math.inf
        at_s = max(self._slot_s, self.queue[0].at_s)
        while at_s <= now_s and self._passed < len(self._paces):
            at_s = self._slot_s = self._paces[self._passed].slot(now_s)
            self._passed += 1
        return at_s

    def take(self) -> _Due:
        """Takes the first one."""
        self._passed = 0
        return self.queue.popleft()


class _Burst:
    """One call of `Echoer.run`: lanes before the exchange, a series for each target behind it."""

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
        self._count, self._interval_s = count, interval_s
        sockets = echoer.sockets.by_version
        sized = [(target, payload_bytes) for target in targets]
        self._exchange = Exchange(sockets, sized, timeout_s, self)
        self._window = min((s.capacity(payload_bytes) for s in sockets.values()), default=1)
        self.series = [_Series(i, t, open=count) for i, t in enumerate(targets)]
        self._unfinished = len(self.series) if count > 0 else 0
        self._again = _Lane(echoer.pace, batch=1)
        self._loopback = _Lane(echoer.loopback_pace)
        self._steady = _Lane(echoer.pace)
        self._on_link = _Lane(echoer.on_link_pace, echoer.pace)
        self._lanes = (self._again, self._loopback, self._steady, self._on_link)
        self._lingering: deque[tuple[float, _Series]] = deque()

    def completed(self, stop: threading.Event | None) -> Iterator[_Series]:
        """Does the work; yields each series when it is complete. Ends early once `stop` is set."""
        start_s = time.monotonic()
        for series in self.series:
            new = series.target.on_link_new
            lane = self._on_link if new else self._lane_of(series)
            lane.queue.append(_Due(start_s, series, 0))
        while self._unfinished and not (stop is not None and stop.is_set()):
            now_s = time.monotonic()
            self._send_due(now_s)
            if self._exchange.read():
                self._expire(now_s)
            while self._lingering and self._lingering[0][0] <= now_s:
                self._unfinished -= 1
                yield self._lingering.popleft()[1]
            if self._unfinished:
                self._echoer.sockets.wait(self._next_s() - time.monotonic())

    def _lane_of(self, series: _Series) -> _Lane:
        return self._loopback if series.target.address.is_loopback else self._steady

    def _send_due(self, now_s: float) -> None:
        for lane in self._lanes:
            for _ in range(lane.batch):
                if self._exchange.on_way >= self._window or lane.ready_s(now_s) > now_s:
                    break
                self._send(lane.take())

    def _send(self, due: _Due) -> None:
        series, number = due.series, due.number
        try:
            sent_s = self._exchange.send(series.index, number, due.tries).sent_s
        except OSError as error:
            sent_s = time.monotonic()
            series.not_sent(number, silence_of_refusal(error))
            self._settle(series)
        if due.tries == 1 and number + 1 < self._count:
            following = _Due(sent_s + self._interval_s, series, number + 1)
            self._lane_of(series).queue.append(following)

    def _expire(self, now_s: float) -> None:
        before = self._exchange.drops
        self._exchange.expire(now_s)
        self._echoer.kernel_drops += self._exchange.drops - before

    def _settle(self, series: _Series) -> None:
        if series.open == 0:
            self._lingering.append((time.monotonic() + _LINGER_S, series))

    def _next_s(self) -> float:
        """When there is something to do, unless something arrives before."""
        now_s = time.monotonic()
        next_s = min(now_s + _LONGEST_WAIT_S, self._exchange.next_expiry_s())
        if self._exchange.on_way < self._window:
            next_s = min(next_s, *(lane.ready_s(now_s) for lane in self._lanes))
        if self._lingering:
            next_s = min(next_s, self._lingering[0][0])
        return next_s

    # -- outcomes of the exchange ------------------------------------------------------------------

    def answered(self, echo: Echo, rtt_s: float) -> None:
        series = self.series[echo.row.index]
        series.answered(echo.number, rtt_s * 1e3)
        self._settle(series)

    def failed(self, echo: Echo, error: Quoted, reporter: str) -> None:
        series = self.series[echo.row.index]
        silence = silence_of_error(error, echo.row.socket.version, reporter)
        series.lost(echo.number, silence)
        self._settle(series)

    def timed_out(self, echo: Echo, *, doubtful: bool) -> None:
        series = self.series[echo.row.index]
        if not doubtful:
            series.lost(echo.number, TIMED_OUT)
        elif echo.tries < _TRIES:
            due = _Due(time.monotonic(), series, echo.number, echo.tries + 1)
            self._again.queue.append(due)
        else:
            series.open -= 1
        self._settle(series)

    def repeated(self, index: int, number: int) -> None:
        series = self.series[index]
        series.duplicates += series.rtt_ms.get(number) is not None

    def foreign(self, index: int) -> None:
        self.series[index].foreign_id += 1
