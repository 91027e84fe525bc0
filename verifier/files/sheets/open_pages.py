"""The pages of a file or folder, whatever kind it is: the one place that knows the endings."""

from __future__ import annotations

from pathlib import Path

from verifier.errors import InputError
from verifier.files.disk import read_bytes
from verifier.files.sheets.csv_read import csv_page, csv_pages
from verifier.files.sheets.page import Page

VALUES_ONLY = (".xls", ".xlsb", ".ods")
"""Of these files only the values of cells are seen."""

WHY_VALUES_ONLY = (
    "of such a file only the values are seen: the error of a formula is an empty cell, and hidden "
    "rows, struck-through rows and number formats are not told. Save it as .xlsx to have everything"
    " seen"
)

ENDINGS = (".xlsx", ".xlsm", ".csv", *VALUES_ONLY)


def pages_of(
    path: Path, *, values_only: bool = False, encoding: str = "", data: bytes | None = None
) -> tuple[Page, ...]:
    """The pages of `path`; a CSV file is opened when its rows are read.

    Args:
        path: a file, or a folder of CSV files.
        values_only: a person knows that of .xls, .xlsb and .ods only the values are seen.
        encoding: of CSV files that are neither UTF-8 nor have the mark of UTF-16.
        data: the content of the file, where it is read already.

    Raises:
        InputError: it cannot be read; or only its values can be, and nobody has said so.
    """
    if path.is_dir():
        return csv_pages(path, encoding)
    ending = path.suffix.lower()
    if ending == ".csv":
        return (csv_page(path, encoding),)
    if ending in VALUES_ONLY and not values_only:
        raise InputError(f"{path}: {WHY_VALUES_ONLY}, or write values_only = true in the mapping")
    if ending not in ENDINGS:
        raise InputError(f"{path}: a sheet is one of {', '.join(ENDINGS)}: save it as one")
    content = read_bytes(path) if data is None else data
    if ending in VALUES_ONLY:
        from verifier.files.sheets.values_read import values_pages  # noqa: PLC0415

        return values_pages(content, path)
    from verifier.files.sheets.workbook_read import workbook_pages  # noqa: PLC0415

    return workbook_pages(content, path)
