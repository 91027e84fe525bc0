"""Sheets as people keep them: nothing is dropped or guessed without a word."""

import datetime as dt
import io
import re
import warnings
import zipfile
from contextlib import suppress
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

from verifier.errors import InputError, VerifierError
from verifier.files.fields import sheets
from verifier.files.plan_in import read_plan
from verifier.files.units import factor, unit_named

NBSP = "\N{NO-BREAK SPACE}"
THIN = "\N{THIN SPACE}"
MINUS = "\N{MINUS SIGN}"
DEGREE = "\N{DEGREE SIGN}"
WIDE = str.maketrans(
    "0123456789./abcdefr", "".join(chr(ord(c) + 0xFEE0) for c in "0123456789./abcdefr")
)


@pytest.fixture
def workbook(tmp_path: Path) -> Any:
    """A workbook of one sheet of rows, changed by hand before it is saved."""

    def write(rows: Any, change: Any = lambda page: None, sheet: str = "Devices") -> Path:
        book = openpyxl.Workbook()
        page: Any = book.active
        page.title = sheet
        for row in rows:
            page.append(row)
        change(page)
        path = tmp_path / "plan.xlsx"
        book.save(path)
        return path

    return write


@pytest.fixture
def table(tmp_path: Path) -> Any:
    """A CSV file of a plan, byte by byte."""

    def write(data: bytes, name: str = "Devices") -> Path:
        (tmp_path / f"{name}.csv").write_bytes(data)
        return tmp_path

    return write


def _told(problems: Any) -> Any:
    return [(p.severity, p.rule) for p in problems]


DEVICE = ["Name", "Address"]


def _device(*cells: Any) -> Any:
    return [DEVICE, ["r", "198.18.0.1/24", *cells]]


def _column(heading: str, value: Any) -> Any:
    return [[*DEVICE, heading], ["r", "198.18.0.1/24", value]]


# Figures: what a number cell of text may hold.

LINK = ["Name", "Device A", "Device B"]


@pytest.fixture
def figure(table: Any) -> Any:
    """What one cell of a column of sheet Links is read as, and what is said of it."""

    def read(heading: str, text: str, field: str, *, end: bool = False) -> Any:
        table(b"Name;Address\nr;198.18.0.1/24\ns;198.18.0.2/24\n")
        data = f'Name;Device A;Device B;{heading}\nh;r;s;"{text.replace(chr(34), chr(34) * 2)}"\n'
        plan, problems = read_plan(table(data.encode(), "Links"))
        link: Any = plan.links[0]
        return getattr(link.carriers[0].a if end else link, field), problems

    return read


