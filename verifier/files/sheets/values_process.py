"""A process of its own that reads a workbook's values: run with -m, the file on its input.

The library lays out every place between the first cell and the last before anything can be counted.
So it has a limit of memory and of time here, and when it breaks, nothing else does. The output is
one JSON object: `{"sheets": [{"name", "hidden", "merged", "rows"}]}`, or `{"refused": reason}`.
A cell that JSON has no form for is `{"date"|"time": text}`.
"""

from __future__ import annotations

import datetime as dt
import io
import json
import sys
from typing import Any

MEMORY_BYTES = 1 << 30
"""A sheet of five million places takes about 300 MB."""

SECONDS = 60


def _limit() -> None:
    """Less memory and time for this process, where the system has such limits."""
    try:
        import resource  # noqa: PLC0415 (not everywhere)
    except ImportError:
        return
    for kind, most in ((resource.RLIMIT_AS, MEMORY_BYTES), (resource.RLIMIT_CPU, SECONDS)):
        hard = resource.getrlimit(kind)[1]
        resource.setrlimit(
            kind, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard)
        )
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _value(cell: Any) -> Any:
    """A cell as JSON; None where it is empty."""
    if cell == "":
        return None
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:  # noqa: PLR2004 (exact)
        return int(cell)
    if isinstance(cell, (dt.date, dt.datetime)):
        return {"date": cell.isoformat()}
    if isinstance(cell, dt.timedelta):
        return {"time": str(cell)}
    return {"time": cell.isoformat()} if isinstance(cell, dt.time) else cell


def _read(data: bytes, most_places: int, most_rows: int) -> dict[str, Any]:
    """The sheets of a workbook, or why they are not read."""
    import python_calamine as calamine  # noqa: PLC0415

    try:
        book = calamine.load_workbook(io.BytesIO(data))
    except calamine.PasswordError:
        return {"refused": "is protected by a password: save it without one"}
    except calamine.CalamineError as error:
        return {"refused": f"is not a readable workbook: {str(error)[:200]}"}
    sheets, places = [], 0
    for about in book.sheets_metadata:
        if about.typ != calamine.SheetTypeEnum.WorkSheet:
            continue
        sheet = book.get_sheet_by_name(about.name)
        end = sheet.end or (-1, -1)
        places += (end[0] + 1) * (end[1] + 1)
        if end[0] >= most_rows:
            return {"refused": f"more than {most_rows:,} rows in a sheet, which no plan has"}
        if places > most_places:
            return {"refused": f"more than {most_places:,} places in its rows, which no plan has"}
        hidden = about.visible != calamine.SheetVisibleEnum.Visible
        merged = sheet.merged_cell_ranges if hasattr(sheet, "merged_cell_ranges") else None
        rows = enumerate(sheet.to_python(skip_empty_area=False), start=1)
        kept = [(number, list(map(_value, cells))) for number, cells in rows if any(
            cell != "" for cell in cells
        )]  # fmt: skip
        sheets.append({"name": about.name, "hidden": hidden, "merged": merged, "rows": kept})
    return {"sheets": sheets}


def main() -> None:
    """Reads a workbook from the standard input; its values go to the standard output."""
    _limit()
    most_places, most_rows = map(int, sys.argv[1:3])
    found = _read(sys.stdin.buffer.read(), most_places, most_rows)
    json.dump(found, sys.stdout, ensure_ascii=True)


if __name__ == "__main__":
    main()
