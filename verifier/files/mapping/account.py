"""The accounts of a foreign sheet while it is read: what became of every cell that holds anything.

`Account` takes every filled cell of a page before anything is read, as *not read*; what reads or
skips a cell then says so. So no cell can be missing from the ledger, and none can be in it twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

from verifier.model.ledger import HIDDEN, CellRecord, Fate, FieldRead, Ledger
from verifier.model.sheet_look import SheetLook

_NOTHING = "nothing reads it"


@dataclass(slots=True)
class Account:
    """The cells of one sheet while it is read."""

    sheet: str
    _cells: dict[tuple[int, int], CellRecord] = field(default_factory=dict)

    def fill(self, row: int, column: int, shown: str) -> None:
        """Takes a cell that holds anything, as not read yet."""
        self._cells[row, column] = CellRecord(
            self.sheet, row, column, shown, "not read", reason=_NOTHING
        )

    def mark(  # noqa: PLR0913, PLR0917
        self,
        row: int,
        column: int,
        fate: Fate,
        reason: str = "",
        heading: str = "",
        told: bool = False,  # noqa: FBT001, FBT002
    ) -> None:
        """Says what became of a cell that nothing was read from; one that is empty is none."""
        cell = self._cells.get((row, column))
        if cell is not None and not cell.reads:
            self._cells[row, column] = replace(
                cell, fate=fate, reason=reason, heading=heading or cell.heading, told=told
            )

    def hide(self, row: int, column: int) -> None:
        """Takes the text of a cell out: it may be a secret."""
        cell = self._cells.get((row, column))
        if cell is not None:
            self._cells[row, column] = replace(cell, shown=HIDDEN)

    def read(self, row: int, column: int, heading: str, read: FieldRead) -> None:
        """Says that a field was read from a cell."""
        cell = self._cells[row, column]
        self._cells[row, column] = replace(
            cell, fate="read", reason="", heading=heading, reads=(*cell.reads, read), told=False
        )

    def fate(self, row: int, column: int) -> Fate | None:
        """What became of a cell so far; None where it is empty."""
        cell = self._cells.get((row, column))
        return cell.fate if cell is not None else None

    def records(self) -> Iterator[CellRecord]:
        """The cells in order of row and column."""
        return (self._cells[place] for place in sorted(self._cells))


class Accounts:
    """The accounts of all foreign sheets of a file."""

    def __init__(self) -> None:
        self._of: dict[str, Account] = {}

    def of(self, sheet: str) -> Account:
        """The account of a sheet."""
        return self._of.setdefault(sheet, Account(sheet))

    def ledger(self, looks: Iterable[SheetLook] = ()) -> Ledger:
        """All of them, done, with the looks of those that have one."""
        cells = tuple(cell for account in self._of.values() for cell in account.records())
        return Ledger(cells, tuple(look for look in looks if look.name in self._of))
