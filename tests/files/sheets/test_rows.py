"""CSV folders and workbooks: cells, headings, joined rows, and what they are refused for."""

import datetime as dt
import io
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from verifier.errors import InputError
from verifier.files.read_plan import read_plan
from verifier.model.problem import Subject

DAY = dt.datetime(2026, 1, 2)  # noqa: DTZ001 (a workbook knows no time zones)
MOMENT = dt.datetime(2026, 12, 1, 8)  # noqa: DTZ001
DEVICES = [
    {"Name": "r", "Address": "198.18.0.1/24"},
    {"Name": "s", "Address": "198.18.0.2/24"},
]


def _link(**more: Any) -> Any:
    return {"Name": "h", "Device A": "r", "Device B": "s", **more}


@pytest.fixture
def workbook(tmp_path: Path) -> Any:
    """A workbook of sheet Devices (row 2: r) with one more column of one cell."""

    def write(heading: str, value: Any, sheet: str = "Devices") -> Any:
        book = openpyxl.Workbook()
        page: Any = book.active
        page.title = sheet
        first = {"Devices": ["Name", "Address"], "Network": ["Field"], "Maintenance": ["Name"]}
        cells = {"Devices": ["r", "198.18.0.1/24"], "Network": [heading], "Maintenance": ["m"]}
        page.append([*first[sheet], "Value" if sheet == "Network" else heading])
        page.append([*cells[sheet], value])
        path = tmp_path / "plan.xlsx"
        book.save(path)
        return path

    return write


@pytest.mark.parametrize(
    ("heading", "value", "words"),
    [
        ("Gateway", 10.1, "the cell holds a number (10.1): write as text"),
        ("Gateway", DAY, "the cell holds a date or time"),
        ("Gateway", True, "the cell holds a truth value (true): write as text"),
        ("Software", 4.2, "the cell holds a number (4.2): write as text"),
        ("Label", dt.time(1, 2), "the cell holds a date or time (01:02:00)"),
        ("Label", dt.timedelta(hours=30), "the cell holds a date or time"),
        ("Management VLAN", DAY, "write a number"),
        ("Management VLAN", False, "the cell holds a truth value (false): write a number"),
        ("Management VLAN", 20.5, "'20.5' is not a whole number"),
        ("Management tagged", 1, "the cell holds a number (1): write TRUE or FALSE"),
        ("Gateway", "#REF!", "the cell holds the error '#REF!'"),
        ("Gateway", "=A2", "this formula has no result: open and save it"),
    ],
)
def test_a_cell_of_the_wrong_type_is_an_error_with_its_place(
    workbook: Any, heading: str, value: Any, words: str
) -> None:
    plan, problems = read_plan(workbook(heading, value))
    assert len(problems) == 1
    assert words in problems[0].message
    assert problems[0].severity == "error"
    assert str(problems[0].origin) in (
        f"plan.xlsx, sheet Devices, row 2, column {heading}",
        "plan.xlsx, sheet Devices, row 2, column C2",
    )
    assert [d.name for d in plan.devices] == ["r"]


def test_an_address_typed_as_a_number_names_its_device(workbook: Any) -> None:
    _, problems = read_plan(workbook("Gateway", 10.1))
    assert problems[0].subject == Subject("device", "r")


@pytest.mark.parametrize(
    ("sheet", "heading", "value", "words"),
    [
        ("Maintenance", "From", MOMENT, "with its time zone, such as"),
        ("Network", "network.date", MOMENT, "write a date"),
        ("Network", "network.revision", 3, "read as the text 3"),
        ("Network", "network.example", "x", "'x' is neither true nor false"),
    ],
)
def test_dates_and_the_rows_of_network_have_types_too(
    workbook: Any, sheet: str, heading: str, value: Any, words: str
) -> None:
    _, problems = read_plan(workbook(heading, value, sheet))
    assert any(words in p.message for p in problems)


