"""Tables on a foreign page: their headings, found by their text, and the cells under each.

Whatever the layout, a table is headings and rows of cells that know their place on the page: in
one that is turned a row of ours is a column of theirs, in a form it is one form.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from verifier.files.faults import Faults
from verifier.files.mapping.form import Layout
from verifier.files.mapping.model import key_of
from verifier.files.plan.units import unit_named, unit_of
from verifier.files.sheets.find_headings import are_units, heading_text
from verifier.files.sheets.page import Merge, Page, is_blank

Known = Callable[[str], bool]
"""Whether a heading, as `key_of` gives it, is one that is looked for."""

_ENOUGH = 2
_REPEAT = 0.6


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell that holds something, with its place on the page."""

    row: int
    column: int
    value: Any


@dataclass(frozen=True, slots=True)
class Line:
    """One row of a page, or of a turned one one column: its cells by their number in it."""

    number: int
    cells: dict[int, Cell]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading: all names it may have, its group's word with it first; and its unit."""

    names: tuple[str, ...]
    unit: str
    cell: Cell


@dataclass(frozen=True, slots=True)
class Table:
    """A table of theirs.

    Attributes:
        headings: by the number of their cells in a line.
        last: number of the last line of the headings: that of the units, if there is one.
        lines: all lines below, also those that are no rows of it.
        units: the cells of the line of units.
        groups: the cells above the headings that are part of them.
        by_row: whether the number of a line is that of its row.
    """

    headings: dict[int, Heading]
    first: int
    last: int
    lines: tuple[Line, ...]
    units: tuple[Cell, ...] = ()
    groups: tuple[Cell, ...] = ()
    by_row: bool = True


@dataclass(frozen=True, slots=True)
class Grid:
    """The filled cells of a page in lines, as its layout has them."""

    page: Page
    lines: tuple[Line, ...]
    merges: tuple[Merge, ...] = ()
    turned: bool = False
    by_number: dict[int, Line] = field(default_factory=dict)

    @classmethod
    def of(cls, page: Page, cells: Iterable[Cell], layout: Layout = "rows") -> Grid:
        """The grid of a page, turned where its headings stand at the left."""
        turned = layout == "columns"
        lines: dict[int, dict[int, Cell]] = {}
        for cell in cells:
            number, at = (cell.column, cell.row) if turned else (cell.row, cell.column)
            lines.setdefault(number, {})[at] = cell
        done = tuple(Line(number, lines[number]) for number in sorted(lines))
        merges = tuple(map(_turned, page.merges)) if turned else page.merges
        return cls(page, done, merges, turned, {line.number: line for line in done})


def _turned(merge: Merge) -> Merge:
    return Merge(
        merge.name, merge.first_column, merge.first_row, merge.last_column, merge.last_row,
        merge.value,
    )  # fmt: skip


def cells_of(page: Page, known: Known, faults: Faults) -> tuple[Cell, ...]:
    """The cells of a page that hold anything."""
    rows = page.read(lambda heading: known(key_of(heading)), faults)
    return tuple(
        Cell(number, column, value)
        for number, values in rows
        for column, value in enumerate(values, start=1)
        if not is_blank(value)
    )


def headings_of(grid: Grid, line: Line) -> dict[int, Heading]:
    """What the cells of a line are called, were it one of headings."""
    above = grid.by_number.get(line.number - 1)
    merges = [m for m in grid.merges if m.first_row <= line.number]
    wide = [m for m in merges if m.last_row == line.number - 1 and m.first_column < m.last_column]
    last = max((m.last_column for m in merges if m.last_row >= line.number), default=0)
    numbers = sorted({*line.cells, *_tall(merges, line.number), *_alone(above, line, wide)})
    last = max(last, max(line.cells, default=0))
    groups = _groups(above, line, wide)
    found: dict[int, Heading] = {}
    for number in numbers:
        cell = line.cells.get(number) or _cell_above(grid, merges, line.number, number)
        cell = cell or (above.cells.get(number) if above is not None else None)
        name = heading_text(cell.value) if cell is not None else ""
        if cell is None or not name:
            continue
        group = groups.get(number, "") if number in line.cells else ""
        names = (f"{group} {name}", name) if group and group != name else (name,)
        found[number] = Heading(names, unit_of(name) or unit_of(group), cell)
    return found


def _tall(merges: Sequence[Merge], line: int) -> Iterator[int]:
    """The cells that a merged cell which begins above covers in its first column."""
    for merge in merges:
        if merge.first_row < line <= merge.last_row:
            yield merge.first_column


def _cell_above(grid: Grid, merges: Sequence[Merge], line: int, at: int) -> Cell | None:
    for merge in merges:
        if merge.first_column == at and merge.covers(line, at):
            first = grid.by_number.get(merge.first_row)
            return first.cells.get(at) if first is not None else None
    return None


