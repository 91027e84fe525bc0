"""Where a report goes, and files that are written once: evidence and the journals of soaks.

Evidence takes nobody's place: it is written beside and gets its name by link(2), which fails where
somebody holds that name (on FAT by an exclusive open). With `--replace` the old file is first moved
out of everybody's reach, then looked at. What came there during a run stays; the evidence gets the
next free name, which is said.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from verifier.errors import InputError, UsageError
from verifier.files.disk import new_mode, replace, scrap


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
            self._put(place, data)
        except OSError as fault:
            raise UsageError(f"{self._path} cannot be written: {fault.strerror}") from fault

    def _put(self, place: Path, data: bytes) -> None:
        _refuse_kept(place)
        replace(place, data)


class Once(Output):
    """A file that evidence goes to: a new one, or one that `may_go`.

    What came to stand there meanwhile is left alone: the evidence gets another name then, and
    UsageError says which.
    """

    def __init__(self, path: Path | None, *, may_go: bool) -> None:
        super().__init__(path)
        self._may_go = may_go

    def _put(self, place: Path, data: bytes) -> None:
        try:
            if self._may_go:
                put_instead(place, data, _unsigned)
            else:
                put(place, data)
        except FileExistsError:
            other = put_beside(place, data)
            raise UsageError(
                f"{place} came to stand there meanwhile and was left alone: the evidence is in "
                f"{other}"
            ) from None


@contextmanager
def opened(path: Path | None, *, inputs: Iterable[Path | None] = ()) -> Iterator[Output]:
    """The place of a report; raises UsageError at once where it cannot be written.

    Args:
        path: the file, or None for none.
        inputs: files that are read: a report must not take their place.
    """
    if path is not None:
        _prove(path, inputs)
        _refuse_kept(_target(path))
    yield Output(path)


def _prove(path: Path, inputs: Iterable[Path | None]) -> None:
    try:
        _prove_writable(path, [i for i in inputs if i is not None])
    except OSError as fault:
        raise UsageError(f"{path} cannot be written: {fault.strerror}") from fault


@contextmanager
def opened_once(
    path: Path | None, *, inputs: Iterable[Path | None] = (), may_go: bool = False
) -> Iterator[Once]:
    """The place of evidence; raises UsageError at once where something stands there already.

    Args:
        path: the file, or None for none.
        inputs: files that are read.
        may_go: evidence that is not signed may be replaced.
    """
    if path is not None:
        _prove(path, inputs)
        if (place := _target(path)).is_file():
            _refuse_there(path, place, may_go=may_go)
    yield Once(path, may_go=may_go)


def _refuse_there(path: Path, place: Path, *, may_go: bool) -> None:
    """Raises UsageError for a file that evidence may not take the place of."""
    what = _kept(place)
    free = _unsigned(place)
    if free and may_go:
        return
    said = f"is {what}" if what is not None else "is there already"
    how = "; --replace allows it for evidence that is not signed" if free or may_go else ""
    raise UsageError(f"{path} {said}, and evidence never overwrites a file: name another one{how}")


def _unsigned(path: Path) -> bool:
    """Whether it is evidence without a signature; where that cannot be read it is not said."""
    try:
        return unsigned(path)
    except InputError:
        return False


def _refuse_kept(place: Path) -> None:
    if place.is_file() and (what := _kept(place)) is not None:
        raise UsageError(f"{place} is {what}, which is never overwritten: name another file")


def _kept(place: Path) -> str | None:
    try:
        return kept(place)
    except OSError as fault:
        raise UsageError(f"{place} is there and cannot be read: {fault.strerror}") from fault


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
