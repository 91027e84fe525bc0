"""A plan to a workbook that explains itself: hints, drop-downs, text where text belongs."""

from __future__ import annotations

import datetime as dt
import io
import itertools
import re
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.comments import Comment
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from verifier.errors import UsageError
from verifier.files.faults import shown
from verifier.files.plan.columns import Column, Sheet, sheets
from verifier.files.plan.hints import hint, meaning, sentences
from verifier.files.plan.instructions import IN_A_WORKBOOK, TITLE, sections
from verifier.files.plan.value_origins import row_origins
from verifier.files.sheets import workbook_style as looks
from verifier.files.sheets.write import headings, rows
from verifier.model.plan import Plan

LAST_ROW = 1_048_576
"""Rows of a sheet (ISO/IEC 29500); choices are offered in all of them."""

MAX_TEXT = 32_767
_NETWORK_WIDTHS = (30, 34, 56, 24, 24)
_FIRST_TRUE_DAY = dt.date(1900, 3, 1)  # before it, programs count days differently
_ESCAPE = re.compile(r"_x[0-9A-Fa-f]{4}_")  # ISO/IEC 29500-1 22.9.2.19: stands for a character


def workbook(plan: Plan, *, origins: bool = False) -> bytes:
    """The workbook as a file's content; `origins` notes at each cell where its value was read.

    Raises:
        UsageError: a value that no cell can hold, or names that rows cannot tell apart.
    """
    by_sheet = rows(plan)
    for value in itertools.chain.from_iterable(itertools.chain(*by_sheet.values())):
        _refuse_unwritable(value)  # now: sheets are written as they are made
    book = Workbook(write_only=True)
    book.properties.creator = plan.network.prepared_by or ""
    book.properties.title = plan.network.name or "Link plan"
    _how_to(book)
    for name, lines in by_sheet.items():
        places = list(row_origins(plan, name)) if origins else []
        _Writer(book, sheets()[name], places).write(lines)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _how_to(book: Any) -> None:
    """The first sheet."""
    sheet = book.create_sheet(TITLE)
    looks.page(sheet, orientation="portrait", pages_across=1)
    sheet.sheet_view.showGridLines = False
    sheet.column_dimensions["A"].width = looks.MARGIN_WIDTH
    sheet.column_dimensions["B"].width = looks.TEXT_WIDTH
    texts = [(looks.TITLE, "How to fill in this plan")]
    for heading, lines in sections(IN_A_WORKBOOK):
        texts += [(looks.PLAIN, ""), (looks.SECTION, heading)]
        texts += [(looks.PLAIN, line) for line in lines]
    for row, (look, text) in enumerate(texts, start=1):
        sheet.row_dimensions[row].height = look.height(text, looks.TEXT_WIDTH)
        sheet.append([None, look.on(WriteOnlyCell(sheet, text))])


