"""Collects what was seen during a run and numbers it at the end."""

from __future__ import annotations

import datetime as dt
import itertools
import sys
from collections.abc import Callable, Iterable, Iterator
from typing import Any, NamedTuple

from verifier.model.observation import Observation, Probe
from verifier.model.subject import Subject

Clock = Callable[[], dt.datetime]


def timestamp(at: dt.datetime) -> str:
    """RFC 3339 text with milliseconds and `Z`."""
    return at.astimezone(dt.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class RecorderEntry(NamedTuple):
    """What was seen, before it has a number; the fields are those of `Observation`."""

    probe: Probe
    what: str
    oid: str | None
    raw: str | None
    value: Any
    unit: str | None
    at: str
    took_ms: float | None

    def observation(self, number: int, subject: Subject) -> Observation:
        """The observation, of this subject and under this number."""
        return Observation(
            id=number,
            subject=subject,
            probe=self.probe,
            what=self.what,
            oid=self.oid,
            raw=self.raw,
            value=self.value,
            unit=self.unit,
            at=self.at,
            took_ms=self.took_ms,
        )


class Recorder:
    """What was seen of one subject, in the order it was seen; numbers come later.

    Args:
        subject: what is observed.
        clock: gives the time of day.
    """

    def __init__(self, subject: Subject, clock: Clock) -> None:
        self.subject = subject
        self.seen: list[RecorderEntry] = []
        self._clock = clock

    def note(  # noqa: PLR0913
        self,
        probe: Probe,
        what: str,
        *,
        value: Any = None,
        raw: str | None = None,
        oid: str | None = None,
        unit: str | None = None,
        took_ms: float | None = None,
        at: dt.datetime | None = None,
    ) -> None:
        """Adds one observation; the fields are those of `Observation`, `at` is now unless given."""
        took_ms = None if took_ms is None else round(took_ms, 3)
        time = timestamp(at or self._clock())
        self.seen.append(RecorderEntry(probe, what, oid, raw, value, unit, time, took_ms))


def numbered(recorders: Iterable[Recorder]) -> tuple[Observation, ...]:
    """All observations, numbered from 1 in the order of the recorders."""
    numbers = itertools.count(1)
    return tuple(
        row.observation(next(numbers), recorder.subject)
        for recorder in recorders
        for row in recorder.seen
    )


Packed = tuple[Any, ...]


def packed(seen: Iterable[RecorderEntry]) -> list[Packed]:
    """As plain tuples: a third of the time to send and take in."""
    return [tuple(row) for row in seen]


def unpacked(rows: Iterable[Packed]) -> Iterator[RecorderEntry]:
    """The opposite of `packed`; texts that many devices share are kept once."""
    for row in rows:
        yield RecorderEntry._make(sys.intern(part) if type(part) is str else part for part in row)
