"""Their sheets, as a mapping describes them, to the records of ours; each cell into the ledger."""

from __future__ import annotations

import fnmatch
import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath

from verifier.errors import InputError
from verifier.files.faults import Faults, nearest, shown
from verifier.files.mapping.account import Account, Accounts
from verifier.files.mapping.ends import assembled
from verifier.files.mapping.form_tables import form_table
from verifier.files.mapping.model import SheetMapping, TableMapping, key_of
from verifier.files.mapping.rows import sort_rows
from verifier.files.mapping.table import Cell, Grid, Table, cells_of, heading_lines, table_at
from verifier.files.mapping.table_rows import TableReader
from verifier.files.mapping.words import guess
from verifier.files.plan.columns import normal, sheets
from verifier.files.plan.instructions import TITLE
from verifier.files.sheets.cell import as_shown
from verifier.files.sheets.page import Page, listed
from verifier.files.sheets.records import SheetRow
from verifier.files.sheets.to_tree import joined
from verifier.files.trade_words import looks_secret

_OWN = {"device": "Devices", "site": "Sites"}
Records = dict[str, list[SheetRow]]


@dataclass(frozen=True, slots=True)
class Foreign:
    """How somebody's own sheet is read, and the accounts of what became of its cells."""

    mapping: SheetMapping
    accounts: Accounts


def read_mapped(
    pages: Sequence[Page], foreign_sheet: Foreign, path: FilePath, faults: Faults
) -> tuple[Records, frozenset[str]]:
    """The records by sheet of ours, and the names of the pages that are not ours.

    Raises:
        InputError: the mapping speaks of a page that is not there.
    """
    mapping, accounts = foreign_sheet.mapping, foreign_sheet.accounts
    own: Records = {}
    beside: list[tuple[str, list[SheetRow]]] = []
    for origin, message in mapping.unsure:
        faults.error("mapping-unsure", origin, message)
    of_page: dict[str, list[TableMapping]] = {}
    for rule in mapping.tables:
        for page in _pages(pages, rule, path):
            of_page.setdefault(page.name, []).append(rule)
    ours = {normal(name) for name in (*sheets(), TITLE)}
    foreign = [p for p in pages if p.name in of_page or normal(p.name) not in ours]
    for page in foreign:
        account = accounts.of(page.name)
        reason = mapping.leave_out.get(key_of(page.name))
        if page.name not in of_page:
            cells = cells_of(page, lambda _: False, faults)
            _fill(cells, account)
            _leave_out(account, reason)
            _hide_secrets(cells, account)
            continue
        for rule, found in _Page(page, of_page[page.name], faults, account).records():
            for sheet, rows in found.items():
                if sheet in ("Devices", "Sites") and _OWN.get(rule.row) != sheet:
                    beside.append((sheet, rows))
                else:
                    own.setdefault(sheet, []).extend(rows)
    for sheet, rows in beside:  # told of in rows about something else: a name is one record
        own[sheet] = joined(own.get(sheet, []), rows, faults)
    _tell_unread(foreign, accounts, faults)
    return own, frozenset(p.name for p in foreign)


def _pages(pages: Sequence[Page], rule: TableMapping, path: FilePath) -> list[Page]:
    """The pages that a table of the mapping is about."""
    if rule.pages == ("*",):
        if len(pages) == 1:
            return list(pages)
        there = ", ".join(shown(page.name) for page in pages)
        raise InputError(f'{path}: page = "*" is the only sheet, but there are {there}')
    found: list[Page] = []
    for name in rule.pages:
        wanted = key_of(name).removesuffix(".csv")
        some = [page for page in pages if fnmatch.fnmatchcase(key_of(page.name), wanted)]
        some = [page for page in pages if key_of(page.name) == wanted] or some
        if not some:
            names = [page.name for page in pages]
            there = ", ".join(map(shown, names))
            hint = nearest(name, names)
            raise InputError(f"{path}: no sheet is called {shown(name)}{hint}; there are {there}")
        found += [page for page in some if page not in found]
    return found


def _fill(cells: Iterable[Cell], account: Account) -> None:
    """Takes every cell into the ledger, before anything is read."""
    for cell in cells:
        account.fill(cell.row, cell.column, as_shown(cell.value))


def _hide_secrets(cells: Sequence[Cell], account: Account) -> None:
    """Takes out of the ledger what stands below or beside a word for a secret, in any table."""
    columns: dict[int, int] = {}
    rows: dict[int, int] = {}
    for cell in cells:
        if isinstance(cell.value, str) and looks_secret(cell.value):
            columns.setdefault(cell.column, cell.row)
            if account.fate(cell.row, cell.column) != "heading":
                rows.setdefault(cell.row, cell.column)
                account.hide(cell.row, cell.column)
    for cell in cells if columns else ():
        below = cell.row > columns.get(cell.column, cell.row)
        if below or cell.column > rows.get(cell.row, cell.column):
            account.hide(cell.row, cell.column)


def _leave_out(account: Account, reason: str | None) -> None:
    """Says of a page that no table is about what became of it."""
    for record in list(account.records()):
        if reason:
            account.mark(record.row, record.column, "left out", reason)
        else:
            account.mark(record.row, record.column, "not read", NO_PAGE)


