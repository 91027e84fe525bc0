"""Reading a mapping: its form to fields that are there; all faults at once, each with its line."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any, Literal, get_args

from pydantic import ValidationError

from verifier.errors import InputError
from verifier.files.faults import Faults, nearest, shown
from verifier.files.mapping.dictionary import Words, words_of_trade
from verifier.files.mapping.form import (
    FORMAT,
    UNREAD,
    UNSURE,
    ColumnForm,
    MappingForm,
    RowKind,
    TableForm,
)
from verifier.files.mapping.habits import FIELDS_OF
from verifier.files.mapping.model import (
    PLACEHOLDER,
    MappedField,
    SheetMapping,
    TableMapping,
    Theirs,
    key_of,
    targets_of,
)
from verifier.files.plan.columns import Column
from verifier.files.plan.units import Scale, scale, unit_named
from verifier.files.sheets.csv_text import ENCODING_UNSURE, PROPOSED
from verifier.files.sheets.open_pages import WHY_VALUES_ONLY
from verifier.files.toml import KeyPath, Toml, read_toml
from verifier.model.address import Interface
from verifier.model.problem import Origin


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
    words = words_of_trade()
    try:
        words = words.with_house(form.words)
    except ValueError as fault:
        faults.error("mapping-field", toml.origin(("words",)), str(fault))
    tables = tuple(
        _table(table, _Lookup(table, ("table", n), toml, faults, unsure, {}, words))
        for n, table in enumerate(form.table)
    )
    leave_out = {key_of(page): reason for page, reason in form.leave_out.items()}
    for key, what in (("encoding", ENCODING_UNSURE), ("values_only", WHY_VALUES_ONLY)):
        if getattr(form, key) == UNSURE:
            unsure.append((toml.origin((key,)), what))
    encoding = PROPOSED if form.encoding == UNSURE else form.encoding
    return SheetMapping(
        form.sheet, encoding, bool(form.values_only), leave_out, tables, tuple(unsure)
    )


@dataclass(frozen=True, slots=True)
class _Lookup:
    """Looks up the fields of one table; what is not there goes to `faults`."""

    form: TableForm
    where: KeyPath
    toml: Toml
    faults: Faults
    unsure: list[tuple[Origin, str]]
    fed: dict[str, str]
    words: Words

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
        if UNSURE in (whole.unit, whole.decimal):
            return self._open(heading, UNSURE, origin)
        if whole.leave_out.strip():
            if whole.field or whole.split:
                self.tell(path, "leave_out stands beside a field: one of them is meant")
            return Theirs(heading, "left out", (), origin, reason=whole.leave_out.strip())
        targets = self._targets(heading, whole, path)
        scales = tuple(self.scale(whole, target.column, path) for target in targets)
        values = {key_of(word): meant for word, meant in whole.values.items()}
        self._forms(whole, targets, path)
        return Theirs(
            heading,
            "read",
            targets,
            origin,
            whole.unit,
            scales,
            _sign(whole.decimal),
            values,
            whole.split,
            whole.form,
            whole.subnet,
            whole.pair,
        )

    def _forms(self, whole: ColumnForm, targets: tuple[MappedField, ...], path: KeyPath) -> None:
        """Tells where the form of a column's cells is none of its fields."""
        if whole.form is not None:
            fields = FIELDS_OF[whole.form]
            for target in targets:
                if target.column.path[-1] not in fields:
                    message = f"a cell of form {whole.form} gives {' or '.join(fields)}"
                    self.tell((*path, "form"), f"{message}, not {target.name}")
        if (whole.form == "last octet") != bool(whole.subnet):
            self.tell((*path, "subnet"), 'form = "last octet" and subnet stand together')
        if whole.subnet and not PLACEHOLDER.fullmatch(whole.subnet):
            try:
                Interface.parse(whole.subnet)
            except ValueError as fault:
                self.tell((*path, "subnet"), str(fault))
        if whole.pair and [t.column.path[-1] for t in targets] != ["tx_mhz"]:
            self.tell((*path, "pair"), "pair = true belongs to the tx_mhz of one end")

    def scale(self, form: ColumnForm, column: Column, path: KeyPath) -> Scale | None:
        """What the figures of a column need; None where the mapping does not say."""
        if form.unit and form.factor is not None:
            self.tell((*path, "factor"), "write unit or factor, not both")
        if not form.unit and form.factor is None and form.plus is None:
            return None
        found = Scale(Decimal(repr(form.factor or 1)))
        if form.unit:
            try:
                found = scale(unit_named(form.unit) or form.unit, column.unit)
            except ValueError as fault:
                self.tell((*path, "unit"), f"{shown(form.unit)} {fault}")
        turn = column.path[-1] == "azimuth_deg" and form.plus is not None
        return replace(found, plus=found.plus + Decimal(repr(form.plus or 0)), turn=turn)

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
        if targets and self.words.is_secret(heading):
            message = f"{shown(heading)} looks like a secret: it is not read into a plan"
            self.tell(path, message, "secret-in-plan")
        return targets

    def made(self, name: str, text: str) -> MappedField | None:
        """A field whose text is made of columns."""
        for heading in filter(self.words.is_secret, PLACEHOLDER.findall(text)):
            message = f"{shown(heading)} looks like a secret: it is not read into a plan"
            self.tell(("made", name), message, "secret-in-plan")
        return self.target(name, "made", ("made", name))


def _table(form: TableForm, look: _Lookup) -> TableMapping:
    """One table with its fields looked up."""
    columns: dict[str, Theirs] = {}
    for heading, value in form.columns.items():
        if key_of(heading) in columns:
            look.tell(("columns", heading), "the heading is there twice but for case and blanks")
        columns[key_of(heading)] = look.column(heading, value)
    found = [(look.made(name, text), text) for name, text in form.made.items()]
    if form.decimal == UNSURE:
        at = look.toml.origin((*look.where, "decimal"))
        look.unsure.append((at, "decimal is unsure: write the sign"))
    return TableMapping(
        pages=(form.page,) if isinstance(form.page, str) else tuple(form.page),
        row=form.row,
        layout=form.layout,
        heading_row=form.heading_row,
        decimal=_sign(form.decimal),
        fill_down=frozenset(map(key_of, form.fill_down)),
        columns=columns,
        made=tuple((target, text) for target, text in found if target is not None),
        skip=form.skip_rows,
        origin=look.toml.origin(look.where),
        words=look.words,
    )


def _sign(said: Literal[".", ",", "unsure"] | None) -> Literal[".", ","] | None:
    return None if said == "unsure" else said


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
