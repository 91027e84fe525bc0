"""Writing a file so that a reader gets the old one or the new one, never a part."""

from __future__ import annotations

import os
import stat
import tempfile
from pathlib import Path

_LONGEST = 40
"""Letters of a file's name in that of the file beside it: names have an end."""


def replace(path: Path, data: bytes, mode: int | None = None) -> None:
    """Puts `data` in the place of `path`, with the permissions `mode`.

    Without it these are what that file has or a new one gets. Raises OSError; what was there is
    there still.
    """
    part = scrap(path)
    try:
        part.write_bytes(data)
        part.chmod(_mode(path) if mode is None else mode)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def scrap(path: Path) -> Path:
    """A new empty file beside `path`. Raises OSError where none can be made."""
    handle, name = tempfile.mkstemp(prefix=_prefix(path), dir=path.parent)
    os.close(handle)
    return Path(name)


def clear(path: Path) -> None:
    """Removes what writers of `path` left beside it when they were killed.

    Not for a path that somebody else may be writing meanwhile. Raises OSError.
    """
    prefix = _prefix(path)
    for left in path.parent.iterdir():
        if left.name.startswith(prefix) and left.is_file() and not left.is_symlink():
            left.unlink(missing_ok=True)


def _prefix(path: Path) -> str:
    return f".new-{path.name[:_LONGEST]}-"


def _mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode) if path.exists() else new_mode()


def new_mode() -> int:
    """The permissions that a new file gets."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
