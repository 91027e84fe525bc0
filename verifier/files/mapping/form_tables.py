"""Forms on a foreign page: labels at the left, one or two values beside each, forms under forms.

Each form becomes one row of a table whose headings are the labels; where a form has a value for
each end, the word above the values stands before the label: `Near Tx (MHz)`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from verifier.files.mapping.model import key_of
from verifier.files.mapping.table import Cell, Grid, Heading, Known, Line, Table
from verifier.files.plan.units import unit_of
from verifier.files.sheets.find_headings import heading_text

_ENDS = ("A", "B")
_PARTS = 2


@dataclass(slots=True)
class _Form:
    """One form: its labels with their values, and the words above the values."""

    first: int
    heads: dict[int, Cell] = field(default_factory=dict)
    rows: list[tuple[Cell, list[Cell]]] = field(default_factory=list)


def form_table(grid: Grid, known: Known) -> Table | None:
    """The table that the forms of a page make; None where no label is one that is looked for."""
    column = _label_column(grid, known)
    if column is None:
        return None
    forms = list(_forms(grid, column))
    both = {
        key_of(heading_text(label.value))
        for form in forms
        for label, values in form.rows
        if len(values) >= _PARTS
    }
    at_of: dict[tuple[str, int], int] = {}
    headings: dict[int, Heading] = {}
    lines = []
    for form in forms:
        cells: dict[int, Cell] = {}
        for label, values in form.rows:
            for cell in values:
                place = cell.column - column
                at = at_of.setdefault((key_of(heading_text(label.value)), place), len(at_of) + 1)
                if at not in headings:
                    ends = key_of(heading_text(label.value)) in both
                    headings[at] = _heading(label, form.heads.get(cell.column), place, ends=ends)
                cells[at] = cell
        lines.append(Line(form.first, cells))
    labels = tuple(label for form in forms for label, _ in form.rows)
    if not labels:
        return None
    heads = tuple(head for form in forms for head in form.heads.values())
    first = min(label.row for label in labels)
    return Table(headings, first, first - 1, tuple(lines), (), (*labels, *heads), by_row=False)


def is_label(text: str, known: Known) -> bool:
    """Whether a label is one that is looked for, with the word of an end before it or without."""
    key = key_of(text.rstrip(" :"))
    return known(key)


def _label_column(grid: Grid, known: Known) -> int | None:
    """The column with the most labels that are looked for."""
    counts: dict[int, int] = {}
    for line in grid.lines:
        for at, cell in line.cells.items():
            if is_label(heading_text(cell.value), known):
                counts[at] = counts.get(at, 0) + 1
    return max(counts, key=lambda at: (counts[at], -at)) if counts else None


def _forms(grid: Grid, column: int) -> list[_Form]:
    """The forms: a label that is there already begins the next one."""
    forms: list[_Form] = []
    seen: set[str] = set()
    heads: dict[int, Cell] = {}
    for line in grid.lines:
        label = line.cells.get(column)
        values = [cell for at, cell in sorted(line.cells.items()) if at > column][:_PARTS]
        if label is None:
            heads = {cell.column: cell for cell in values}
            continue
        if not values:
            heads = {}
            continue
        key = key_of(heading_text(label.value))
        if not forms or key in seen:
            forms.append(_Form(line.number, heads))
            seen.clear()
        elif heads and not forms[-1].heads:
            forms[-1].heads = heads
        heads = {}
        seen.add(key)
        forms[-1].rows.append((label, values))
    return forms


def _heading(label: Cell, head: Cell | None, place: int, *, ends: bool) -> Heading:
    """The names of a value: with the word of its end before the label, and the label alone."""
    name = heading_text(label.value).rstrip(" :")
    if not ends:
        return Heading((name,), unit_of(name), label)
    word = heading_text(head.value) if head is not None else _ENDS[min(place, _PARTS) - 1]
    return Heading((f"{word} {name}", name), unit_of(name), label)
