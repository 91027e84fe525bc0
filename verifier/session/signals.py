"""Signals as something to wait for, together with descriptors and time."""

from __future__ import annotations

import asyncio
import select
import signal
import socket
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Any, Protocol, Self

_NO_SIGNALS = (NotImplementedError, ValueError, RuntimeError)
"""What an event loop raises where it cannot handle signals (Windows, not the main thread)."""


@contextmanager
def cancelled_by_signals(task: asyncio.Task[None], stop: threading.Event) -> Iterator[None]:
    """The first SIGINT or SIGTERM sets `stop` and cancels `task`; a second one does what it did."""
    loop = asyncio.get_running_loop()
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}

    def interrupt() -> None:
        stop.set()
        task.cancel()
        restore()

    def restore() -> None:
        for number, handler in before.items():
            with suppress(*_NO_SIGNALS):
                loop.remove_signal_handler(number)  # which leaves SIGTERM to end the process
                signal.signal(number, handler)

    for number in before:
        with suppress(*_NO_SIGNALS):
            loop.add_signal_handler(number, interrupt)
    try:
        yield
    finally:
        restore()


class Readable(Protocol):
    """Something that `select` can wait for."""

    def fileno(self) -> int:
        """Its descriptor."""


class Signals:
    """Takes SIGINT and SIGTERM as `stop` and SIGHUP as `reload`, while it is entered.

    Attributes:
        stop: a person or the service manager wants an end.
        reload: the plan is to be read again; whoever does so sets it back.
    """

    def __init__(self) -> None:
        self.stop = False
        self.reload = False
        self._woken, self._wake = socket.socketpair()
        self._before: dict[int, Any] = {}
        self._fd_before: int = -1

    def __enter__(self) -> Self:
        for end in (self._woken, self._wake):
            end.settimeout(0)
        self._fd_before = signal.set_wakeup_fd(self._wake.fileno(), warn_on_full_buffer=False)
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            self._before[number] = signal.signal(number, self._heard)
        return self

    def __exit__(self, *exc: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)
        signal.set_wakeup_fd(self._fd_before)
        self._woken.close()
        self._wake.close()

    def _heard(self, number: int, frame: FrameType | None) -> None:
        del frame
        if number == signal.SIGHUP:
            self.reload = True
        else:
            self.stop = True

    def wait(self, timeout_s: float | None, *others: Readable) -> Sequence[Readable]:
        """Waits for a signal, for any of `others`, or for so long; returns those that are ready."""
        if self.stop:
            return ()
        ready, _, _ = select.select([self._woken, *others], [], [], timeout_s)
        if self._woken in ready:
            self._woken.recv(4096)
        return [r for r in ready if r is not self._woken]
