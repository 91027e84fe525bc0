"""Files that are written once: evidence and the journals of soaks are never overwritten.

Evidence takes nobody's place: it is written beside and gets its name by link(2), which fails where
somebody holds that name (on FAT by an exclusive open). With `--replace` the old file is first moved
out of everybody's reach, then looked at. What came there during a run stays; the evidence gets the
next free name, which is said.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Final

from verifier.files.disk import new_mode, scrap

_BEGIN_BYTES: Final = 256
_BEGINS: Final = re.compile(rb'(\xef\xbb\xbf)?\s*\{\s*"format"\s*:\s*"plan-verifier/evidence/')
_OTHER_NAMES: Final = 1000


def kept(path: Path) -> str | None:
    """What stands at `path` where nobody may overwrite it, in words; None where nothing such does.

    Raises OSError where it cannot be read.
    """
    from verifier.files.journals.soak import is_journal  # noqa: PLC0415 - most files are not there yet

    with path.open("rb") as file:
        begin = file.read(_BEGIN_BYTES)
    if _BEGINS.match(begin):
        return "evidence"
    return "the journal of a soak" if is_journal(path) else None


def unsigned(path: Path) -> bool:
    """Whether `path` holds evidence that nobody signed, or nothing. Raises InputError, OSError."""
    from verifier.files.evidence.document import FORMAT, read_document  # noqa: PLC0415

    if not path.stat().st_size:
        return True
    document = read_document(path)
    return document["format"] == FORMAT and document.get("signature", "") is None


def put(path: Path, data: bytes) -> None:
    """Writes a new file, whole or not at all.

    Raises FileExistsError where something is there by now, another OSError where there is no room.
    """
    part = _beside(path, data)
    try:
        _appear(part, path)
    finally:
        part.unlink(missing_ok=True)


def put_instead(path: Path, data: bytes, may_go: Callable[[Path], bool]) -> None:
    """Writes a file whole in the place of one that `may_go`; that one is looked at when it is out.

    Raises FileExistsError where the file that is there by now may not go; it stays. Other OSErrors
    as `put`; the old file is there then.
    """
    part, aside = _beside(path, data), scrap(path)
    try:
        with suppress(FileNotFoundError):
            path.replace(aside)  # from here on it is ours alone
        if aside.stat().st_size and not may_go(aside):
            _appear(aside, path)
            raise FileExistsError(f"{path} may not go")
        try:
            _appear(part, path)
        except FileExistsError:
            raise
        except OSError:
            _appear(aside, path)
            raise
    finally:
        part.unlink(missing_ok=True)
        aside.unlink(missing_ok=True)


def put_beside(path: Path, data: bytes) -> Path:
    """Writes a new file under the next free name that is like `path`. Raises OSError."""
    for number in range(2, _OTHER_NAMES):
        other = path.with_name(f"{path.stem}.{number}{path.suffix}")
        with suppress(FileExistsError):
            put(other, data)
            return other
    raise FileExistsError(f"{path}: too many files of this name")


def _beside(path: Path, data: bytes) -> Path:
    """A file beside `path` with this content, on the disk."""
    part = scrap(path)
    try:
        with part.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.chmod(new_mode())
    except OSError:
        part.unlink(missing_ok=True)
        raise
    return part


def _appear(part: Path, path: Path) -> None:
    """Gives a file a second name that nobody holds. Raises FileExistsError where somebody does."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:  # FAT on a memory stick has no second names
        _create(path, part.read_bytes())


def _create(path: Path, data: bytes) -> None:
    with path.open("xb") as file:
        try:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        except OSError:
            path.unlink(missing_ok=True)
            raise