@pytest.mark.parametrize(
    ("value", "read"), [(20, 20), (20.0, 20), ("20", 20), (" 20 ", 20), (None, None), ("", None)]
)
def test_numbers_are_read_from_number_cells_and_text_cells(
    workbook: Any, value: Any, read: Any
) -> None:
    plan, problems = read_plan(workbook("Management VLAN", value))
    assert problems == ()
    assert plan.devices[0].management_vlan == read


def test_fifteen_digits_of_a_number_count(write_xlsx: Any) -> None:
    """0.1 + 0.2 is shown, and meant, as 0.3 in every spreadsheet."""
    path = write_xlsx({"Sites": [{"Name": "s", "Latitude": "0.30000000000000004"}]})
    assert read_plan(path)[0].sites[0].latitude == 0.3


def test_a_calculated_formula_counts_as_its_value(workbook: Any, tmp_path: Path) -> None:
    """The library writes no results, so the result is put into the sheet's XML by hand."""
    path = workbook("Gateway", '="198.18.0."&9')
    with zipfile.ZipFile(path) as archive:
        parts = {m: archive.read(m) for m in archive.namelist()}
    sheet = parts["xl/worksheets/sheet1.xml"].decode()
    head, _, tail = sheet.partition('<c r="C2"')
    formula = tail[tail.index("<f>") : tail.index("</f>") + 4]
    rest = tail[tail.index("</c>") + 4 :]
    sheet = f'{head}<c r="C2" t="str">{formula}<v>198.18.0.9</v></c>{rest}'
    parts["xl/worksheets/sheet1.xml"] = sheet.encode()
    with zipfile.ZipFile(tmp_path / "calculated.xlsx", "w") as archive:
        for member, data in parts.items():
            archive.writestr(member, data)
    plan, problems = read_plan(tmp_path / "calculated.xlsx")
    assert problems == ()
    assert str(plan.devices[0].gateway) == "198.18.0.9"


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_rows_of_one_name_are_the_carriers_of_one_link(
    write_csv: Any, write_xlsx: Any, kind: str
) -> None:
    write = write_csv if kind == "csv" else write_xlsx
    rows = [
        _link(Carrier="1", Pol="V", Protection="2+0-xpic", **{"Tx (MHz) A": "13143.0"}),
        _link(Carrier="2", Pol="H", **{"Tx (MHz) A": "13171.0"}),
    ]
    plan, problems = read_plan(write({"Devices": DEVICES, "Links": rows}))
    link = plan.links[0]
    assert problems == ()
    assert len(plan.links) == 1
    assert link.protection == "2+0-xpic"
    assert [(c.carrier, c.polarisation, c.a.tx_mhz) for c in link.carriers] == [
        (1, "V", 13143.0), (2, "H", 13171.0),
    ]  # fmt: skip
    assert "row 3, column Tx (MHz) A" in str(plan.origin("links", "h", "2", "a", "tx_mhz"))


@pytest.mark.parametrize(
    ("second", "rule", "words"),
    [
        ({"Carrier": "2", "BW": "56"}, "rows-differ", "row 2 says '28', row 3 says '56'"),
        ({"Carrier": "1"}, "carrier-twice", "has carrier 1 in row 2 and in row 3"),
        ({}, "carrier-twice", "has carrier 1 in row 2 and in row 3"),
    ],
)
def test_rows_of_one_link_that_disagree_are_both_named(
    write_csv: Any, second: Any, rule: str, words: str
) -> None:
    rows = [_link(Carrier="1", BW="28"), _link(**second)]
    _, problems = read_plan(write_csv({"Devices": DEVICES, "Links": rows}))
    assert [(p.rule, p.subject) for p in problems] == [(rule, Subject("link", "h"))]
    assert words in problems[0].message
    assert "row 3" in str(problems[0].origin)


