"""The journal of a soak: JSON lines, only ever added to, readable wherever it was cut off.

The first line says what is being done, with plan and profiles as used; then come what was seen
(`seen`) and the blocks of samples (see `model/samples.py`), each in canonical form (RFC 8785);
the last line is `end`. Each line but the first holds in `previous` the SHA-256 of the line before
it, so that none can be changed alone; that of the last line stands in the evidence. A line that a
kill or a full disk cut short is at the end and is left out. A closed journal is compressed (RFC
1952).

The observation `journal` is made after the last line and holds the head of the chain: `report`
refuses a journal whose chain breaks, or that is not the one of the evidence beside it or compared
with it.
"""

from __future__ import annotations

import gzip
import hashlib
import json
import os
import threading
import time
import zlib
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Self, cast

from verifier.errors import InputError, UsageError
from verifier.files.canonical import canonical_of
from verifier.model.samples import Block

FORMAT: Final = "plan-verifier/journal/1"
BLOCKS: Final = frozenset({"echo", "values", "gap", "clock"})
"""Kinds of lines that are samples."""
_KINDS: Final = BLOCKS | {"header", "seen", "end"}
_GZIP: Final = b"\x1f\x8b"
_SYNC_S: Final = 5.0
"""At most so often is the disk waited for."""
_CHUNK: Final = 1 << 20

Line = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """What a journal is known by: how many lines, and the SHA-256 of its first and last one."""

    lines: int
    first: str
    head: str


class Journal:
    """A journal being written; a context manager that compresses it at its end.

    Lines that the disk does not take are kept in memory and tried again with the next one.

    Args:
        path: where it is to stand; a file that is there is left alone, another name is taken.
        header: the first line.

    Attributes:
        path: where it stands.
        fault: why the disk does not take it now, or empty.

    Raises UsageError where nothing can be written there.
    """

    def __init__(self, path: Path, header: Line) -> None:
        self.fault = ""
        self._waiting: list[tuple[bytes, str]] = []
        self._last = ""
        self._chain = Chain(lines=0, first="", head="")
        self._lock = threading.Lock()
        self._good = 0
        self._synced_s = 0.0
        self._dirty = False
        self.path, self._file = _created(path)
        self.add({"kind": "header", "format": FORMAT, **header})
        if self.fault:
            os.close(self._file)
            self.path.unlink(missing_ok=True)
            raise UsageError(f"{self.path} cannot be written: {self.fault}")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        with suppress(OSError):
            os.fsync(self._file)
        os.close(self._file)

    def add(self, *lines: Line) -> None:
        """Adds lines; never raises for the disk's sake."""
        with self._lock:
            self._waiting += [self._linked(line) for line in lines]
            try:
                while self._waiting:
                    self._append(*self._waiting[0])
                    del self._waiting[0]
                self.fault = ""
            except OSError as error:
                self.fault = error.strerror or str(error)
                with suppress(OSError):
                    os.ftruncate(self._file, self._good)

    def _linked(self, line: Line) -> tuple[bytes, str]:
        """The line with the SHA-256 of the one before it, and its own."""
        data = canonical_of({**line, **({"previous": self._last} if self._last else {})})
        self._last = hashlib.sha256(data).hexdigest()
        return data + b"\n", self._last

    def _append(self, line: bytes, sha256: str) -> None:
        left = memoryview(line)
        while left:
            left = left[os.write(self._file, left) :]
        self._good += len(line)
        self._dirty = True
        first = self._chain.first or sha256
        self._chain = Chain(lines=self._chain.lines + 1, first=first, head=sha256)

    @property
    def chain(self) -> Chain:
        """What the lines that the disk took are known by."""
        return self._chain

    def sync(self, *, now: bool = False) -> None:
        """Has the disk keep what was added, every few seconds, or `now`."""
        if not self._dirty or (not now and time.monotonic() < self._synced_s + _SYNC_S):
            return
        self._synced_s, self._dirty = time.monotonic(), False
        with suppress(OSError):
            os.fsync(self._file)

    def lines(self) -> Iterator[bytes]:
        """All lines, those the disk did not take too, without their ends."""
        with self.path.open("rb") as file:
            yield from _whole_lines(file)
        for line, _ in tuple(self._waiting):
            yield line[:-1]

    def sample_lines(self) -> Iterator[bytes]:
        """The blocks of samples in canonical form, without what links them."""
        for line in self.lines():
            block = json.loads(line)
            if block["kind"] in BLOCKS:
                # Within a text its quotes would be escaped, so that this is the field and no other.
                yield line.replace(b',"previous":"%s"' % block["previous"].encode(), b"", 1)

    def samples(self) -> Iterator[Block]:
        """The blocks of samples, in order."""
        for line in self.lines():
            if (block := json.loads(line))["kind"] in BLOCKS:
                yield cast("Block", _alone(block))

    def compress(self) -> Path:
        """Puts a compressed file in its place; call it after closing. Returns where it stands.

        Where the disk has no room for both, it stays as it is.
        """
        if self._waiting:
            return self.path
        made = self.path.with_name(f"{self.path.name}.gz")
        part = self.path.with_name(f".{self.path.name}.part")
        try:
            with self.path.open("rb") as source, part.open("wb") as raw:
                with gzip.GzipFile(fileobj=raw, mode="wb", mtime=0) as target:
                    while chunk := source.read(_CHUNK):
                        target.write(chunk)
                raw.flush()
                os.fsync(raw.fileno())
            part.replace(made)
            self.path.unlink()
        except OSError:
            with suppress(OSError):
                part.unlink(missing_ok=True)
            return self.path
        return made