@pytest.mark.parametrize(
    ("text", "value", "rules"),
    [
        ("28", 28, []),
        (" 28 ", 28, []),
        (f"{NBSP}28{NBSP}", 28, []),
        (f"{MINUS}28", -28, []),
        ("\u201328", -28, []),
        ("- 28", -28, []),
        ("28".translate(WIDE), 28, ["full-width"]),
        ("28 MHz", 28, ["unit-in-cell"]),
        ("28MHz", 28, ["unit-in-cell"]),
        (f"28{NBSP}MHZ", 28, ["unit-in-cell"]),
        ("0.028 GHz", 28, ["unit-converted"]),
        ("28000 kHz", 28, ["unit-converted"]),
        ("0,5", 0.5, ["decimal-comma"]),
        ("27,5", 27.5, ["decimal-comma"]),
        ("27,50", 27.5, ["decimal-comma"]),
        ("1234,567", 1234.567, ["decimal-comma"]),
        ("0,125", 0.125, ["decimal-comma"]),
        ("27,5 MHz", 27.5, ["decimal-comma", "unit-in-cell"]),
        ("13 143", 13143, ["thousands-separator"]),
        (f"13{THIN}143,5", 13143.5, ["thousands-separator"]),
        ("13'143", 13143, ["thousands-separator"]),
        ("13.143,5", 13143.5, ["thousands-separator"]),
        ("13,143.5", 13143.5, ["thousands-separator"]),
        ("1,013,143", 1013143, ["thousands-separator"]),
        ("1.013.143", 1013143, ["thousands-separator"]),
    ],
)
def test_a_figure_of_one_reading_is_read_and_told(
    figure: Any, text: str, value: Any, rules: Any
) -> None:
    read, problems = figure("BW (MHz)", text, "bandwidth_mhz")
    assert read == value
    assert sorted(_told(problems)) == [("warning", rule) for rule in rules]
    assert all(p.origin == "Links.csv, row 2, column BW (MHz)" for p in problems)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("12,345", "is 12.345 with a decimal comma, 12345 with a comma between thousands"),
        ("-", "leave the cell empty if nothing is meant"),
        ("\u2014", "leave the cell empty if nothing is meant"),
        ("n/a", "leave the cell empty if nothing is meant"),
        ("28 dBm", "is in dBm, but MHz is wanted"),
        ("28 m", "is in m, but MHz is wanted"),
        ("28 / 56", "is not a number"),
        ("ca. 28", "is not a number"),
        ("28 MHz wide", "write the figure alone, in MHz"),
        ("1.2.3", "is not a number"),
        ("1,2,3", "is not a number"),
        ("1,2.3,4", "is not a number"),
        ("28 MB/s", "write the figure alone, in MHz"),
        ("28.", None),
    ],
)
def test_a_figure_of_none_or_two_readings_is_refused(figure: Any, text: str, words: Any) -> None:
    read, problems = figure("BW (MHz)", text, "bandwidth_mhz")
    if words is None:
        assert (read, problems) == (28, ())
        return
    assert read is None
    assert _told(problems) == [("error", "unreadable-cell")]
    assert words in problems[0].message
    assert problems[0].subject.name == "h"


@pytest.mark.parametrize(
    ("heading", "text", "field", "value"),
    [
        ("Rx level A", f"{MINUS}46 dBm", "rx_level_dbm", -46),
        ("Tx (GHz) A", "13.143", "tx_mhz", 13143),
        ("Tx (kHz) A", "13143000", "tx_mhz", 13143),
        ("Antenna height (cm) A", "2400", "antenna_height_m", 24),
        ("Azimuth A", f"57{DEGREE}58'48\"", "azimuth_deg", 57.98),
        ("Alignment voltage (mV) A", "1090", "alignment_v", 1.09),
    ],
)
def test_units_of_one_quantity_are_converted_exactly_and_told(
    figure: Any, heading: str, text: str, field: str, value: float
) -> None:
    """13.143 times 1000 is 13143, which binary fractions do not give."""
    read, problems = figure(heading, text, field, end=True)
    assert read == value
    assert [p.severity for p in problems] == ["warning"]


@pytest.mark.parametrize(
    ("heading", "text", "words"),
    [
        ("Antenna height (m) A", "80 ft", "is in ft, but m is wanted: 1 ft is 0.3048 m"),
        ("Antenna gain (dBi) A", "34 dBd", "2.15 dB less"),
        ("Tx power (dBm) A", "100 mW", "1 mW is 0 dBm"),
        ("Antenna height (ft) A", "80", "is in ft, but m is wanted"),
        ("Radio A", "1 m", "no unit is wanted"),
    ],
)
def test_what_no_exact_factor_converts_is_left_to_people(
    figure: Any, heading: str, text: str, words: str
) -> None:
    _, problems = figure(heading, text, "antenna_height_m", end=True)
    assert [p.severity for p in problems] == ["error"]
    assert words in problems[0].message


@pytest.mark.parametrize(
    ("heading", "rules"),
    [("Tx", []), ("Tx (MHz)", []), ("tx_mhz", []), ("Tx (THz)", ["unit-unknown"]),
     ("Tx (planned)", ["unit-unknown"]), ("Tx [planned, MHz]", ["unit-unknown"])],
)  # fmt: skip
def test_brackets_that_hold_no_known_unit_are_told(figure: Any, heading: str, rules: Any) -> None:
    read, problems = figure(f"{heading} A", "13143", "tx_mhz", end=True)
    assert read == 13143
    assert _told(problems) == [("warning", rule) for rule in rules]


