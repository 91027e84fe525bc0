"""What a person may write for a column that is unsure: each reading, with an example read by it."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, cast

from verifier.files.faults import WHOLE, Faults
from verifier.files.mapping.evidence import settled
from verifier.files.mapping.form import UNREAD, UNSURE
from verifier.files.mapping.guess import TheirColumn
from verifier.files.mapping.habits import CellForm, reading_of
from verifier.files.mapping.model import MappedField
from verifier.files.plan.columns import Column
from verifier.files.plan.units import doubt, readings, scale, unit_named
from verifier.files.sheets.cell import as_shown
from verifier.files.sheets.cell_number import NumberStyle, Sign
from verifier.files.sheets.records import CellReader
from verifier.model.problem import Origin
from verifier.model.proposal import HowSure, ProposedColumn

_MOST = 6
_ENDS = {"a": "A", "b": "B", "far": "far"}
LEAVE_OUT = '{leave_out = "reason"}'


@dataclass(frozen=True, slots=True)
class Choice:
    """One reading of a column: as it is written in a mapping, and what its example becomes."""

    value: str
    read_as: str


def quoted(text: str) -> str:
    """A text as TOML writes it."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def value_of(column: TheirColumn) -> str:
    """What a proposed mapping says of a column."""
    if how_sure(column) == "unread":
        return quoted(UNREAD)
    if how_sure(column) == "unsure":
        return quoted(UNSURE)
    return _value(column.fields, column.says)


def how_sure(column: TheirColumn) -> HowSure:
    """How sure it is what a column holds."""
    if column.guess is None or column.guess.secret or not (column.fields or column.maybe):
        return "unread"
    return "unsure" if column.doubt else "sure"


def why_unread(column: TheirColumn) -> str:
    """Why nothing reads a column, in a few words."""
    if column.guess is None:
        return "not recognised"
    return column.guess.reason or column.doubt or "no field of a plan"


def choices(column: TheirColumn, known: dict[str, MappedField]) -> list[Choice]:
    """The readings of an unsure column, the likely ones first."""
    if column.guess is not None and column.guess.side == "both":
        return [*_split(column, known)]
    groups = [column.fields] if column.fields else []
    groups += [(name,) for name in column.maybe if (name,) != column.fields]
    found = (
        Choice(_value(names, says), read_as(column, known[names[0]].column, says))
        for names in groups
        for says in _says(column, known[names[0]].column)
    )
    unlike = dict.fromkeys(found)
    return list(unlike)[:_MOST]


def _split(column: TheirColumn, known: dict[str, MappedField]) -> Iterator[Choice]:
    """A cell that holds both ends: split at what stands between."""
    field = column.guess.field if column.guess is not None else ""
    room, _, name = field.partition(".")
    ends = [f"{room}.{side}.{name}" for side in "ab"]
    if set(ends) <= known.keys():
        text = as_shown(column.values[0]) if column.values else ""
        mark = next((m for m in ("/", "|", ";", "&") if m in text), "/")
        for first, second in (ends, ends[::-1]):
            form = f"{{{first}}} {mark} {{{second}}}"
            yield Choice(f"{{split = {quoted(form)}}}", f"the first is of {first}")


def _says(column: TheirColumn, ours: Column) -> Iterator[dict[str, str]]:
    """What a mapping may say of the figures of a column."""
    if "form" in column.says:
        yield dict(column.says)
        return
    if ours.kind != "number":
        unknown = _unknown_words(column, ours)
        yield {"values": unknown} if unknown else {}
        return
    found = settled(ours, column.unit, column.values)
    signs = (".", ",") if found.decimal == "either" else ("," if found.decimal == "," else "",)
    level = {"factor": "-1"} if "has no sign" in found.doubt else {}
    for unit, sign in itertools.product(_units(column, ours), signs):
        says = {"unit": unit} if unit != column.unit or not unit_named(column.unit) else {}
        yield {**says, **({"decimal": sign} if sign else {}), **level}


def _unknown_words(column: TheirColumn, ours: Column) -> str:
    if not ours.choices:
        return ""
    known = {choice.lower() for choice in ours.choices}
    words = dict.fromkeys(as_shown(v) for v in column.values if as_shown(v).lower() not in known)
    return "{" + ", ".join(f'{quoted(w)} = "?"' for w in list(words)[:_MOST]) + "}" if words else ""


def _units(column: TheirColumn, ours: Column) -> list[str]:
    """The units that the figures may be in."""
    if not ours.unit:
        return [""]
    if column.unit:
        return list(readings(column.unit) if doubt(column.unit) else [column.unit]) or [ours.unit]
    return list(settled(ours, "", column.values).units) or [ours.unit]


def _value(names: tuple[str, ...], says: dict[str, str]) -> str:
    field = quoted(names[0]) if len(names) == 1 else f"[{', '.join(map(quoted, names))}]"
    if not says:
        return field
    bare = ("values", "factor")
    more = (f"{key} = {said if key in bare else quoted(said)}" for key, said in says.items())
    return f"{{field = {field}, {', '.join(more)}}}"


def read_as(column: TheirColumn, ours: Column, says: dict[str, str]) -> str:
    """What the example of a column is read as, with our unit; empty where it cannot be read."""
    if not column.values:
        return ""
    unit = says.get("unit", column.unit)
    sign: Sign = "," if says.get("decimal") == "," else "." if "decimal" in says else "plain"
    if ours.kind == "number" and sign == "plain":
        sign = settled(ours, unit, column.values).decimal
    try:
        needed = scale(unit_named(unit) or unit or ours.unit, ours.unit)
    except ValueError:
        return ""
    before = None
    if "form" in says:
        form = cast("CellForm", says["form"])
        before = reading_of(form, ours.path[-1], column.values, lambda: "")
    figures = NumberStyle(sign, needed)
    reader = CellReader(ours, column.heading, figures, foreign=True, before=before)
    scalar = reader.read(_example(column), Origin(""), Faults(), WHOLE)
    text = "" if scalar is None else scalar.text or ""
    if "factor" in says and text:
        text = f"-{text}"
    return f"{text} {ours.unit}".strip() if text else ""


def _example(column: TheirColumn) -> Any:
    """A cell to show: the first that holds a figure, else the first."""
    figures = (v for v in column.values if any(c.isdigit() for c in str(v)))
    return next(figures, column.values[0])


def proposed(column: TheirColumn, known: dict[str, MappedField]) -> ProposedColumn:
    """A column as a person looks at it."""
    sure = how_sure(column)
    names = column.fields or column.maybe[:1]
    target = known.get(names[0]) if names and sure != "unread" else None
    secret = column.guess is not None and column.guess.secret
    example = as_shown(_example(column)) if column.values and not secret else ""
    if target is None:
        return ProposedColumn(column.heading, "", "", "", example, "", sure, why_unread(column))
    parts = target.name.split(".")
    end = "A, B" if len(names) > 1 else _ENDS.get(parts[1], "")
    field = ".".join(p for p in parts if p not in _ENDS)
    if column.guess is not None and column.guess.side == "both":
        end = "A, B"
    unit = column.says.get("unit", column.unit) if target.column.unit else ""
    shown_as = read_as(column, target.column, column.says) if sure == "sure" else ""
    return ProposedColumn(column.heading, field, end, unit, example, shown_as, sure, column.doubt)
