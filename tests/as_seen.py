"""Observations as a document has them, read as the tool reads them: short to write in a test."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from collections.abc import Iterator, Mapping
from typing import Any

from verifier.files.evidence.observations import observation_of, prove_observations
from verifier.model.observations import Observation, as_json, kind_named
from verifier.model.problem import Origin, Subject
from verifier.session.recorder import Recorder, RecorderEntry

_TIME = "2026-11-25T10:00:00Z"


def observation(
    *,
    subject: Subject,
    probe: str,
    what: str,
    value: Any = None,
    at: str = "",
    id: int = 0,  # noqa: A002
    **more: Any,
) -> Observation[Any]:
    """An observation from what stands in a document; `value` may be a value of the model too."""
    row = {"subject": dataclasses.asdict(subject), "probe": probe, "what": what, "id": id,
           "at": _TIME, "value": as_json(value), **more}  # fmt: skip
    try:
        json.dumps(row, ensure_ascii=False).encode()
    except UnicodeEncodeError:  # half a character: no document of ours can be read with it
        kind = kind_named(what, probe)
        return Observation(id=id, subject=subject, kind=kind, seen=value, at=at, **more)
    made = observation_of(row, "test")
    prove_observations([made], "test")
    return dataclasses.replace(made, at=at)


def seen_again(o: Observation[Any], **changed: Any) -> Observation[Any]:
    """The observation with other fields of its document."""
    row = {"subject": o.subject, "probe": o.kind.probe, "what": o.what, "value": o.seen, "at": o.at,
           "id": o.id, "raw": o.raw, "oid": o.oid, "unit": o.unit, "took_ms": o.took_ms}  # fmt: skip
    return observation(**{**row, **changed})


def note(record: Recorder, probe: str, what: str, at: dt.datetime | None = None,
         **more: Any) -> None:  # fmt: skip
    """Has a recorder note what stands so in a document."""
    o = observation(subject=record.subject, probe=probe, what=what, **more)
    record.note(o.kind, o.seen, raw=o.raw, oid=o.oid, unit=o.unit, took_ms=o.took_ms, at=at)  # type: ignore[arg-type]


def what_of(row: RecorderEntry | Observation[Any]) -> str:
    """The name in a document."""
    return row.kind.what


def value_of(row: RecorderEntry | Observation[Any]) -> Any:
    """The value as a document has it."""
    return as_json(row.value)


class Everywhere(Mapping[tuple[str, ...], Origin]):
    """Origins of a plan that nobody wrote: each value stands in a field called as its path."""

    def __getitem__(self, path: tuple[str, ...]) -> Origin:
        return Origin("plan", field=".".join(path))

    def __iter__(self) -> Iterator[tuple[str, ...]]:
        return iter(())

    def __len__(self) -> int:
        return 0
