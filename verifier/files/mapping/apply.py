"""Their sheets, as a mapping describes them, to the records of ours."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

from verifier.errors import InputError
from verifier.files.faults import Faults, nearest, shown
from verifier.files.mapping.evidence import outside, settled
from verifier.files.mapping.model import (
    PLACEHOLDER,
    SHEETS_OF,
    SheetMapping,
    Theirs,
    key_of,
    read_mapping,
)
from verifier.files.plan.columns import Column, Path, normal
from verifier.files.plan.tree import Scalar
from verifier.files.sheets.cell_number import NumberStyle
from verifier.files.sheets.find_headings import Headings, find_headings
from verifier.files.sheets.page import Page, Row, is_blank
from verifier.files.sheets.records import (
    SUBJECTS,
    CellReader,
    SheetRow,
    finish,
    scale_of,
    short,
    tell_stray,
)
from verifier.files.sheets.to_tree import agree, joined
from verifier.model.problem import Origin, Subject

Slot = tuple[str, str]
"""Sheet of ours, and end of the link where a row tells of two."""

Cells = dict[Slot, dict[Path, Scalar]]
"""The cells of one row by slot."""

_OWN = {"device": "Devices", "site": "Sites"}
_LINKED: tuple[tuple[str, Path, str, Path], ...] = (
    ("Devices", ("name",), "Links", ("device",)),
    ("Devices", ("site",), "Sites", ("name",)),
    ("Addresses", ("device",), "Devices", ("name",)),
    ("Ports", ("device",), "Devices", ("name",)),
)
"""Fields of two records of one row that are the same."""


def read_mapped(
    pages: tuple[Page, ...], mapping: FilePath, faults: Faults
) -> tuple[dict[str, list[SheetRow]], frozenset[str]]:
    """The records by sheet of ours, and the names of the pages that the mapping speaks of.

    Raises:
        InputError: the mapping is faulty, or speaks of a page that is not there.
    """
    own: dict[str, list[SheetRow]] = {}
    beside: list[tuple[str, list[SheetRow]]] = []
    used = set()
    for rule in read_mapping(mapping):
        page = _page(pages, rule, mapping)
        used.add(page.name)
        for (sheet, _), found in _Reading(page, rule, faults).records().items():
            if sheet in ("Devices", "Sites") and _OWN.get(rule.row) != sheet:
                beside.append((sheet, found))
                continue
            links = rule.row == "end" and sheet == "Links"
            own.setdefault(sheet, []).extend(_links_of_ends(found, faults) if links else found)
    for sheet, found in beside:  # told of in rows about something else: a name is one record
        own[sheet] = joined(own.get(sheet, []), found, faults)
    return own, frozenset(used)


def _page(pages: tuple[Page, ...], rule: SheetMapping, mapping: FilePath) -> Page:
    """The page that a sheet of the mapping is about."""
    names = [page.name for page in pages]
    wanted = key_of(rule.theirs).removesuffix(".csv")
    found = [page for page in pages if key_of(page.name) == wanted]
    if rule.theirs == "*":
        found = list(pages)
    if len(found) == 1:
        return found[0]
    there = ", ".join(map(shown, names))
    if rule.theirs == "*":
        raise InputError(f'{mapping}: theirs = "*" is the only sheet, but there are {there}')
    hint = nearest(rule.theirs, names)
    raise InputError(f"{mapping}: no sheet is called {shown(rule.theirs)}{hint}; there are {there}")


@dataclass(slots=True)
class _Reading:
    """Reads one page by its mapping."""

    page: Page
    rule: SheetMapping
    faults: Faults
    readers: dict[int, list[tuple[Slot, CellReader]]] = field(default_factory=dict)
    texts: dict[str, int] = field(default_factory=dict)
    slots: list[Slot] = field(default_factory=list)

    def records(self) -> dict[Slot, list[SheetRow]]:
        """The records of each slot, in order of the rows."""
        self.slots = list(dict.fromkeys((t.sheet, t.side) for t in self.rule.targets()))
        rows: dict[Slot, list[SheetRow]] = {slot: [] for slot in self.slots}
        found = find_headings(self.page, self._knows, self.faults, self.rule.heading_row)
        if found is None:
            return rows
        self.page.tell(found.last_row, self.faults)
        below = list(found.below)
        if not self._columns(found, below):
            return rows
        sheet = SHEETS_OF[self.rule.row][0]
        kind, named = SUBJECTS.get(sheet, "network"), self._naming(sheet)
        for row in below:
            subject = Subject(kind, short(row[1], named))
            tell_stray(self.page, row, found, self.faults, subject)
            for slot, cells in self._row(row, subject).items():
                if cells:
                    rows[slot].append(SheetRow(self.page.origin(row[0]), cells))
        finish((reader for some in self.readers.values() for _, reader in some), self.faults)
        return rows

    def _knows(self, heading: str) -> bool:
        return key_of(heading) in self.rule.columns

    def _columns(self, found: Headings, below: list[Row]) -> bool:
        """Finds the reader of each column of theirs; false where one that is wanted is missing."""
        names = [key_of(name) for name in found.names]
        wanted = dict(self.rule.columns)
        for index, name in enumerate(names):
            again = names[:index].count(name)
            key = f"{name} #{again + 1}" if again else name
            origin = self.page.origin(found.row, found.names[index])
            theirs = wanted.pop(key, None)
            if theirs is not None:
                self.texts[key] = index
                values = [cells[index] for _, cells in below if index < len(cells)]
                self.readers[index] = list(
                    self._readers(theirs, found.units[index], origin, values)
                )
            elif name:
                self._unmapped(found.names[index], origin)
        for theirs in wanted.values():
            message = f"no column is called {shown(theirs.heading)}, as the mapping says"
            message += nearest(theirs.heading, filter(None, found.names))
            self.faults.error("missing-column", self.page.origin(found.row), message)
        return not wanted

    def _readers(
        self, theirs: Theirs, unit: str, origin: Origin, values: list[Any]
    ) -> Iterator[tuple[Slot, CellReader]]:
        sign = theirs.decimal or self.rule.decimal
        for target, known in zip(theirs.targets, theirs.scales, strict=True):
            scale = known or scale_of(unit, target.column, origin, self.faults)
            if scale is not None:
                found = settled(target.column, theirs.unit or unit, values, sign)
                figures = NumberStyle(found.decimal, scale)
                unsaid = found.doubt if known is None and not unit else ""
                odd = unsaid or outside(target.column, figures.decimal, scale, values)
                if odd:
                    self.faults.warn("figures-doubtful", origin, odd)
                reader = CellReader(target.column, origin.field, figures, theirs.values)
                yield (target.sheet, target.side), reader

    def _unmapped(self, heading: str, origin: Origin) -> None:
        if not self.faults.secret(heading, origin):
            message = (
                f"{shown(heading)} is not in the mapping and is not read; write "
                f'"{heading}" = "" there if that is right'
            )
            self.faults.warn("unmapped-column", origin, message)

    def _naming(self, sheet: str) -> int | None:
        """The column that names what a row is about."""
        for index, some in self.readers.items():
            for slot, reader in some:
                if slot[0] == sheet and reader.column.path == ("name",):
                    return index
        return None

    def _row(self, row: Row, subject: Subject) -> Cells:
        """The cells of one row by slot."""
        number, cells = row
        read: Cells = {slot: {} for slot in self.slots}
        for index, some in self.readers.items():
            if index < len(cells) and not is_blank(cells[index]):
                for slot, reader in some:
                    origin = self.page.origin(number, reader.heading)
                    scalar = reader.read(cells[index], origin, self.faults, subject)
                    if scalar is not None:
                        read[slot][reader.column.path] = scalar
        self._made(row, read, subject)
        self._link(read)
        for target, text in self.rule.made:
            if read[target.sheet, target.side] and not PLACEHOLDER.search(text):
                scalar = Scalar(text, quoted=True, origin=self.page.origin(number))
                read[target.sheet, target.side][target.column.path] = scalar
        return read

    def _made(self, row: Row, read: Cells, subject: Subject) -> None:
        """Puts in the texts that the mapping makes of columns, where all of these hold anything."""
        number, cells = row
        for target, template in self.rule.made:
            parts = {}
            for heading in PLACEHOLDER.findall(template):
                index = self.texts[key_of(heading)]
                origin = self.page.origin(number, heading)
                reader = CellReader(Column(("made",), heading), heading)
                if index < len(cells) and not is_blank(cells[index]):
                    scalar = reader.read(cells[index], origin, self.faults, subject)
                    parts[heading] = scalar.text if scalar is not None else None
                else:
                    parts[heading] = None
            if parts and all(parts.values()):
                text = PLACEHOLDER.sub(lambda m: parts[m[1]] or "", template)  # noqa: B023
                origin = self.page.origin(number, next(iter(parts)))
                scalar = Scalar(text, quoted=True, origin=origin)
                read[target.sheet, target.side][target.column.path] = scalar

    def _link(self, read: Cells) -> None:
        """Fills in the fields that name another record of the same row."""
        for sheet, path, other, other_path in _LINKED:
            for side in ("", "a", "b"):
                cells = read.get((sheet, side), {})
                far = read.get((other, "" if other == "Links" else side), {})
                far_path = (side or "end", *other_path) if other == "Links" else other_path
                if far and far_path in far:
                    cells.setdefault(path, far[far_path])
                elif far and path in cells:
                    far[far_path] = cells[path]


# -- rows that are one link end each ---------------------------------------------------------------

_SIDES = {
    "a": "a", "enda": "a", "sitea": "a", "near": "a", "nearend": "a", "1": "a",
    "b": "b", "endb": "b", "siteb": "b", "far": "b", "farend": "b", "2": "b",
}  # fmt: skip
_TWO = 2


def _links_of_ends(ends: list[SheetRow], faults: Faults) -> list[SheetRow]:
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
