"""How somebody's own sheet looks: what is needed to draw it again, without what its cells hold."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Block:
    """Cells joined into one; all counted from 1, both edges belong to it."""

    top: int
    left: int
    bottom: int
    right: int


@dataclass(frozen=True, slots=True)
class SheetLook:
    """One sheet.

    Attributes:
        name: its title; of a CSV file its name without the ending.
        widths: of columns that have one of their own, in characters.
        hidden: whether the sheet itself is.
        struck: rows and columns of the cells that are struck through.
    """

    name: str
    widths: dict[int, float]
    hidden: bool = False
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    struck: frozenset[tuple[int, int]] = frozenset()
    blocks: tuple[Block, ...] = ()