NO_PAGE = "the mapping does not speak of this sheet"


@dataclass(slots=True)
class _Page:
    """Reads all tables of one page."""

    page: Page
    rules: list[TableMapping]
    faults: Faults
    account: Account

    def records(self) -> list[tuple[TableMapping, Records]]:
        """The records of each table."""
        known = {key for rule in self.rules for key in rule.headings()}
        cells = cells_of(self.page, known.__contains__, self.faults)
        _fill(cells, self.account)
        found = []
        firsts: list[int] = []
        grids = {rule.layout: Grid.of(self.page, cells, rule.layout) for rule in self.rules}
        starts = {id(rule): self._starts(rule, grids[rule.layout]) for rule in self.rules}
        for rule in self.rules:
            records: Records = {}
            if (table := self._found(rule, grids[rule.layout], starts)) is None:
                self._no_headings(rule)
            else:
                firsts.append(min(h.cell.row for h in table.headings.values()))
                self._table(rule, table, records)
            found.append((rule, records))
        self._titles(cells, firsts)
        _hide_secrets(cells, self.account)
        return found

    @staticmethod
    def _starts(rule: TableMapping, grid: Grid) -> list[int]:
        """The lines of headings of a table; of forms none."""
        if rule.layout == "form":
            return []
        return heading_lines(grid, rule.headings().__contains__, rule.heading_row)

    def _found(self, rule: TableMapping, grid: Grid, starts: dict[int, list[int]]) -> Table | None:
        """The table that a mapping is about; None where it is not on the page."""
        if rule.layout == "form":
            return form_table(grid, rule.headings().__contains__)
        lines = starts[id(rule)]
        if not lines:
            return None
        others = (
            i
            for r in self.rules
            if r is not rule and r.layout == rule.layout
            for i in starts[id(r)]
        )
        end = min((i for i in others if i > lines[0]), default=len(grid.lines))
        return table_at(grid, lines[0], end)

    def _no_headings(self, rule: TableMapping) -> None:
        wanted = ", ".join(shown(t.heading) for t in itertools.islice(rule.columns.values(), 4))
        message = f"none of the headings of the mapping is here: {wanted} and so on"
        self.faults.error("no-headings", self.page.origin(None), message)

    def _table(self, rule: TableMapping, table: Table, records: Records) -> None:
        """Reads one table into `records`."""
        for cell in table.groups:
            self.account.mark(cell.row, cell.column, "heading")
        for heading in table.headings.values():
            self.account.mark(heading.cell.row, heading.cell.column, "heading")
        for cell in table.units:
            self.account.mark(cell.row, cell.column, "unit row")
        reader = TableReader(self.page, rule, table, self.faults, self.account)
        if not reader.find_columns():
            return
        rows = sort_rows(self.page, rule, table, reader, self.account, self.faults)
        read = [reader.row(line) for line in rows]
        reader.finish()
        for sheet, found in assembled(rule, read, self.faults, self.account).items():
            records.setdefault(sheet, []).extend(found)

    def _titles(self, cells: Sequence[Cell], read: Iterable[int]) -> None:
        """What stands above all tables is a title; told, for it may say what is meant below."""
        first = min(read, default=0)
        title = [cell for cell in cells if cell.row < first]
        for cell in title:
            self.account.mark(cell.row, cell.column, "title", "it stands above the headings")
        rows = sorted({c.row for c in title if self.account.fate(c.row, c.column) == "title"})
        if rows and not any(rule.skip.title for rule in self.rules):
            shown_first = shown(as_shown(title[0].value), 40)
            message = (
                f"row{'' if len(rows) == 1 else 's'} {listed(rows)} above the headings: not read "
                f"({shown_first}); title = true in [table.skip_rows] settles it"
            )
            self.faults.warn("row-skipped", self.page.origin(rows[0]), message)


def _tell_unread(pages: Sequence[Page], accounts: Accounts, faults: Faults) -> None:
    """Warns of what is not accounted for, by column; of a page without any table in one line."""
    by_name = {page.name: page for page in pages}
    for column in accounts.ledger().unread():
        page = by_name[column.sheet]
        figures = f"{column.figures} figure{'' if column.figures == 1 else 's'}"
        cells = f"{column.cells} cell{'' if column.cells == 1 else 's'} without a figure"
        held = figures if column.figures else cells
        such = f"{held}, such as {shown(column.example, 40)} in row {column.example_row}"
        if column.reason == NO_PAGE:
            message = (
                f"sheet {shown(column.sheet)} is not read: {such}; write a [[table]] for it in the "
                f'mapping, or {shown(column.sheet)} = "reason" under [leave_out]'
            )
            faults.warn("column-not-read", page.origin(None), message)
            continue
        known = guess(column.heading) if column.heading else None
        if known is not None and not known.field and not column.figures:
            message = f"{such}: {column.reason} ({known.reason})"
            faults.warn("words-not-read", page.origin(None, column.heading), message)
            continue
        message = (
            f'{such}: {column.reason}; write its field in the mapping, or {{leave_out = "reason"}}'
        )
        origin = page.origin(None if column.heading else column.first_row, column.heading)
        faults.warn("column-not-read", origin, message)