class _Writer:
    """Writes one sheet. Sheet Network has its fields in rows, with their hints beside them."""

    def __init__(self, book: Any, sheet: Sheet, places: list[tuple[str, ...]]) -> None:
        self._places = places
        self._is_network = sheet.name == "Network"
        self._sheet = sheet
        self._page = book.create_sheet(sheet.name)

    def write(self, lines: list[list[Any]]) -> None:
        """The heading row and all lines."""
        looks.page(self._page, pages_across=1 if self._is_network else None)
        if self._is_network:
            self._network(lines)
            return
        columns = self._sheet.columns
        fixed = 2 if columns[0].path == ("device",) else 1
        self._page.freeze_panes = f"{get_column_letter(fixed + 1)}2"
        self._page.print_title_rows = "1:1"
        self._page.print_title_cols = f"A:{get_column_letter(fixed)}"
        last = get_column_letter(len(columns))
        self._page.auto_filter.ref = f"A1:{last}{len(lines) + 1}"
        widths: dict[str, float] = {}
        for index, column in enumerate(columns):
            letter = get_column_letter(index + 1)
            values = [hint(self._sheet.name, column).example, *(line[index] for line in lines)]
            widths[column.heading] = looks.width(column.heading, values)
            self._page.column_dimensions[letter].width = widths[column.heading]
            looks.cell_of(column).on(self._page.column_dimensions[letter])
            self._offer(column, f"{letter}2:{letter}{LAST_ROW}")
        self._page.row_dimensions[1].height = looks.heading_height(widths)
        self._page.append([self._heading(column) for column in columns])
        cells = [looks.cell_of(c).on(WriteOnlyCell(self._page)) for c in columns]
        for index, line in enumerate(lines):
            if self._places:
                cells = [looks.cell_of(c).on(WriteOnlyCell(self._page)) for c in columns]
                _note_origins(cells, line, self._places[index])
            pairs = zip(cells, line, strict=True)
            self._page.append([None if v is None else _filled(c, v) for c, v in pairs])

    def _heading(self, column: Column) -> Any:
        cell = WriteOnlyCell(self._page, column.heading)
        looks.heading_of(column, required=hint(self._sheet.name, column).required).on(cell)
        cell.comment = _note(sentences(self._sheet.name, column))
        return cell

    def _network(self, lines: list[list[Any]]) -> None:
        columns = self._sheet.columns
        names = (*headings("Network"), "Meaning", "Example", "Empty means")
        self._page.freeze_panes = "A2"
        for letter, width in zip("ABCDE", _NETWORK_WIDTHS, strict=True):
            self._page.column_dimensions[letter].width = width
        self._page.row_dimensions[1].height = 20
        self._page.append([looks.HEADING.on(WriteOnlyCell(self._page, n)) for n in names])
        for row, (column, line) in enumerate(zip(columns, lines, strict=True), start=2):
            said = hint("Network", column)
            texts = (" ".join(meaning("Network", column)), said.example, said.empty)
            field = looks.FIELD.on(WriteOnlyCell(self._page, line[0]))
            field.comment = _note(sentences("Network", column))
            value = _filled(looks.value_of(column).on(WriteOnlyCell(self._page)), line[1])
            if self._places:
                _note_origins([value], line[1:], self._places[row - 2][1:])
            words = [looks.QUIET.on(_filled(WriteOnlyCell(self._page), t)) for t in texts]
            self._page.row_dimensions[row].height = max(
                looks.QUIET.height(str(t or ""), w)
                for t, w in zip((*line, *texts), _NETWORK_WIDTHS, strict=True)
            )
            self._page.append([field, value, *words])
            self._offer(column, f"B{row}")

    def _offer(self, column: Column, cells: str) -> None:
        """Offers the values there are, and warns of a text where a number belongs."""
        choices = ("yes", "no") if column.kind == "flag" else column.choices
        listed = _listed(self._sheet.name, column)
        if choices:
            offer = DataValidation("list", formula1=f'"{",".join(choices)}"', showErrorMessage=True)
            offer.error = f"One of: {', '.join(choices)}"
        elif listed:
            offer = DataValidation("list", formula1=_names_in(listed))
        elif column.kind == "number":
            offer = DataValidation("decimal", formula1="-1E+15", formula2="1E+15")
            offer.showErrorMessage, offer.errorStyle = True, "warning"
            offer.error = "A number is wanted here, without its unit."
        else:
            return
        offer.allowBlank = True
        offer.errorTitle = column.heading[:32]
        offer.add(cells)
        self._page.data_validations.append(offer)


def _listed(sheet: str, column: Column) -> str:
    """The sheet whose names a column takes one of; empty if it takes none."""
    if column.path[-1] == "device":
        return "Devices"
    return "Sites" if sheet == "Devices" and column.path == ("site",) else ""


def _names_in(sheet: str) -> str:
    """The filled cells of the first column, Name, below its heading."""
    return f"OFFSET({sheet}!$A$2,0,0,MAX(1,COUNTA({sheet}!$A:$A)-1),1)"


def _note(lines: list[str]) -> Comment:
    height = 12 + 17 * sum(1 + len(line) // 44 for line in lines)
    return Comment("\n".join(lines), "plan-verifier", height=height, width=320)


def _note_origins(cells: list[Any], line: list[Any], places: tuple[str, ...]) -> None:
    """Notes at each cell that holds a value where it was read."""
    for cell, value, place in zip(cells, line, places, strict=True):
        if value is not None and place:
            cell.comment = _note([place])


def _refuse_unwritable(value: Any) -> None:
    if isinstance(value, str) and (len(value) > MAX_TEXT or _ESCAPE.search(value)):
        raise UsageError(
            f"{shown(value)} cannot be written into a workbook: it is longer than {MAX_TEXT}"
            " characters or holds what workbooks read as an escape; YAML can hold it"
        )


def _filled(cell: Any, value: Any) -> Any:
    """The cell with a value; a text stays a text, whatever it begins with."""
    if isinstance(value, (int, float)):
        exact = float(f"{value:.15g}") == value  # a workbook's numbers have 15 digits
        value = value if exact else repr(value)
    elif isinstance(value, dt.date) and value < _FIRST_TRUE_DAY:
        value = value.isoformat()
    cell.value = value
    if isinstance(value, str):
        cell.data_type = "s"
    return cell
