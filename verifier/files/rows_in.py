"""CSV folders and workbooks to tables of cells, and by `files/rows_tree.py` to a plan's tree."""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from verifier.errors import InputError
from verifier.files.disk import decode, read_bytes
from verifier.files.faults import Faults, nearest, shown
from verifier.files.fields import Sheet, normal, sheets
from verifier.files.rows_cells import Row, Table
from verifier.files.rows_tree import to_tree
from verifier.files.tree import Mapping
from verifier.model.problem import Origin

MAX_UNPACKED_BYTES = 512 * 1024 * 1024
"""A workbook unpacks to about ten times its size; one that unpacks to more is no workbook."""

MAX_CELL = 100_000
_FORMULA = re.compile(rb"<f[ >/]")


def read_folder(folder: Path, faults: Faults) -> Mapping:
    """The tree of a folder of CSV files, found by their names in any case.

    Raises:
        InputError: none of the files is there, or one cannot be read.
    """
    try:
        files = sorted(p for p in folder.iterdir() if p.suffix.lower() == ".csv")
    except OSError as error:
        raise InputError(f"{folder}: cannot be read: {error.strerror}") from None
    found = _by_sheet({p: p.stem for p in files}, lambda p: Origin(p.name), faults)
    if not found:
        names = ", ".join(f"{name}.csv" for name in sheets())
        raise InputError(f"{folder}: no CSV file of a plan is here: {names}")
    tables = [Table(sheet, p.name, "", _csv_rows(p, faults)) for p, sheet in found.items()]
    return to_tree(tables, folder.name, faults)


def _csv_rows(path: Path, faults: Faults) -> Iterator[Row]:
    text = decode(read_bytes(path), path)
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    csv.field_size_limit(MAX_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        yield from enumerate(reader, start=1)
    except csv.Error as error:
        message = f"not CSV: {error}; a text that holds quotes or the separator stands in quotes"
        raise faults.fatal("csv-syntax", Origin(path.name, reader.line_num), message) from None


def read_workbook(data: bytes, path: Path, faults: Faults) -> Mapping:
    """The tree of an .xlsx workbook, its sheets found by their names in any case.

    Raises:
        InputError: not a workbook, too large, or without any of the sheets.
    """
    shown_values = _load(data, path, formulas=False)
    formulas = _load(data, path, formulas=True) if _has_formulas(data) else None
    worksheets = {ws: ws.title for ws in shown_values.worksheets}
    found = _by_sheet(worksheets, lambda ws: Origin(path.name, sheet=ws.title), faults)
    if not found:
        raise InputError(f"{path}: none of the sheets of a plan is here: {', '.join(sheets())}")
    tables = []
    for worksheet, sheet in found.items():
        written = None if formulas is None else formulas[worksheet.title]
        rows = _sheet_rows(worksheet, written, path, faults)
        tables.append(Table(sheet, path.name, worksheet.title, rows))
    return to_tree(tables, path.name, faults)


def _load(data: bytes, path: Path, *, formulas: bool) -> Any:
    import openpyxl  # noqa: PLC0415

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            unpacked = sum(member.file_size for member in archive.infolist())
        if unpacked <= MAX_UNPACKED_BYTES:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # of features that no plan uses
                return openpyxl.load_workbook(io.BytesIO(data), data_only=not formulas)
    except Exception as error:  # noqa: BLE001 (the library lets errors of zip, XML and its own out)
        raise InputError(f"{path}: is not a readable .xlsx workbook: {error}") from None
    size = unpacked // 2**20
    raise InputError(f"{path}: unpacks to {size} MB, which no plan does: is this the right file?")


def _has_formulas(data: bytes) -> bool:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = [m for m in archive.namelist() if m.startswith("xl/worksheets/")]
        return any(_FORMULA.search(archive.read(part)) for part in parts)


def _sheet_rows(worksheet: Any, written: Any, path: Path, faults: Faults) -> Iterator[Row]:
    """The rows as calculated. A formula that was never calculated, or failed, is a fault."""
    for number, cells in enumerate(worksheet.iter_rows(), start=1):
        values: list[Any] = []
        for cell in cells:
            fault = _formula_fault(cell, written)
            if fault:
                origin = Origin(path.name, number, cell.coordinate, worksheet.title, by_row=True)
                faults.error("formula-without-value", origin, fault)
            values.append(None if fault else cell.value)
        yield number, values


def _formula_fault(cell: Any, written: Any) -> str:
    """Why the value of a cell cannot be used; `written` is the same sheet with its formulas."""
    if cell.data_type == "e":
        return f"the formula gives {shown(str(cell.value))}"
    if written is None or cell.value is not None:
        return ""
    if written.cell(cell.row, cell.column).data_type != "f":
        return ""
    return "this formula has no result: open and save it in a spreadsheet program"


def _by_sheet(named: dict[Any, str], origin: Any, faults: Faults) -> dict[Any, Sheet]:
    """Which of the things named is which sheet of a plan, in the plan's own order."""
    known = {normal(name): sheet for name, sheet in sheets().items()}
    found: dict[str, Any] = {}
    for thing, name in named.items():
        sheet = known.get(normal(name))
        if sheet is None:
            message = (
                f"{shown(name)} is no sheet of a plan and is not read{nearest(name, sheets())}"
            )
            faults.warn("unknown-sheet", origin(thing), message)
        elif sheet.name in found:
            message = (
                f"sheet {sheet.name} is there twice: also as {shown(named[found[sheet.name]])}"
            )
            faults.error("sheet-twice", origin(thing), message)
        else:
            found[sheet.name] = thing
    return {found[name]: sheet for name, sheet in sheets().items() if name in found}
