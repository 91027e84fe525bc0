"""A page: one sheet of a workbook or one CSV file, as rows of cells."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from verifier.files.faults import Faults
from verifier.model.problem import Origin
from verifier.model.sheet_look import Block, SheetLook

Row = tuple[int, list[Any]]
"""Number of the row, counted from 1, and its cells: text, or what a workbook holds."""

Knows = Callable[[str], bool]
"""Whether a heading is one that is looked for."""

MAX_HEADING_ROW = 10
"""Headings stand in one of so many rows that hold anything, common practice of title blocks."""

_LISTED = 6


@dataclass(frozen=True, slots=True)
class Merge:
    """Cells joined into one: `value` stands in the first, the others hold nothing."""

    name: str
    first_row: int
    first_column: int
    last_row: int
    last_column: int
    value: Any

    def covers(self, row: int, column: int) -> bool:
        """Whether a cell is one of them."""
        return (
            self.first_row <= row <= self.last_row
            and self.first_column <= column <= self.last_column
        )


@dataclass(frozen=True, slots=True)
class Page:
    """One page, not read yet.

    Attributes:
        name: what it is found by: title of the sheet, name of the CSV file without its ending.
        sheet: title of the sheet; empty for a CSV file.
        read: gives the rows, each once; asks which headings are known where it must find out
            what separates the cells.
        notes: what is odd about the page: rule and words.
        hidden_rows: rows that a person who looks at the sheet does not see.
        hidden_columns: columns that such a person does not see, counted from 1.
        struck: row and column of the cells that are struck through.
        widths: of the columns that have one of their own, in characters.
    """

    file: str
    name: str
    sheet: str
    read: Callable[[Knows, Faults], Iterator[Row]]
    merges: tuple[Merge, ...] = ()
    notes: tuple[tuple[str, str], ...] = ()
    hidden_rows: tuple[int, ...] = ()
    hidden_columns: tuple[int, ...] = ()
    struck: frozenset[tuple[int, int]] = frozenset()
    widths: dict[int, float] = field(default_factory=dict)

    def origin(self, row: int | None, heading: str = "") -> Origin:
        """The place of a cell, of a row, or of the page."""
        return Origin(self.file, row, heading, self.sheet, by_row=True)

    def look(self) -> SheetLook:
        """How the page looks."""
        blocks = (
            Block(m.first_row, m.first_column, m.last_row, m.last_column) for m in self.merges
        )
        return SheetLook(
            name=self.name,
            widths=self.widths,
            hidden=any(rule == "hidden-sheet" for rule, _ in self.notes),
            hidden_rows=frozenset(self.hidden_rows),
            hidden_columns=frozenset(self.hidden_columns),
            struck=self.struck,
            blocks=tuple(blocks),
        )

    def tell(self, last_heading_row: int, faults: Faults) -> None:
        """Tells what is odd about the page, and refuses merged cells below the headings."""
        for rule, words in self.notes:
            faults.warn(rule, self.origin(None), words)
        if rows := [r for r in self.hidden_rows if r > last_heading_row]:
            one = len(rows) == 1
            message = (
                f"row{'' if one else 's'} {listed(rows)} {'is' if one else 'are'} hidden: read"
            )
            faults.warn("hidden-row", self.origin(rows[0]), f"{message} all the same")
        below = (m for m in self.merges if m.last_row > last_heading_row and m.value is not None)
        merged = sorted(below, key=lambda m: (m.first_row, m.first_column))
        for merge in merged[:_LISTED]:
            message = f"{merge.name} is one merged cell: unmerge it and fill in every cell"
            faults.error("merged-cells", self.origin(merge.first_row), message)
        if merged[_LISTED:]:
            message = f"{len(merged) - _LISTED} more cells are merged: unmerge and fill them in"
            faults.error("merged-cells", self.origin(merged[_LISTED].first_row), message)


def is_blank(cell: Any) -> bool:
    """Whether nothing is written in a cell."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def listed(numbers: list[int]) -> str:
    """Numbers in words: `4, 7-9 and 20 more`."""
    parts: list[tuple[int, int]] = []
    for number in numbers:
        if parts and number == parts[-1][1] + 1:
            parts[-1] = (parts[-1][0], number)
        else:
            parts.append((number, number))
    words = [f"{a}" if a == b else f"{a}-{b}" for a, b in parts[:_LISTED]]
    more = sum(b - a + 1 for a, b in parts[_LISTED:])
    return ", ".join(words) + (f" and {more} more" if more else "")
