"""Workbooks as pages: what a spreadsheet shows, and what it hides."""

from __future__ import annotations

import io
import itertools
import re
import warnings
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from verifier.errors import InputError
from verifier.files.faults import Faults, shown
from verifier.files.sheets.cell import Formatted, UnreadableCell, too_long
from verifier.files.sheets.limits import MAX_CELL, MAX_FILLED, MAX_PLACES, too_many
from verifier.files.sheets.page import Knows, Merge, Page, Row, is_blank
from verifier.files.sheets.workbook_scan import has_formulas, parts_of

OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # [MS-CFB] 2.2
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")  # [MS-OFFCRYPTO] 2.3.4.4
_ZEROS = re.compile(r"0{2,}")


def workbook_pages(data: bytes, path: Path) -> tuple[Page, ...]:
    """The sheets of an .xlsx or .xlsm workbook; macros are left alone.

    Raises:
        InputError: not such a workbook, or too large; says what to do.
    """
    _refuse_other_formats(data, path)
    names = parts_of(data, path)
    if "xl/workbook.bin" in names:
        raise InputError(f"{path}: is an .xlsb workbook whatever its ending: save it as .xlsx")
    if "content.xml" in names:
        raise InputError(f"{path}: is an OpenDocument file: save it as .xlsx")
    try:
        calculated = has_formulas(data, path)
        book = _load(data, data_only=True)
        formulas = _formula_cells(data) if calculated else {}
        _refuse_wide_rows(book, path)
        return tuple(_page(s, formulas.get(s.title, set()), path) for s in book.worksheets)
    except InputError:
        raise
    except Exception as error:  # noqa: BLE001 (the library lets errors of zip, XML and its own out)
        raise _not_a_workbook(path, str(error)) from None


def _refuse_wide_rows(book: Any, path: Path) -> None:
    """Raises InputError where the rows hold or span more cells than those of any plan."""
    spanned = 0
    for sheet in book.worksheets:
        filled: Counter[int] = Counter()
        last: dict[int, int] = {}
        for (row, column), cell in sheet._cells.items():  # noqa: SLF001
            if cell.value is not None:
                filled[row] += 1
                last[row] = max(column, last.get(row, 0))
        if max(filled.values(), default=0) > MAX_FILLED:
            raise too_many("cells in a row", MAX_FILLED, path)
        spanned += sum(last.values())
    if spanned > MAX_PLACES:
        raise too_many("places in the rows", MAX_PLACES, path)


def _refuse_other_formats(data: bytes, path: Path) -> None:
    if data.startswith(OLE):
        if _ENCRYPTED in data:
            raise InputError(f"{path}: is protected by a password: open it, save it without one")
        raise InputError(f"{path}: is an old .xls workbook whatever its ending: save it as .xlsx")
    if data.lstrip()[:1] == b"<":
        reason = "is a web page or XML, whatever its ending: open it in a spreadsheet program"
        raise InputError(f"{path}: is not a readable .xlsx workbook: {reason}, save it as .xlsx")


def _not_a_workbook(path: Path, reason: str) -> InputError:
    return InputError(f"{path}: is not a readable .xlsx workbook: {reason[:200]}")


def _load(data: bytes, **how: Any) -> Any:
    import openpyxl  # noqa: PLC0415

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of features that no plan uses
        return openpyxl.load_workbook(io.BytesIO(data), **how)


def _formula_cells(data: bytes) -> dict[str, set[tuple[int, int]]]:
    """Where formulas stand, by title of the sheet."""
    book = _load(data, read_only=True)
    found = {}
    for sheet in book.worksheets:
        sheet.reset_dimensions()  # what is stored need not be true
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            cells = itertools.chain.from_iterable(sheet.iter_rows())
            found[sheet.title] = {(c.row, c.column) for c in cells if c.data_type == "f"}
    book.close()
    return found


