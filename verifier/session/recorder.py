"""Collects what was seen during a run and numbers it at the end."""

from __future__ import annotations

import datetime as dt
import itertools
import sys
from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple, TypeVar, cast

from verifier.model.kind import Kind, KindOf, Probe
from verifier.model.observations import Observation, Unreadable, kind_named
from verifier.model.problem import Subject

T = TypeVar("T")
Text = TypeVar("Text", str, str | None)
Clock = Callable[[], dt.datetime]


def timestamp(at: dt.datetime) -> str:
    """RFC 3339 text with milliseconds and `Z`."""
    return at.astimezone(dt.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class RecorderEntry(NamedTuple):
    """What was seen, before it has a number; the fields are those of `Observation`."""

    kind: Kind
    oid: str | None
    raw: str | None
    seen: object
    unit: str | None
    at: str
    took_ms: float | None

    @property
    def what(self) -> str:
        """Its name in a document."""
        return self.kind.what

    @property
    def value(self) -> object:
        """The value; None where there is none."""
        return None if isinstance(self.seen, Unreadable) else self.seen

    def observation(self, number: int, subject: Subject) -> Observation[object]:
        """The observation, of this subject and under this number."""
        return Observation(
            id=number,
            subject=subject,
            kind=self.kind,
            oid=self.oid,
            raw=self.raw,
            seen=self.seen,
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
        kind: KindOf[T],
        seen: T | Unreadable,
        *,
        raw: str | None = None,
        oid: str | None = None,
        unit: str | None = None,
        took_ms: float | None = None,
        at: dt.datetime | None = None,
    ) -> None:
        """Adds one observation; the fields are those of `Observation`.

        Unless given, `at` is now, `unit` that of the kind, `raw` why there is no value.
        """
        took_ms = None if took_ms is None else round(took_ms, 3)
        time = timestamp(at or self._clock())
        if raw is None and isinstance(seen, Unreadable):
            raw = seen.reason
        self.seen.append(RecorderEntry(kind, oid, raw, seen, unit or kind.unit, time, took_ms))

    def of(self, kind: KindOf[T]) -> list[T]:
        """The values of a kind that were seen so far, in order."""
        return [cast("T", row.value) for row in self.seen
                if row.kind is kind and row.value is not None]  # fmt: skip


def numbered(recorders: Iterable[Recorder]) -> tuple[Observation[object], ...]:
    """All observations, numbered from 1 in the order of the recorders."""
    numbers = itertools.count(1)
    return tuple(
        row.observation(next(numbers), recorder.subject)
        for recorder in recorders
        for row in recorder.seen
    )


Packed = tuple[str, Probe, str | None, str | None, object, str | None, str, float | None]
"""A `RecorderEntry` whose kind is its name and its probe, and whose missing value is None."""


def packed(seen: Iterable[RecorderEntry]) -> list[Packed]:
    """As plain tuples: a third of the time to send and take in."""
    return [
        (row.kind.what, row.kind.probe, row.oid, row.raw,
         None if type(row.seen) is Unreadable and not row.seen.octets else row.seen,
         row.unit, row.at, row.took_ms)
        for row in seen
    ]  # fmt: skip


def unpacked(rows: Iterable[Packed]) -> Iterator[RecorderEntry]:
    """The opposite of `packed`; texts that many devices share are kept once."""
    for what, probe, oid, raw, value, unit, at, took_ms in rows:
        told, seen = _shared(raw), _shared(value) if type(value) is str else value
        if seen is None:
            seen = Unreadable(told or "")
        kind = kind_named(what, probe)
        yield RecorderEntry(kind, _shared(oid), told, seen, _shared(unit), _shared(at), took_ms)


def _shared(text: Text) -> Text:
    return sys.intern(text) if type(text) is str else text
