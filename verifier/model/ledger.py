"""The ledger of a foreign sheet: what became of every cell that holds anything."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from verifier.model.problem import Subject
from verifier.model.sheet_look import SheetLook

Fate = Literal[
    "read",
    "left out",
    "not read",
    "row skipped",
    "footer",
    "title",
    "heading",
    "unit row",
    "repeat",
    "note",
]
"""What became of a cell.

`left out`: a person says so in the mapping. `not read`: nobody says what it is. `repeat`: a heading
that stands there once more. `note`: words among the rows that belong to none.
"""

HIDDEN = "(not shown)"
"""What stands in the ledger instead of the text of a cell that may hold a secret."""

_FIGURE = re.compile(r"[0-9]")


@dataclass(frozen=True, slots=True)
class FieldRead:
    """What one cell gave to one field of the plan.

    Attributes:
        field: its name as in a mapping: `Links.a.tx_mhz`.
        subject: the device, site or link, with the end, that the value belongs to.
        value: as it stands in the plan, in `unit`.
        unit: of ours; empty where the field has none.
        how: one sentence: how the cell was read.
    """

    field: str
    subject: Subject
    value: str
    unit: str
    how: str


@dataclass(frozen=True, slots=True)
class CellRecord:
    """One cell that holds anything.

    Attributes:
        sheet: title of its sheet; of a CSV file its name without the ending.
        row, column: its place, both counted from 1.
        shown: its text, as a person sees it; `HIDDEN` where it may hold one.
        fate: what became of it.
        heading: of its column, or of its row in a form; empty where it has none.
        reason: why it is not read; empty where it is.
        reads: the fields it was read into; none where it was not read.
        told: a fault of its own says why it is not read.
    """

    sheet: str
    row: int
    column: int
    shown: str
    fate: Fate
    heading: str = ""
    reason: str = ""
    reads: tuple[FieldRead, ...] = ()
    told: bool = False

    @property
    def has_figure(self) -> bool:
        """Whether there is a digit in it."""
        return self.shown != HIDDEN and _FIGURE.search(self.shown) is not None


@dataclass(frozen=True, slots=True)
class UnreadColumn:
    """The cells under one heading that nobody reads and nobody left out.

    Attributes:
        heading: empty for cells without one.
        cells: how many.
        figures: how many of them hold a figure.
        example: one of them, a figure if there is any; `example_row` is its row.
        first_row: of the first of them.
        reason: why the first of them is not read.
    """

    sheet: str
    heading: str
    cells: int
    figures: int
    example: str
    example_row: int
    first_row: int
    reason: str


@dataclass(frozen=True, slots=True)
class Ledger:
    """Every cell of the foreign sheets that holds anything, in order of sheet, row and column.

    Attributes:
        looks: how these sheets look, in their order.
    """

    cells: tuple[CellRecord, ...] = ()
    looks: tuple[SheetLook, ...] = ()

    def of(self, *fates: Fate) -> Iterator[CellRecord]:
        """The cells that one of these became of."""
        return (cell for cell in self.cells if cell.fate in fates)

    def unread(self) -> tuple[UnreadColumn, ...]:
        """What is not accounted for, by sheet and heading."""
        columns: dict[tuple[str, str], list[CellRecord]] = {}
        for cell in self.of("not read"):
            if cell.told:
                continue
            columns.setdefault((cell.sheet, cell.heading), []).append(cell)
        return tuple(_unread(cells) for cells in columns.values())


def _unread(cells: list[CellRecord]) -> UnreadColumn:
    figures = [cell for cell in cells if cell.has_figure]
    first, example = cells[0], (figures or cells)[0]
    return UnreadColumn(
        sheet=first.sheet,
        heading=first.heading,
        cells=len(cells),
        figures=len(figures),
        example=example.shown,
        example_row=example.row,
        first_row=first.row,
        reason=first.reason,
    )
