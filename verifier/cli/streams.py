"""The standard streams, made fit for pipes, full disks and callers that closed them."""

from __future__ import annotations

import io
import os
import sys
from typing import TextIO


class ClosableStream(io.FileIO):
    """A stream whose reader may go away: what is written after that is lost, and is no fault.

    Attributes:
        fault: why else something could not be written (a full disk), or None.
    """

    fault: OSError | None = None

    def write(self, data: object) -> int:
        """Writes `data`, or drops it; never raises OSError."""
        view = memoryview(data)  # type: ignore[arg-type]
        try:
            return super().write(view) or 0
        except BrokenPipeError:
            pass
        except OSError as fault:
            self.fault = fault
        return view.nbytes


def prepare() -> ClosableStream:
    """Puts tolerant streams in the place of stdin, stdout and stderr; returns that of stdout.

    A stream that the caller closed becomes the null device, so that no file opened later takes
    its descriptor and gets what is printed.
    """
    if sys.stdin is None:
        sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: PTH123, SIM115 - stays open
    out, sys.stdout = _tolerant(sys.stdout)
    _, sys.stderr = _tolerant(sys.stderr)
    return out


def _tolerant(stream: TextIO | None) -> tuple[ClosableStream, TextIO]:
    descriptor = os.open(os.devnull, os.O_WRONLY) if stream is None else stream.fileno()
    sink = ClosableStream(descriptor, "w", closefd=False)
    text = io.TextIOWrapper(
        io.BufferedWriter(sink),
        encoding="utf-8" if stream is None else stream.encoding,
        errors="backslashreplace",
        line_buffering=True,
    )
    return sink, text