@pytest.mark.parametrize(
    ("unit", "wanted", "times"),
    [("GHz", "MHz", 1000), ("kbps", "Mbps", "0.001"), ("min", "s", 60), ("h", "s", 3600),
     ("mm", "m", "0.001"), ("km", "km", 1), ("Hz", "MHz", "0.000001")],
)  # fmt: skip
def test_factors_are_those_of_the_si(unit: str, wanted: str, times: Any) -> None:
    """SI brochure (9th edition), tables 7 and 8; from memory."""
    assert str(factor(unit, wanted).normalize()) == str(
        type(factor(unit, wanted))(times).normalize()
    )


@pytest.mark.parametrize("word", ["MB/s", "GBps", "furlong", "", "GHzz"])
def test_a_word_that_is_no_unit_is_none(word: str) -> None:
    assert unit_named(word) == ""


def test_many_cells_of_one_column_are_told_once(table: Any) -> None:
    rows = "".join(f"s{n};47,{n}1\n" for n in range(10, 60))
    plan, problems = read_plan(table(f"Name;Latitude\n{rows}".encode(), "Sites"))
    assert _told(problems) == [("warning", "decimal-comma")]
    assert "(so too in rows 3-51)" in problems[0].message
    assert plan.sites[-1].latitude == 47.591


def test_a_point_beside_decimal_commas_may_stand_between_thousands(table: Any) -> None:
    """13.143 is thirteen thousand where 12877,5 is written."""
    table(b"Name;Address\nr;198.18.0.1/24\ns;198.18.0.2/24\n")
    data = b"Name;Device A;Device B;Tx A;Tx B\nh;r;s;13.143;12877,5\n"
    _, problems = read_plan(table(data, "Links"))
    assert sorted(_told(problems)) == [("error", "unreadable-cell"), ("warning", "decimal-comma")]
    assert any("13.143" in p.message and "row 2, column Tx B" in p.message for p in problems)


# Coordinates.


@pytest.mark.parametrize(
    ("latitude", "longitude", "value"),
    [
        (f"47{DEGREE}06'00\"N", f"20{DEGREE}12'00\"W", (47.1, -20.2)),
        (f"N 47{DEGREE} 6' 0.0\"", f"W 20{DEGREE} 12' 0\"", (47.1, -20.2)),
        ("47\N{DEGREE SIGN}06\N{PRIME}00\N{DOUBLE PRIME}S", "20\N{DEGREE SIGN}12\N{PRIME}00\N{DOUBLE PRIME}E", (-47.1, 20.2)),
        ("47 06 00 N", "020 12 00 W", (47.1, -20.2)),
        ("47:06:00", "-20:12:00", (47.1, -20.2)),
        (f"47{DEGREE}06.000' N", f"20{DEGREE}12,0' W", (47.1, -20.2)),
        ("47.1 N", "20.2 W", (47.1, -20.2)),
        ("47,1N", "20,2W", (47.1, -20.2)),
        (f"47.1{DEGREE}", f"{MINUS}20.2{DEGREE}", (47.1, -20.2)),
        ("47,123", "-20,200", (47.123, -20.2)),
        (f"47{DEGREE}07'22.8\"", f"-0{DEGREE}00'36\"", (47.123, -0.01)),
    ],
)  # fmt: skip
def test_coordinates_are_read_however_they_are_written(
    table: Any, latitude: str, longitude: str, value: Any
) -> None:
    quoted = [f'"{text.replace(chr(34), chr(34) * 2)}"' for text in (latitude, longitude)]
    data = f"Name;Latitude;Longitude\nq;{quoted[0]};{quoted[1]}\n".encode()
    plan, problems = read_plan(table(data, "Sites"))
    assert (plan.sites[0].latitude, plan.sites[0].longitude) == value
    assert {severity for severity, _ in _told(problems)} == {"warning"}


