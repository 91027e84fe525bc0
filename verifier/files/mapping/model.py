"""Mappings: which of their headings holds which of our fields, and what a row of theirs is."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from verifier.errors import InputError
from verifier.files.faults import Faults, looks_secret, nearest, shown
from verifier.files.plan.columns import Column, sheets
from verifier.files.plan.units import Scale, scale, unit_named
from verifier.files.toml import KeyPath, Toml, read_toml

FORMAT = "plan-verifier/mapping/1"
RowKind = Literal["hop", "end", "device", "site", "port", "address", "host", "maintenance"]

SHEETS_OF: dict[str, tuple[str, ...]] = {
    "hop": ("Links", "Devices", "Sites"),
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

PLACEHOLDER = re.compile(r"\{([^{}]*)\}")


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


def _not_nothing(factor: float) -> float:
    if not factor:
        raise ValueError("must not be 0")
    return factor


Factor = Annotated[float, Field(allow_inf_nan=False), AfterValidator(_not_nothing)]
"""What figures are multiplied by; -1 makes levels of what was written without their sign."""


class ColumnForm(_Strict):
    """A column whose figures are converted, or whose words are replaced.

    A figure becomes `factor` times itself, or is converted from `unit`; then `plus` is added.
    """

    field: str | list[str]
    unit: str | None = None
    factor: Factor | None = None
    plus: float | None = Field(default=None, allow_inf_nan=False)
    decimal: Literal[".", ","] | None = None
    values: dict[str, str] = {}


class SheetForm(_Strict):
    """One sheet of theirs. `theirs` is its title, the name of a CSV file, or `*`: the only one."""

    theirs: str = "*"
    row: RowKind
    heading_row: int | None = Field(default=None, ge=1)
    decimal: Literal[".", ","] | None = None
    columns: dict[str, str | list[str] | ColumnForm]
    made: dict[str, str] = {}


class MappingForm(_Strict):
    """A mapping as it is written."""

    format: Literal["plan-verifier/mapping/1"]
    sheet: list[SheetForm] = Field(min_length=1)


@dataclass(frozen=True, slots=True)
class MappedField:
    """A field of ours: in which sheet, at which end where a row has two, in which column."""

    sheet: str
    side: str
    column: Column


@dataclass(frozen=True, slots=True)
class Theirs:
    """A column of theirs: what it feeds; no targets: known, but not read.

    Attributes:
        scales: for each target what its figures need; None where the heading's unit says it.
        decimal: its decimal sign; None where that of the sheet holds.
    """

    heading: str
    targets: tuple[MappedField, ...]
    values: dict[str, str]
    scales: tuple[Scale | None, ...]
    unit: str = ""
    decimal: Literal[".", ","] | None = None


@dataclass(frozen=True, slots=True)
class SheetMapping:
    """One sheet of theirs; `columns` by `key_of` their heading, `made` are texts by target."""

    theirs: str
    row: RowKind
    heading_row: int | None
    decimal: Literal[".", ","] | None
    columns: dict[str, Theirs]
    made: tuple[tuple[MappedField, str], ...]

    def targets(self) -> Iterator[MappedField]:
        """Every field that is fed."""
        for theirs in self.columns.values():
            yield from theirs.targets
        for target, _ in self.made:
            yield target


def key_of(heading: str) -> str:
    """What a heading is found by: case and blanks do not count."""
    return " ".join(heading.split()).casefold()


def read_mapping(path: Path) -> tuple[SheetMapping, ...]:
    """The mapping at `path`. Raises InputError; `problems` holds all faults."""
    faults = Faults()
    toml = read_toml(path, faults)
    try:
        form = MappingForm.model_validate(toml.values)
    except ValidationError as error:
        for where, message in dict(_plainly(fault, toml) for fault in error.errors()).items():
            faults.error("mapping-field", toml.origin(where), message)
        form = None
    found = () if form is None else tuple(
        _sheet(sheet, ("sheet", n), toml, faults) for n, sheet in enumerate(form.sheet)
    )  # fmt: skip
    if problems := faults.problems():
        lines = [str(p) for p in problems]
        raise InputError("\n".join(lines), problems)
    return found


@functools.cache
def targets_of(row: str) -> dict[str, MappedField]:
    """What a column may feed, by the name it has in a mapping."""
    found: dict[str, MappedField] = {}
    for sheet in SHEETS_OF[row]:
        for column in sheets()[sheet].columns:
            for name, target in _named(row, sheet, column):
                found[f"{sheet}.{name}"] = target
    if row == "end":
        found["Links.end"] = MappedField("Links", "", END)
    return found


def _named(row: str, sheet: str, column: Column) -> Iterator[tuple[str, MappedField]]:
    name = ".".join(column.path)
    if row == "hop" and sheet != "Links":
        for side in "ab":
            yield f"{side}.{name}", MappedField(sheet, side, column)
    elif row == "end" and sheet == "Links" and column.path[0] in ("a", "b"):
        if column.path[0] == "a":
            heading = column.heading.removesuffix(" A")
            end = replace(column, path=("end", *column.path[1:]), heading=heading)
            yield ".".join(column.path[1:]), MappedField(sheet, "", end)
    else:
        yield name, MappedField(sheet, "", column)


@dataclass(frozen=True, slots=True)
class _Lookup:
    """Looks up the fields of one sheet; what is not there goes to `faults`."""

    form: SheetForm
    where: KeyPath
    toml: Toml
    faults: Faults
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
        whole = value if isinstance(value, ColumnForm) else ColumnForm(field=value)
        names = [whole.field] if isinstance(whole.field, str) else whole.field
        found = (self.target(name, heading, path) for name in names if name)
        targets = tuple(target for target in found if target is not None)
        if targets and looks_secret(heading):
            message = f"{shown(heading)} looks like a secret: it is not read into a plan"
            self.tell(path, message, "secret-in-plan")
        values = {key_of(word): meant for word, meant in whole.values.items()}
        scales = tuple(self.scale(whole, target.column.unit, path) for target in targets)
        return Theirs(heading, targets, values, scales, whole.unit or "", whole.decimal)

    def scale(self, form: ColumnForm, wanted: str, path: KeyPath) -> Scale | None:
        """What the figures of a column need; None where the mapping does not say."""
        if form.unit is not None and form.factor is not None:
            self.tell((*path, "factor"), "write unit or factor, not both")
        if form.unit is None and form.factor is None and form.plus is None:
            return None
        found = Scale(Decimal(repr(form.factor or 1)))
        if form.unit is not None:
            try:
                found = scale(unit_named(form.unit) or form.unit, wanted)
            except ValueError as fault:
                self.tell((*path, "unit"), f"{shown(form.unit)} {fault}")
        return replace(found, plus=found.plus + Decimal(repr(form.plus or 0)))

    def made(self, name: str, text: str, columns: dict[str, Theirs]) -> MappedField | None:
        """A field whose text is made of others."""
        path: KeyPath = ("made", name)
        for heading in PLACEHOLDER.findall(text):
            if key_of(heading) not in columns:
                self.tell(path, f"{{{heading}}} is no heading of [sheet.columns]")
        return self.target(name, "made", path)


def _sheet(form: SheetForm, where: KeyPath, toml: Toml, faults: Faults) -> SheetMapping:
    """One sheet with its fields looked up."""
    look = _Lookup(form, where, toml, faults, {})
    columns: dict[str, Theirs] = {}
    for heading, value in form.columns.items():
        if key_of(heading) in columns:
            look.tell(("columns", heading), "the heading is there twice but for case and blanks")
        columns[key_of(heading)] = look.column(heading, value)
    found = [(look.made(name, text, columns), text) for name, text in form.made.items()]
    made = tuple((target, text) for target, text in found if target is not None)
    return SheetMapping(form.theirs, form.row, form.heading_row, form.decimal, columns, made)


def _plainly(fault: Any, toml: Toml) -> tuple[KeyPath, str]:
    """Place and plain words of a fault that pydantic found."""
    where: KeyPath = tuple(fault["loc"])
    kind = fault["type"]
    if len(where) > 3 and where[2] == "columns":  # noqa: PLR2004 (sheet, number, columns, heading)
        inner = where[5:] if where[4:5] == ("ColumnForm",) else ()
        where = where[:4]
        if not inner or not isinstance(_at(toml.values, where), dict):
            return where, 'write a field such as "Devices.address", or {field = ..., factor = ...}'
        where = (*where, *inner[:1])
    known = {
        1: MappingForm.model_fields, 3: SheetForm.model_fields, 5: ColumnForm.model_fields,
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
