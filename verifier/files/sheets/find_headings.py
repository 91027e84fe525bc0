"""Where a page's headings stand, and what they are: titles above, groups, a row of units below."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from verifier.files.faults import Faults
from verifier.files.plan.units import doubt, unit_named, unit_of
from verifier.files.sheets.cell import UnreadableCell
from verifier.files.sheets.page import MAX_HEADING_ROW, Knows, Merge, Page, Row, is_blank

_LONGEST = 200
_ENOUGH = 2


@dataclass(frozen=True, slots=True)
class Headings:
    """The headings of a page.

    Attributes:
        row: number of their row.
        names: one for each column, with the word of the group above it where that makes it
            known; empty where there is none.
        units: the unit of each, in its brackets or in a row of units; empty where none is known.
        last_row: number of the last row that belongs to them: that of the units, if there is one.
        below: the rows below them.
    """

    row: int
    names: tuple[str, ...]
    units: tuple[str, ...]
    last_row: int
    below: Iterator[Row]

    @property
    def unnamed(self) -> tuple[int, ...]:
        """The columns without a heading, counted from 0."""
        return tuple(index for index, name in enumerate(self.names) if not name)


def find_headings(
    page: Page, knows: Knows, faults: Faults, at: int | None = None
) -> Headings | None:
    """The headings of a page; None where it holds nothing, or where row `at` does not exist.

    They stand in the first row that holds anything, unless another of the first rows is the only
    one with enough headings that are known: then this is told.
    """
    rows = page.read(knows, faults)
    filled = (row for row in rows if not all(map(is_blank, row[1])))
    if at is None:
        first = list(itertools.islice(filled, MAX_HEADING_ROW))
        if not first:
            return None
        chosen = _choose(page, first, knows)
    else:
        first = []
        while not first or first[-1][0] < at:
            if (row := next(filled, None)) is None:
                return None
            first.append(row)
        if first[-1][0] > at:
            return None
        chosen = len(first) - 1
    if chosen and at is None:
        message = f"the headings are found in row {first[chosen][0]}; what is above is not read"
        faults.warn("heading-row", page.origin(first[chosen][0]), message)
    names = _names(page, first, chosen, knows)
    below = itertools.chain(first[chosen + 1 :], filled)
    number = last = first[chosen][0]
    units = [unit_of(name) for name in names]
    if (row := next(below, None)) is not None:
        if (found := _units(row[1], len(names))) is not None:
            last = row[0]
            units = [found[i] or unit for i, unit in enumerate(units)]
        else:
            below = itertools.chain((row,), below)
    return Headings(number, tuple(names), tuple(units), last, below)


def _choose(page: Page, rows: list[Row], knows: Knows) -> int:
    """Which of the first rows holds the headings."""
    enough = []
    for index, (_, cells) in enumerate(rows):
        known = {n.casefold() for n in _names(page, rows, index, knows) if n and knows(n)}
        filled = sum(not is_blank(cell) for cell in cells)
        if len(known) >= max(_ENOUGH, filled / 2):
            enough.append(index)
    if len(enough) > 1:  # a row of groups is none of headings
        wide = [m for m in page.merges if m.first_column < m.last_column]
        enough = [i for i in enough if not any(m.last_row == rows[i][0] for m in wide)]
    return enough[0] if len(enough) == 1 else 0


def _names(page: Page, rows: list[Row], index: int, knows: Knows) -> list[str]:
    """The headings of a row, with their group where only that makes them known."""
    number, cells = rows[index]
    merges = [m for m in page.merges if m.first_row <= number] if page.merges else []
    wide = max((m.last_column for m in merges if m.last_row >= number), default=0)
    cells = [*cells, *[None] * (wide - len(cells))]
    names = []
    for column, cell in enumerate(cells, start=1):
        name = heading_text(cell)
        if merges:
            name = name or heading_text(_above(merges, number, column))
            group = heading_text(_group(merges, number - 1, column))
            joined = f"{group} {name}"
            if group and name and (knows(joined) or not knows(name)):
                name = joined
        names.append(name)
    return names


def _above(merges: list[Merge], row: int, column: int) -> Any:
    """What a merged cell that begins above shows in its first column."""
    tall = (m for m in merges if m.first_column == column)
    return next((m.value for m in tall if m.covers(row, column)), None)


def _group(merges: list[Merge], row: int, column: int) -> Any:
    """What a merged cell of several columns shows above a heading."""
    wide = (m for m in merges if m.last_row == row and m.first_column < m.last_column)
    return next((m.value for m in wide if m.covers(row, column)), None)


def _units(cells: list[Any], width: int) -> list[str] | None:
    """The units that a row holds, as written where they are none of ours; None: it is no such."""
    words = [heading_text(cell).strip("()[]") for cell in cells]
    if len(words) > width or words[0] or not are_units(words):
        return None
    return [unit_named(word) or word for word in words] + [""] * (width - len(words))


def are_units(words: Iterable[str]) -> bool:
    """Whether the words of a row are units, most of them known, and none of them a figure."""
    filled = [word for word in words if any(map(str.isalnum, word)) or unit_named(word)]
    known = [word for word in filled if unit_named(word) or doubt(word)]
    figures = any(c.isdigit() for word in filled if word not in known for c in word)
    return len(known) >= _ENOUGH and 2 * len(known) >= len(filled) and not figures


def heading_text(cell: Any) -> str:
    """A heading as one line; empty where there is none."""
    if cell is None or isinstance(cell, UnreadableCell):
        return ""
    return " ".join(str(cell).split())[:_LONGEST]
