"""Collects what was seen during a run and numbers it at the end."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from verifier.model.observation import Observation, Probe
from verifier.model.subject import Subject

Clock = Callable[[], dt.datetime]


def utc_now() -> dt.datetime:
    """The wall clock, in UTC. Intervals are never taken from it."""
    return dt.datetime.now(dt.UTC)


def timestamp(at: dt.datetime) -> str:
    """RFC 3339 text with milliseconds and `Z`."""
    return at.astimezone(dt.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class Recorder:
    """Observations of one subject, in the order they were made; ids come later.

    Args:
        subject: what is observed.
        clock: gives the time of day.
    """

    def __init__(self, subject: Subject, clock: Clock = utc_now) -> None:
        self.subject = subject
        self.seen: list[Observation] = []
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
        self.seen.append(
            Observation(
                id=0,
                subject=self.subject,
                probe=probe,
                what=what,
                oid=oid,
                raw=raw,
                value=value,
                unit=unit,
                at=timestamp(at or self._clock()),
                took_ms=None if took_ms is None else round(took_ms, 3),
            )
        )


def numbered(recorders: Iterable[Recorder]) -> tuple[Observation, ...]:
    """All observations, numbered from 1 in the order of the recorders."""
    seen = (o for recorder in recorders for o in recorder.seen)
    return tuple(_with_id(o, n) for n, o in enumerate(seen, start=1))


def _with_id(o: Observation, number: int) -> Observation:
    """As `dataclasses.replace`, which takes three times as long."""
    return Observation(
        id=number,
        subject=o.subject,
        probe=o.probe,
        what=o.what,
        oid=o.oid,
        raw=o.raw,
        value=o.value,
        unit=o.unit,
        at=o.at,
        took_ms=o.took_ms,
    )


Packed = tuple[Any, ...]


def packed(seen: Iterable[Observation]) -> list[Packed]:
    """Observations of one subject as plain tuples: a third of the time to send and take in."""
    return [(o.probe, o.what, o.oid, o.raw, o.value, o.unit, o.at, o.took_ms) for o in seen]


def unpacked(subject: Subject, rows: Iterable[Packed]) -> Iterator[Observation]:
    """The opposite of `packed`."""
    for probe, what, oid, raw, value, unit, at, took_ms in rows:
        yield Observation(
            id=0, subject=subject, probe=probe, what=what, oid=oid, raw=raw, value=value,
            unit=unit, at=at, took_ms=took_ms,
        )  # fmt: skip
