"""One table of theirs, row by row: the text of each field, and how its cell was read."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from verifier.files.faults import Faults, nearest, shown
from verifier.files.mapping.account import Account
from verifier.files.mapping.evidence import outside, settled
from verifier.files.mapping.habits import paired, reading_of
from verifier.files.mapping.model import (
    PLACEHOLDER,
    MappedField,
    TableMapping,
    Theirs,
    key_of,
    targets_of,
)
from verifier.files.mapping.repeats import Repeats
from verifier.files.mapping.row_read import RowRead, ValueRead, pattern_of
from verifier.files.mapping.table import Cell, Line, Table, column_names
from verifier.files.plan.columns import Column, Path
from verifier.files.plan.tree import Scalar
from verifier.files.plan.units import SAME, Scale, scale, unit_named
from verifier.files.sheets.cell_number import NumberStyle
from verifier.files.sheets.page import Page
from verifier.files.sheets.records import SUBJECTS, CellReader, finish, short
from verifier.model.problem import Origin, Subject

LINKED: tuple[tuple[str, Path, str, Path], ...] = (
    ("Devices", ("name",), "Links", ("device",)),
    ("Devices", ("site",), "Sites", ("name",)),
    ("Addresses", ("device",), "Devices", ("name",)),
    ("Ports", ("device",), "Devices", ("name",)),
)
"""Fields of two records of one row that are the same."""

_MADE = Column(("made",), "made")


@dataclass(frozen=True, slots=True)
class _Feeds:
    """A column that is read: by whom, into what, and the words for how."""

    theirs: Theirs
    heading: str
    readers: tuple[tuple[MappedField, CellReader], ...]
    parts: re.Pattern[str] | None
    unit: str


@dataclass(slots=True)
class TableReader:
    """Reads the rows of one table by its mapping."""

    page: Page
    rule: TableMapping
    table: Table
    faults: Faults
    account: Account
    feeds: dict[int, _Feeds] = field(default_factory=dict)
    names: dict[int, str] = field(default_factory=dict)
    states: dict[int, tuple[str, str]] = field(default_factory=dict)
    _texts: dict[str, int] = field(default_factory=dict)
    _repeats: Repeats = field(default_factory=lambda: Repeats({}, {}))
    _line: Line | None = None

    def find_columns(self) -> bool:
        """Finds what reads each column of theirs; false where one that is wanted is missing."""
        wanted = dict(self.rule.columns)
        made = {key_of(h) for _, text in self.rule.made for h in PLACEHOLDER.findall(text)}
        for at, names in column_names(self.table.headings).items():
            name = next((n for n in names if key_of(n) in wanted or key_of(n) in made), names[0])
            self.names[at] = name
            self._texts[key_of(name)] = at
            theirs = wanted.pop(key_of(name), None)
            origin = self.page.origin(self.table.headings[at].cell.row, name)
            if self.rule.words.is_secret(name):
                self.states[at] = ("secret", "it looks like a secret")
                self.faults.tell_secret(name, origin)
            elif theirs is not None and theirs.state == "read":
                self.feeds[at] = self._feed(theirs, at, origin)
                if self.table.by_row and at in self.page.hidden_columns:
                    self.faults.warn("hidden-column", origin, "it is hidden: read by the mapping")
                if not self.feeds[at].readers:
                    self.states[at] = ("told", "its unit cannot be converted")
            elif theirs is not None and theirs.state == "left out":
                self.states[at] = ("left out", theirs.reason)
            elif theirs is not None or key_of(name) not in made:
                why = "the mapping does not name this column"
                why = f"the mapping says {theirs.state}" if theirs is not None else why
                unsure = theirs is not None and theirs.state == "unsure"
                self.states[at] = ("told" if unsure else "not read", why)
        fill = {at for at, name in self.names.items() if key_of(name) in self.rule.fill_down}
        self._repeats = Repeats.of(self.page, self.table, fill)
        self._missing(wanted, made)
        return not wanted and made <= self._texts.keys()

    def _missing(self, wanted: dict[str, Theirs], made: set[str]) -> None:
        headings = [t.heading for t in wanted.values()]
        headings += [m for m in made - self._texts.keys() if m not in wanted]
        for heading in headings:
            message = f"no column is called {shown(heading)}, as the mapping says"
            message += nearest(heading, self.names.values())
            self.faults.error("missing-column", self.page.origin(self.table.first), message)

    def _feed(self, theirs: Theirs, at: int, origin: Origin) -> _Feeds:
        unit = theirs.unit or self.table.headings[at].unit
        scales = zip(theirs.targets, theirs.scales, strict=True)
        readers = tuple(
            (target, reader)
            for target, said in scales
            if (reader := self._reader(theirs, at, target.column, said, origin)) is not None
        )
        parts = pattern_of(theirs.split) if theirs.split else None
        return _Feeds(theirs, origin.field, readers, parts, unit)

    def _reader(
        self, theirs: Theirs, at: int, column: Column, said: Scale | None, origin: Origin
    ) -> CellReader | None:
        """What reads a column; None where its unit cannot be converted, which is told."""
        needed, unit = said or SAME, self.table.headings[at].unit
        if said is None and unit and column.unit and column.kind == "number":
            try:
                needed = scale(unit_named(unit) or unit, column.unit)
            except ValueError as fault:
                message = f"{shown(origin.field)} {fault}; say by unit = what it is"
                self.faults.error("wrong-unit", origin, message)
                return None
        values = [line.cells[at].value for line in self.table.lines if at in line.cells]
        found = settled(column, theirs.unit or unit, values, theirs.decimal or self.rule.decimal)
        unsaid = found.doubt if said is None and not unit else ""
        if odd := unsaid or outside(column, found.decimal, needed, values):
            self.faults.warn("figures-doubtful", origin, odd)
        figures = NumberStyle(found.decimal, needed)
        before = None
        if theirs.form is not None:
            before = reading_of(
                theirs.form, column.path[-1], values, lambda: self._subnet(theirs.subnet)
            )
        return CellReader(column, origin.field, figures, theirs.values, foreign=True, before=before)

    def _subnet(self, said: str) -> str:
        """The subnet of the row that is read: as the mapping says, or as a column of it does."""
        if (named := PLACEHOLDER.fullmatch(said)) is None:
            return said
        at = self._texts.get(key_of(named[1]), -1)
        cell = self._line.cells.get(at) if self._line is not None else None
        return str(cell.value).strip() if cell is not None else ""

    def subject(self, line: Line) -> Subject:
        """What a row is about, by the column that names it."""
        sheet = {"link": "Links", "end": "Links"}.get(self.rule.row, f"{self.rule.row.title()}s")
        named = (
            at
            for at, feed in self.feeds.items()
            for target, _ in feed.readers
            if target.sheet == sheet and target.column.path == ("name",)
        )
        cell = line.cells.get(next(named, -1))
        return Subject(SUBJECTS.get(sheet, "network"), short([cell.value] if cell else [], 0))

    def row(self, line: Line) -> RowRead:
        """The values of one row; what became of each cell of it goes to the ledger."""
        subject = self.subject(line)
        self._line = line
        slots = {(t.sheet, t.side): dict[Path, Scalar]() for t in self.rule.targets()}
        found = RowRead(self._place(line), slots, [])
        for at, cell in line.cells.items():
            self._tell_state(at, cell)
        for at, feed in self.feeds.items():
            given, how = self._repeats.cell(line, at)
            if given is not None and self._is_struck(given):
                self.account.mark(
                    given.row, given.column, "not read", "struck through", self.names[at]
                )
            elif given is not None:
                for value in self._values(feed, given, how, line.number, subject):
                    found.values.append(value)
                    scalar = Scalar(value.text, isinstance(given.value, str), self._origin(value))
                    slots[value.target.sheet, value.target.side][value.target.column.path] = scalar
        self._make(line, found, subject)
        self._pair(found, subject)
        self._link(found)
        for target, text in self.rule.made:
            if slots[target.sheet, target.side] and not PLACEHOLDER.search(text):
                scalar = Scalar(text, quoted=True, origin=found.origin)
                slots[target.sheet, target.side].setdefault(target.column.path, scalar)
        return found

    def finish(self) -> None:
        """Tells what was read otherwise than it is written, once for each column."""
        readers = [reader for feed in self.feeds.values() for _, reader in feed.readers]
        for reader in readers:  # it can be read in no other way, and the ledger says how
            reader.said.pop("number-as-text", None)
        finish(readers, self.faults)

    def _is_struck(self, cell: Cell) -> bool:
        """Whether a cell alone is struck through, in a row that is read."""
        kept = self.rule.skip.struck_through is False
        return not kept and (cell.row, cell.column) in self.page.struck

    def _place(self, line: Line) -> Origin:
        """The place of a row: of theirs, or the first row of the column or form that it is."""
        if self.table.by_row or not line.cells:
            return self.page.origin(line.number)
        return self.page.origin(min(cell.row for cell in line.cells.values()))

    def _origin(self, value: ValueRead) -> Origin:
        return self.page.origin(value.cell.row, value.heading)

    def _tell_state(self, at: int, cell: Cell) -> None:
        """What became of a cell whose column is not read."""
        state, reason = self.states.get(at, ("", ""))
        name = self.names.get(at, "")
        if state == "secret":
            self.account.hide(cell.row, cell.column)
            self.account.mark(cell.row, cell.column, "left out", reason, name)
        elif state == "left out":
            self.account.mark(cell.row, cell.column, "left out", reason, name)
        elif state:
            told = state == "told"
            self.account.mark(cell.row, cell.column, "not read", reason, name, told=told)
        elif at not in self.names:
            self.account.mark(cell.row, cell.column, "not read", "it has no heading")

    def _values(
        self, feed: _Feeds, cell: Cell, how: str, line: int, subject: Subject
    ) -> Iterator[ValueRead]:
        """What one cell gives to each of its fields."""
        parts = self._parts(feed, cell, subject)
        if parts is None:
            return
        for (target, reader), part in zip(feed.readers, parts, strict=False):
            origin = self.page.origin(line if self.table.by_row else cell.row, feed.heading)
            scalar = reader.read(part, origin, self.faults, subject)
            if scalar is None or scalar.text is None:
                if reader.refused:
                    self.account.mark(
                        cell.row, cell.column, "not read", reader.refused, feed.heading, told=True
                    )
                else:
                    self.account.mark(
                        cell.row,
                        cell.column,
                        "left out",
                        "it says that there is nothing",
                        feed.heading,
                    )
                continue
            words = "; ".join(filter(None, (how, *_how(feed, reader, part, scalar.text))))
            yield ValueRead(cell, feed.heading, target, scalar.text, words)

    def _parts(self, feed: _Feeds, cell: Cell, subject: Subject) -> list[Any] | None:
        """The cell for each field; its parts where it holds several. None: told as a fault."""
        if feed.parts is None:
            return [cell.value] * len(feed.readers)
        match = feed.parts.fullmatch(" ".join(str(cell.value).split()))
        if match is None:
            message = f"{shown(str(cell.value))} has not the form {shown(feed.theirs.split)}"
            origin = self.page.origin(cell.row, feed.heading)
            self.faults.error("unreadable-cell", origin, message, subject)
            self.account.mark(cell.row, cell.column, "not read", message, feed.heading, told=True)
            return None
        return list(match.groups())

    def _make(self, line: Line, found: RowRead, subject: Subject) -> None:
        """Puts in the texts that the mapping makes of columns, where all of these hold anything."""
        for target, template in self.rule.made:
            parts: dict[str, str] = {}
            cells: dict[str, Cell] = {}
            headings = PLACEHOLDER.findall(template)
            for heading in headings:
                at = self._texts[key_of(heading)]
                held, _ = self._repeats.cell(line, at)
                if held is None:
                    break
                origin = self.page.origin(line.number, heading)
                scalar = CellReader(_MADE, heading, foreign=True).read(
                    held.value, origin, self.faults, subject
                )
                if scalar is None or not scalar.text:
                    break
                parts[heading], cells[heading] = scalar.text, held
            if headings and len(parts) == len(set(headings)):
                text = PLACEHOLDER.sub(lambda m: parts[m[1]], template)  # noqa: B023
                origin = self.page.origin(cells[headings[0]].row, headings[0])
                slot = found.slots[target.sheet, target.side]
                slot[target.column.path] = Scalar(text, quoted=True, origin=origin)
                how = f"part of {template}"
                found.values += [
                    ValueRead(cell, name, target, text, how) for name, cell in cells.items()
                ]

    def _pair(self, found: RowRead, subject: Subject) -> None:
        """Puts in the other end's frequency, where the mapping says that it follows from this."""
        for value in [v for v in found.values if self._is_pair(v)]:
            try:
                name, text = paired(value.target.name, value.text, found.slots)
            except ValueError as fault:
                self.faults.error("unreadable-cell", self._origin(value), str(fault), subject)
                continue
            target = targets_of(self.rule.row)[name]
            cells = found.slots[target.sheet, target.side]
            scalar = Scalar(text, quoted=False, origin=self._origin(value))
            if cells.setdefault(target.column.path, scalar) is scalar:
                how = "by the T/R spacing and the half of the other end"
                found.values.append(replace(value, target=target, text=text, how=how))

    def _is_pair(self, value: ValueRead) -> bool:
        return any(f.theirs.pair and f.heading == value.heading for f in self.feeds.values())

    @staticmethod
    def _link(found: RowRead) -> None:
        """Fills in the fields that name another record of the same row."""
        for sheet, path, other, other_path in LINKED:
            for side in ("", "a", "b", "far"):
                cells = found.slots.get((sheet, side), {})
                far = found.slots.get((other, "" if other == "Links" else side), {})
                far_path = (side or "end", *other_path) if other == "Links" else other_path
                if far and far_path in far:
                    if cells or sheet == "Devices":
                        cells.setdefault(path, far[far_path])
                elif far and path in cells:
                    far[far_path] = cells[path]


def _how(feed: _Feeds, reader: CellReader, value: Any, text: str) -> Iterator[str]:
    """How a cell was read, in words."""
    if feed.parts is not None:
        yield f"{shown(str(value))} of the form {feed.theirs.split}"
    if reader.how:
        yield reader.how
    elif reader.values and str(value).strip() != text:
        yield f"{shown(str(value))} means {text}, as the mapping says"
    elif any(feed.theirs.scales) and not feed.theirs.unit:
        yield f"{value} is {text}, as the mapping says"
    elif feed.unit and reader.column.unit and feed.unit != reader.column.unit:
        yield f"{value} {feed.unit} is {text} {reader.column.unit}"
    elif feed.unit and reader.column.unit:
        yield f"in {feed.unit}, as the {'mapping' if feed.theirs.unit else 'heading'} says"
    elif reader.column.unit:
        yield f"no unit is said: read in {reader.column.unit}"
    else:
        yield "as it is written"
