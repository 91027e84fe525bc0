"""CSV files as pages: separators, line ends, quotes and encodings as spreadsheets write them."""

from __future__ import annotations

import csv
import io
import itertools
import re
from collections.abc import Iterator
from pathlib import Path

from verifier.errors import InputError
from verifier.files.disk import decode, read_bytes
from verifier.files.faults import Faults
from verifier.files.plan.joined_texts import unguarded
from verifier.files.sheets.page import MAX_HEADING_ROW, Knows, Page, Row
from verifier.model.problem import Origin

MAX_CELL = 100_000
_SEPARATORS = ",;\t"
_TOLD = re.compile(r"sep=([,;\t])\r?\n?", re.IGNORECASE)


def csv_pages(folder: Path) -> tuple[Page, ...]:
    """The CSV files of a folder, in order of their names. Raises InputError."""
    try:
        files = sorted(p for p in folder.iterdir() if p.suffix.lower() == ".csv")
    except OSError as error:
        raise InputError(f"{folder}: cannot be read: {error.strerror}") from None
    return tuple(csv_page(path) for path in files)


def csv_page(path: Path) -> Page:
    """One CSV file; it is opened when its rows are read."""

    def read(knows: Knows, faults: Faults) -> Iterator[Row]:
        return _rows(decode(read_bytes(path), path), path.name, knows, faults)

    return Page(path.name, path.stem, "", read)


def _rows(text: str, file: str, knows: Knows, faults: Faults) -> Iterator[Row]:
    first = 1
    if (told := _TOLD.match(text)) is not None:
        text, first, separator = text[told.end() :], 2, told[1]
    else:
        separator = _separator(text, knows)
    csv.field_size_limit(MAX_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    row, guards = first - 1, "'" in text
    try:
        for row, cells in enumerate(reader, start=first):
            yield row, [unguarded(c) if c[:1] == "'" else c for c in cells] if guards else cells
    except csv.Error as error:
        message = (
            f"not CSV: {error}; the fault begins in row {row + 1}: a text that holds quotes or the "
            "separator stands in quotes"
        )
        line = reader.line_num + first - 1
        raise faults.fatal("csv-syntax", Origin(file, line), message) from None


def _separator(text: str, knows: Knows) -> str:
    """What separates the cells: what makes most headings known, else what is there most."""
    lines = [line for line in _lines(text) if line.strip()][:MAX_HEADING_ROW]

    def known(separator: str) -> tuple[int, int]:
        rows = [_cells(line, separator) for line in lines]
        most = max((sum(map(knows, row)) for row in rows), default=0)
        return most if most > 1 else 0, lines[0].count(separator) if lines else 0

    best = max(_SEPARATORS, key=known)
    if known(best) == (0, 0):
        best = max(_SEPARATORS, key=lambda s: max((line.count(s) for line in lines), default=0))
    return best


def _lines(text: str) -> Iterator[str]:
    """The first lines, at whatever line end."""
    return itertools.islice(io.StringIO(text[: 100 * MAX_CELL], newline=None), 50)


def _cells(line: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator), [])
    except csv.Error:
        return []
