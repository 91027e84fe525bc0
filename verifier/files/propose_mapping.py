"""A first mapping for somebody's own sheet: what is recognised, and what a person must settle."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from verifier.errors import InputError, UsageError
from verifier.files.disk import read_bytes, write_new
from verifier.files.faults import shown
from verifier.files.mapping.cell_words import names
from verifier.files.mapping.choices import (
    LEAVE_OUT,
    choices,
    how_sure,
    proposed,
    quoted,
    value_of,
    why_unread,
)
from verifier.files.mapping.form import FORMAT, UNSURE
from verifier.files.mapping.guess import TheirColumn, TheirTable, their_tables
from verifier.files.mapping.model import targets_of
from verifier.files.sheets.cell import as_shown
from verifier.files.sheets.csv_text import PROPOSED, unsure_lines
from verifier.files.sheets.open_pages import VALUES_ONLY, WHY_VALUES_ONLY, pages_of
from verifier.files.sheets.page import Page, listed
from verifier.model.proposal import Proposal, ProposedTable

HEAD = (
    '# How the sheet is read. "unsure": write one of the readings that stand above the line.',
    '# "unread": nothing reads the column; name its field, or write {leave_out = "reason"}.',
)


def propose(theirs: Path, out: Path) -> Proposal:
    """Writes a mapping for the sheet at `theirs` to `out`; what a person should know of it.

    Raises:
        InputError: the sheet cannot be read, or nothing in it is recognised.
        UsageError: `out` is there already or cannot be written.
    """
    if out.exists():
        raise UsageError(f"{out} is there already: name a file that is not")
    pages, head = _pages(theirs)
    left = {page.name: reason for page in pages if (reason := _left_out(page))}
    found = [table for page in pages if page.name not in left for table in their_tables(page)]
    known = [table for table in found if table.row]
    if not known:
        raise InputError(f"{theirs}: nothing is recognised: write the mapping by hand")
    text = "\n".join((
        f'format = "{FORMAT}"', f"sheet = {quoted(theirs.name)}", *HEAD, *head,
        *_leave_out(left), *(_toml(table, alone=len(pages) == 1) for table in known), "",
    ))  # fmt: skip
    write_new(out, text.encode())
    used = {table.page.name for table in known}
    others = [(p.name, "not recognised") for p in pages if p.name not in used | left.keys()]
    unsure = sum(how_sure(c) == "unsure" for table in known for c in table.columns)
    return Proposal(tuple(map(_table, known)), (*left.items(), *others), unsure + len(head))


def _pages(theirs: Path) -> tuple[tuple[Page, ...], list[str]]:
    """The pages, and what a person must say of the file itself."""
    if theirs.suffix.lower() in VALUES_ONLY:
        why = f"{WHY_VALUES_ONLY}; or write true"
        return pages_of(theirs, values_only=True), [f'values_only = "{UNSURE}"  # unsure: {why}']
    lines = unsure_lines(read_bytes(theirs)) if theirs.suffix.lower() == ".csv" else {}
    if not lines:
        return pages_of(theirs), []
    number, text = next(iter(lines.items()))
    known = f"in {PROPOSED} line {number} is {shown(text)}; look at line {listed(list(lines))}"
    line = f'encoding = "{UNSURE}"  # unsure: {known}; if they read well, write "{PROPOSED}"'
    return pages_of(theirs, encoding=PROPOSED), [line]


def _left_out(page: Page) -> str:
    """Why a page is proposed as no part of the plan; empty where it may be one."""
    if any(rule == "hidden-sheet" for rule, _ in page.notes):
        return "it is hidden"
    if names(page.name, "pages"):
        return "its name says that it is no present plan"
    return ""


def _leave_out(left: dict[str, str]) -> Iterator[str]:
    if left:
        yield "\n[leave_out]"
        yield from (f"{quoted(page)} = {quoted(reason)}" for page, reason in left.items())


def _toml(table: TheirTable, *, alone: bool) -> str:
    """The part of the mapping about one table."""
    page = "*" if alone else table.page.name
    doubt = f"  # {table.row_doubt}" if table.row_doubt else ""
    lines = ["", "[[table]]", f"page = {quoted(page)}", f'row = "{table.row}"{doubt}']
    if table.layout != "rows":
        lines.append(f'layout = "{table.layout}"')
    if table.fill_down:
        lines.append(f"fill_down = [{', '.join(map(quoted, table.fill_down))}]")
    lines += ["", "[table.columns]"]
    lines += [line for column in table.columns for line in _lines(table, column)]
    if table.made:
        lines += ["", "[table.made]", "# no column holds these: is this what they are called?"]
        lines += [f"{quoted(name)} = {quoted(text)}" for name, text in table.made.items()]
    return "\n".join(lines)


def _lines(table: TheirTable, column: TheirColumn) -> Iterator[str]:
    """The line of a column, with its readings above it where it is not sure."""
    line = f"{quoted(column.heading)} = {value_of(column)}"
    sure = how_sure(column)
    if sure == "unsure":
        example = f" ({as_shown(column.values[0])[:30]!r})" if column.values else ""
        why = column.doubt.replace("; write unit", "").replace(": write decimal", "")
        yield f"# unsure: {_one_line(why + example)}"
        yield '# Write instead of "unsure" one of:'
        for choice in choices(column, targets_of(table.row)):
            read = f"    # {_one_line(choice.read_as)}" if choice.read_as else ""
            yield f"#   {choice.value}{read}"
        yield f"#   {LEAVE_OUT}"
    yield line + (f"  # {_one_line(why_unread(column))}" if sure == "unread" else "")


def _one_line(text: str) -> str:
    """A text that stays within its comment."""
    return "".join(c if c.isprintable() else " " for c in text)


def _table(table: TheirTable) -> ProposedTable:
    known = targets_of(table.row)
    columns = tuple(proposed(column, known) for column in table.columns)
    made: Sequence[tuple[str, str]] = tuple(table.made.items())
    return ProposedTable(
        table.page.name, table.row, table.layout, columns, tuple(made), table.row_doubt
    )
