"""Collects what was seen during a run and numbers it at the end."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable, Iterable
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
    ) -> None:
        """Adds one observation; the fields are those of `Observation`."""
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
                at=timestamp(self._clock()),
                took_ms=None if took_ms is None else round(took_ms, 3),
            )
        )


def numbered(recorders: Iterable[Recorder]) -> tuple[Observation, ...]:
    """All observations, numbered from 1 in the order of the recorders."""
    seen = (o for recorder in recorders for o in recorder.seen)
    return tuple(dataclasses.replace(o, id=n) for n, o in enumerate(seen, start=1))
