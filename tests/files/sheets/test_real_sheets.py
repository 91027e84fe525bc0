"""Sheets and files as people keep them: nothing is dropped or guessed without a word."""

import io
import re
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from tests.files.by_hand import DEVICE, column_of, said_of, unit_row
from verifier.errors import InputError
from verifier.files.read_plan import read_plan

# What a spreadsheet hides.


def test_hidden_rows_columns_and_filters_are_read_and_told(workbook: Any) -> None:
    def hide(page: Any) -> None:
        page.row_dimensions[3].hidden = True
        page.row_dimensions[4].hidden = True
        page.row_dimensions[99].hidden = True  # nothing stands there
        page.column_dimensions["C"].hidden = True
        page.column_dimensions["Z"].hidden = True
        page.auto_filter.ref = "A1:C5"
        page.auto_filter.add_filter_column(0, ["d1"])

    rows = [[*DEVICE, "SNMP"], *([f"d{n}", f"198.18.0.{n}/24", "field"] for n in range(1, 5))]
    plan, problems = read_plan(workbook(rows, hide))
    assert [d.name for d in plan.devices] == ["d1", "d2", "d3", "d4"]
    assert plan.devices[2].snmp == "field"
    told = {p.rule: p.message for p in problems}
    assert {p.severity for p in problems} == {"warning"}
    assert told.keys() == {"hidden-row", "hidden-column", "filter-set"}
    assert "rows 3-4 are hidden" in told["hidden-row"]
    assert "(C)" in told["hidden-column"]


@pytest.mark.parametrize("state", ["hidden", "veryHidden"])
def test_a_hidden_sheet_is_read_and_told(workbook: Any, state: Any) -> None:
    path = workbook(unit_row())
    book = openpyxl.load_workbook(path)
    book.create_sheet("Front")
    book["Devices"].sheet_state = state
    book.save(path)
    plan, problems = read_plan(path)
    assert len(plan.devices) == 1
    assert {p.rule for p in problems} == {"hidden-sheet", "unknown-sheet"}


def test_filter_buttons_that_hide_nothing_are_not_told(workbook: Any) -> None:
    def buttons(page: Any) -> None:
        page.auto_filter.ref = "A1:B2"

    assert read_plan(workbook(unit_row(), buttons))[1] == ()


def test_merged_cells_in_the_data_are_named(workbook: Any) -> None:
    rows = [[*DEVICE, "Site"], ["d1", "198.18.0.1/24", "Quarry"], ["d2", "198.18.0.2/24", None]]
    _, problems = read_plan(workbook(rows, lambda page: page.merge_cells("C2:C3")))
    assert said_of(problems) == [("error", "merged-cells")]
    assert str(problems[0].origin) == "plan.xlsx, sheet Devices, row 2"
    assert "C2:C3" in problems[0].message


def test_many_merged_cells_are_told_in_a_few_lines(workbook: Any) -> None:
    rows: list[Any] = [[*DEVICE, "Site", "x"]]
    rows += [[f"d{n}", f"198.18.0.{n}/24", "Quarry", None] for n in range(1, 60)]

    def merge(page: Any) -> None:
        for n in range(2, 61):
            page.merge_cells(f"C{n}:D{n}")

    _, problems = read_plan(workbook(rows, merge))
    merged = [p for p in problems if p.rule == "merged-cells"]
    assert len(merged) == 7
    assert "53 more" in merged[-1].message


def _rewrite(path: Path, member: str, old: bytes, new: bytes) -> None:
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts[member] = re.sub(old, new, parts[member])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)


@pytest.mark.parametrize("stored", [b"A1", b"A1:A1", b"A1:XFD1048576", b"C5:D9"])
def test_the_stored_size_of_a_sheet_is_not_believed(workbook: Any, stored: bytes) -> None:
    rows = [DEVICE, *([f"d{n}", f"198.18.0.{n}/24"] for n in range(1, 9))]
    path = workbook(rows)
    _rewrite(
        path,
        "xl/worksheets/sheet1.xml",
        rb'<dimension ref="[^"]*"',
        b'<dimension ref="%s"' % stored,
    )
    plan, problems = read_plan(path)
    assert len(plan.devices) == 8
    assert problems == ()


def test_a_cell_at_the_far_corner_costs_nothing(workbook: Any) -> None:
    """A sheet of seventeen milliard cells, three of them filled."""

    def far(page: Any) -> None:
        page["XFD1048576"] = " "

    plan, problems = read_plan(workbook(unit_row(), far))
    assert len(plan.devices) == 1
    assert problems == ()


def test_a_formula_without_a_result_is_an_error_with_its_place(workbook: Any) -> None:
    plan, problems = read_plan(workbook(column_of("Gateway", '="198.18.0."&9')))
    assert plan.devices[0].gateway is None
    assert said_of(problems) == [("error", "unreadable-cell")]
    assert str(problems[0].origin) == "plan.xlsx, sheet Devices, row 2, column Gateway"
    assert "open and save it" in problems[0].message


# Titles, groups and devices around the headings.


def test_headings_below_a_title_are_found_and_told(workbook: Any) -> None:
    rows = [
        ["Coastal ring"],
        [],
        ["issue", "3"],
        [*DEVICE, "GW"],
        ["r", "198.18.0.1/24", "198.18.0.9"],
    ]
    plan, problems = read_plan(workbook(rows))
    assert str(plan.devices[0].gateway) == "198.18.0.9"
    assert said_of(problems) == [("warning", "heading-row")]
    assert "in row 4" in problems[0].message


