"""Rows of theirs to records of ours: two rows of one end each become a link."""

from __future__ import annotations

from dataclasses import dataclass, field

from verifier.files.faults import Faults, shown
from verifier.files.mapping.account import Account
from verifier.files.mapping.dictionary import Side, Words
from verifier.files.mapping.model import FAR, TableMapping
from verifier.files.mapping.row_read import RowRead, Slot, ValueRead
from verifier.files.mapping.words import side_of
from verifier.files.plan.columns import Path
from verifier.files.plan.tree import Scalar
from verifier.files.sheets.records import SUBJECTS, SheetRow
from verifier.files.sheets.to_tree import agree
from verifier.model.ledger import FieldRead
from verifier.model.plan import EndName
from verifier.model.problem import Subject

_SIDES: dict[Side, EndName] = {"a": "a", "near": "a", "b": "b", "far": "b"}
_OTHER: dict[EndName, EndName] = {"a": "b", "b": "a"}
_TWO = 2
Records = dict[str, list[SheetRow]]
LINKS: Slot = ("Links", "")
EITHER_WAY = " <> "
"""Between two names in the name of a link that either end may write first."""


def assembled(rule: TableMapping, rows: list[RowRead], faults: Faults, account: Account) -> Records:
    """The records of the rows of one table by sheet of ours; each value goes to the ledger."""
    if rule.row == "end":
        records, sides = _Ends(rows, faults, rule.words).records()
    else:
        records, sides = {}, {}
        for row in rows:
            _put(row, records, row.slots)
    for row in rows:
        _enter(row, sides.get(id(row)), account)
    return records


def _put(row: RowRead, records: Records, slots: dict[Slot, dict[Path, Scalar]]) -> None:
    for (sheet, _), cells in slots.items():
        if cells:
            records.setdefault(sheet, []).append(SheetRow(row.origin, cells))


def _enter(row: RowRead, side: EndName | None, account: Account) -> None:
    """Says in the ledger what each cell of a row was read into."""
    for value in row.values:
        subject = _subject(row, value, side)
        read = FieldRead(
            value.target.name, subject, value.text, value.target.column.unit, value.how
        )
        account.read(value.cell.row, value.cell.column, value.heading, read)


def _subject(row: RowRead, value: ValueRead, side: EndName | None) -> Subject:
    """The device, site or link that a value belongs to, with its end."""
    sheet, at = value.target.sheet, value.target.side
    if sheet != "Links":
        named = ("device",) if sheet in ("Addresses", "Ports") else ("name",)
        return Subject(SUBJECTS.get(sheet, "network"), row.text((sheet, at), *named))
    first = value.target.column.path[0]
    end: EndName | None = None
    if first in ("a", "b"):
        end = "a" if first == "a" else "b"
    elif first in ("end", FAR) and side is not None:
        end = side if first == "end" else _OTHER[side]
    return Subject("link", row.text(LINKS, "name"), end=end)


@dataclass(slots=True)
class _Ends:
    """Puts rows of one end each together: those of one link name and carrier are its two ends.

    The rows say themselves which end they are, or the first is A.
    """

    rows: list[RowRead]
    faults: Faults
    words: Words
    either: dict[frozenset[str], str] = field(default_factory=dict)

    def records(self) -> tuple[Records, dict[int, EndName]]:
        """The records, and which end each row is."""
        records: Records = {}
        sides: dict[int, EndName] = {}
        pairs: dict[tuple[str, str], list[RowRead]] = {}
        for row in self.rows:
            own = {slot: cells for slot, cells in row.slots.items() if slot[1] != FAR}
            own.pop(LINKS, None)
            _put(row, records, own)
            if not (name := self._name(row)):
                message = "the link of this end has no name"
                self.faults.error("missing-field", row.origin, message)
                continue
            pairs.setdefault((name, row.text(LINKS, "carrier") or "1"), []).append(row)
        for (name, _), rows in pairs.items():
            found = self._sides(name, rows)
            if found is not None:
                sides |= {id(row): side for row, side in zip(rows, found, strict=True)}
                link = self._link(name, rows, found)
                records.setdefault("Links", []).append(link)
                self._far(rows, records)
        return records, sides

    def _name(self, row: RowRead) -> str:
        """The name of the link; of one that either end may write first always the same."""
        name = row.text(LINKS, "name")
        first, mark, second = name.partition(EITHER_WAY)
        if mark:
            name = self.either.setdefault(frozenset((first, second)), f"{first} - {second}")
            cells = row.slots[LINKS]
            cells["name",] = Scalar(name, quoted=True, origin=cells["name",].origin)
        return name

    def _sides(self, name: str, rows: list[RowRead]) -> tuple[EndName, ...] | None:
        """Which end each row of a link is; None where they make no link, which is told."""
        subject = Subject("link", name)
        words = [row.text(LINKS, "end", "end") for row in rows]
        sides = [_SIDES.get(side_of(word, self.words)) for word in words]
        if len(rows) == 1 and rows[0].text(LINKS, FAR, "device"):
            return (sides[0] or "a",)
        if len(rows) != _TWO:
            numbers = ", ".join(str(row.origin.line) for row in rows)
            one = f"rows {numbers} are its ends"
            one = f"row {numbers} is its only end" if len(rows) == 1 else one
            message = f"link {name} must have two ends for each carrier: {one}"
            self.faults.error("link-ends", rows[-1].origin, message, subject)
            return None
        if sides == ["b", "a"]:
            return "b", "a"
        if any(words) and sides != ["a", "b"]:
            message = (
                f"the ends are called {shown(words[0])} and {shown(words[1])}: A and B are wanted"
            )
            self.faults.error("link-ends", rows[1].origin, message, subject)
            return None
        return "a", "b"

    def _link(self, name: str, rows: list[RowRead], sides: tuple[EndName, ...]) -> SheetRow:
        """One record of a link; what a row says of the far end must be what that end says."""
        subject = Subject("link", name)
        cells: dict[Path, Scalar] = {}
        ours = [(row, side) for row, side in zip(rows, sides, strict=True)]
        for far in (False, True):
            for row, side in ours:
                for path, cell in row.slots[LINKS].items():
                    if path == ("end", "end") or (path[0] == FAR) != far:
                        continue
                    at = {"end": side, FAR: _OTHER[side]}.get(path[0])
                    place = path if at is None else (at, *path[1:])
                    agree(cells.setdefault(place, cell), cell, self.faults, subject)
        return SheetRow(rows[0].origin, cells)

    @staticmethod
    def _far(rows: list[RowRead], records: Records) -> None:
        """The records of the far end of each row, by the name that its own row gives it."""
        for row in rows:
            other = next((r for r in rows if r is not row), None)
            for sheet in ("Devices", "Sites"):
                cells = row.slots.get((sheet, FAR), {})
                if not cells:
                    continue
                named = other.slots.get((sheet, ""), {}).get(("name",)) if other else None
                if named is not None:
                    cells.setdefault(("name",), named)
                records.setdefault(sheet, []).append(SheetRow(row.origin, cells))
