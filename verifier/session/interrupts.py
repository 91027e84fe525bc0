"""Signals while a person is asked or something is set that has to be undone."""

from __future__ import annotations

import os
import select
import signal
from contextlib import suppress
from types import FrameType
from typing import IO, Any, Self


class Interrupts:
    """Notes interrupts and requests to end instead of being ended by them, so that all is undone.

    A context manager. `got` is the first signal that came. Other than `session.signals.Signals` it
    takes SIGHUP as an end, the terminal being gone, and needs no wakeup descriptor, which an event
    loop that runs meanwhile takes away.
    """

    def __init__(self) -> None:
        self.got: int | None = None
        self._typed = b""
        self._previous: dict[int, Any] = {}

    def __enter__(self) -> Self:
        self._reader, self._writer = os.pipe()
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            if hasattr(signal, name):
                number = getattr(signal, name)
                self._previous[number] = signal.signal(number, self._note)
        return self

    def __exit__(self, *exc: object) -> None:
        for number, handler in self._previous.items():
            signal.signal(number, handler)
        os.close(self._reader)
        os.close(self._writer)

    def note(self) -> None:
        """Notes an interrupt that somebody else has taken."""
        self._note(signal.SIGINT, None)

    def _note(self, number: int, frame: FrameType | None) -> None:
        del frame
        self.got = self.got or number
        with suppress(OSError):
            os.write(self._writer, b".")

    def await_line(self, stream: IO[str]) -> None:
        """Returns at a line or the end of `stream`, or at a signal."""
        self.read_line(stream)

    def read_line(self, stream: IO[str]) -> str | None:
        """The next line of `stream`, without its end; None at the stream's end or at a signal."""
        while self.got is None and b"\n" not in self._typed:
            ready, _, _ = select.select([stream.fileno(), self._reader], [], [])
            if stream.fileno() in ready:
                read = os.read(stream.fileno(), 4096)
                if not read:
                    break
                self._typed += read
        line, ended, rest = self._typed.partition(b"\n")
        if self.got is not None or not (line or ended):
            return None
        self._typed = rest
        return line.decode(errors="replace").strip()

    def fileno(self) -> int:
        """Becomes readable when a signal comes."""
        return self._reader
