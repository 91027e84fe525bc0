"""Observations, blocks of samples and results read back from a file: what stands there was seen.

The types are those of `model/observations.py` and `model/samples.py`, and nothing else says what a
value looks like. What does not fit its type keeps its value under a kind of its own: it can be
drawn, and no rule sees it. Before it is judged `prove_observations` ends it, as a fault of the file
with its place; what a rule raises afterwards is a fault of ours.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError, with_config
from typing_extensions import TypedDict

from verifier.errors import InputError
from verifier.model.kind import Kind, Moment, Probe, Scalar, Seconds
from verifier.model.manual import Entered
from verifier.model.observations import BEFORE, Observation, Unreadable, kind_named
from verifier.model.problem import Subject
from verifier.model.result import Result
from verifier.model.samples import Block

_STRICT = ConfigDict(strict=True, allow_inf_nan=False, extra="forbid")


@dataclass(frozen=True, slots=True, kw_only=True)
class ObservationRow:
    """An observation as a document has it, before the type of its value is known."""

    subject: Subject
    probe: Probe
    what: str
    at: Moment
    id: int = 0
    oid: str | None = None
    raw: str | None = None
    value: Any = None
    unit: str | None = None
    took_ms: float | None = None


_ROW = TypeAdapter(tuple[ObservationRow], config=_STRICT)
_BLOCK: TypeAdapter[Block] = TypeAdapter(
    Annotated[Block, Field(discriminator="kind")], config=_STRICT
)


def observations_of(rows: object, where: str) -> tuple[Observation[object], ...]:
    """What was seen. Raises InputError at the first row that is none."""
    if not isinstance(rows, list):
        raise InputError(f"{where}: observations is no list")
    return tuple(observation_of(row, where) for row in rows)


def observation_of(row: object, where: str) -> Observation[object]:
    """One of them."""
    number = row.get("id") if isinstance(row, dict) else None
    what = row.get("what") if isinstance(row, dict) else None
    place = f"{where}: observation {number} ({what})"
    read: ObservationRow
    (read,) = _proved(_ROW, [row], f"{place}: has not the form of one")
    before = read.what.startswith(BEFORE)
    kind = kind_named(read.what.removeprefix(BEFORE), read.probe)
    try:
        seen = _seen(kind, read)
    except ValidationError:
        kind, seen = Kind(kind.what, kind.probe, object), read.value
    return Observation(
        id=read.id,
        subject=read.subject,
        kind=kind,
        seen=seen,
        at=read.at,
        oid=read.oid,
        raw=read.raw,
        unit=read.unit,
        took_ms=read.took_ms,
        before=before,
    )


def prove_observations(observations: Iterable[Observation[object]], where: str) -> None:
    """Raises InputError at the first whose value has not the type of its kind."""
    for seen in observations:
        known = kind_named(seen.kind.what, seen.kind.probe)
        if known is not seen.kind:
            place = f"{where}: observation {seen.id} ({seen.what})"
            _proved(_adapter(known), [seen.seen], f"{place}: has not the value of such ones")


def _seen(kind: Kind, row: ObservationRow) -> object:
    """The value in its type; null is none, unless it is a value of that type."""
    if row.value is None and not _takes_null(kind):
        return Unreadable(row.raw or "")
    (value,) = _adapter(kind).validate_json(json.dumps([row.value]))
    return Entered.of(value, row.raw) if kind.shape is Entered else value


def _adapter(kind: Kind) -> TypeAdapter[Any]:
    return _of_shape(Scalar | None if kind.shape is Entered else kind.shape)


@functools.cache
def _of_shape(shape: Any) -> TypeAdapter[Any]:
    """Of a list of one: dataclasses take this configuration from what they stand in."""
    return TypeAdapter(tuple[shape], config=_STRICT)


@functools.cache
def _takes_null(kind: Kind) -> bool:
    try:
        _adapter(kind).validate_json(b"[null]")
    except ValidationError:
        return False
    return True


class _Parts(TypedDict):
    plan: dict[str, Any]
    profiles: dict[str, Any]


class _Problem(TypedDict):
    rule: str
    severity: str
    subject: dict[str, Any]
    message: str
    origin: str


@with_config(ConfigDict(extra="allow"))
class _Header(TypedDict):
    started: Moment
    asked_s: Seconds
    devices: list[str]
    problems: list[_Problem]
    parts: _Parts


_HEADER = TypeAdapter(_Header)


def prove_header(header: object, where: str) -> None:
    """Raises InputError where the first line of a soak's journal is not whole."""
    _proved(_HEADER, header, f"{where}: first line: is not whole")


def prove_blocks(blocks: object, where: str) -> Sequence[Block]:
    """The blocks of a soak. Raises InputError at the first that has not the form of one."""
    if not isinstance(blocks, Sequence) or isinstance(blocks, str):
        raise InputError(f"{where}: is no list of blocks")
    for number, block in enumerate(blocks, start=1):
        place = f"{where}: block {number} has not the form of one"
        _proved(_BLOCK, block, place)
        if block["kind"] == "values":
            long = len(block["t_s"])
            if uneven := [n for n, v in block["series"].items() if len(v) not in {1, long}]:
                raise InputError(f"{place}: series {uneven[0]!r} is of another length than t_s")
    return blocks


def _proved(adapter: TypeAdapter[Any], value: object, place: str) -> Any:
    try:
        return adapter.validate_json(json.dumps(value))
    except ValidationError as fault:
        first = fault.errors(include_url=False, include_input=False)[0]
        field = ".".join(str(part) for part in first["loc"][isinstance(value, list) :])
        raise InputError(f"{place}: {field + ': ' if field else ''}{first['msg']}") from None


@functools.cache
def _result_adapter() -> TypeAdapter[Result]:
    return TypeAdapter(Result)


def result_of(document: Mapping[str, Any], name: str) -> Result:
    """The result that a document is of; `name` is what faults call it.

    Verdict and summary are not read: they follow from the findings.
    Raises InputError, with the field, where anything is missing or of a wrong kind.
    """
    needed = {f.name for f in dataclasses.fields(Result)} - {"accepted"}
    if missing := needed - document.keys():
        raise InputError(f"{name}: is no whole result: {', '.join(sorted(missing))} missing")
    seen = observations_of(document["observations"], name)
    try:
        causes = [{**c, "for_": c["for"]} for c in document["causes"]]
        findings = [*map(_with_origin, document["findings"])]
        whole = {**document, "findings": findings, "causes": causes, "observations": ()}
        result = dataclasses.replace(_result_adapter().validate_python(whole), observations=seen)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        field = ".".join(str(part) for part in first["loc"])
        raise InputError(f"{name}: is no whole result: {field}: {first['msg']}") from None
    except (KeyError, TypeError):
        raise InputError(f"{name}: is no whole result: look at causes") from None
    for field in ("started", "finished"):
        try:
            dt.datetime.fromisoformat(getattr(result, field))
        except ValueError:
            raise InputError(f"{name}: is no whole result: {field} is no time") from None
    return result


def _with_origin(finding: object) -> object:
    """No words are no origin."""
    if isinstance(finding, dict) and finding.get("origin") == "":
        return {**finding, "origin": None}
    return finding
