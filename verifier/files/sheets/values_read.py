"""Workbooks of other kinds (.xls, .xlsb, .ods) as pages: the values of their cells, nothing else.

What the library does not tell: errors of formulas (an empty text), hidden and struck-through rows,
number formats, and formulas without a result. So nothing is read before the mapping says
`values_only = true`.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from verifier.errors import InputError
from verifier.files.faults import Faults, shown
from verifier.files.sheets.cell import too_long
from verifier.files.sheets.limits import MAX_CELL, MAX_FILLED, MAX_PLACES, MAX_ROWS, too_many
from verifier.files.sheets.ods_scan import refuse_large
from verifier.files.sheets.page import Knows, Merge, Page, Row
from verifier.files.sheets.values_process import MEMORY_BYTES, SECONDS
from verifier.files.sheets.workbook_scan import parts_of

_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # [MS-CFB] 2.2
_PASSED_ON = ("PATH", "SYSTEMROOT", "PYTHONPATH", "LD_LIBRARY_PATH")
_TAIL = 4


def values_pages(data: bytes, path: Path) -> tuple[Page, ...]:
    """The sheets of a workbook by the values of their cells.

    Raises:
        InputError: not such a workbook, too large, or it takes too much memory or time.
    """
    if data.startswith(b"PK"):
        names = parts_of(data, path)
        if "content.xml" in names:
            refuse_large(data, path)
        elif "xl/workbook.bin" not in names:
            raise InputError(f"{path}: is no {path.suffix} file whatever its ending")
    elif not data.startswith(_OLE):
        raise InputError(
            f"{path}: is not a readable {path.suffix} file: open it, and save it as .xlsx"
        )
    found = _values(data, path)
    return tuple(_page(sheet, path) for sheet in found["sheets"])


def _values(data: bytes, path: Path) -> dict[str, Any]:
    """What the process that reads the file tells. Raises InputError."""
    limits = (str(MAX_PLACES), str(MAX_ROWS))
    try:
        done = subprocess.run(  # noqa: S603 (our own program)
            [sys.executable, "-P", "-m", "verifier.files.sheets.values_process", *limits],
            input=data,
            capture_output=True,
            timeout=2 * SECONDS,
            check=False,
            env={name: os.environ[name] for name in _PASSED_ON if name in os.environ},
        )
    except subprocess.TimeoutExpired:
        raise InputError(f"{path}: takes more than {2 * SECONDS} s to read: {_INSTEAD}") from None
    if done.returncode:
        tail = " ".join(done.stderr.decode(errors="replace").split("\n")[-_TAIL:]).strip()
        most = f"{MEMORY_BYTES >> 20} MB of memory and {SECONDS} s"
        reason = f"cannot be read within {most} ({tail[-200:] or 'no reason told'})"
        raise InputError(f"{path}: {reason}: {_INSTEAD}")
    found: dict[str, Any] = json.loads(done.stdout)
    if "refused" in found:
        raise InputError(f"{path}: {found['refused']}: {_INSTEAD}")
    return found


_INSTEAD = "is this the right file? If it is, save it as .xlsx"


def _page(sheet: dict[str, Any], path: Path) -> Page:
    """One sheet of what was told."""
    rows: list[Row] = []
    for number, cells in sheet["rows"]:
        if sum(cell is not None for cell in cells) > MAX_FILLED:
            raise too_many("cells in a row", MAX_FILLED, path)
        rows.append((number, [_cell(cell) for cell in cells]))
    by_number = dict(rows)
    merges = tuple(
        Merge(
            f"{_place(top, left)}:{_place(bottom, right)}", top + 1, left + 1, bottom + 1,
            right + 1, _at(by_number, top, left),
        )
        for (top, left), (bottom, right) in sheet["merged"] or ()
    )  # fmt: skip
    name = sheet["name"]
    hidden = f"sheet {shown(name)} is hidden: read all the same"
    notes = (("hidden-sheet", hidden),) if sheet["hidden"] else ()

    def read(_: Knows, __: Faults) -> Iterator[Row]:
        return iter(rows)

    return Page(path.name, name, name, read, merges, notes)


def _cell(cell: Any) -> Any:
    """A cell of what was told, as the workbook's reader gives it."""
    if isinstance(cell, dict):
        if (day := cell.get("date")) is not None:
            return dt.datetime.fromisoformat(day)
        return cell["time"]
    if isinstance(cell, str) and len(cell) > MAX_CELL:
        return too_long(cell)
    return cell


def _at(rows: dict[int, list[Any]], row: int, column: int) -> Any:
    cells = rows.get(row + 1, [])
    return cells[column] if column < len(cells) else None


def _place(row: int, column: int) -> str:
    from openpyxl.utils import get_column_letter  # noqa: PLC0415

    return f"{get_column_letter(column + 1)}{row + 1}"
