"""A proposed mapping as text: what each column of a sheet seems to be, and what must be settled."""

from __future__ import annotations

from collections.abc import Iterator

from tabulate import tabulate

from verifier.model.proposal import Proposal, ProposedColumn, ProposedTable
from verifier.report.style import paragraph, plain

_HEADINGS = ("COLUMN", "FIELD", "END", "UNIT", "A CELL", "IS READ AS", "HOW SURE")
_LONGEST = (24, 26, 4, 6, 15, 15, 8)


def text(proposal: Proposal) -> str:
    """The tables with their columns, then what a person must look at."""
    lines: list[str] = []
    for table in proposal.tables:
        lines += [*_table(table), ""]
    for page, reason in proposal.left:
        lines += paragraph(f"sheet {plain(page)}: {reason}; left out")
    return "\n".join(lines) + ("\n" if lines else "")


def _table(table: ProposedTable) -> Iterator[str]:
    lies = {"rows": "", "columns": ", its headings at the left", "form": ", one form each"}
    doubt = f" ({table.doubt})" if table.doubt else ""
    yield f"sheet {plain(table.page)}: each row is one {table.row}{lies[table.layout]}{doubt}"
    yield from tabulate(
        [_row(column) for column in table.columns],
        _HEADINGS,
        tablefmt="plain",
        disable_numparse=True,
    ).splitlines()
    for column in table.columns:
        if column.sure == "unsure":
            yield from paragraph(f"unsure: {plain(column.heading)}: {plain(column.why)}", "", 98)
    for field, made in table.made:
        yield from paragraph(f"made: {field} = {plain(made)}: no column holds it", "", 98)


def _row(column: ProposedColumn) -> list[str]:
    cells = (
        column.heading, column.field or "-", column.end, column.unit, column.example,
        column.read_as, column.sure,
    )  # fmt: skip
    return [_short(plain(cell), most) for cell, most in zip(cells, _LONGEST, strict=True)]


def _short(words: str, most: int) -> str:
    return words if len(words) <= most else words[: most - 3] + "..."
