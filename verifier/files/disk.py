"""Reading a file whole, within bounds; writing one so that a reader gets the old or the new one."""

from __future__ import annotations

import os
import re
import stat
import tempfile
from pathlib import Path

from verifier.errors import InputError, UsageError

MAX_BYTES = 32 * 1024 * 1024
"""A plan of 10,000 devices takes about 8 MB."""

_LONGEST_NAME = 40
"""Letters of a file's name in that of the file beside it: names have an end."""
_BOM = b"\xef\xbb\xbf"
_UTF16 = (b"\xff\xfe", b"\xfe\xff")


def read_bytes(path: Path, limit: int = MAX_BYTES) -> bytes:
    """The content of `path`. Raises InputError if it is missing, unreadable, or above `limit`."""
    try:
        if not path.is_file():
            reason = "is not a file" if path.exists() else "there is no such file"
            raise InputError(f"{path}: {reason}")
        if (size := path.stat().st_size) > limit:
            raise InputError(
                f"{path}: {size / 2**20:.0f} MB is too big, at most {limit // 2**20} MB are read: "
                "is this the right file?"
            )
        return path.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{path}: cannot be read: {reason}") from None


def read_text(path: Path, limit: int = MAX_BYTES) -> str:
    """The text of a UTF-8 file, without a byte order mark. Raises InputError."""
    return decode(read_bytes(path, limit), path)


def open_to_others(path: Path) -> bool:
    """Whether others than the owner may read the file, where files have such modes."""
    return os.name == "posix" and bool(path.stat().st_mode & (stat.S_IRGRP | stat.S_IROTH))


def decode(data: bytes, path: Path) -> str:
    """`data` read as UTF-8, without a byte order mark. Raises InputError with line and offset."""
    if data.startswith(_UTF16):
        raise InputError(f"{path}: is UTF-16, not UTF-8: save it as UTF-8")
    try:
        return data.removeprefix(_BOM).decode("utf-8")
    except UnicodeDecodeError as error:
        start = error.start + (len(_BOM) if data.startswith(_BOM) else 0)
        line = len(re.findall(rb"\r\n|\r|\n", data[:start])) + 1
        raise InputError(
            f"{path}: line {line}: byte {data[start]:#04x} at offset {start} is not UTF-8: "
            f'save the file as UTF-8 (in a spreadsheet program: "CSV UTF-8"){_perhaps(data[start])}'
        ) from None


def _perhaps(byte: int) -> str:
    """What a byte would be in the older encoding that spreadsheet programs still write."""
    try:
        letter = bytes((byte,)).decode("cp1252")
    except UnicodeDecodeError:
        return ""
    return f"; in Windows-1252 the byte is {letter!r}"


# -- writing ---------------------------------------------------------------------------------------


def write_new(path: Path, data: bytes) -> None:
    """Writes a file that must not be there; one that cannot be completed is taken away again.

    Raises UsageError.
    """
    try:
        file = path.open("xb")
    except FileExistsError:
        raise UsageError(
            f"{path} is there already: nothing is overwritten, name a new file"
        ) from None
    except (OSError, ValueError) as fault:  # ValueError: a NUL in the name
        reason = getattr(fault, "strerror", None) or str(fault)
        raise UsageError(f"{path} cannot be written: {reason}") from fault
    try:
        with file:
            file.write(data)
    except OSError as fault:
        path.unlink(missing_ok=True)
        raise UsageError(f"{path} cannot be written: {fault.strerror}") from fault


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
    return f".new-{path.name[:_LONGEST_NAME]}-"


def _mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode) if path.exists() else new_mode()


def new_mode() -> int:
    """The permissions that a new file gets."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