def _page(sheet: Any, formulas: set[tuple[int, int]], path: Path) -> Page:
    hidden = {number for number, row in sheet.row_dimensions.items() if row.hidden}
    if hidden:
        hidden &= {place[0] for place, cell in sheet._cells.items() if cell.value is not None}  # noqa: SLF001
    merges = tuple(
        Merge(str(m), m.min_row, m.min_col, m.max_row, m.max_col, _merged_value(sheet, m))
        for m in sheet.merged_cells.ranges
    )

    def read(_: Knows, __: Faults) -> Iterator[Row]:
        return _rows(sheet, formulas)

    return Page(
        path.name, sheet.title, sheet.title, read, merges, _notes(sheet), tuple(sorted(hidden)),
        _hidden_columns(sheet), _struck(sheet), _widths(sheet),
    )  # fmt: skip


def _widths(sheet: Any) -> dict[int, float]:
    """The widths of the columns that hold anything, in characters, where they have their own."""
    own = [(c.min, c.max, c.width) for c in sheet.column_dimensions.values() if c.min and c.width]
    used = {place[1] for place, cell in sheet._cells.items() if cell.value is not None}  # noqa: SLF001
    return {n: float(wide) for n in sorted(used) for a, b, wide in own if a <= n <= b}


def _struck(sheet: Any) -> frozenset[tuple[int, int]]:
    """The cells that are struck through."""
    fonts = {n for n, font in enumerate(sheet.parent._fonts) if font.strike}  # noqa: SLF001
    if not fonts:
        return frozenset()
    cells = sheet._cells.items()  # noqa: SLF001
    return frozenset(
        place
        for place, cell in cells
        if cell.has_style and cell._style.fontId in fonts and cell.value is not None  # noqa: SLF001
    )


def _merged_value(sheet: Any, merged: Any) -> Any:
    value = sheet.cell(merged.min_row, merged.min_col).value
    return None if is_blank(value) else value


def _notes(sheet: Any) -> tuple[tuple[str, str], ...]:
    """What a person who looks at the sheet does not see."""
    notes = []
    if sheet.sheet_state != "visible":
        notes.append(("hidden-sheet", f"sheet {shown(sheet.title)} is hidden: read all the same"))
    if columns := _hidden_columns(sheet):
        from openpyxl.utils import get_column_letter  # noqa: PLC0415

        letters = ", ".join(map(get_column_letter, columns))
        message = f"hidden columns ({letters}) are read all the same"
        notes.append(("hidden-column", message))
    if sheet.auto_filter.ref and sheet.auto_filter.filterColumn:
        message = f"a filter is set on {sheet.auto_filter.ref}: rows that it hides are read too"
        notes.append(("filter-set", message))
    return tuple(notes)


def _hidden_columns(sheet: Any) -> tuple[int, ...]:
    """The hidden columns that hold anything."""
    hidden = [(c.min, c.max) for c in sheet.column_dimensions.values() if c.hidden and c.min]
    if not hidden:
        return ()
    used = {place[1] for place, cell in sheet._cells.items() if cell.value is not None}  # noqa: SLF001
    return tuple(n for n in sorted(used) if any(a <= n <= b for a, b in hidden))


def _rows(sheet: Any, formulas: set[tuple[int, int]]) -> Iterator[Row]:
    """The rows that hold cells, whatever size of the sheet is stored or styled."""
    cells = sheet._cells  # noqa: SLF001 (its public views make a cell for every empty place)
    for row, places in itertools.groupby(sorted(cells), key=lambda place: place[0]):
        values: list[Any] = []
        for place in places:
            value = _value(cells[place], place in formulas)
            if value is not None:
                values += [None] * (place[1] - 1 - len(values))
                values.append(value)
        yield row, values


def _value(cell: Any, has_formula: bool) -> Any:  # noqa: FBT001 (one call)
    value = cell.value
    if value is None:
        reason = "this formula has no result: open and save it in a spreadsheet program"
        return UnreadableCell(reason) if has_formula else None
    if cell.data_type == "n":
        number_format = cell.number_format if cell.has_style else "General"
        if "%" in number_format or _ZEROS.fullmatch(number_format):
            return Formatted(value, number_format)
    elif cell.data_type == "e":
        what = "the formula gives" if has_formula else "the cell holds the error"
        return UnreadableCell(f"{what} {shown(str(value))}")
    elif isinstance(value, str) and len(value) > MAX_CELL:
        return too_long(value)
    return value
