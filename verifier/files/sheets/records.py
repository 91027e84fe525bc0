"""Rows of a page to records: which column holds which field, and the text of each cell."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from verifier.files.faults import WHOLE, Faults, shown
from verifier.files.plan.columns import Column, Path, Sheet, normal_all
from verifier.files.plan.tree import Scalar
from verifier.files.plan.units import SAME, Scale, scale
from verifier.files.sheets.cell import clean
from verifier.files.sheets.cell_number import PLAINLY, NumberStyle, could_be_thousands, says_nothing
from verifier.files.sheets.find_headings import Headings, find_headings, heading_text
from verifier.files.sheets.page import Page, Row, is_blank, listed
from verifier.model.problem import Origin, Subject, SubjectKind

SUBJECTS: dict[str, SubjectKind] = {
    "Hosts": "host", "Sites": "site", "Devices": "device", "Addresses": "device", "Ports": "device",
    "Links": "link",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One row: its cells by the path of their column."""

    origin: Origin
    cells: dict[Path, Scalar]

    def text(self, *path: str) -> str:
        """The text of a cell; empty where the cell is."""
        cell = self.cells.get(path)
        return (cell.text or "") if cell is not None else ""


@dataclass(slots=True)
class CellReader:
    """Reads the cells of one column.

    Attributes:
        values: what their words mean, in lower case.
        foreign: whether the sheet is somebody's own; there a dash is no text.
        before: what a cell of another form is made into first; raises ValueError.
        said: by rule, what was read otherwise than it is written: the first place, and all rows.
        points: figures with a point that could stand between thousands.
        how: of the cell read last, in what it was read otherwise than it is written.
        refused: of the cell read last, why it cannot be read.
    """

    column: Column
    heading: str
    figures: NumberStyle = PLAINLY
    values: Mapping[str, str] = field(default_factory=dict)
    foreign: bool = False
    before: Callable[[Any], Any] | None = None
    said: dict[str, tuple[Origin, Subject, str, list[int]]] = field(default_factory=dict)
    points: list[tuple[Origin, Subject, str]] = field(default_factory=list)
    how: str = ""
    refused: str = ""
    _notes: list[tuple[str, str]] = field(default_factory=list)
    _as_it_is: bool = field(init=False)
    _may_have_points: bool = field(init=False)

    def __post_init__(self) -> None:
        kind = self.column.kind
        as_it_is = kind in ("text", "flag", "moment") and not self.column.is_address
        self._as_it_is = as_it_is and self.before is None
        open_sign = self.figures.decimal in ("plain", "either")
        self._may_have_points = kind == "number" and not self.column.angle and open_sign

    def read(self, value: Any, origin: Origin, faults: Faults, subject: Subject) -> Scalar | None:
        """The text of a cell; None where it is empty or cannot be read."""
        self.how = self.refused = ""
        if self.values and (meant := self.values.get(heading_text(value).casefold())) is not None:
            return Scalar(meant, quoted=True, origin=origin) if meant else None
        if type(value) is str and self._is_nothing(value):
            return None
        if self._as_it_is and type(value) is str and value.isascii():
            text = value.strip()
            return Scalar(text, quoted=True, origin=origin) if text else None
        try:
            made = value if self.before is None else self.before(value)
            text = clean(made, self.column, self.figures, self._note)
        except ValueError as fault:
            self.refused = str(fault)
            faults.unreadable(self.column.path[-1], origin, self.refused, subject)
            return None
        if self._notes:
            self.how = "; ".join(message for _, message in self._notes)
            for rule, message in self._notes:
                said = self.said.setdefault(rule, (origin, subject, message, []))
                said[3].append(origin.line or 0)
            self._notes.clear()
        elif self.before is not None:
            self.how = f"{shown(heading_text(value))} is read as {text}"
        if self._may_have_points and isinstance(value, str) and could_be_thousands(value):
            self.points.append((origin, subject, text))
        return Scalar(text, isinstance(value, str), origin) if text else None

    def _is_nothing(self, text: str) -> bool:
        """Whether a cell says what an empty one does; that there is no gateway says more."""
        if self.column.kind == "text" and not (self.column.is_address or self.foreign):
            return False
        planned_none = self.column.path[-1] == "gateway" and text.strip().lower() == "none"
        return not planned_none and says_nothing(text)

    def _note(self, rule: str, message: str) -> None:
        self._notes.append((rule, message))


def finish(readers: Iterable[CellReader], faults: Faults) -> None:
    """Tells what was read otherwise than it is written, for each column with its first place.

    Where one figure of a page has a decimal comma, another's point may stand between thousands.
    """
    readers = list(readers)
    commas = [r.said["decimal-comma"][0] for r in readers if "decimal-comma" in r.said]
    for reader in readers:
        for rule, (origin, subject, message, rows) in reader.said.items():
            also = f" (so too in rows {listed(rows[1:])})" if len(rows) > 1 else ""
            faults.warn(rule, origin, message + also, subject)
        for origin, subject, text in reader.points if commas else ():
            message = (
                f"{shown(text)} has a decimal point or one between thousands: in row "
                f"{commas[0].line}, column {commas[0].field}, the comma is decimal; write one form"
            )
            faults.error("unreadable-cell", origin, message, subject)


