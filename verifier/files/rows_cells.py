"""Tables of cells to records: which column holds which field, and what each cell may hold."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from verifier.files.faults import WHOLE, Faults, shown
from verifier.files.fields import Column, Kind, Path, Sheet, normal_all, unit_of
from verifier.files.tree import Scalar
from verifier.model.problem import Origin
from verifier.model.subject import Subject, SubjectKind

Row = tuple[int, list[Any]]
"""Number of the row, counted from 1, and its cells: text, or what a workbook holds."""

_SUBJECTS: dict[str, SubjectKind] = {
    "Hosts": "host", "Sites": "site", "Devices": "device", "Addresses": "device", "Ports": "device",
    "Links": "link",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Table:
    """One sheet as found: `sheet` is empty for a CSV file."""

    columns: Sheet
    file: str
    sheet: str
    rows: Iterable[Row]

    def origin(self, row: int | None, heading: str = "") -> Origin:
        """The place of a cell, or of a row."""
        return Origin(self.file, row, heading, self.sheet, by_row=True)


@dataclass(frozen=True, slots=True)
class Record:
    """One row: its cells by the path of their column."""

    origin: Origin
    cells: dict[Path, Scalar]

    def text(self, *path: str) -> str:
        """The text of a cell; empty where the cell is."""
        cell = self.cells.get(path)
        return (cell.text or "") if cell is not None else ""


def records(table: Table, faults: Faults) -> Iterator[Record]:
    """The rows below the headings that hold anything; faults of headings and cells to `faults`."""
    columns: list[tuple[Column | None, str]] | None = None
    for number, cells in table.rows:
        if all(c is None or (isinstance(c, str) and not c.strip()) for c in cells):
            continue
        if columns is None:
            columns = _headings(table, number, cells, faults)
            continue
        read = Record(table.origin(number), {})
        subject = _subject(table, columns, cells)
        for index, cell in enumerate(cells):
            if cell is None or cell == "":
                continue
            column, heading = columns[index] if index < len(columns) else (None, "")
            origin = table.origin(number, heading)
            if column is not None:
                scalar = _cell(cell, column.kind, origin, faults, subject)
                if scalar is not None:
                    read.cells[column.path] = scalar
            elif not heading:
                message = f"cell {index + 1} has no heading above it: is a separator too many?"
                faults.error("cell-without-heading", origin, message, subject)
        yield read


def _headings(
    table: Table, number: int, cells: list[Any], faults: Faults
) -> list[tuple[Column | None, str]]:
    """The column for each heading; None where it is not known."""
    found: list[tuple[Column | None, str]] = []
    taken: dict[Path, str] = {}
    for cell in cells:
        heading = " ".join(str(cell).split()) if cell is not None else ""
        origin = table.origin(number, heading)
        column = table.columns.column(heading) if heading else None
        if column is None:
            if heading:
                faults.unknown(heading, origin, (c.heading for c in table.columns.columns))
        elif column.path in taken:
            message = f"{shown(heading)} and {shown(taken[column.path])} are the same column"
            faults.error("duplicate-column", origin, message)
            column = None
        else:
            taken[column.path] = heading
            if column.unit and (unit := unit_of(heading)) not in ("", column.unit):
                message = f"is in {unit}, but {column.heading} is wanted: convert the figures"
                faults.error("wrong-unit", origin, message)
                column = None
        found.append((column, heading))
    return found


def _subject(table: Table, columns: list[tuple[Column | None, str]], cells: list[Any]) -> Subject:
    """What a row is about, by its name or the device it belongs to."""
    kind = _SUBJECTS.get(table.columns.name)
    if kind is None:
        return WHOLE
    path = ("device",) if table.columns.name in ("Addresses", "Ports") else ("name",)
    for (column, _), cell in zip(columns, cells, strict=False):
        if column is not None and column.path == path:
            return Subject(kind, str(cell or "").strip()[:100])
    return Subject(kind, "")


def _cell(
    value: Any, kind: Kind, origin: Origin, faults: Faults, subject: Subject
) -> Scalar | None:
    """The text of a cell; None where it is empty or holds what its column cannot."""
    if isinstance(value, str):
        text = value.strip()
        return Scalar(text, quoted=True, origin=origin) if text else None
    text, is_a = _typed(value)
    fits = is_a == kind or (is_a == "moment" and kind == "date" and text.endswith("T00:00:00"))
    if fits and not (is_a == kind == "moment"):
        return Scalar(text.removesuffix("T00:00:00"), quoted=False, origin=origin)
    wanted = "as text, in a cell formatted as text"
    if kind == "moment":
        wanted = "as text with its time zone, such as 2026-12-01T08:00Z"
    elif kind != "text":
        wanted = {"number": "a number", "flag": "TRUE or FALSE", "date": "a date"}[kind]
    found = {"number": "a number", "flag": "a truth value"}.get(is_a, "a date or time")
    message = f"the cell holds {found} ({text}): write {wanted}"
    faults.error("wrong-cell-type", origin, message, subject)
    return None


def _typed(value: Any) -> tuple[str, Kind]:
    """What a workbook's cell holds, as text, and what it is; it keeps 15 digits of a number."""
    if isinstance(value, bool):
        return str(value).lower(), "flag"
    if isinstance(value, int):
        return str(value), "number"
    if isinstance(value, float):
        return f"{value:.15g}", "number"
    if isinstance(value, dt.date):
        return value.isoformat(), "moment" if isinstance(value, dt.datetime) else "date"
    return str(value), "moment"


def network(table: Table, faults: Faults) -> dict[Path, Scalar]:
    """The values of sheet Network (columns Field, Value) by their path."""
    cells: dict[Path, Scalar] = {}
    headings: list[str] | None = None
    for number, row in table.rows:
        texts = [normal_all(str(c)) if c is not None else "" for c in row]
        if not any(texts):
            continue
        if headings is None:
            headings = texts
            if not {"field", "value"} <= set(texts):
                message = "sheet Network has the columns Field and Value: one is missing"
                faults.error("missing-column", table.origin(number), message)
                return {}
            continue
        padded = [*row, *[None] * len(headings)]
        name, value = (padded[headings.index(h)] for h in ("field", "value"))
        if name is None or value is None or not str(value).strip():
            continue
        origin = table.origin(number, "Value")
        column = table.columns.column(str(name))
        if column is None:
            faults.unknown(str(name), origin, (c.heading for c in table.columns.columns))
        elif column.path in cells:
            message = f"{column.heading} is also in row {cells[column.path].origin.line}"
            faults.error("duplicate-field", origin, message)
        elif (scalar := _cell(value, column.kind, origin, faults, WHOLE)) is not None:
            cells[column.path] = scalar
    return cells
