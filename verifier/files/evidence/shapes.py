"""What values of observations and blocks of samples look like in a file: the reader's part.

Rules take them for granted. So a file whose values have another shape ends here, as a fault of the
file, with its place; what a rule raises afterwards is a fault of ours. Who writes them: `session/`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Annotated, Any, Literal, get_args

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from verifier.errors import InputError
from verifier.model import mib
from verifier.model.address import Address, Interface
from verifier.model.observation import ACCEPTED, OBSERVED, Observation
from verifier.model.profile import ReadingField


def _readable(parse: Callable[[str], object]) -> AfterValidator:
    """Text stays text, and must be one that `parse` takes."""

    def check(text: str) -> str:
        parse(text)
        return text

    return AfterValidator(check)


_LONGEST_S = 1e9
"""Thirty years: no measurement lasts longer."""
_YEARS = range(1970, 9000)


def _moment(text: str) -> None:
    if dt.datetime.fromisoformat(text).year not in _YEARS:
        raise ValueError("a year that no measurement was in")


_Number = Annotated[float, Field(allow_inf_nan=False)]
_Count = Annotated[int, Field(ge=0)]
_Seconds = Annotated[float, Field(ge=-_LONGEST_S, le=_LONGEST_S, allow_inf_nan=False)]
_Time = Annotated[str, _readable(_moment)]
_Address = Annotated[str, _readable(Address.parse)]
_Interface = Annotated[str, _readable(Interface.parse)]
_Scalar = str | bool | int | _Number | None


class _Shape(BaseModel):
    """An object of JSON; fields that are not named here are left alone."""

    model_config = ConfigDict(strict=True)


class _Silence(_Shape):
    reason: str
    text: str
    reporter: str | None = None


class _Echo(_Shape):
    sent: _Count
    received: _Count
    rtt_ms: list[_Number | None]
    duplicates: _Count
    reordered: _Count
    silence: list[_Silence]


class _WarmUp(_Shape):
    replied: bool
    silence: list[_Silence]


class _LaptopInterface(_Shape):
    name: str
    up: bool
    addresses: list[_Interface]
    vlan: int | None
    medium: str = "unknown"


class _Laptop(_Shape):
    interfaces: list[_LaptopInterface]
    gateways: list[_Address]
    assumed: bool


class _Route(_Shape):
    interface: str
    source: _Address | None
    next_hop: _Address | None
    elsewhere: str | None = None


class _DefaultRoute(_Shape):
    next_hop: _Address
    metric: int | None


class _Unplanned(_Shape):
    address: _Address
    macs: list[str]


class _Mtu(_Shape):
    planned: _Count
    passed: bool
    largest: int | None
    said: int | None
    reporter: str | None
    refused: bool | None = None


class _Restart(_Shape, extra="forbid"):
    gone_s: _Seconds | None = None
    ping_s: _Seconds | None = None
    snmp_s: _Seconds | None = None
    restarted: bool | None = None
    ping_held: bool = False
    waited_s: _Seconds = 0.0
    found_at: str | None = None
    found_as: str | None = None


class _Soak(_Shape):
    asked_s: _Seconds
    lasted_s: _Seconds
    state: Literal["complete", "interrupted", "not-measured", "unfinished"]
    step_s: _Seconds | None
    bytes: list[int]


class _Sheet(_Shape):
    file: str
    sha256: str
    rows: _Count


_BY_WHAT: Mapping[str, Any] = {
    "interfaces": _Laptop,
    "versions": dict[str, str | None],
    ACCEPTED: list[str | dict[str, Any]],
    OBSERVED: _Sheet,
    "route": _Route | None,
    "warm-up": _WarmUp,
    "echo": _Echo | None,
    "echo-first": _Echo | None,
    "default-route": _DefaultRoute | None,
    "holders": list[str],
    "unplanned-answer": _Unplanned,
    "mtu": _Mtu | None,
    "restart": _Restart | None,
    "soak": _Soak | None,
    "responder": _Address,
    **dict.fromkeys(
        ("answer", "answer-first", "default-community", "answer-after", "engine-id", "neighbour"),
        str | None,
    ),
}
"""By the name of the observation; `restart` and `tcp/` are followed by more."""
_NAMED = {"ifAdminStatus", "ifOperStatus", "dot3StatsDuplexStatus"}
_OIDS = {**mib.SYSTEM, **mib.IF_TABLE, **mib.IF_X_TABLE, **mib.IP_ADDR_TABLE,
         **mib.IP_ADDRESS_TABLE, **mib.DUPLEX, **mib.UPTIMES}  # fmt: skip
_OF_OBJECTS: Mapping[str, Any] = {
    name: int | None if mib.SYNTAX[oid].kind == "number" and name not in _NAMED else str | None
    for name, oid in _OIDS.items()
}
"""Objects of the standard MIBs: numbers, and all else as text."""
_READINGS = dict.fromkeys(get_args(ReadingField), _Scalar)
"""Readings of profiles; a number may follow the name."""
_SHAPES = {**_READINGS, **_OF_OBJECTS, **_BY_WHAT}


class _Subject(_Shape):
    kind: str
    name: str


class _EchoBlock(_Shape):
    kind: Literal["echo"]
    at: _Time
    subject: _Subject
    path: str
    bytes: _Count
    start_s: _Seconds
    step_s: Annotated[float, Field(gt=0, allow_inf_nan=False)]
    rtt_us: list[Annotated[int, Field(ge=-1, lt=2**31 - 1)] | None]
    silence: dict[str, _Count]
    duplicates: _Count
    reordered: _Count


class _ValuesBlock(_Shape):
    kind: Literal["values"]
    at: _Time
    subject: _Subject
    t_s: Annotated[list[_Seconds], Field(min_length=1)]
    series: dict[str, Annotated[list[_Scalar], Field(min_length=1)]]
    speeds: dict[str, _Number]


class _GapBlock(_Shape):
    kind: Literal["gap"]
    at: _Time
    start_s: _Seconds
    end_s: _Seconds
    why: str
    text: str
    targets: list[str]


class _ClockBlock(_Shape):
    kind: Literal["clock"]
    at: _Time
    stepped_s: _Seconds


_Block = Annotated[_EchoBlock | _ValuesBlock | _GapBlock | _ClockBlock, Field(discriminator="kind")]


def prove_observations(observations: Iterable[Observation], where: str) -> None:
    """Raises InputError at the first value that is not of the shape that such ones have."""
    adapters = {what: TypeAdapter[Any](kind) for what, kind in _SHAPES.items()}
    scalar, text = TypeAdapter[Any](_Scalar), TypeAdapter[Any](str | None)
    time, free = TypeAdapter[Any](_Time), TypeAdapter[Any](Any)
    by_probe = {"person": scalar, "tcp": text}
    for seen in observations:
        adapter = adapters.get(seen.what) or adapters.get(seen.what.partition(" ")[0])
        adapter = adapter or by_probe.get(seen.probe, free)
        place = f"{where}: observation {seen.id} ({seen.what})"
        _prove(time, seen.at, f"{place}: at")
        _prove(adapter, seen.value, f"{place}: has not the value of such ones")


def prove_blocks(blocks: object, where: str) -> None:
    """Raises InputError at the first block of a soak that has not the form of one."""
    adapter = TypeAdapter[Any](_Block)
    if not isinstance(blocks, Sequence) or isinstance(blocks, str):
        raise InputError(f"{where}: is no list of blocks")
    for number, block in enumerate(blocks, start=1):
        place = f"{where}: block {number} has not the form of one"
        _prove(adapter, block, place)
        if block["kind"] == "values":
            long = len(block["t_s"])
            if uneven := [n for n, v in block["series"].items() if len(v) not in {1, long}]:
                raise InputError(f"{place}: series {uneven[0]!r} is of another length than t_s")


class _Parts(_Shape):
    plan: dict[str, Any]
    profiles: dict[str, Any]


class _Problem(_Shape):
    rule: str
    severity: str
    subject: dict[str, Any]
    message: str
    origin: str


class _Header(_Shape):
    started: _Time
    asked_s: _Seconds
    devices: list[str]
    problems: list[_Problem]
    parts: _Parts


class _Seen(_Shape):
    subject: _Subject
    what: str
    at: _Time


def prove_journal(
    header: object, seen: Iterable[object], blocks: Sequence[object], where: str
) -> None:
    """Raises InputError where a line of a soak's journal has not the form of one."""
    _prove(TypeAdapter(_Header), header, f"{where}: first line: is not whole")
    observation = TypeAdapter[Any](_Seen)
    for one in seen:
        _prove(observation, one, f"{where}: an observation has not the form of one")
    prove_blocks(blocks, where)


def _prove(adapter: TypeAdapter[Any], value: object, place: str) -> None:
    try:
        adapter.validate_python(value, strict=True)
    except ValidationError as fault:
        first = fault.errors(include_url=False, include_input=False)[0]
        field = ".".join(str(part) for part in first["loc"])
        raise InputError(f"{place}: {field + ': ' if field else ''}{first['msg']}") from None
