"""Reading a file whole: bounded, and with a plain word for what goes wrong."""

from __future__ import annotations

import os
import re
import stat
from pathlib import Path

from verifier.errors import InputError

MAX_BYTES = 32 * 1024 * 1024
"""A plan of 10,000 devices takes about 8 MB."""

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
