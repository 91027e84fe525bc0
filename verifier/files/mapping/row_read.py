"""What one row of theirs was read as, and the form of a cell that holds several values."""

from __future__ import annotations

import re
from dataclasses import dataclass

from verifier.files.mapping.model import MappedField
from verifier.files.mapping.table import Cell
from verifier.files.plan.columns import Path
from verifier.files.plan.tree import Scalar
from verifier.model.problem import Origin

Slot = tuple[str, str]
"""Sheet of ours, and end of the link where a row tells of two."""


@dataclass(frozen=True, slots=True)
class ValueRead:
    """A value of a row, before it is known what it belongs to."""

    cell: Cell
    heading: str
    target: MappedField
    text: str
    how: str


@dataclass(slots=True)
class RowRead:
    """One row of theirs: the cells of each record it tells of."""

    origin: Origin
    slots: dict[Slot, dict[Path, Scalar]]
    values: list[ValueRead]

    def text(self, slot: Slot, *path: str) -> str:
        """The text of a field; empty where there is none."""
        cell = self.slots.get(slot, {}).get(path)
        return (cell.text or "") if cell is not None else ""


def pattern_of(form: str) -> re.Pattern[str]:
    """What a cell of several values looks like: the words between the fields as they stand."""
    pieces = re.split(r"\{[^{}]*\}", form)
    between = (r"\s*".join(map(re.escape, piece.split())) for piece in pieces)
    spaced = (rf"\s*{piece}\s*" if piece else r"\s+" for piece in between)
    first, *others = spaced
    del first
    lead = r"\s*".join(map(re.escape, pieces[0].split()))
    tail = r"\s*".join(map(re.escape, pieces[-1].split()))
    middle = others[:-1]
    body = "".join(f"(.+?){piece}" for piece in middle) + "(.+?)"
    return re.compile(rf"\s*{lead}\s*{body}\s*{tail}\s*")
