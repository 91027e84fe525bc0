"""Mappings: which of their headings holds which of our fields, and what a row of theirs is."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from decimal import Decimal
from pathlib import Path
from typing import Any, Literal, get_args

from pydantic import ValidationError

from verifier.errors import InputError
from verifier.files.faults import Faults, looks_secret, nearest, shown
from verifier.files.mapping.form import (
    FORMAT,
    UNREAD,
    UNSURE,
    ColumnForm,
    Layout,
    MappingForm,
    RowKind,
    SkipForm,
    TableForm,
)
from verifier.files.plan.columns import Column, sheets
from verifier.files.plan.units import Scale, scale, unit_named
from verifier.files.toml import KeyPath, Toml, read_toml
from verifier.model.problem import Origin

SHEETS_OF: dict[str, tuple[str, ...]] = {
    "link": ("Links", "Devices", "Sites"),
    "end": ("Links", "Devices", "Sites"),
    "device": ("Devices", "Sites", "Addresses", "Ports"),
    "site": ("Sites",),
    "port": ("Ports",),
    "address": ("Addresses",),
    "host": ("Hosts",),
    "maintenance": ("Maintenance",),
}
"""What a row of each kind may tell of."""

END = Column(("end", "end"), "End")
"""Which end of its link a row is: A or B."""

FAR = "far"
"""The end of the link that a row of one end is not about."""

PLACEHOLDER = re.compile(r"\{([^{}]*)\}")


@dataclass(frozen=True, slots=True)
class MappedField:
    """A field of ours: in which sheet, at which end where a row has two, in which column.

    Attributes:
        name: what it is called in a mapping: `Links.a.tx_mhz`.
        side: `a` or `b` in a row of a link, `far` in a row of an end; else empty.
    """

    name: str
    sheet: str
    side: str
    column: Column


State = Literal["read", "left out", "unread", "unsure"]


@dataclass(frozen=True, slots=True)
class Theirs:
    """A column of theirs.

    Attributes:
        targets: what it feeds; none where it is not read.
        unit: that the mapping says; empty where the heading says it.
        scales: for each target what its figures need; None where the heading's unit says it.
        decimal: its decimal sign; None where that of the table holds.
        split: the form of a cell that holds several; the targets stand in its order.
        reason: why a person left it out.
        origin: of its line in the mapping.
    """

    heading: str
    state: State
    targets: tuple[MappedField, ...]
    origin: Origin
    unit: str = ""
    scales: tuple[Scale | None, ...] = ()
    decimal: Literal[".", ","] | None = None
    values: dict[str, str] = field(default_factory=dict)
    split: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class TableMapping:
    """One table of theirs; `columns` by `key_of` their heading, `made` are texts by target."""

    pages: tuple[str, ...]
    row: RowKind
    layout: Layout
    heading_row: int | None
    comma: bool
    fill_down: frozenset[str]
    columns: dict[str, Theirs]
    made: tuple[tuple[MappedField, str], ...]
    skip: SkipForm
    origin: Origin

    def headings(self) -> frozenset[str]:
        """Every heading that the mapping speaks of, as `key_of` gives it, without `#2`."""
        made = (key_of(h) for _, text in self.made for h in PLACEHOLDER.findall(text))
        return frozenset(re.sub(r" #\d+$", "", key) for key in (*self.columns, *made))

    def targets(self) -> Iterator[MappedField]:
        """Every field that is fed."""
        for theirs in self.columns.values():
            yield from theirs.targets
        for target, _ in self.made:
            yield target


@dataclass(frozen=True, slots=True)
class SheetMapping:
    """A whole mapping.

    Attributes:
        sheet: name of the file or folder that it is for; empty where it does not say.
        leave_out: why a person left out a page, by `key_of` its title.
        unsure: the lines that a person must settle: where, and what to do.
    """

    sheet: str
    encoding: str
    values_only: bool
    leave_out: dict[str, str]
    tables: tuple[TableMapping, ...]
    unsure: tuple[tuple[Origin, str], ...]


def key_of(heading: str) -> str:
    """What a heading is found by: case and blanks do not count."""
    return " ".join(heading.split()).casefold()


def read_mapping(path: Path) -> SheetMapping:
    """The mapping at `path`. Raises InputError; `problems` holds all faults."""
    faults = Faults()
    toml = read_toml(path, faults)
    found = None
    try:
        form = MappingForm.model_validate(toml.values)
        found = _mapping(form, toml, faults)
    except ValidationError as error:
        for where, message in dict(_plainly(fault, toml) for fault in error.errors()).items():
            faults.error("mapping-field", toml.origin(where), message)
    problems = faults.problems()
    if found is None or problems:
        raise InputError("\n".join(map(str, problems)), problems)
    return found


def _mapping(form: MappingForm, toml: Toml, faults: Faults) -> SheetMapping:
    unsure: list[tuple[Origin, str]] = []
    tables = tuple(
        _table(table, ("table", n), toml, faults, unsure) for n, table in enumerate(form.table)
    )
    leave_out = {key_of(page): reason for page, reason in form.leave_out.items()}
    return SheetMapping(
        form.sheet, form.encoding, form.values_only, leave_out, tables, tuple(unsure)
    )


# -- the fields that a column may feed -------------------------------------------------------------


@functools.cache
def targets_of(row: str) -> dict[str, MappedField]:
    """What a column may feed, by the name it has in a mapping."""
    found: dict[str, MappedField] = {}
    for sheet in SHEETS_OF[row]:
        for column in sheets()[sheet].columns:
            for name, side, at in _named(row, sheet, column):
                full = f"{sheet}.{name}"
                found[full] = MappedField(full, sheet, side, at)
    if row == "end":
        found["Links.end"] = MappedField("Links.end", "Links", "", END)
    return found


def _named(row: str, sheet: str, column: Column) -> Iterator[tuple[str, str, Column]]:
    """The names of a column in a mapping, with the end and the column that each means."""
    name = ".".join(column.path)
    if row == "link" and sheet != "Links":
        for side in "ab":
            yield f"{side}.{name}", side, column
    elif row == "end" and sheet == "Links" and column.path[0] in ("a", "b"):
        if column.path[0] == "a":
            own = ".".join(column.path[1:])
            heading = column.heading.removesuffix(" A")
            for side, more in (("end", ""), (FAR, f"{FAR}.")):
                at = replace(column, path=(side, *column.path[1:]), heading=heading)
                yield f"{more}{own}", "", at
    else:
        yield name, "", column
        if row == "end" and sheet != "Links":
            yield f"{FAR}.{name}", FAR, column


# -- from the form to the mapping ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Lookup:
    """Looks up the fields of one table; what is not there goes to `faults`."""

    form: TableForm
    where: KeyPath
    toml: Toml
    faults: Faults
    unsure: list[tuple[Origin, str]]
    fed: dict[str, str]

    def tell(self, path: KeyPath, message: str, rule: str = "mapping-field") -> None:
        self.faults.error(rule, self.toml.origin((*self.where, *path)), message)

    def target(self, name: str, source: str, path: KeyPath) -> MappedField | None:
        """The field of that name; each is fed once."""
        row = self.form.row
        known = targets_of(row)
        if name not in known:
            self.tell(path, f"where row is {row} there is no {shown(name)}{nearest(name, known)}")
        elif name in self.fed:
            self.tell(path, f"{name} is also fed by {shown(self.fed[name])}")
        self.fed.setdefault(name, source)
        return known.get(name)

    def column(self, heading: str, value: str | list[str] | ColumnForm) -> Theirs:
        """A column of theirs."""
        path: KeyPath = ("columns", heading)
        origin = self.toml.origin((*self.where, *path))
        if value in (UNREAD, UNSURE):
            return self._open(heading, str(value), origin)
        whole = value if isinstance(value, ColumnForm) else ColumnForm(field=value)
        if whole.leave_out.strip():
            if whole.field or whole.split:
                self.tell(path, "leave_out stands beside a field: one of them is meant")
            return Theirs(heading, "left out", (), origin, reason=whole.leave_out.strip())
        targets = self._targets(heading, whole, path)
        scales = tuple(self.scale(whole, target.column.unit, path) for target in targets)
        values = {key_of(word): meant for word, meant in whole.values.items()}
        return Theirs(
            heading, "read", targets, origin, whole.unit, scales, whole.decimal, values, whole.split
        )

    def scale(self, form: ColumnForm, wanted: str, path: KeyPath) -> Scale | None:
        """What the figures of a column need; None where the mapping does not say."""
        if form.unit and form.factor is not None:
            self.tell((*path, "factor"), "write unit or factor, not both")
        if not form.unit and form.factor is None and form.plus is None:
            return None
        found = Scale(Decimal(repr(form.factor or 1)))
        if form.unit:
            try:
                found = scale(unit_named(form.unit) or form.unit, wanted)
            except ValueError as fault:
                self.tell((*path, "unit"), f"{shown(form.unit)} {fault}")
        return replace(found, plus=found.plus + Decimal(repr(form.plus or 0)))

    def _open(self, heading: str, state: str, origin: Origin) -> Theirs:
        """A column that nobody has said the meaning of."""
        if state == UNREAD:
            return Theirs(heading, "unread", (), origin)
        message = (
            f"{shown(heading)} is unsure: write one of the readings that stand beside it in the "
            'mapping, or {leave_out = "reason"}'
        )
        self.unsure.append((origin, message))
        return Theirs(heading, "unsure", (), origin)

    def _targets(self, heading: str, whole: ColumnForm, path: KeyPath) -> tuple[MappedField, ...]:
        names = [whole.field] if isinstance(whole.field, str) else whole.field
        if whole.split:
            if names:
                self.tell(path, "field stands beside split: split names the fields itself")
            names = PLACEHOLDER.findall(whole.split)
        if not any(names):
            self.tell(path, f'write a field, "{UNREAD}", or {{leave_out = "reason"}}')
        found = (self.target(name, heading, path) for name in names if name)
        targets = tuple(target for target in found if target is not None)
        if targets and looks_secret(heading):
            message = f"{shown(heading)} looks like a secret: it is not read into a plan"
            self.tell(path, message, "secret-in-plan")
        return targets

    def made(self, name: str) -> MappedField | None:
        """A field whose text is made of columns."""
        return self.target(name, "made", ("made", name))


def _table(
    form: TableForm, where: KeyPath, toml: Toml, faults: Faults, unsure: list[tuple[Origin, str]]
) -> TableMapping:
    """One table with its fields looked up."""
    look = _Lookup(form, where, toml, faults, unsure, {})
    columns: dict[str, Theirs] = {}
    for heading, value in form.columns.items():
        if key_of(heading) in columns:
            look.tell(("columns", heading), "the heading is there twice but for case and blanks")
        columns[key_of(heading)] = look.column(heading, value)
    found = [(look.made(name), text) for name, text in form.made.items()]
    if form.decimal == UNSURE:
        message = (
            "decimal is unsure: write the sign that stands before the decimals, as said beside it"
        )
        unsure.append((toml.origin((*where, "decimal")), message))
    return TableMapping(
        pages=(form.page,) if isinstance(form.page, str) else tuple(form.page),
        row=form.row,
        layout=form.layout,
        heading_row=form.heading_row,
        comma=form.decimal == ",",
        fill_down=frozenset(map(key_of, form.fill_down)),
        columns=columns,
        made=tuple((target, text) for target, text in found if target is not None),
        skip=form.skip_rows,
        origin=toml.origin(where),
    )


def _plainly(fault: Any, toml: Toml) -> tuple[KeyPath, str]:
    """Place and plain words of a fault that pydantic found."""
    where: KeyPath = tuple(fault["loc"])
    kind = fault["type"]
    if len(where) > 3 and where[2] == "columns":  # noqa: PLR2004 (table, number, columns, heading)
        inner = where[5:] if where[4:5] == ("ColumnForm",) else ()
        where = where[:4]
        if not inner or not isinstance(_at(toml.values, where), dict):
            return where, 'write a field such as "Devices.address", or {field = ..., unit = ...}'
        where = (*where, *inner[:1])
    known = {
        1: MappingForm.model_fields, 3: TableForm.model_fields, 5: ColumnForm.model_fields,
    }.get(len(where), {})  # fmt: skip
    name = str(where[-1]) if where else ""
    if kind == "extra_forbidden":
        return where, f"unknown key {shown(name)}{nearest(name, known)}"
    if kind == "missing":
        return where, f"{name} is missing"
    if name == "format":
        return where, f"is not a mapping of this version: format = {shown(FORMAT)} is wanted"
    if name == "row":
        return where, f"{shown(str(fault['input']))} is none of {', '.join(get_args(RowKind))}"
    return where, str(fault["msg"]).replace("Input should be", "must be")


def _at(values: Any, where: KeyPath) -> Any:
    for part in where:
        values = values[part]
    return values
