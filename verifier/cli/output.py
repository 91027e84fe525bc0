"""Where a report goes: a file that is complete or not there, or the standard output."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from verifier.errors import UsageError


class Output:
    """A file that a report goes to; without a path nothing is written. Write once, at the end."""

    def __init__(self, path: Path | None, part: Path | None) -> None:
        self.path = path
        self._part = part

    def write(self, text: str) -> None:
        """Writes `text` all at once, so that nobody reads half of it."""
        if self.path is None or self._part is None:
            return
        try:
            self._part.write_text(text, encoding="utf-8")
            self._part.replace(self.path)
        except OSError as fault:
            raise UsageError(f"{self.path} cannot be written: {fault.strerror}") from fault


def show(text: str) -> None:
    """Prints `text`; a reader that closed the pipe is no fault."""
    with suppress(BrokenPipeError):
        sys.stdout.write(text)
        sys.stdout.flush()


@contextmanager
def opened(path: Path | None) -> Iterator[Output]:
    """The place of a report; raises UsageError at once where it cannot be written."""
    if path is None:
        yield Output(None, None)
        return
    if path.is_dir():
        raise UsageError(f"{path} is a folder; name a file")
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as fault:
        raise UsageError(f"{path} cannot be written: {fault.strerror}") from fault
    os.close(handle)
    part = Path(name)
    part.chmod(0o666 & ~_umask())
    try:
        yield Output(path, part)
    finally:
        part.unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
