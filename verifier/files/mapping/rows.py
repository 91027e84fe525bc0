"""Which lines below the headings are rows of the plan, and which are not: skipped, and told."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from verifier.files.faults import Faults, shown
from verifier.files.mapping.account import Account
from verifier.files.mapping.cell_words import begins_with, is_status, names
from verifier.files.mapping.model import TableMapping, key_of
from verifier.files.mapping.table import Line, Table, repeated_lines
from verifier.files.mapping.table_rows import TableReader
from verifier.files.sheets.find_headings import heading_text
from verifier.files.sheets.page import Page, listed
from verifier.model.ledger import Fate

_FEW_WORDS = 3
_MANY = 3


@dataclass(frozen=True, slots=True)
class _Skipped:
    """A line that is no row: what it is, why, and the key of the mapping that settles it."""

    fate: Fate
    reason: str
    key: str = ""


def sort_rows(  # noqa: PLR0913, PLR0917
    page: Page,
    rule: TableMapping,
    table: Table,
    reader: TableReader,
    account: Account,
    faults: Faults,
) -> list[Line]:
    """The lines that are rows of the plan; of all others the ledger and a warning say why not."""
    rows = []
    skipped: dict[_Skipped, list[Line]] = {}
    look = _Look(page, rule, table, reader, repeated_lines(table))
    for line in table.lines:
        why = look.why(line)
        if why is None:
            rows.append(line)
        else:
            skipped.setdefault(why, []).append(line)
            for at, cell in line.cells.items():
                account.mark(cell.row, cell.column, why.fate, why.reason, reader.names.get(at, ""))
                if reader.states.get(at, ("",))[0] == "secret":
                    account.hide(cell.row, cell.column)
    for why, lines in skipped.items():
        _tell(page, why, lines, rule, faults)
    return rows


def _tell(
    page: Page, why: _Skipped, lines: Sequence[Line], rule: TableMapping, faults: Faults
) -> None:
    """One warning for all rows that are skipped for one reason, unless a person confirmed it."""
    if _confirmed(why, rule):
        return
    numbers = [line.number for line in lines]
    one = len(numbers) == 1
    what = f"row{'' if one else 's'} {listed(numbers)}: {why.reason}; not read"
    if why.fate in ("footer", "note"):
        first = heading_text(next(iter(lines[0].cells.values())).value)
        what += f" ({shown(first, 40)})"
    if why.key:
        what += f"; {why.key} in [table.skip_rows] settles it"
    faults.warn("row-skipped", page.origin(numbers[0]), what)


def _confirmed(why: _Skipped, rule: TableMapping) -> bool:
    skip = rule.skip
    if why.key.startswith("status"):
        return False
    given = {
        "struck_through = true": skip.struck_through,
        "hidden = true": skip.hidden,
        "footer = true": skip.footer,
    }
    return given.get(why.key) is True or why.fate == "repeat" or not why.key


@dataclass(slots=True)
class _Look:
    """Looks at the lines of one table."""

    page: Page
    rule: TableMapping
    table: Table
    reader: TableReader
    again: set[int]

    def why(self, line: Line) -> _Skipped | None:
        """Why a line is no row of the plan; None where it is one."""
        skip = self.rule.skip
        if line.number in self.again:
            return _Skipped("repeat", "the headings once more")
        if skip.struck_through is not False and self._struck(line):
            return _Skipped("row skipped", "struck through", "struck_through = true")
        if skip.hidden is not False and self._hidden(line):
            return _Skipped("row skipped", "hidden", "hidden = true")
        if (found := self._status(line)) is not None:
            return found
        if skip.footer is not False:
            return self._footer(line)
        return None

    def _struck(self, line: Line) -> bool:
        struck = [c for c in line.cells.values() if (c.row, c.column) in self.page.struck]
        return len(struck) > len(line.cells) / 2

    def _hidden(self, line: Line) -> bool:
        return all(c.row in self.page.hidden_rows for c in line.cells.values())

    def _status(self, line: Line) -> _Skipped | None:
        """What the status of a row says."""
        told = {key_of(h): {key_of(w) for w in words} for h, words in self.rule.skip.status.items()}
        for at, cell in line.cells.items():
            name = self.reader.names.get(at, "")
            text = heading_text(cell.value)
            if (settled := told.get(key_of(name))) is not None:
                if key_of(text) in settled:
                    return _Skipped("row skipped", f"{name} is {shown(text)}, as the mapping says")
                continue
            if at not in self.reader.feeds and _says_no_plan(name, text):
                quoted = f'status = {{"{name}" = ["{text}"]}}'
                return _Skipped("row skipped", f"{name or 'a cell'} is {shown(text)}", quoted)
        return None

    def _footer(self, line: Line) -> _Skipped | None:
        """A total, a note, a word for a group: a line of few cells that names nothing."""
        first = line.cells[min(line.cells)]
        known = [at for at in line.cells if at in self.reader.feeds]
        few = len(self.table.headings) >= _MANY and len(line.cells) * _MANY <= len(
            self.table.headings
        )
        text = heading_text(first.value)
        whole = len(text.split()) == 1 and not any(map(str.isdigit, text))
        if begins_with(text, "footer") and (whole or len(known) < len(self.reader.feeds)):
            return _Skipped("footer", "a total or a note", "footer = true")
        if len(line.cells) == 1 and len(self.table.headings) > 1 and not self._fills():
            return _Skipped("note", "one cell alone is no row", "footer = true")
        if not known and few:
            return _Skipped(
                "note", "no cell of it stands in a column that is read", "footer = true"
            )
        return None

    def _fills(self) -> bool:
        """Whether the only cell of a line may be one of a row whose others repeat from above."""
        filled = self.rule.fill_down
        return len(filled) >= len(self.table.headings) - 1


def _says_no_plan(name: str, text: str) -> bool:
    """Whether a cell says that its row is cancelled, a spare and the like."""
    if is_status(name):
        return names(text, "not_plan")
    few = len(text.split()) <= _FEW_WORDS and not re.search(r"\d", text)
    return few and begins_with(text, "not_plan")
