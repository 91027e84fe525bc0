"""The journal of a guided runbook: JSON lines, each on the disk before the next step.

The first line of a run is `start` (what was asked, the steps) or `resume`; then comes a line for
every step that was told or judged, and `end`. A line that a kill cut short is at the end and is
left out. Nothing in it is secret.

The journal is no truth. It keeps the steps, so that numbers stay those of the printed sheet, and
what a device was known by. Where a device is, is looked up.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Self

from verifier.errors import InputError, UsageError
from verifier.files.disk import read_bytes

FORMAT: Final = "plan-verifier/guide-journal/1"
_RECORDS = {"start", "resume", "step", "reopen", "end"}
_NEEDS: Mapping[str, tuple[tuple[str, type], ...]] = {
    "start": (("format", str), ("asked", dict), ("steps", list)),
    "step": (("n", int), ("result", str)),
    "reopen": (("numbers", list),),
    "end": (("result", str),),
}


def default_path(plan: Path) -> Path:
    """Beside the plan: `plan.yaml` has `plan.readdress.jsonl`."""
    whole = plan.absolute()
    return whole.with_name(f"{whole.stem or whole.name}.readdress.jsonl")


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """What a journal tells of its last runbook.

    Attributes:
        asked: the options the runbook was made with.
        steps: the runbook's.
        records: what came after the start, in order.
        finished: whether it came to its end with all steps done.
    """

    asked: Mapping[str, Any]
    steps: tuple[Mapping[str, Any], ...]
    records: tuple[Mapping[str, Any], ...]
    finished: bool

    @property
    def done(self) -> frozenset[int]:
        """Numbers of the steps that were done and not taken back since."""
        done: set[int] = set()
        for record in self.records:
            if record["record"] == "reopen":
                done -= set(record["numbers"])
            elif record["record"] == "step" and record["result"] == "done":
                done.add(record["n"])
        return frozenset(done)


def read_story(path: Path) -> Story | None:
    """What the journal tells; None where there is none.

    Raises InputError where it is no journal, or damaged elsewhere than at its end; UsageError where
    it is no file.
    """
    if not path.exists():
        return None
    if not path.is_file():
        raise UsageError(f"{path} is no file: name another one with --journal")
    records = list(_records(path))
    starts = [i for i, r in enumerate(records) if r["record"] == "start"]
    if not starts:
        if not records:
            return None
        raise InputError(f"{path}: is no journal of a guide: it has no start")
    start, rest = records[starts[-1]], tuple(records[starts[-1] + 1 :])
    ends = [r["result"] for r in rest if r["record"] == "end"]
    return Story(
        asked=start["asked"],
        steps=tuple(start["steps"]),
        records=rest,
        finished=bool(ends) and ends[-1] == "done" and rest[-1]["record"] == "end",
    )


def _records(path: Path) -> list[dict[str, Any]]:
    lines = read_bytes(path).split(b"\n")
    found = []
    for number, line in enumerate(lines[:-1], start=1):
        try:
            record = json.loads(line)
            kind = record["record"]
            right = kind in _RECORDS and all(
                isinstance(record[key], type_) for key, type_ in _NEEDS.get(kind, ())
            )
        except (ValueError, KeyError, TypeError):
            right = False
        if not right or record.get("format", FORMAT) != FORMAT:
            raise InputError(
                f"{path}: line {number} is no line of a guide's journal: name another file with "
                "--journal, or put this one aside"
            )
        found.append(record)
    return found


class GuideJournal:
    """A journal being written; a context manager. Only one process writes it at a time.

    Raises UsageError where it cannot be written, or another guide is writing it.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        if path.exists() and not path.is_file():
            raise UsageError(f"{path} cannot be written: it is no file")
        try:
            self._file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o644)
        except OSError as fault:
            raise UsageError(f"{path} cannot be written: {fault.strerror}") from fault
        try:
            self._claim()
            self._cut_torn_line()
        except BaseException:
            os.close(self._file)
            raise

    def _claim(self) -> None:
        try:
            import fcntl  # noqa: PLC0415 - not everywhere
        except ImportError:
            return
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise UsageError(f"{self.path}: another guide is writing this journal") from None
        except OSError:  # a file system without locks
            return

    def _cut_torn_line(self) -> None:
        whole = self.path.read_bytes()
        os.ftruncate(self._file, whole.rfind(b"\n") + 1)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        os.close(self._file)

    def add(self, record: str, **fields: Any) -> None:
        """Adds a line; it is on the disk when this returns. Raises UsageError where it is not."""
        line = json.dumps({"record": record, **fields}, ensure_ascii=True) + "\n"
        left = memoryview(line.encode("ascii"))
        try:
            while left:
                left = left[os.write(self._file, left) :]
            os.fsync(self._file)
            if record == "start":
                self._sync_folder()
        except OSError as fault:
            raise UsageError(
                f"{self.path} cannot be written: {fault.strerror}; the guide ends here, for it "
                "could not be resumed"
            ) from fault

    def _sync_folder(self) -> None:
        with suppress(OSError):
            folder = os.open(self.path.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)