@pytest.mark.parametrize(
    ("column", "text", "words"),
    [
        ("Longitude", f"20{DEGREE} O", "O is east in German and west in French"),
        ("Latitude", f"47{DEGREE} E", "cannot be a latitude"),
        ("Latitude", f"-47{DEGREE} S", "has a sign and a letter"),
        ("Latitude", f"47{DEGREE}66'", "minutes and seconds are below 60"),
        ("Latitude", f"47.5{DEGREE}06'", "minutes and seconds are below 60"),
        ("Latitude", "47 06", "is not a number"),
        ("Latitude", f"N47{DEGREE}N", "has two letters"),
    ],
)
def test_coordinates_that_mean_nothing_or_two_things_are_refused(
    table: Any, column: str, text: str, words: str
) -> None:
    plan, problems = read_plan(table(f"Name;{column}\nq;{text}\n".encode(), "Sites"))
    assert plan.sites[0].latitude is None
    assert [p.severity for p in problems] == ["error"]
    assert words in problems[0].message


# Numbers, dates and truth values where text belongs.


@pytest.mark.parametrize(
    ("heading", "value", "words"),
    [
        ("Gateway", 10.1, "holds a number (10.1): write as text"),
        ("Gateway", 198018000009, "198.18.0.9 typed with points for thousands"),
        ("MAC", 20000000001, "holds a number"),
        ("Software", 4.2, "it may have been typed as 4.2 or 4.20"),
        ("Serial", 1234567890123456789, "15 digits"),
        ("Label", dt.date(2026, 1, 2), "perhaps made of 2-1 or 1-2 by the spreadsheet"),
        ("Management VLAN", dt.date(2026, 2, 1), "perhaps made of 1-2 or 2-1"),
        ("Label", True, "holds a truth value (true)"),
        ("Mask", 255255255, "holds a number"),
    ],
)
def test_what_may_not_be_what_was_typed_is_refused(
    workbook: Any, heading: str, value: Any, words: str
) -> None:
    if heading == "Mask":
        rows = [["Name", "Address", "Mask"], ["r", "198.18.0.1", value]]
    else:
        rows = _column(heading, value)
    plan, problems = read_plan(workbook(rows))
    errors = [p for p in problems if p.severity == "error"]
    assert words in errors[0].message if heading != "Mask" else errors
    assert errors[0].origin.startswith("plan.xlsx, sheet Devices, row 2, column")
    assert getattr(plan.devices[0] if plan.devices else None, heading.lower(), None) is None


@pytest.mark.parametrize(
    ("heading", "value", "field", "read"),
    [("Serial", 123, "serial", "123"), ("Part number", 4711.0, "part_number", "4711")],
)
def test_whole_numbers_in_plain_text_columns_are_their_digits(
    workbook: Any, heading: str, value: Any, field: str, read: str
) -> None:
    plan, problems = read_plan(workbook(_column(heading, value)))
    assert getattr(plan.devices[0], field) == read
    assert _told(problems) == [("warning", "number-as-text")]


def test_a_prefix_length_typed_as_a_number_is_no_riddle(workbook: Any) -> None:
    rows = [["Name", "Address", "Prefix"], ["r", "198.18.0.1", 24]]
    plan, problems = read_plan(workbook(rows))
    assert problems == ()
    assert str(plan.devices[0].address) == "198.18.0.1/24"


def test_a_number_shown_with_zeros_before_it_is_two_serials(workbook: Any) -> None:
    """123 with the format 000000 is read by everybody as 000123."""

    def padded(page: Any) -> None:
        page["C2"].number_format = "000000"

    _, problems = read_plan(workbook(_column("Serial", 123), padded))
    assert _told(problems) == [("error", "unreadable-cell")]
    assert "123, shown as 000123" in problems[0].message


def test_a_percentage_is_read_as_it_is_shown(workbook: Any) -> None:
    """0.001 with a format of per cent is shown as 0.1 %."""

    def percent(page: Any) -> None:
        page["B2"].number_format = "0.0%"

    rows = [["Field", "Value"], ["acceptance.max_loss_pct", 0.001]]
    plan, problems = read_plan(workbook(rows, percent, "Network"))
    assert plan.acceptance.max_loss_pct == 0.1
    assert _told(problems) == [("warning", "percent-format")]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("198.018.0.9", ("198.18.0.9 if meant as decimal",)),
        ("198.18.0.010", ("198.18.0.10 if meant as decimal", "198.18.0.8 if read as octal")),
        ("198,18,0,9", ("is 198.18.0.9 meant",)),
        ("198.18.0", ("is not an IPv4",)),
    ],
)
def test_addresses_of_two_readings_are_refused_with_both(table: Any, text: str, words: Any) -> None:
    _, problems = read_plan(table(f"Name;Address;Gateway\nr;198.18.0.1/24;{text}\n".encode()))
    assert [p.severity for p in problems] == ["error"]
    assert all(word in problems[0].message for word in words)
    assert problems[0].origin == "Devices.csv, row 2, column Gateway"