@pytest.mark.parametrize(
    ("rows", "words", "origin"),
    [
        ({"Ports": [{"Device": "q", "Port": "e"}]}, "'q' is not in sheet Devices",
         "Ports.csv, row 2"),
        ({"Ports": [{"Device": "", "Port": "e"}]}, "device is missing", "Ports.csv, row 2"),
        ({"Addresses": [{"Device": "R", "Address": "198.18.1.1/24"}]}, "did you mean r?",
         "Addresses.csv, row 2"),
        ({"Links": [_link(**{"Tx (W) A": "13.1"})]}, "is in W, but MHz is wanted",
         "Links.csv, row 1, column Tx (W) A"),
        ({"Links": [_link(**{"RSL A": "-40", "RSSI A": "-41"})]}, "are the same column",
         "Links.csv, row 1, column RSSI A"),
        ({"Links": [{"Name": "h", "Device A": "r"}]}, "device is missing", "Links.csv, row 2"),
        ({"Network": [{"Field": "stage", "Value": "bench"}, {"Field": "Stage", "Value": "x"}]},
         "stage is also in row 2", "Network.csv, row 3, column Value"),
        ({"Network": [{"Name": "x"}]}, "has the columns Field and Value", "Network.csv, row 1"),
    ],
)  # fmt: skip
def test_a_row_that_cannot_be_placed_is_told_with_its_place(
    write_csv: Any, rows: Any, words: str, origin: str
) -> None:
    _, problems = read_plan(write_csv({"Devices": DEVICES, **rows}))
    assert [(p.severity, str(p.origin)) for p in problems] == [("error", origin)]
    assert words in problems[0].message


def test_ports_and_addresses_go_to_their_device(write_csv: Any) -> None:
    plan, problems = read_plan(
        write_csv(
            {
                "Devices": DEVICES,
                "Ports": [{"Device": "s", "Port": "e1"}, {"Device": "s", "Port": "e2"}],
                "Addresses": [{"Device": "s", "Address": "198.18.1.1/24", "Role": "gateway"}],
            }
        )
    )
    assert problems == ()
    assert [p.name for p in plan.devices[1].ports] == ["e1", "e2"]
    assert plan.devices[1].other_addresses[0].role == "gateway"
    assert (
        str(plan.origin("devices", "s", "ports", "e2", "name")) == "Ports.csv, row 3, column Port"
    )


def test_an_unknown_column_is_one_warning_with_the_nearest_name(write_csv: Any) -> None:
    rows = [{**d, "Gatewy": "198.18.0.9"} for d in DEVICES]
    _, problems = read_plan(write_csv({"Devices": rows}))
    assert [(p.severity, str(p.origin)) for p in problems] == [
        ("warning", "Devices.csv, row 1, column Gatewy")
    ]
    assert problems[0].message.endswith("did you mean Gateway?")


@pytest.mark.parametrize("heading", ["SNMP community", "Password", "Auth key", "Passwort"])
def test_a_column_of_secrets_is_a_warning_and_is_nowhere(write_csv: Any, heading: str) -> None:
    plan, problems = read_plan(write_csv({"Devices": [{**DEVICES[0], heading: "tide-table"}]}))
    assert [p.rule for p in problems] == ["secret-in-plan"]
    assert "tide-table" not in repr(problems) + repr(plan) + repr(plan.origins)


def test_a_secret_in_sheet_network_is_a_warning_and_is_nowhere(write_csv: Any) -> None:
    rows = [{"Field": "snmp.community", "Value": "tide-table"}]
    plan, problems = read_plan(write_csv({"Network": rows}))
    assert [p.rule for p in problems] == ["secret-in-plan"]
    assert "tide-table" not in repr(problems) + repr(plan)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"Name,Address\nr,198.18.0.1/24,5\n", "cell 3 has no heading above it"),
        (b'Name,Address\n"r,198.18.0.1/24\n', "not CSV"),
        (b'Name,Address\n"r"x,198.18.0.1/24\n', "not CSV"),
        (b"Name,Address\nM\xfc,198.18.0.1/24\n", "line 2: byte 0xfc at offset 14 is not UTF-8"),
        (b"Name,Address\n" + b"x" * 200_000 + b",198.18.0.1/24\n", "not CSV: field larger"),
    ],
)
def test_csv_that_cannot_be_read_is_told_in_plain_words(
    tmp_path: Path, text: bytes, words: str
) -> None:
    (tmp_path / "Devices.csv").write_bytes(text)
    try:
        _, problems = read_plan(tmp_path)
        told = " ".join(str(p) for p in problems)
    except InputError as error:
        told = str(error)
    assert words in told
    assert "Devices.csv" in told


