"""The pace at which packets leave, shared by every probe of a run."""

from __future__ import annotations

import multiprocessing
import threading
import time
from typing import Any, Final

CATCH_UP_S: Final = 0.02
"""A thread that wakes late may still take the slots of so long ago, so that the rate holds."""


class _Next:
    """When the next slot is; in memory that forked processes share, if they are to."""

    def __init__(self) -> None:
        self.value = 0.0
        self._lock = threading.Lock()

    def get_lock(self) -> threading.Lock:
        return self._lock


class Pace:
    """Gives out sending slots at a steady rate. Safe to share between threads.

    Args:
        per_s: packets a second; None: no limit.
        shared: also between this process and those it forks; they have one monotonic clock.
    """

    def __init__(self, per_s: float | None, *, shared: bool = False) -> None:
        self._gap_s = 0.0 if per_s is None else 1.0 / per_s
        self._next: Any = multiprocessing.Value("d", 0.0) if shared else _Next()

    @property
    def unlimited(self) -> bool:
        """Whether slots are never in the future."""
        return self._gap_s == 0.0

    def slot(self, not_before_s: float | None = None) -> float:
        """Takes the next slot; returns the `time.monotonic()` time at which the packet may leave.

        Args:
            not_before_s: earliest useful time; now if None. A slot that nobody took within
                20 ms is lost; one taken late lies in the past, and the packet leaves at once.
        """
        earliest_s = time.monotonic() if not_before_s is None else not_before_s
        if self.unlimited:
            return earliest_s
        with self._next.get_lock():
            at_s: float = max(self._next.value, earliest_s - CATCH_UP_S)
            self._next.value = at_s + self._gap_s
        return at_s
