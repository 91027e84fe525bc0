"""Echoes in simulated time: series and grids, judged as `probes.echo` judges them."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from verifier.model.address import Address
from verifier.model.observations import PathMtu, Silence
from verifier.probes.echo.series import TIMED_OUT, EchoBurst, EchoTarget
from verifier.probes.echo.watch import EchoSink, Watched
from verifier.probes.pace import Slots
from verifier.simulator.memory.device import RTT_S, MemoryDevice
from verifier.simulator.memory.loop import MemoryClocks
from verifier.simulator.memory.snmp import Reached

_NO_ROUTE = Silence(reason="no-route", text="Network is unreachable", errno="ENETUNREACH")
_PAYLOAD_BYTES = 56
_NO_PERMISSION = "no permission to send IPv{} echoes: run it as root"


class MemoryEchoes:
    """What `session/world.py` calls `EchoAccess`.

    Args:
        clocks: of the world.
        reached: who answers at an address.
    """

    def __init__(self, clocks: MemoryClocks, reached: Reached) -> None:
        self.clocks, self._reached = clocks, reached

    @contextmanager
    def sender(
        self, *, pace: Slots, on_link_pace: Slots, loopback_pace: Slots | None = None
    ) -> Iterator[MemoryEchoSender]:
        """Who sends series of echoes."""
        del on_link_pace, loopback_pace
        yield MemoryEchoSender(self, pace)

    async def path_mtus(
        self, targets: Sequence[EchoTarget], planned: int, **how: Any
    ) -> list[PathMtu]:
        """Whatever answers, answers in the planned size."""
        del how
        await self.clocks.sleep(RTT_S)
        answered = [self.echo(t.address) for t in targets]
        return [
            PathMtu(planned=planned, passed=a > 0, largest=planned if a > 0 else None)
            for a in answered
        ]

    async def watch(  # noqa: PLR0913
        self,
        watched: Sequence[Watched],
        sink: EchoSink,
        *,
        step_s: float,
        timeout_s: float,
        long_s: float,
        stop: threading.Event,
        pace: Slots | None = None,
    ) -> None:
        """Echoes on a grid: each row at its places, until the time is over or `stop` is set."""
        del pace
        start_s = self.clocks.monotonic_s()
        lost: deque[tuple[float, int, int]] = deque()
        slot = 0
        while not stop.is_set() and slot * step_s < long_s:
            await self.clocks.sleep(start_s + slot * step_s - self.clocks.monotonic_s())
            now_s = self.clocks.monotonic_s() - start_s
            while lost and lost[0][0] <= now_s:
                _, index, at = lost.popleft()
                sink.unheard(index, at, "lost", TIMED_OUT.text)
            for index, row in enumerate(watched):
                if self.echo(row.target.address) > 0:
                    sink.heard(index, slot, round(RTT_S * 1e6))
                else:
                    lost.append((now_s + timeout_s, index, slot))
            sink.tick(now_s)
            slot += 1
        if not stop.is_set():
            await self.clocks.sleep(timeout_s)
            for _, index, at in lost:
                sink.unheard(index, at, "lost", TIMED_OUT.text)

    @staticmethod
    def missing(version: int) -> str:
        """Every laptop in memory has IPv4."""
        return "" if version == 4 else _NO_PERMISSION.format(version)  # noqa: PLR2004

    def echo(self, address: Address) -> int:
        """How many replies one echo gets now; -1: it does not leave."""
        device = self._reached(address)
        if isinstance(device, MemoryDevice):
            return 2 if device.echoes_twice else 1
        return -1 if device == "no-route" else 0


class MemoryEchoSender:
    """Sends series of echoes in simulated time."""

    kernel_drops = 0

    def __init__(self, echoes: MemoryEchoes, pace: Slots) -> None:
        self._echoes, self._pace = echoes, pace

    async def run(  # noqa: PLR0913
        self,
        targets: Sequence[EchoTarget],
        *,
        count: int,
        interval_s: float,
        timeout_s: float,
        on_done: Callable[[int, EchoBurst], None] | None = None,
        stop: threading.Event | None = None,
    ) -> list[EchoBurst]:
        """Sends `count` echoes to each target; one series for each, in order."""
        clocks = self._echoes.clocks
        start_s = clocks.monotonic_s()
        replies: list[list[int]] = [[] for _ in targets]
        done_s = [start_s] * len(targets)
        for number in range(count):
            for n, target in enumerate(targets):
                if stop is not None and stop.is_set():
                    return [_series(t, r) for t, r in zip(targets, replies, strict=True)]
                due_s = max(self._pace.slot(clocks.monotonic_s()), start_s + number * interval_s)
                await clocks.sleep(due_s - clocks.monotonic_s())
                replies[n].append(self._echoes.echo(target.address))
                took_s = RTT_S if replies[n][-1] > 0 else timeout_s
                done_s[n] = max(done_s[n], clocks.monotonic_s() + took_s)
        series = [_series(t, r) for t, r in zip(targets, replies, strict=True)]
        for n in sorted(range(len(targets)), key=done_s.__getitem__):
            await clocks.sleep(done_s[n] - clocks.monotonic_s())
            if on_done is not None:
                on_done(n, series[n])
        return series


def _series(target: EchoTarget, replies: Sequence[int]) -> EchoBurst:
    """What became of the echoes to one target, by the number of replies to each."""
    return EchoBurst(
        target=target,
        rtt_ms=tuple(RTT_S * 1000 if r > 0 else None for r in replies if r >= 0),
        silences=tuple(_NO_ROUTE if r < 0 else TIMED_OUT for r in replies if r <= 0),
        duplicates=sum(r - 1 for r in replies if r > 1),
        payload_bytes=_PAYLOAD_BYTES,
    )