def test_a_byte_order_mark_and_blank_rows_are_no_trouble(tmp_path: Path) -> None:
    (tmp_path / "Devices.csv").write_bytes(
        b"\xef\xbb\xbf\r\nName,Address\r\n,\r\n\r\nr,198.18.0.1/24\r\n"
    )
    plan, problems = read_plan(tmp_path)
    assert problems == ()
    assert str(plan.origin("devices", "r")) == "Devices.csv, row 5"


def test_a_file_that_is_no_sheet_is_a_warning(write_csv: Any) -> None:
    folder = write_csv({"Devices": DEVICES})
    (folder / "Devcies.csv").write_text("Name\nx\n")
    _, problems = read_plan(folder)
    assert [(p.rule, str(p.origin)) for p in problems] == [("unknown-sheet", "Devcies.csv")]
    assert problems[0].message.endswith("did you mean Devices?")


def test_one_sheet_in_two_files_is_an_error(write_csv: Any) -> None:
    folder = write_csv({"Devices": DEVICES})
    (folder / "devices.csv").write_text("Name\nx\n")
    _, problems = read_plan(folder)
    assert [(p.rule, str(p.origin)) for p in problems] == [("sheet-twice", "devices.csv")]


def test_a_folder_or_workbook_without_any_sheet_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no CSV file of a plan is here: Network\.csv, Hosts"):
        read_plan(tmp_path)
    book = openpyxl.Workbook()
    book.save(tmp_path / "empty.xlsx")
    with pytest.raises(InputError, match="none of the sheets of a plan is here"):
        read_plan(tmp_path / "empty.xlsx")


def _zip(members: Any) -> Any:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return data.getvalue()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is not a readable .xlsx workbook"),
        (b"plain text", "is not a readable .xlsx workbook"),
        (b"PK\x03\x04 cut off", "is not a readable .xlsx workbook"),
        (_zip({"a.txt": "x"}), "is not a readable .xlsx workbook"),
        (_zip({"[Content_Types].xml": "<x"}), "is not a readable .xlsx workbook"),
        (_zip({"zeros": b"\0" * (513 * 2**20)}), "unpacks to 513 MB, which no plan does"),
    ],
)
def test_what_is_no_workbook_is_refused(tmp_path: Path, data: Any, words: str) -> None:
    path = tmp_path / "plan.xlsx"
    path.write_bytes(data)
    with pytest.raises(InputError) as caught:
        read_plan(path)
    assert words in str(caught.value)


def test_devices_without_a_name_do_not_become_one(write_csv: Any) -> None:
    rows = [{"Name": "", "Address": "198.18.0.1/24"}, {"Name": "", "Address": "198.18.0.2/24"}]
    plan, problems = read_plan(write_csv({"Devices": rows}))
    assert plan.devices == ()
    assert [p.message for p in problems] == ["name is missing", "name is missing"]


def test_a_cell_that_cannot_be_read_is_one_fault(tmp_path: Path) -> None:
    """A field whose cell is unreadable is not told as missing besides."""
    book = openpyxl.Workbook()
    page: Any = book.active
    page.title = "Devices"
    page.append(["Name", "Address"])
    page.append(["r", 10.1])
    book.save(tmp_path / "plan.xlsx")
    _, problems = read_plan(tmp_path / "plan.xlsx")
    assert [p.rule for p in problems] == ["unreadable-cell"]
