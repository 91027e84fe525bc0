"""Where the tables of an unknown page stand: below which headings, turned or not, or as forms."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from verifier.files.faults import Faults
from verifier.files.mapping.form import Layout
from verifier.files.mapping.form_tables import form_table
from verifier.files.mapping.model import key_of
from verifier.files.mapping.table import (
    Cell,
    Grid,
    Line,
    Table,
    cells_of,
    headings_of,
    table_at,
)
from verifier.files.mapping.words import guess, side_of
from verifier.files.sheets.find_headings import are_units, heading_text
from verifier.files.sheets.page import Page

_ENOUGH = 2
_LOOKED_AT = 60
"""Lines of a page in which headings are looked for."""
_LABELS = 60
_MOST_LABELS = 400
"""Lines of a page whose headings may stand at the left."""
_MANY = 3
_FIGURE = re.compile(r"\s*[+-]?[0-9]")


@dataclass(frozen=True, slots=True)
class SeenTable:
    """A table, and how it lies on its page."""

    page: Page
    layout: Layout
    table: Table


@functools.lru_cache(maxsize=50_000)
def is_known(heading: str) -> bool:
    """Whether a heading means anything to us, with all its words."""
    meant = guess(heading)
    return meant is not None and (meant.sure or "also says" not in meant.reason)


def seen_tables(page: Page) -> list[SeenTable]:
    """The tables of a page, in order; none where no headings are known."""
    cells = cells_of(page, is_known, Faults())
    upright = Grid.of(page, cells)
    rows = _headings(upright, _LOOKED_AT)
    turned = Grid.of(page, cells, "columns")
    columns = _headings(turned, _LABELS) if len(upright.lines) <= _MOST_LABELS else []
    best = max((known for _, known in rows), default=0)
    if columns and max(known for _, known in columns) > max(best * 1.7, _MANY):
        return _at_the_left(page, upright, turned, columns)
    found = []
    for number, (index, _) in enumerate(rows):
        end = rows[number + 1][0] if number + 1 < len(rows) else len(upright.lines)
        found.append(SeenTable(page, "rows", table_at(upright, index, end)))
    return found


def _at_the_left(
    page: Page, upright: Grid, turned: Grid, columns: list[tuple[int, int]]
) -> list[SeenTable]:
    """A turned table, or forms: where a label repeats below, or words for two ends stand above."""
    index = max(columns, key=lambda c: c[1])[0]
    labels = [key_of(heading_text(c.value)) for c in turned.lines[index].cells.values()]
    repeated = len(labels) - len(set(labels)) >= max(1, len(set(labels)) // 2)
    values = turned.lines[index + 1 :]
    if repeated or (len(values) <= _ENOUGH and _ends_above(values, turned.lines[index])):
        table = form_table(upright, is_known)
        if table is not None:
            return [SeenTable(page, "form", table)]
    return [SeenTable(page, "columns", table_at(turned, index, len(turned.lines)))]


def _ends_above(values: tuple[Line, ...], labels: Line) -> bool:
    """Whether two columns are headed by words for two ends, beside which no label stands."""
    heads = [[at for at in sorted(line.cells) if at not in labels.cells] for line in values]
    if not all(heads):
        return False
    cells = [line.cells[at[0]] for line, at in zip(values, heads, strict=True)]
    first = [side_of(heading_text(cell.value)) for cell in cells]
    return len(first) == _ENOUGH and all(first) and first[0] != first[1]


def _headings(grid: Grid, most: int) -> list[tuple[int, int]]:
    """The lines that are headings of tables, with how many of them are known."""
    found: list[tuple[int, int]] = []
    seen: list[set[str]] = []
    for index, line in enumerate(grid.lines):
        if index >= most and not found:
            break
        if _mostly_figures(line.cells.values()) or _holds_units(line):
            continue
        if (known := _known_in(grid, line)) < _ENOUGH:
            continue
        words = {key_of(heading_text(c.value)) for c in line.cells.values()}
        if any(len(words & other) * 2 >= len(words) for other in seen):
            continue  # the same headings once more
        if found and found[-1][0] == index - 1:  # the groups above the headings
            above = grid.lines[index - 1]
            if len(above.cells) > len(line.cells) or found[-1][1] > known:
                continue
            found.pop()
            seen.pop()
        found.append((index, known))
        seen.append(words)
    best = max((known for _, known in found), default=0)
    return [(index, known) for index, known in found if known * _MANY >= best]


def _holds_units(line: Line) -> bool:
    return are_units(heading_text(c.value).strip("()[]") for c in line.cells.values())


def _known_in(grid: Grid, line: Line) -> int:
    """How many headings of a line are known; 0 where they are less than half of it."""
    headings = headings_of(grid, line)
    known = {name for h in headings.values() for name in h.names if is_known(name)}
    cells = {h.cell for h in headings.values() if known & set(h.names)}
    return len(cells) if len(cells) * 2 >= len(line.cells) else 0


def _mostly_figures(cells: Any) -> bool:
    texts = [cell for cell in cells if _is_figure(cell)]
    return len(texts) * 4 > len(list(cells))


def _is_figure(cell: Cell) -> bool:
    return not isinstance(cell.value, str) or _FIGURE.match(cell.value) is not None


def names_of(table: Table) -> Iterator[tuple[int, str]]:
    """The name of each column in a mapping.

    Its group is part of it where that tells of an end, or where the heading alone is there twice
    or means nothing.
    """
    bare = [h.names[-1] for h in table.headings.values()]
    seen: dict[str, int] = {}
    for at in sorted(table.headings):
        names = table.headings[at].names
        name = names[-1]
        if len(names) > 1 and (
            bare.count(name) > 1 or side_of(_group(names)) or not is_known(name)
        ):
            name = names[0]
        for candidate in names:
            seen[key_of(candidate)] = seen.get(key_of(candidate), 0) + 1
        again = seen[key_of(name)]
        yield at, name if again == 1 else f"{name} #{again}"


def _group(names: tuple[str, ...]) -> str:
    return names[0].removesuffix(names[-1]).strip()