def _created(path: Path) -> tuple[Path, int]:
    """A new file at `path`, or beside it where something is there already."""
    for number in range(1, 1000):
        place = path if number == 1 else path.with_name(f"{path.stem}.{number}{path.suffix}")
        if place.with_name(f"{place.name}.gz").exists():
            continue
        try:
            flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | os.O_CLOEXEC
            return place, os.open(place, flags, 0o644)
        except FileExistsError:
            continue
        except OSError as fault:
            raise UsageError(f"{place} cannot be written: {fault.strerror}") from fault
    raise UsageError(f"{path}: too many journals of this name: remove old ones")


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A journal as it was read.

    Attributes:
        header: its first line.
        seen: observations as JSON, in the order they were made.
        blocks: the samples.
        end: the last line of a journal that was closed; None: it was cut off.
        chain: what it is known by.
    """

    header: Mapping[str, Any]
    seen: tuple[dict[str, Any], ...]
    blocks: tuple[dict[str, Any], ...]
    end: Mapping[str, Any] | None
    chain: Chain


def is_journal(path: Path) -> bool:
    """Whether a file begins as a journal does."""
    try:
        with path.open("rb") as file:
            start = file.read(2)
        return start == _GZIP or (start == b'{"' and b'"kind":"header"' in _first_line(path))
    except OSError:
        return False


def _first_line(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.readline(1 << 26)


def read_journal(path: Path) -> Kept:
    """What a journal holds, whole or cut off.

    Raises InputError where it is none, or where a line within it is damaged or was changed.
    """
    lines, chain = _parsed(path)
    if not lines or lines[0].get("format") != FORMAT:
        told = lines[0].get("format") if lines else None
        raise InputError(f"{path}: is no journal of this program (its first line says {told!r})")
    seen = [o for line in lines if line["kind"] == "seen" for o in line["observations"]]
    return Kept(
        header=lines[0],
        seen=tuple(seen),
        blocks=tuple(line for line in lines if line["kind"] in BLOCKS),
        end=lines[-1] if lines[-1]["kind"] == "end" else None,
        chain=chain,
    )


def _alone(line: dict[str, Any]) -> dict[str, Any]:
    """A line without what links it to the one before."""
    line.pop("previous", None)
    return line


def _parsed(path: Path) -> tuple[list[dict[str, Any]], Chain]:
    found: list[dict[str, Any]] = []
    first = last = ""
    try:
        with path.open("rb") as file:
            packed = file.read(2) == _GZIP
        with gzip.open(path, "rb") if packed else path.open("rb") as file:
            for number, line in enumerate(_whole_lines(file), start=1):
                read = _line(line, number, last, path)
                last = hashlib.sha256(line).hexdigest()
                first = first or last
                found.append(_alone(read))
    except (EOFError, zlib.error, gzip.BadGzipFile) as fault:
        raise InputError(f"{path}: is damaged: {fault}") from None
    except OSError as fault:
        raise InputError(f"{path}: cannot be read: {fault.strerror}") from None
    return found, Chain(lines=len(found), first=first, head=last)


def _line(line: bytes, number: int, last: str, path: Path) -> dict[str, Any]:
    """A line that follows the one whose SHA-256 is `last`. Raises InputError."""
    try:
        read = json.loads(line)
    except ValueError:
        raise InputError(f"{path}: line {number} is damaged") from None
    if not isinstance(read, dict) or read.get("kind") not in _KINDS:
        raise InputError(f"{path}: line {number} is no line of a journal")
    if last and read.get("previous") != last:
        raise InputError(
            f"{path}: changed since it was written: line {number} does not follow line "
            f"{number - 1} as it stands (its SHA-256 is another)"
        )
    return read


def _whole_lines(file: Any) -> Iterator[bytes]:
    """The lines of a file without their ends; the last one counts only where its end is there."""
    for line in file:
        if line.endswith(b"\n"):
            yield line[:-1]
