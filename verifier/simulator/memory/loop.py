"""Simulated time: an event loop whose clock jumps to its next timer instead of waiting."""

from __future__ import annotations

import asyncio
import datetime as dt
import math
import selectors
from collections.abc import Callable, Coroutine, Sequence
from typing import Any, TypeVar

_Value = TypeVar("_Value")
START = dt.datetime(2026, 3, 2, 6, 0, tzinfo=dt.UTC)
"""The time of day at second 0, unless another is wanted."""


class _JumpingSelector(selectors.SelectSelector):
    """Waits for nothing: the clock jumps over the time that would be waited."""

    def __init__(self, clocks: MemoryClocks) -> None:
        super().__init__()
        self._clocks = clocks

    def select(self, timeout: float | None = None) -> list[Any]:
        if timeout is None:
            raise RuntimeError("everybody waits for something that never happens")
        self._clocks.jump(timeout)
        return []


class _JumpingLoop(asyncio.SelectorEventLoop):
    def __init__(self, clocks: MemoryClocks) -> None:
        self._clocks = clocks
        super().__init__(_JumpingSelector(clocks))

    def time(self) -> float:
        return self._clocks.monotonic_s()


class MemoryClocks:
    """The clocks of a world in memory, and its event loop.

    Attributes:
        offset_s: by how much the time of day was put on since the start.
    """

    def __init__(self, start: dt.datetime = START) -> None:
        self._start = start
        self._now_s = 0.0
        self.offset_s = 0.0
        self._loop = _JumpingLoop(self)

    def close(self) -> None:
        """Closes the event loop."""
        self._loop.close()

    def jump(self, seconds: float) -> None:
        """So much time passes; at least the smallest step of a float.

        After some months that is more than the loop's own margin for timers that are due: without
        the step it would wait for such a timer for ever.
        """
        self._now_s = max(self._now_s + seconds, math.nextafter(self._now_s, math.inf))

    def now(self) -> dt.datetime:
        """The time of day."""
        return self._start + dt.timedelta(seconds=self._now_s + self.offset_s)

    def monotonic_s(self) -> float:
        """Seconds since the start."""
        return self._now_s

    elapsed_s = monotonic_s

    def call_at(self, at_s: float, what: Callable[[], object]) -> None:
        """Has something done when it is time, while the loop runs or time is waited for."""
        self._loop.call_at(at_s, what)

    async def sleep(self, seconds: float) -> None:
        """Waits in the event loop."""
        if seconds > 0:
            await asyncio.sleep(seconds)

    def pause(self, seconds: float | None, *wake: Any) -> Sequence[Any]:
        """Time passes; nothing becomes readable."""
        del wake
        if seconds is None:
            raise RuntimeError("somebody waits for something that never happens")
        self.run(self.sleep(seconds))
        return ()

    def run(self, work: Coroutine[Any, Any, _Value]) -> _Value:
        """Carries out `work`; what else it has begun is cancelled."""
        try:
            return self._loop.run_until_complete(work)
        finally:
            left = asyncio.all_tasks(self._loop)
            for task in left:
                task.cancel()
            if left:
                self._loop.run_until_complete(asyncio.gather(*left, return_exceptions=True))
