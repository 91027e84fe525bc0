"""CSV files as pages: separators, line ends, quotes and encodings as spreadsheets write them."""

from __future__ import annotations

import csv
import io
import itertools
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from verifier.errors import InputError
from verifier.files.disk import read_bytes
from verifier.files.faults import Faults
from verifier.files.plan.joined_texts import unguarded
from verifier.files.sheets.csv_text import csv_text
from verifier.files.sheets.limits import MAX_CELL, MAX_CELLS, MAX_COLUMNS, MAX_FILLED, too_many
from verifier.files.sheets.page import MAX_HEADING_ROW, Knows, Page, Row, is_blank
from verifier.model.problem import Origin

_COMMON = ",;\t"
_OTHERS = re.compile(r"[^\w\s\"'()\[\]{}<>.+\-/]", re.ASCII)
"""What else may separate cells: no letter, figure, quote, bracket, nor what stands in figures."""

_TOLD = re.compile(r"sep=([^\w\r\n\"])(\r\n?|\n|$)", re.IGNORECASE)


def csv_pages(folder: Path, encoding: str = "") -> tuple[Page, ...]:
    """The CSV files of a folder, in order of their names. Raises InputError."""
    try:
        files = sorted(p for p in folder.iterdir() if p.suffix.lower() == ".csv")
    except OSError as error:
        raise InputError(f"{folder}: cannot be read: {error.strerror}") from None
    return tuple(csv_page(path, encoding) for path in files)


def csv_page(path: Path, encoding: str = "") -> Page:
    """One CSV file; it is opened when its rows are read.

    `encoding` is that of a file which is neither UTF-8 nor has the mark of UTF-16.
    """

    def read(knows: Knows, faults: Faults) -> Iterator[Row]:
        return _rows(csv_text(read_bytes(path), path, encoding), path.name, knows, faults)

    return Page(path.name, path.stem, "", read)


def _rows(text: str, file: str, knows: Knows, faults: Faults) -> Iterator[Row]:
    first = 1
    if (told := _TOLD.match(text)) is not None:
        text, first, separator = text[told.end() :], 2, told[1]
    else:
        separator = _separator(text, knows)
    csv.field_size_limit(MAX_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    row, guards, count = first - 1, "'" in text, 0
    try:
        for row, cells in enumerate(reader, start=first):
            count += len(cells)
            if len(cells) > MAX_FILLED or count > MAX_CELLS:
                _refuse_large(cells, count, f"{file}, row {row}")
            yield row, [unguarded(c) if c[:1] == "'" else c for c in cells] if guards else cells
    except csv.Error as error:
        message = (
            f"not CSV: {error}; the fault begins in row {row + 1}: a text that holds quotes or the "
            "separator stands in quotes"
        )
        line = reader.line_num + first - 1
        raise faults.fatal("csv-syntax", Origin(file, line), message) from None


def _refuse_large(cells: list[str], count: int, name: str) -> None:
    """Raises InputError where a row, or the whole file, holds more cells than any plan."""
    if len(cells) > MAX_COLUMNS or sum(not is_blank(cell) for cell in cells) > MAX_FILLED:
        raise too_many("cells in a row", MAX_FILLED, name)
    if count > MAX_CELLS:
        raise too_many("cells", MAX_CELLS, name)


def _separator(text: str, knows: Knows) -> str:
    """What separates the cells: what makes most headings known, else what is there most.

    A rare sign is one only where no usual one makes headings known: `A: Site` holds a colon.
    """
    lines = [line for line in _lines(text) if line.strip()][:MAX_HEADING_ROW]

    def known(separator: str) -> tuple[int, int]:
        rows = [_cells(line, separator) for line in lines]
        most = max((sum(map(knows, row)) for row in rows), default=0)
        return most if most > 1 else 0, lines[0].count(separator) if lines else 0

    best: str = max(_COMMON, key=known)
    if known(best)[0]:
        return best
    best = max([*_COMMON, *_others(lines)], key=known)
    if known(best) == (0, 0) or (best not in _COMMON and known(best)[0] == 0):
        best = max(_COMMON, key=lambda s: max((line.count(s) for line in lines), default=0))
    return best


def _others(lines: list[str]) -> list[str]:
    """Signs that are there as often in several lines, and so could separate cells."""
    found: list[str] = []
    for sign in Counter(_OTHERS.findall("\n".join(lines))):
        counts = Counter(line.count(sign) for line in lines if sign in line)
        if sign not in _COMMON and counts and counts.most_common(1)[0][1] > 1:
            found.append(sign)
    return found[:5]


def _lines(text: str) -> Iterator[str]:
    """The first lines, at whatever line end."""
    return itertools.islice(io.StringIO(text[: 100 * MAX_CELL], newline=None), 50)


def _cells(line: str, separator: str) -> list[str]:
    """The first cells of a line: a heading is one of these."""
    try:
        return next(csv.reader([line], delimiter=separator), [])[:MAX_FILLED]
    except csv.Error:
        return []
