"""The ledger: every cell of a foreign sheet is accounted for, once."""

import csv
import io
from collections import Counter
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from tests.files.mapping.test_mapping import HOUSES
from verifier.files.read_plan import read_foreign
from verifier.model.ledger import HIDDEN, CellRecord, Ledger


def filled_cells(path: Path) -> Counter[tuple[str, int, int]]:
    """The cells of a file that hold anything, as the libraries for such files see them."""
    found: Counter[tuple[str, int, int]] = Counter()
    if path.suffix == ".xlsx":
        for sheet in openpyxl.load_workbook(path).worksheets:
            for row in sheet.iter_rows():
                for cell in row:
                    if cell.value is not None and str(cell.value).strip():
                        found[sheet.title, cell.row, cell.column] += 1
        return found
    text = path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    text = text.removeprefix("sep=,\n")
    first = path.read_text("utf-8-sig").startswith("sep=")
    delimiter = max(";\t,", key=text.splitlines()[0].count)
    rows = csv.reader(io.StringIO(text), delimiter=delimiter)
    for number, cells in enumerate(rows, start=2 if first else 1):
        for column, text in enumerate(cells, start=1):
            if text.strip():
                found[path.stem, number, column] += 1
    return found


def ledger_of(path: Path, mapping: str) -> Ledger:
    out = path.parent / "ledger.toml"
    out.write_text(f'format = "plan-verifier/mapping/1"\n{mapping}', encoding="utf-8")
    return read_foreign(path, out)[2]


def cell_at(ledger: Ledger, heading: str, row: int) -> CellRecord:
    """The one cell of a column in a row."""
    (found,) = (c for c in ledger.cells if c.heading == heading and c.row == row)
    return found


@pytest.mark.parametrize("house", HOUSES)
def test_every_filled_cell_is_in_the_ledger_once(house: str, tmp_path: Path) -> None:
    build, mapping, _ = HOUSES[house]
    path = build(tmp_path)
    ledger = ledger_of(path, mapping)
    assert Counter((c.sheet, c.row, c.column) for c in ledger.cells) == filled_cells(path)


def test_a_cell_that_is_read_says_into_what_and_how(tmp_path: Path) -> None:
    build, mapping, _ = HOUSES["german"]
    ledger = ledger_of(build(tmp_path), mapping)
    (read,) = cell_at(ledger, "Sendefrequenz B [GHz]", 2).reads
    assert (read.field, str(read.subject), read.value, read.unit) == (
        "Links.b.tx_mhz", "7 end b", "12877", "MHz",
    )  # fmt: skip
    assert read.how == "12,877 is 12877, as the mapping says"
    left = cell_at(ledger, "Bemerkung", 2)
    assert (left.fate, left.reason) == ("left out", "no part of the plan")


def test_a_row_of_an_end_says_which_end(tmp_path: Path) -> None:
    build, mapping, _ = HOUSES["ends"]
    ledger = ledger_of(build(tmp_path), mapping)
    assert str(cell_at(ledger, "TX frequency", 2).reads[0].subject) == "Hop 1 end b"
    assert str(cell_at(ledger, "Mgmt IP", 2).reads[0].subject) == "quarry"


def test_headings_titles_and_units_have_their_fates(tmp_path: Path) -> None:
    build, mapping, _ = HOUSES["merged"]
    ledger = ledger_of(build(tmp_path), mapping)
    fates: dict[int, set[Any]] = {}
    for cell in ledger.cells:
        fates.setdefault(cell.row, set()).add(cell.fate)
    assert fates == {
        1: {"title"}, 2: {"title"}, 4: {"heading"}, 5: {"heading"}, 6: {"unit row"}, 7: {"read"},
    }  # fmt: skip


def test_what_nobody_reads_is_told_by_column_with_its_figures(tmp_path: Path) -> None:
    path = tmp_path / "u.csv"
    path.write_text("Unit,IP,Freq\nr,198.18.0.1/24,13143\ns,198.18.0.2/24,n/a\n")
    ledger = ledger_of(
        path, '[[table]]\nrow = "device"\n[table.columns]\n"Unit" = "Devices.name"\n'
        '"IP" = "Devices.address"\n"Freq" = "unread"\n',
    )  # fmt: skip
    (column,) = ledger.unread()
    assert (column.heading, column.cells, column.figures, column.example) == ("Freq", 2, 1, "13143")


def test_a_secret_is_in_no_ledger(tmp_path: Path) -> None:
    path = tmp_path / "u.csv"
    path.write_text("Unit,IP,SNMP community\nr,198.18.0.1/24,tide-table\n")
    ledger = ledger_of(
        path, '[[table]]\nrow = "device"\n[table.columns]\n"Unit" = "Devices.name"\n'
        '"IP" = "Devices.address"\n',
    )  # fmt: skip
    assert "tide-table" not in repr(ledger)
    assert cell_at(ledger, "SNMP community", 2).shown == HIDDEN
