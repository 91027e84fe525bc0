"""CSV files and workbooks to a plan's tree: as we name their columns, or as a mapping says."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from verifier.errors import InputError
from verifier.files.faults import Faults, nearest, shown
from verifier.files.plan.columns import normal, sheets
from verifier.files.plan.instructions import TITLE
from verifier.files.plan.tree import Mapping
from verifier.files.sheets.csv_read import csv_pages
from verifier.files.sheets.page import Page
from verifier.files.sheets.records import SheetRow, network, records
from verifier.files.sheets.to_tree import joined, to_tree
from verifier.model.problem import Origin

if TYPE_CHECKING:
    from verifier.files.mapping.apply import Foreign

Pages = tuple[Page, ...]


def read_folder(folder: Path, faults: Faults) -> Mapping:
    """The tree of a folder of CSV files, found by their names in any case.

    Raises:
        InputError: none of the files is there, or one cannot be read.
    """
    names = ", ".join(f"{name}.csv" for name in sheets())
    return _tree(csv_pages(folder), folder, f"no CSV file of a plan is here: {names}", None, faults)


def read_workbook(data: bytes, path: Path, faults: Faults) -> Mapping:
    """The tree of an .xlsx or .xlsm workbook, its sheets found by their names in any case.

    Raises:
        InputError: not a workbook, too large, or without any of the sheets.
    """
    from verifier.files.sheets.workbook_read import workbook_pages  # noqa: PLC0415

    nothing = f"none of the sheets of a plan is here: {', '.join(sheets())}"
    return _tree(workbook_pages(data, path), path, nothing, None, faults)


def read_foreign_pages(pages: Pages, foreign: Foreign, path: Path, faults: Faults) -> Mapping:
    """The tree of pages that a mapping describes. Raises InputError."""
    return _tree(pages, path, "the mapping does not name this file", foreign, faults)


def _tree(
    pages: Pages, path: Path, nothing: str, foreign: Foreign | None, faults: Faults
) -> Mapping:
    """The tree of all pages that a plan or the mapping knows."""
    rows: dict[str, list[SheetRow]] = {}
    fields = {}
    used: frozenset[str] = frozenset()
    if foreign is not None:
        from verifier.files.mapping.apply import read_mapped  # noqa: PLC0415

        rows, used = read_mapped(pages, foreign, path, faults)
    found = _by_sheet(tuple(page for page in pages if page.name not in used), faults)
    if not found and not used:
        raise InputError(f"{path}: {nothing}", faults.problems())
    for name, page in found.items():
        if name == "Network":
            fields = network(page, sheets()[name], faults)
        else:
            own = list(records(page, sheets()[name], faults))
            more = rows.get(name, [])
            named = name in ("Devices", "Sites")
            rows[name] = joined(own, more, faults) if named else own + more
    return to_tree(fields, rows, Origin(path.name), faults)


def _by_sheet(pages: Pages, faults: Faults) -> dict[str, Page]:
    """Which page is which sheet of a plan, in the plan's own order."""
    known = {normal(name): name for name in sheets()}
    found: dict[str, Page] = {}
    for page in pages:
        name = known.get(normal(page.name))
        if normal(page.name) == normal(TITLE):
            continue  # written for people
        if name is None:
            message = (
                f"{shown(page.name)} is no sheet of a plan and is not read"
                f"{nearest(page.name, sheets())}"
            )
            faults.warn("unknown-sheet", page.origin(None), message)
        elif name in found:
            message = f"sheet {name} is there twice: also as {shown(found[name].name)}"
            faults.error("sheet-twice", page.origin(None), message)
        else:
            found[name] = page
    return {name: found[name] for name in sheets() if name in found}
