"""The record of what is to be taken back at this laptop: one file, whole or not there, mode 600.

There is one for each network namespace; it outlives the process, and is worth nothing after the
machine has started anew. Linux only.
"""

from __future__ import annotations

import errno
import fcntl
import json
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

from verifier.model.address import Interface

_FORMAT = "plan-verifier/laptop-undo/1"
_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


def this_boot() -> str:
    """The kernel's name for the time since the machine started."""
    return _BOOT_ID.read_text(encoding="ascii").strip()


def state_folder() -> Path:
    """Where the way back is recorded: `$XDG_STATE_HOME/plan-verifier` or its usual place.

    Raises OSError where there is neither.
    """
    folder = os.environ.get("XDG_STATE_HOME", "")
    if folder.startswith("/"):
        return Path(folder) / "plan-verifier"
    try:
        return Path.home() / ".local" / "state" / "plan-verifier"
    except RuntimeError as fault:
        raise OSError(errno.ENOENT, str(fault)) from fault


@dataclass(frozen=True, slots=True)
class AddedAddress:
    """One address; `created` as the kernel tells it, None before it is set."""

    own: Interface
    created: int | None = None


@dataclass(frozen=True, slots=True)
class UndoRecord:
    """What is to be taken back, and where."""

    boot: str
    interface: str
    index: int
    addresses: tuple[AddedAddress, ...]

    def to_json(self) -> str:
        """The record as it is written."""
        rows = [{"address": str(a.own), "created": a.created} for a in self.addresses]
        document = {
            "format": _FORMAT,
            "boot": self.boot,
            "interface": self.interface,
            "index": self.index,
            "addresses": rows,
        }
        return json.dumps(document, indent=1) + "\n"

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Raises ValueError, KeyError or TypeError where it is no such record."""
        document: dict[str, Any] = json.loads(text)
        if document["format"] != _FORMAT:
            raise ValueError(document["format"])
        rows = tuple(
            AddedAddress(Interface.parse(row["address"]), row["created"])
            for row in document["addresses"]
        )
        return cls(str(document["boot"]), str(document["interface"]), int(document["index"]), rows)


class Undo:
    """The record of this network namespace; only one process at a time has it."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.path = folder / f"laptop-{Path('/proc/self/ns/net').stat().st_ino}.json"

    @contextmanager
    def claimed(self) -> Iterator[bool]:
        """Whether the record is ours now; it is not while another process has it."""
        self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle = os.open(self._folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                yield False
                return
            yield True
        finally:
            os.close(handle)

    def write(self, record: UndoRecord) -> None:
        """Records it, on the disk, before it returns. Raises OSError."""
        handle, name = tempfile.mkstemp(prefix=".laptop-", dir=self._folder)
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(record.to_json())
                file.flush()
                os.fsync(file.fileno())
            Path(name).replace(self.path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
        folder = os.open(self._folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)

    def read(self) -> UndoRecord | None:
        """What was recorded, or None. Raises as `UndoRecord.from_json` does, or OSError."""
        try:
            return UndoRecord.from_json(self.path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return None

    def clear(self) -> None:
        """There is nothing to be taken back any more."""
        self.path.unlink(missing_ok=True)