def _alone(above: Line | None, line: Line, wide: Sequence[Merge]) -> Iterator[int]:
    """Cells of the line above that stand over nothing: headings of one line among those of two."""
    if above is None or len(above.cells) < _ENOUGH:
        return
    for at in above.cells:
        grouped = any(m.first_column <= at <= m.last_column for m in wide)
        if at not in line.cells and not grouped and at + 1 not in line.cells:
            yield at


def _groups(above: Line | None, line: Line, wide: Sequence[Merge]) -> dict[int, str]:
    """The word of the group above each cell: of a merged cell, or of the next one to the left."""
    if above is None or (not wide and len(above.cells) < _ENOUGH):
        return {}  # one text alone is a title
    found = {}
    word = ""
    merged = {
        at: heading_text(m.value) for m in wide for at in range(m.first_column, m.last_column + 1)
    }
    for at in range(1, max(line.cells, default=0) + 1):
        if at in above.cells:
            word = heading_text(above.cells[at].value)
        if at in merged:
            found[at] = merged[at]
        elif (not wide and word) or at in above.cells:
            found[at] = word
    return found


def repeated_lines(table: Table) -> set[int]:
    """The lines that hold the headings of a table once more, and the units below these."""
    found: set[int] = set()
    for before, line in zip((None, *table.lines), table.lines, strict=False):
        after = before is not None and before.number in found
        if _repeats_headings(table, line) or (after and _holds_units(line)):
            found.add(line.number)
    return found


def _holds_units(line: Line) -> bool:
    return are_units(heading_text(c.value).strip("()[]") for c in line.cells.values())


def _repeats_headings(table: Table, line: Line) -> bool:
    names = {at: key_of(heading_text(h.cell.value)) for at, h in table.headings.items()}
    same = [at for at, c in line.cells.items() if key_of(heading_text(c.value)) == names.get(at)]
    return len(same) > len(line.cells) / 2 and len(same) >= min(_ENOUGH, len(names))


def column_names(headings: dict[int, Heading]) -> dict[int, tuple[str, ...]]:
    """What each column may be called in a mapping: `IP #2` where a heading is there twice."""
    seen: Counter[str] = Counter()
    found = {}
    for at in sorted(headings):
        names = []
        for name in headings[at].names:
            seen[key_of(name)] += 1
            again = seen[key_of(name)]
            names.append(name if again == 1 else f"{name} #{again}")
        found[at] = tuple(names)
    return found


def score(headings: dict[int, Heading], known: Known) -> int:
    """How many different headings that are looked for stand in a line."""
    return len({name for h in headings.values() for n in h.names if known(name := key_of(n))})


def heading_lines(grid: Grid, known: Known, at: int | None = None) -> list[int]:
    """Indexes of the lines that are headings: the best, and those that repeat it; none if none is.

    `at` is the number of the line that a person says it is.
    """
    if at is not None:
        return [i for i, line in enumerate(grid.lines) if line.number == at]
    scores = [score(headings_of(grid, line), known) for line in grid.lines]
    best = max(scores, default=0)
    if best == 0:
        return []
    first = scores.index(best)
    same = {key_of(heading_text(c.value)) for c in grid.lines[first].cells.values()}
    return [
        i
        for i, line in enumerate(grid.lines)
        if i >= first and _is_repeat(line, same) and scores[i] >= best * _REPEAT
    ]


def _is_repeat(line: Line, same: set[str]) -> bool:
    words = {key_of(heading_text(c.value)) for c in line.cells.values()}
    return len(words & same) >= len(same) * _REPEAT


def table_at(grid: Grid, index: int, end: int) -> Table:
    """The table whose headings stand in line `index`, and that ends before line `end`."""
    line = grid.lines[index]
    headings = headings_of(grid, line)
    below = grid.lines[index + 1 : end]
    units: tuple[Cell, ...] = ()
    last = line.number
    if below and (named := _units(below[0], headings)) is not None:
        units, last = tuple(below[0].cells.values()), below[0].number
        headings = {
            at: Heading(h.names, named.get(at) or h.unit, h.cell) for at, h in headings.items()
        }
        below = below[1:]
    above = grid.by_number.get(line.number - 1)
    groups = tuple(above.cells.values()) if above is not None and _is_group(grid, above) else ()
    return Table(headings, line.number, last, below, units, groups, by_row=not grid.turned)


def _is_group(grid: Grid, above: Line) -> bool:
    merged = any(m.first_row <= above.number <= m.last_row for m in grid.merges)
    return merged or len(above.cells) >= _ENOUGH


def _units(line: Line, headings: dict[int, Heading]) -> dict[int, str] | None:
    """The units that a line holds, as written where none of ours; None where it is no such line."""
    words = {at: heading_text(cell.value).strip("()[]") for at, cell in line.cells.items()}
    real = {
        at: word for at, word in words.items() if any(map(str.isalnum, word)) or unit_named(word)
    }
    if not are_units(real.values()) or not real.keys() <= headings.keys():
        return None
    return {at: unit_named(word) or word for at, word in real.items()}
