"""How much of a sheet is read: what was parsed is counted, however it was written."""

from __future__ import annotations

from verifier.errors import InputError

MAX_ROWS = 100_000
"""Rows of one sheet; a plan of 10,000 devices has as many."""

MAX_CELLS = 1_000_000
"""Cells of one file; a plan of 10,000 devices with every field has about 400,000."""

MAX_PLACES = 5_000_000
"""Places between the first cell and the last of each row, empty ones too."""

MAX_FILLED = 1_000
"""Cells of one row that hold anything; a plan has about sixty columns."""

MAX_COLUMNS = 16_384
"""Columns of a spreadsheet; ISO/IEC 29500 names none, the common programs have so many."""

MAX_CELL = 100_000
"""Characters of one cell; spreadsheet programs hold 32,767."""

MAX_UNPACKED_BYTES = 512 * 1024 * 1024
"""A workbook unpacks to about ten times its size; one that unpacks to more is no workbook."""

MAX_SPREAD = 100_000
"""Cells in merged ranges and under links; each costs time and memory when it is opened."""

MAX_ELEMENTS = 10_000_000
"""Elements of the XML of a workbook: each cell is two or three."""

MAX_PARTS = 5_000
"""Parts of a workbook; a sheet is about three."""


def too_many(what: str, most: int, name: object) -> InputError:
    """The refusal of a file in which `what` is there more than `most` times."""
    return InputError(
        f"{name}: more than {most:,} {what}, which no plan has: is this the right file? If it is, "
        "delete the empty rows and columns behind the data"
    )