def records(page: Page, sheet: Sheet, faults: Faults) -> Iterator[SheetRow]:
    """The rows below the headings that hold anything; faults of headings and cells to `faults`."""
    found = find_headings(page, lambda name: sheet.column(name) is not None, faults)
    if found is None:
        return
    page.tell(found.last_row, faults)
    readers = _readers(page, sheet, found, faults)
    if not any(readers):
        known = ", ".join(c.heading for c in sheet.columns[:4])
        message = f"none of the headings of sheet {sheet.name} is here: {known} and so on"
        faults.error("no-headings", page.origin(found.row), message)
        return
    kind = SUBJECTS.get(sheet.name)
    name = ("device",) if sheet.name in ("Addresses", "Ports") else ("name",)
    named = next((i for i, r in enumerate(readers) if r and r.column.path == name), None)
    for number, cells in found.below:
        subject = WHOLE if kind is None else Subject(kind, short(cells, named))
        read: dict[Path, Scalar] = {}
        for cell, reader in zip(cells, readers, strict=False):
            if reader is not None and cell is not None and cell != "":
                origin = page.origin(number, reader.heading)
                if (scalar := reader.read(cell, origin, faults, subject)) is not None:
                    read[reader.column.path] = scalar
        tell_stray(page, (number, cells), found, faults, subject)
        yield SheetRow(page.origin(number), read)
    finish(filter(None, readers), faults)


def tell_stray(page: Page, row: Row, found: Headings, faults: Faults, subject: Subject) -> None:
    """Tells of the first cell that holds anything and has no heading."""
    number, cells = row
    for index in (*found.unnamed, *range(len(found.names), len(cells))):
        if index < len(cells) and not is_blank(cells[index]):
            message = f"cell {index + 1} has no heading above it: is a separator too many?"
            faults.error("cell-without-heading", page.origin(number), message, subject)
            return


def short(cells: list[Any], index: int | None) -> str:
    """What a row is called, by the cell that names it."""
    if index is None or index >= len(cells):
        return ""
    return heading_text(cells[index])[:100]


def _readers(page: Page, sheet: Sheet, found: Headings, faults: Faults) -> list[CellReader | None]:
    """The reader of each column; None where the heading is not known."""
    readers: list[CellReader | None] = []
    taken: dict[Path, str] = {}
    for heading, unit in zip(found.names, found.units, strict=True):
        origin = page.origin(found.row, heading)
        column = sheet.column(heading) if heading else None
        reader = None
        if column is None:
            if heading:
                faults.unknown(heading, origin, (c.heading for c in sheet.columns))
        elif column.path in taken:
            message = f"{shown(heading)} and {shown(taken[column.path])} are the same column"
            faults.error("duplicate-column", origin, message)
        else:
            taken[column.path] = heading
            if column.unit and not unit and not sheet.is_known_whole(heading):
                message = f"what stands in brackets is no unit: read in {column.unit}"
                faults.warn("unit-unknown", origin, message)
            found_scale = scale_of(unit, column, origin, faults)
            if found_scale is not None:
                figures = PLAINLY if found_scale == SAME else NumberStyle(scale=found_scale)
                reader = CellReader(column, heading, figures)
        readers.append(reader)
    return readers


def scale_of(unit: str, column: Column, origin: Origin, faults: Faults) -> Scale | None:
    """What figures need for the unit in their heading; None, and told, where nothing will do."""
    if not column.unit or column.kind != "number" or not unit:
        return SAME
    try:
        found = scale(unit, column.unit)
    except ValueError as fault:
        faults.error("wrong-unit", origin, f"{shown(origin.field or '')} {fault}")
        return None
    if found != SAME:
        message = f"figures in {unit} are {found} to be in {column.unit}"
        faults.warn("unit-converted", origin, message)
    return found


def network(page: Page, sheet: Sheet, faults: Faults) -> dict[Path, Scalar]:
    """The values of sheet Network (columns Field, Value) by their path."""
    found = find_headings(page, lambda name: normal_all(name) in ("field", "value"), faults)
    if found is None:
        return {}
    page.tell(found.last_row, faults)
    headings = [normal_all(name) for name in found.names]
    if not {"field", "value"} <= set(headings):
        message = "sheet Network has the columns Field and Value: one is missing"
        faults.error("missing-column", page.origin(found.row), message)
        return {}
    places = [headings.index(h) for h in ("field", "value")]
    cells: dict[Path, Scalar] = {}
    for number, row in found.below:
        padded = [*row, *[None] * len(headings)]
        name, value = (padded[place] for place in places)
        if is_blank(name) and not is_blank(value):
            faults.error("missing-field", page.origin(number, "Field"), "the field has no name")
        if is_blank(name) or is_blank(value):
            continue
        _network_value(
            heading_text(name), value, sheet, page.origin(number, "Value"), cells, faults
        )
    return cells


def _network_value(  # noqa: PLR0913, PLR0917
    name: str,
    value: Any,
    sheet: Sheet,
    origin: Origin,
    cells: dict[Path, Scalar],
    faults: Faults,
) -> None:
    column = sheet.column(name)
    if column is None:
        faults.unknown(name, origin, (c.heading for c in sheet.columns))
        return
    if column.path in cells:
        message = f"{column.heading} is also in row {cells[column.path].origin.line}"
        faults.error("duplicate-field", origin, message)
        return
    reader = CellReader(column, "Value")
    if (scalar := reader.read(value, origin, faults, WHOLE)) is not None:
        cells[column.path] = scalar
    finish((reader,), faults)