@pytest.mark.parametrize(
    ("text", "rules"),
    [
        (f"{NBSP}198.18.0.1/24 ", []),
        ("198.18.0.1 / 24", ["space-in-address"]),
        ("198.18.0.1/24".translate(WIDE), ["full-width"]),
        ("198.18.0.1/24\N{ZERO WIDTH SPACE}", []),
        ("198.18.\N{ZERO WIDTH SPACE}0.1/24", ["invisible-character"]),
    ],
)
def test_addresses_of_one_reading_are_read(table: Any, text: str, rules: Any) -> None:
    plan, problems = read_plan(table(f"Name;Address\nr;{text}\n".encode()))
    assert str(plan.devices[0].address) == "198.18.0.1/24"
    assert _told(problems) == [("warning", rule) for rule in rules]


@pytest.mark.parametrize(
    ("text", "name", "rules"),
    [
        (f"Quarry{NBSP}", "Quarry", []),
        (f"Quarry{NBSP}North", "Quarry North", ["odd-space"]),
        ("Quarry\N{SOFT HYPHEN}North", "QuarryNorth", ["invisible-character"]),
        ("S\xfcdhafen", "S\xfcdhafen", []),
    ],
)
def test_blanks_that_only_look_so_do_not_make_another_name(
    table: Any, text: str, name: str, rules: Any
) -> None:
    plan, problems = read_plan(table(f"Name\n{text}\n".encode(), "Sites"))
    assert plan.sites[0].name == name
    assert _told(problems) == [("warning", rule) for rule in rules]


@pytest.mark.parametrize(
    ("text", "read", "words"),
    [
        ("2031-06-30", "2031-06-30", None),
        ("30.06.2031", "2031-06-30", "is read as 2031-06-30"),
        ("30/06/2031", "2031-06-30", "is read as 2031-06-30"),
        ("06/30/2031", "2031-06-30", "is read as 2031-06-30"),
        ("05/06/2031", None, "is 2031-06-05 or 2031-05-06"),
        ("31.02.2031", None, "is no day of the calendar"),
        ("30.06.31", None, "is not a date"),
    ],
)
def test_dates_are_read_where_day_and_month_are_plain(
    figure: Any, text: str, read: Any, words: Any
) -> None:
    licence, problems = figure("Licence valid until", text, "licence")
    found = None if licence is None or licence.valid_until is None else licence.valid_until
    assert (None if found is None else found.isoformat()) == read
    assert bool(problems) == bool(words)
    assert not words or any(words in p.message for p in problems)


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
    path = workbook(_device())
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

    assert read_plan(workbook(_device(), buttons))[1] == ()


def test_merged_cells_in_the_data_are_named(workbook: Any) -> None:
    rows = [[*DEVICE, "Site"], ["d1", "198.18.0.1/24", "Quarry"], ["d2", "198.18.0.2/24", None]]
    _, problems = read_plan(workbook(rows, lambda page: page.merge_cells("C2:C3")))
    assert _told(problems) == [("error", "merged-cells")]
    assert problems[0].origin == "plan.xlsx, sheet Devices, row 2"
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


def test_so_many_merged_cells_that_opening_would_not_end_are_refused(workbook: Any) -> None:
    path = workbook(_device(), lambda page: page.merge_cells("C2:D2"))
    _rewrite(path, "xl/worksheets/sheet1.xml", rb"C2:D2", b"C2:XFD1048576")
    with pytest.raises(InputError, match="cells are merged, which no plan needs"):
        read_plan(path)


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

    plan, problems = read_plan(workbook(_device(), far))
    assert len(plan.devices) == 1
    assert problems == ()


