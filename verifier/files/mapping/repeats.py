"""Cells that stand for others: merged ones, and those whose text is not written again below."""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass

from verifier.files.mapping.table import Cell, Line, Table, repeated_lines
from verifier.files.sheets.page import Page


@dataclass(frozen=True, slots=True)
class Repeats:
    """What an empty place of a table shows: by line and column of the table."""

    merged: dict[tuple[int, int], Cell]
    above: dict[tuple[int, int], Cell]

    @classmethod
    def of(cls, page: Page, table: Table, fill_down: Container[int]) -> Repeats:
        """Of a table; `fill_down` are the columns whose empty cells repeat what stands above.

        What stands above is also what stands in a row that is skipped.
        """
        merges = page.merges if table.by_row else ()
        merged = {
            (row, column): Cell(m.first_row, m.first_column, m.value)
            for m in merges
            if m.value is not None and m.last_row > table.last
            for row in range(m.first_row, m.last_row + 1)
            for column in range(m.first_column, m.last_column + 1)
        }
        above: dict[tuple[int, int], Cell] = {}
        last: dict[int, Cell] = {}
        again = repeated_lines(table)
        filled = [at for at in table.headings if at in fill_down]
        for line in table.lines if filled else ():
            if line.number in again:
                continue
            for at in filled:
                if at in line.cells:
                    last[at] = line.cells[at]
                elif at in last:
                    above[line.number, at] = last[at]
        return cls(merged, above)

    def cell(self, line: Line, at: int) -> tuple[Cell | None, str]:
        """The cell of a place, and in words where it was taken from; None where there is none."""
        if (own := line.cells.get(at)) is not None:
            return own, ""
        place = line.number, at
        if (merged := self.merged.get(place)) is not None:
            return merged, f"one cell with row {merged.row}"
        above = self.above.get(place)
        return above, f"repeats row {above.row}" if above is not None else ""
