"""Drawn sheets as files."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from tests.files.mapping.sheet_styles.drawing import DrawnPage, DrawnSheet
from tests.files.mapping.sheet_styles.layouts import as_rows


def save(drawn: DrawnSheet, folder: Path) -> Path:
    """Writes a drawn sheet as .xlsx, or as .csv in one of the ways of spreadsheet programs."""
    if drawn.csv:
        path = folder / f"sheet{drawn.seed}.csv"
        encoding = ("utf-8", "utf-8-sig", "utf-16", "cp1252")[drawn.seed % 4]
        with path.open("w", encoding=encoding, newline="", errors="strict") as file:
            writer = csv.writer(file, delimiter=";" if drawn.comma else ",;\t|"[drawn.seed % 3])
            writer.writerows(as_rows(drawn.pages[0]))
        drawn.pages[0].name = path.stem
        return path
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for page in drawn.pages:
        _page(book.create_sheet(page.name), page)
    path = folder / f"sheet{drawn.seed}.xlsx"
    book.save(path)
    return path


def _page(sheet: Any, page: DrawnPage) -> None:
    for (row, column), cell in page.cells.items():
        at = sheet.cell(row, column, cell.value)
        if cell.struck:
            at.font = Font(strike=True)
    for top, left, bottom, right in page.merges:
        sheet.merge_cells(start_row=top, start_column=left, end_row=bottom, end_column=right)
    for row in page.hidden_rows:
        sheet.row_dimensions[row].hidden = True
    for column in page.hidden_columns:
        sheet.column_dimensions[get_column_letter(column)].hidden = True
    if page.hidden:
        sheet.sheet_state = "hidden"