def test_where_two_rows_could_be_headings_none_is_guessed(workbook: Any) -> None:
    rows = [["Coastal ring"], DEVICE, DEVICE, ["r", "198.18.0.1/24"]]
    plan, problems = read_plan(workbook(rows))
    assert plan.devices == ()
    assert ("error", "no-headings") in said_of(problems)


def test_groups_above_the_headings_tell_the_ends(workbook: Any) -> None:
    rows = [
        ["Name", "End A", None, "End B", None],
        [None, "Device", "Tx", "Device", "Tx"],
        [None, None, "MHz", None, "MHz"],
        ["h", "r", 13143, "s", 12877],
    ]

    def merge(page: Any) -> None:
        for cells in ("A1:A2", "B1:C1", "D1:E1"):
            page.merge_cells(cells)

    plan, problems = read_plan(workbook(rows, merge, "Links"))
    carrier = plan.links[0].carriers[0]
    assert (carrier.a.device, carrier.a.tx_mhz) == ("r", 13143)
    assert (carrier.b.device, carrier.b.tx_mhz) == ("s", 12877)
    assert {rule for severity, rule in said_of(problems)} == {"heading-row"}
    assert str(plan.origin("links", "h", "1", "b", "tx_mhz")).endswith("row 4, column End B Tx")


# Files.

OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 504


def _zipped(*names: str) -> bytes:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        for name in names:
            archive.writestr(name, "x")
    return data.getvalue()


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("plan.xlsx", OLE + "EncryptedPackage".encode("utf-16-le"), "save it without one"),
        ("plan.xlsx", OLE, "old .xls workbook whatever its ending: save it as .xlsx"),
        ("plan.xls", OLE, "save it as .xlsx"),
        ("plan.xlsb", b"PK", "save it as .xlsx"),
        ("plan.ods", b"PK", "save it as .xlsx"),
        ("plan.xlsx", _zipped("xl/workbook.bin"), "is an .xlsb workbook"),
        ("plan.xlsx", _zipped("content.xml"), "OpenDocument"),
        ("plan.xlsx", b"<html><table>", "is a web page or XML"),
        ("plan.xlsx", b"Name;Address\n", "is not a readable .xlsx workbook"),
        ("Devices.csv", b"Name;Address\n", "name the folder"),
    ],
)
def test_files_of_other_kinds_are_told_what_to_do(
    tmp_path: Path, name: str, data: bytes, words: str
) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(InputError) as caught:
        read_plan(tmp_path / name)
    assert words in str(caught.value)
    assert str(caught.value).startswith(str(tmp_path / name))


ROWS = (("Name", "Address", "Label"), ("r", "198.18.0.1/24", "to sea, and land"))


def _csv(separator: str, end: str) -> str:
    rows = ([f'"{c}"' if "," in c else c for c in row] for row in ROWS)
    return "".join(separator.join(row) + end for row in rows)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("before", [b"", b"\xef\xbb\xbf", b"\n\n", b"sep=;\r\n"])
def test_csv_is_read_whatever_separates_its_cells_and_lines(
    table: Any, separator: str, end: str, before: bytes
) -> None:
    if before.startswith(b"sep"):
        before = b"sep=%s\r\n" % separator.encode()
    plan, problems = read_plan(table(before + _csv(separator, end).encode()))
    assert problems == ()
    assert plan.devices[0].label == "to sea, and land"


def test_a_separator_that_is_rarer_in_the_first_row_is_found_by_the_headings(table: Any) -> None:
    data = b"Devices, as built, coast, north, issue 3\nName;Address\nr;198.18.0.1/24\n"
    plan, problems = read_plan(table(data))
    assert len(plan.devices) == 1
    assert said_of(problems) == [("warning", "heading-row")]


@pytest.mark.parametrize(
    ("data", "devices", "told"),
    [
        (b"Name,Address,Site\nr,198.18.0.1/24\n", 1, []),
        (b"Name,Address\nr,198.18.0.1/24,,\n", 1, []),
        (b"Name,Address\nr,198.18.0.1/24,x\n", 1, [("error", "cell-without-heading")]),
        (b"Name,,Address\nr,x,198.18.0.1/24\n", 1, [("error", "cell-without-heading")]),
        (b'Name,Address\n"r ""1""",198.18.0.1/24\n', 1, []),
        (b'Name,Address\nr "1",198.18.0.1/24\n', 1, []),
        (b"Name,Address\r\n \t ,\r\nr,198.18.0.1/24\r\n\r\n", 1, []),
    ],
)
def test_ragged_rows_and_quotes(table: Any, data: bytes, devices: int, told: Any) -> None:
    plan, problems = read_plan(table(data))
    assert len(plan.devices) == devices
    assert said_of(problems) == told


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"Name,Address\rr,198.18.0.1/24\rK\xfcste,198.18.0.2/24\r",
         "line 3: byte 0xfc at offset 30 is not UTF-8"),
        (b"Name\nK\xfcste\n", "in Windows-1252 the byte is '\xfc'"),
        (b'Name,Address\nq,198.18.0.2/24\n"r,198.18.0.1/24\n', "the fault begins in row 3"),
    ],
)  # fmt: skip
def test_csv_that_cannot_be_read_says_where_and_what_to_do(
    table: Any, data: bytes, words: str
) -> None:
    with pytest.raises(InputError) as caught:
        read_plan(table(data))
    assert words in str(caught.value)
