"""The pace at which packets leave, shared by every probe of a run."""

from __future__ import annotations

import mmap
import os
import struct
import threading
import time
from collections.abc import Callable
from typing import Final, Protocol

CATCH_UP_S: Final = 0.02
"""A thread that wakes late may still take the slots of so long ago, so that the rate holds."""


class Slots(Protocol):
    """Gives out sending slots; the times are those of the monotonic clock."""

    @property
    def unlimited(self) -> bool:
        """Whether slots are never in the future."""

    def slot(self, not_before_s: float | None = None) -> float:
        """Takes the next slot; the time at which the packet may leave."""


class _Next:
    """When the next slot is: for the threads of one process. Entered while it is changed."""

    def __init__(self) -> None:
        self.value = 0.0
        self._lock = threading.Lock()

    def __enter__(self) -> None:
        self._lock.acquire()

    def __exit__(self, *_: object) -> None:
        self._lock.release()


class _SharedNext:
    """The same for forked processes, on Linux: a file in memory that is mapped and locked.

    `multiprocessing` has its locks in /dev/shm, where not every user of every machine may write.
    This lock is taken from a process that dies (lockf(3)); threads of one process exclude each
    other.
    """

    _FORM = struct.Struct("d")

    def __init__(self) -> None:
        self._lock, self._made_by = threading.Lock(), os.getpid()
        self._file = os.memfd_create("pace")
        os.ftruncate(self._file, self._FORM.size)
        self._memory = mmap.mmap(self._file, self._FORM.size)

    def __del__(self) -> None:
        if os.getpid() == self._made_by:  # forked processes may have another file of this number
            os.close(self._file)

    @property
    def value(self) -> float:
        at_s: float = self._FORM.unpack_from(self._memory)[0]
        return at_s

    @value.setter
    def value(self, at_s: float) -> None:
        self._FORM.pack_into(self._memory, 0, at_s)

    def __enter__(self) -> None:
        self._lock.acquire()
        try:
            os.lockf(self._file, os.F_LOCK, 0)
        except BaseException:
            self._lock.release()
            raise

    def __exit__(self, *_: object) -> None:
        try:
            os.lockf(self._file, os.F_ULOCK, 0)
        finally:
            self._lock.release()


class Pace:
    """Gives out sending slots at a steady rate. Safe to share between threads.

    Args:
        per_s: packets a second; None: no limit.
        shared: also between this process and those it forks; they have one monotonic clock.
        clock: the monotonic clock.
    """

    def __init__(
        self,
        per_s: float | None,
        *,
        shared: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._clock = clock
        self._gap_s = 0.0 if per_s is None else 1.0 / per_s
        self._next = _SharedNext() if shared else _Next()

    @property
    def unlimited(self) -> bool:
        """Whether slots are never in the future."""
        return self._gap_s == 0.0

    def slot(self, not_before_s: float | None = None) -> float:
        """Takes the next slot; returns the monotonic time at which the packet may leave.

        Args:
            not_before_s: earliest useful time; now if None. A slot that nobody took within
                20 ms is lost; one taken late lies in the past, and the packet leaves at once.
        """
        earliest_s = self._clock() if not_before_s is None else not_before_s
        if self.unlimited:
            return earliest_s
        with self._next:
            at_s = max(self._next.value, earliest_s - CATCH_UP_S)
            self._next.value = at_s + self._gap_s
        return at_s
