"""Signals as something to wait for: one class for every command that has to end in order.

A handler of Python runs between two steps of the main thread, also while that waits in `select`,
which then goes on waiting (PEP 475). So the handler writes an octet to a pipe that any wait can
have among its descriptors; an event loop is woken through the loop itself. No wakeup descriptor
is used: an event loop that runs meanwhile takes it away.
"""

from __future__ import annotations

import asyncio
import os
import select
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from types import FrameType
from typing import IO, Any, Literal, Self

from verifier.session.world import Clocks, Readable

_ENDS = ("SIGINT", "SIGTERM")
_HANGUP = "SIGHUP"


class _Handlers:
    """A handler in place of others, which `restore` puts back; without effect in other threads."""

    def __init__(self, names: Iterable[str], heard: Callable[[int], None]) -> None:
        self._before: dict[int, Any] = {}

        def handler(number: int, frame: FrameType | None) -> None:
            del frame
            heard(number)

        for name in names:
            if (number := getattr(signal, name, None)) is not None:  # Windows has no SIGHUP
                with suppress(ValueError):  # signals come to the main thread alone
                    self._before[number] = signal.signal(number, handler)

    def restore(self) -> None:
        """Puts back what was there before; a second time nothing."""
        while self._before:
            signal.signal(*self._before.popitem())


@contextmanager
def cancelled_by_signals(task: asyncio.Task[None], stop: threading.Event) -> Iterator[None]:
    """The first SIGINT or SIGTERM sets `stop` and cancels `task`; a second one does what it did."""
    loop = asyncio.get_running_loop()

    def end(number: int) -> None:
        del number
        handlers.restore()
        stop.set()
        loop.call_soon_threadsafe(task.cancel)

    handlers = _Handlers(_ENDS, end)
    try:
        yield
    finally:
        handlers.restore()


class Signals:
    """Notes signals instead of being ended by them, while it is entered.

    Args:
        hangup: what SIGHUP means: an end, as the terminal is gone, or that the plan is to be read
            again, as a service manager means it.

    Attributes:
        first: the first signal that asked for an end; None: none yet.
        stop: a person or the service manager wants an end.
        reload: the plan is to be read again; whoever does so sets it back.
    """

    def __init__(self, *, hangup: Literal["end", "reload"] = "end") -> None:
        self.first: int | None = None
        self.stop = False
        self.reload = False
        self._reloads = hangup == "reload"
        self._typed = b""

    def __enter__(self) -> Self:
        self._reader, self._writer = os.pipe()
        for end in (self._reader, self._writer):
            os.set_blocking(end, False)
        self._handlers = _Handlers((*_ENDS, _HANGUP), self.note)
        return self

    def __exit__(self, *exc: object) -> None:
        self._handlers.restore()
        os.close(self._reader)
        os.close(self._writer)

    def note(self, number: int = signal.SIGINT) -> None:
        """Notes a signal, also one that somebody else has taken."""
        if self._reloads and number == getattr(signal, _HANGUP, None):
            self.reload = True
        else:
            self.stop = True
            self.first = self.first or number
        with suppress(OSError):
            os.write(self._writer, b".")

    def fileno(self) -> int:
        """Becomes readable when a signal comes."""
        return self._reader

    def wait(self, clocks: Clocks, timeout_s: float, *others: Readable) -> Sequence[Readable]:
        """Waits for a signal, for any of `others`, or for so long; returns those that are ready."""
        return () if self.stop else self._others(clocks.pause(timeout_s, self, *others))

    def _others(self, ready: Sequence[Readable]) -> Sequence[Readable]:
        """Those that are ready but for the signals, which are taken in."""
        if self in ready:
            os.read(self._reader, 4096)
        return [r for r in ready if r is not self]

    def read_line(self, stream: IO[str]) -> str | None:
        """The next line of `stream`, without its end; None at the stream's end or at a signal."""
        while not self.stop and b"\n" not in self._typed:
            waited: list[Readable] = [self, stream]
            if stream in self._others(select.select(waited, [], [])[0]):
                read = os.read(stream.fileno(), 4096)
                if not read:
                    break
                self._typed += read
        line, ended, rest = self._typed.partition(b"\n")
        if self.stop or not (line or ended):
            return None
        self._typed = rest
        return line.decode(errors="replace").strip()
