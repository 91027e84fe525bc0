"""Rows that are one link end each, to rows that are one carrier with both its ends."""

from __future__ import annotations

from verifier.files.faults import Faults, shown
from verifier.files.plan.columns import Path, normal
from verifier.files.plan.tree import Scalar
from verifier.files.sheets.records import SheetRow
from verifier.files.sheets.to_tree import agree
from verifier.model.subject import Subject

_SIDES = {
    "a": "a", "enda": "a", "sitea": "a", "near": "a", "nearend": "a", "1": "a",
    "b": "b", "endb": "b", "siteb": "b", "far": "b", "farend": "b", "2": "b",
}  # fmt: skip
_TWO = 2


def links_of_ends(ends: list[SheetRow], faults: Faults) -> list[SheetRow]:
    """One record a carrier: the rows of one link name and carrier are its two ends.

    The rows say themselves which end they are, or the first is A.
    """
    by_name: dict[tuple[str, str], list[SheetRow]] = {}
    for end in ends:
        name = end.text("name")
        if not name:
            faults.error("missing-field", end.origin, "the link of this end has no name")
            continue
        by_name.setdefault((name, end.text("carrier") or "1"), []).append(end)
    found = (_link(name, rows, faults) for (name, _), rows in by_name.items())
    return [link for link in found if link is not None]


def _link(name: str, rows: list[SheetRow], faults: Faults) -> SheetRow | None:
    subject = Subject("link", name)
    if len(rows) != _TWO:
        numbers = ", ".join(str(row.origin.line) for row in rows)
        one = f"row {numbers} is its only end" if len(rows) == 1 else f"rows {numbers} are its ends"
        message = f"link {name} must have two ends for each carrier: {one}"
        faults.error("link-ends", rows[-1].origin, message, subject)
        return None
    cells: dict[Path, Scalar] = {}
    if (sides := _sides(rows, faults, subject)) is None:
        return None
    for row, side in zip(rows, sides, strict=True):
        for path, cell in row.cells.items():
            if path[0] != "end":
                agree(cells.setdefault(path, cell), cell, faults, subject)
            elif path != ("end", "end"):
                cells[side, *path[1:]] = cell
    return SheetRow(rows[0].origin, cells)


def _sides(rows: list[SheetRow], faults: Faults, subject: Subject) -> tuple[str, str] | None:
    """Which end each of two rows is; None where they do not say."""
    words = [row.text("end", "end") for row in rows]
    sides = [_SIDES.get(normal(word), "") for word in words]
    if sides == ["b", "a"]:
        return "b", "a"
    if any(words) and sides != ["a", "b"]:
        message = f"the ends are called {shown(words[0])} and {shown(words[1])}: A and B are wanted"
        faults.error("link-ends", rows[1].origin, message, subject)
        return None
    return "a", "b"