def test_a_formula_without_a_result_is_an_error_with_its_place(workbook: Any) -> None:
    plan, problems = read_plan(workbook(_column("Gateway", '="198.18.0."&9')))
    assert plan.devices[0].gateway is None
    assert _told(problems) == [("error", "unreadable-cell")]
    assert problems[0].origin == "plan.xlsx, sheet Devices, row 2, column Gateway"
    assert "open and save it" in problems[0].message


# Titles, groups and units around the headings.


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
    assert _told(problems) == [("warning", "heading-row")]
    assert "in row 4" in problems[0].message


def test_where_two_rows_could_be_headings_none_is_guessed(workbook: Any) -> None:
    rows = [["Coastal ring"], DEVICE, DEVICE, ["r", "198.18.0.1/24"]]
    plan, problems = read_plan(workbook(rows))
    assert plan.devices == ()
    assert ("error", "no-headings") in _told(problems)


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
    assert {rule for severity, rule in _told(problems)} == {"heading-row", "unit-row"}
    assert plan.origin("links", "h", "1", "b", "tx_mhz").endswith("row 4, column End B Tx")


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
        ("plan.xlsm", b"PK", "without macros"),
        ("plan.xlsb", b"PK", "save it as .xlsx"),
        ("plan.ods", b"PK", "save it as .xlsx"),
        ("plan.xlsx", _zipped("xl/vbaProject.bin"), "without macros"),
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
    data = b"Units, as built, coast, north, issue 3\nName;Address\nr;198.18.0.1/24\n"
    plan, problems = read_plan(table(data))
    assert len(plan.devices) == 1
    assert _told(problems) == [("warning", "heading-row")]


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
    assert _told(problems) == told


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"Name,Address\rr,198.18.0.1/24\rK\xfcste,198.18.0.2/24\r",
         "line 3: byte 0xfc at offset 30 is not UTF-8"),
        (b"Name\nK\xfcste\n", "in Windows-1252 the byte is '\xfc'"),
        ("Name\nr\n".encode("utf-16"), "is UTF-16, not UTF-8"),
        (b'Name,Address\nq,198.18.0.2/24\n"r,198.18.0.1/24\n', "the fault begins in row 3"),
    ],
)  # fmt: skip
def test_csv_that_cannot_be_read_says_where_and_what_to_do(
    table: Any, data: bytes, words: str
) -> None:
    with pytest.raises(InputError) as caught:
        read_plan(table(data))
    assert words in str(caught.value)


# Garbage.

GARBAGE = (
    st.text(max_size=40)
    | st.from_regex(r"[-+]?[0-9.,' \u00a0\u2212]{1,12} ?([a-zA-Z%\u00b0/]{1,5})?", fullmatch=True)
    | st.from_regex(
        r"[NSEWO]? ?[0-9]{1,3}[\u00b0: ]?[0-9]{0,2}['\u2032 ]?[0-9.,]{0,4}[\"NSEWO]?",
        fullmatch=True,
    )
    | st.from_regex(r"[0-9.,/ :-]{1,30}", fullmatch=True)
)
CELLS = (
    GARBAGE.filter(lambda text: not ILLEGAL_CHARACTERS_RE.search(text))
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.booleans()
    | st.datetimes(dt.datetime(1900, 3, 1), dt.datetime(9999, 1, 1))  # noqa: DTZ001 (workbooks have no zones)
    | st.times()
    | st.timedeltas(dt.timedelta(0), dt.timedelta(days=999))
    | st.none()
)
MANY = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def _cell(data: Any, value: Any) -> Any:
    """A row of a sheet with garbage in some cells of known columns."""
    name = data.draw(st.sampled_from(sorted(sheets())))
    if name == "Network":
        fields = data.draw(
            st.lists(st.sampled_from([c.heading for c in sheets()[name].columns]), max_size=4)
        )
        return name, [["Field", "Value"], *([f, data.draw(value)] for f in fields)]
    columns = data.draw(st.lists(st.sampled_from(sheets()[name].columns), min_size=1, max_size=6))
    rows = [[data.draw(value) for _ in columns] for _ in range(data.draw(st.integers(0, 3)))]
    return name, [[c.heading for c in columns], *rows]


