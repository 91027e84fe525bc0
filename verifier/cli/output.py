"""Where a report goes: a file that is complete or not there, or the standard output."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from verifier.errors import UsageError
from verifier.files.replacing import replace, scrap


class Output:
    """A file that a report goes to; without a path nothing is written. Write once, at the end."""

    def __init__(self, path: Path | None) -> None:
        self._path = path

    def write(self, report: str | bytes) -> None:
        """Writes `report`, a text as UTF-8, all at once, so that nobody reads half of it.

        A link keeps pointing where it does; a device or pipe is written to, never replaced.
        """
        if self._path is None:
            return
        data = report.encode("utf-8", "backslashreplace") if isinstance(report, str) else report
        try:
            place = _target(self._path)
            if place.exists() and not place.is_file():
                place.write_bytes(data)
                return
            replace(place, data)
        except OSError as fault:
            raise UsageError(f"{self._path} cannot be written: {fault.strerror}") from fault


def show(report: str | bytes) -> None:
    """Prints `report`. Raises UsageError where it is no text and a terminal would get it."""
    if isinstance(report, str):
        sys.stdout.write(report)
    elif sys.stdout.isatty():
        raise UsageError("a workbook is no text for a terminal: name a file with --out")
    else:
        sys.stdout.buffer.write(report)
    sys.stdout.flush()


@contextmanager
def opened(path: Path | None, *, inputs: Iterable[Path | None] = ()) -> Iterator[Output]:
    """The place of a report; raises UsageError at once where it cannot be written.

    Args:
        path: the file, or None for none.
        inputs: files that are read: a report must not take their place.
    """
    if path is not None:
        try:
            _prove_writable(path, [i for i in inputs if i is not None])
        except OSError as fault:
            raise UsageError(f"{path} cannot be written: {fault.strerror}") from fault
    yield Output(path)


def _prove_writable(path: Path, inputs: Iterable[Path]) -> None:
    place = _target(path)
    if place.is_dir():
        raise UsageError(f"{path} is a folder; name a file")
    if place.exists():
        if any(i.exists() and place.samefile(i) for i in inputs):
            raise UsageError(f"{path} is read as an input; name another file for the report")
        if not os.access(place, os.W_OK):
            raise UsageError(f"{path} cannot be written: Permission denied")
        if not place.is_file():
            return
    scrap(place).unlink()


def _target(path: Path) -> Path:
    """What `path` is or, as a link, leads to; a loop of links leads to itself."""
    return Path(os.path.realpath(path))