def _survives(path: Path) -> None:
    with suppress(VerifierError):
        _, problems = read_plan(path)
        assert all(p.message and p.origin for p in problems)


@MANY
@given(st.data())
def test_garbage_in_any_cell_of_csv_gives_no_traceback(tmp_path: Path, data: Any) -> None:
    name, rows = _cell(data, GARBAGE.map(str))
    separator = data.draw(st.sampled_from(",;\t"))
    end = data.draw(st.sampled_from(["\n", "\r\n", "\r"]))
    quoted = (separator.join('"' + str(c).replace('"', '""') + '"' for c in row) for row in rows)
    path = tmp_path / f"{name}.csv"
    path.write_bytes(end.join(quoted).encode("utf-8", "surrogatepass"))
    _survives(tmp_path)
    path.unlink()


@MANY
@given(st.data())
def test_garbage_in_any_cell_of_a_workbook_gives_no_traceback(tmp_path: Path, data: Any) -> None:
    name, rows = _cell(data, CELLS)
    book = openpyxl.Workbook()
    page: Any = book.active
    page.title = name
    for row in rows:
        page.append(row)
    for cell in data.draw(
        st.lists(st.sampled_from([c for r in page.iter_rows() for c in r]), max_size=3)
    ):
        cell.number_format = data.draw(
            st.sampled_from(["General", "000000", "0.0%", "yyyy-mm-dd", "@", "0.00"])
        )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book.save(tmp_path / "plan.xlsx")
    _survives(tmp_path / "plan.xlsx")


@MANY
@given(st.binary(max_size=200))
def test_any_bytes_as_csv_give_no_traceback(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "Devices.csv").write_bytes(b"Name,Address\n" + data)
    _survives(tmp_path)


@MANY
@given(st.data())
def test_a_damaged_workbook_gives_no_traceback(tmp_path: Path, data: Any) -> None:
    path = tmp_path / "plan.xlsx"
    if not (tmp_path / "whole").exists():
        book = openpyxl.Workbook()
        page: Any = book.active
        page.title = "Devices"
        for row in _column("Gateway", '="198.18.0."&9'):
            page.append(row)
        page.merge_cells("A1:A1")
        book.save(tmp_path / "whole")
    content = bytearray((tmp_path / "whole").read_bytes())
    for place in data.draw(st.lists(st.integers(0, len(content) - 1), max_size=4)):
        content[place] = data.draw(st.integers(0, 255))
    path.write_bytes(content[: data.draw(st.just(None) | st.integers(0, len(content)))])
    _survives(path)


@MANY
@given(st.data())
def test_a_workbook_of_damaged_parts_gives_no_traceback(tmp_path: Path, data: Any) -> None:
    """The archive is whole, but its XML holds other attributes and values."""
    book = openpyxl.Workbook()
    page: Any = book.active
    page.title = "Devices"
    for row in _column("Gateway", 7):
        page.append(row)
    path = tmp_path / "plan.xlsx"
    book.save(path)
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    name = data.draw(st.sampled_from(sorted(parts)))
    words = re.findall(rb'"[^"]*"|>[^<]+<', parts[name])
    old = data.draw(st.sampled_from(words)) if words else b""
    text = data.draw(st.sampled_from(["", "0", "-1", "x", "1e999", "99999999999", "A0", "XFD9"]))
    new = old[:1] + text.encode() + old[-1:]
    parts[name] = parts[name].replace(old, new, 1) if old else parts[name]
    with zipfile.ZipFile(path, "w") as archive:
        for part, content in parts.items():
            archive.writestr(part, content)
    _survives(path)


def test_a_name_that_is_no_column_or_unit_is_no_surprise() -> None:
    """Every unit a heading of ours shows is one that a cell may repeat."""
    for sheet in sheets().values():
        for column in sheet.columns:
            if column.unit:
                assert unit_named(column.unit) == column.unit
