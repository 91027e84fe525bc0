"""Cells as people fill them: nothing is dropped or guessed without a word."""

import datetime as dt
from typing import Any

import pytest

from tests.files.by_hand import column_of, said_of
from verifier.files.plan.columns import sheets
from verifier.files.plan.units import unit_named
from verifier.files.read_plan import read_plan

NBSP = "\N{NO-BREAK SPACE}"
THIN = "\N{THIN SPACE}"
MINUS = "\N{MINUS SIGN}"
DEGREE = "\N{DEGREE SIGN}"
WIDE = str.maketrans(
    "0123456789./abcdefr", "".join(chr(ord(c) + 0xFEE0) for c in "0123456789./abcdefr")
)


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
        ("-", None, []),
        ("\u2014", None, []),
        ("n/a", None, []),
        ("None", None, []),
        (" 28 ", 28, []),
        (f"{NBSP}28{NBSP}", 28, []),
        (f"{MINUS}28", -28, []),
        ("\u201328", -28, []),
        ("- 28", -28, []),
        ("28".translate(WIDE), 28, ["full-width"]),
        ("28 MHz", 28, []),
        ("28MHz", 28, []),
        (f"28{NBSP}MHZ", 28, []),
        ("0.028 GHz", 28, ["unit-converted"]),
        ("28000 kHz", 28, ["unit-converted"]),
        ("0,5", 0.5, ["decimal-comma"]),
        ("27,5", 27.5, ["decimal-comma"]),
        ("27,50", 27.5, ["decimal-comma"]),
        ("1234,567", 1234.567, ["decimal-comma"]),
        ("0,125", 0.125, ["decimal-comma"]),
        ("27,5 MHz", 27.5, ["decimal-comma"]),
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
    assert sorted(said_of(problems)) == [("warning", rule) for rule in rules]
    assert all(str(p.origin) == "Links.csv, row 2, column BW (MHz)" for p in problems)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("12,345", "is 12.345 with a decimal comma, 12345 with a comma between thousands"),
        ("?", "leave the cell empty if nothing is meant"),
        ("TBD", "leave the cell empty if nothing is meant"),
        ("28 dBm", "is in dBm, but MHz is wanted"),
        ("28 m", "is in m, but MHz is wanted"),
        ("28 / 56", "is not a number"),
        ("ca. 28", "is not a number"),
        ("28 MHz wide", "write the figure alone, in MHz"),
        ("1.2.3", "is not a number"),
        ("1,2,3", "is not a number"),
        ("1,2.3,4", "is not a number"),
        ("28 MB/s", "is in Mbyte/s or Mbit/s: write the unit in full"),
        ("28.", None),
    ],
)
def test_a_figure_of_none_or_two_readings_is_refused(figure: Any, text: str, words: Any) -> None:
    read, problems = figure("BW (MHz)", text, "bandwidth_mhz")
    if words is None:
        assert (read, problems) == (28, ())
        return
    assert read is None
    assert said_of(problems) == [("error", "unreadable-cell")]
    assert words in problems[0].message
    assert problems[0].subject.name == "h"


@pytest.mark.parametrize(
    ("heading", "text", "field", "value"),
    [
        ("Tx (GHz) A", "13.143", "tx_mhz", 13143),
        ("Tx (kHz) A", "13143000", "tx_mhz", 13143),
        ("Antenna height (cm) A", "2400", "antenna_height_m", 24),
        ("Azimuth A", f"57{DEGREE}58'48\"", "azimuth_deg", 57.98),
        ("Alignment voltage (mV) A", "1090", "alignment_v", 1.09),
        ("Antenna height (m) A", "80 ft", "antenna_height_m", 24.384),
        ("Antenna height (fathoms) A", "10", "antenna_height_m", 18.288),
        ("Antenna gain (dBd) A", "34", "antenna_dbi", 36.15),
        ("Max EIRP (dBW) A", "23.5", "max_eirp_dbm", 53.5),
        ("Tx power (dBm) A", "100 mW", "tx_power_dbm", 20),
        ("Azimuth (gon) A", "64.4222", "azimuth_deg", 57.97998),
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
        ("Antenna height (m) A", "80'", "is in feet or minutes of arc: write the unit in full"),
        ("Antenna height (nm) A", "80", "is in nm, which is nautical miles or nanometres"),
        ("Antenna height (') A", "80", "is in ', which is feet or minutes of arc"),
        ("Antenna gain (dB) A", "34", "is in dB, but dBi is wanted"),
        ("Antenna gain (dBi) A", "34 dBm", "is in dBm, but dBi is wanted"),
        ("Tx power (mW) A", "0", "a power of 0 has no level in dBm"),
        ("Radio A", "1 m", "no unit is wanted"),
    ],
)
def test_what_nothing_converts_is_left_to_people(
    figure: Any, heading: str, text: str, words: str
) -> None:
    _, problems = figure(heading, text, "antenna_height_m", end=True)
    assert [p.message for p in problems if p.severity == "error" and words in p.message]


@pytest.mark.parametrize(
    ("heading", "rules"),
    [("Tx", []), ("Tx (MHz)", []), ("tx_mhz", []), ("Tx (XHz)", ["unit-unknown"]),
     ("Tx (planned)", ["unit-unknown"]), ("Tx [planned, MHz]", [])],
)  # fmt: skip
def test_brackets_that_hold_no_known_unit_are_told(figure: Any, heading: str, rules: Any) -> None:
    read, problems = figure(f"{heading} A", "13143", "tx_mhz", end=True)
    assert read == 13143
    assert said_of(problems) == [("warning", rule) for rule in rules]


def test_many_cells_of_one_column_are_told_once(table: Any) -> None:
    rows = "".join(f"s{n};47,{n}1\n" for n in range(10, 60))
    plan, problems = read_plan(table(f"Name;Latitude\n{rows}".encode(), "Sites"))
    assert said_of(problems) == [("warning", "decimal-comma")]
    assert "(so too in rows 3-51)" in problems[0].message
    assert plan.sites[-1].latitude == 47.591


def test_a_point_beside_decimal_commas_may_stand_between_thousands(table: Any) -> None:
    """13.143 is thirteen thousand where 12877,5 is written."""
    table(b"Name;Address\nr;198.18.0.1/24\ns;198.18.0.2/24\n")
    data = b"Name;Device A;Device B;Tx A;Tx B\nh;r;s;13.143;12877,5\n"
    _, problems = read_plan(table(data, "Links"))
    assert sorted(said_of(problems)) == [("error", "unreadable-cell"), ("warning", "decimal-comma")]
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
    assert {severity for severity, _ in said_of(problems)} == {"warning"}


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
        rows = column_of(heading, value)
    plan, problems = read_plan(workbook(rows))
    errors = [p for p in problems if p.severity == "error"]
    assert words in errors[0].message if heading != "Mask" else errors
    assert str(errors[0].origin).startswith("plan.xlsx, sheet Devices, row 2, column")
    assert getattr(plan.devices[0] if plan.devices else None, heading.lower(), None) is None


@pytest.mark.parametrize(
    ("heading", "value", "field", "read"),
    [("Serial", 123, "serial", "123"), ("Part number", 4711.0, "part_number", "4711")],
)
def test_whole_numbers_in_plain_text_columns_are_their_digits(
    workbook: Any, heading: str, value: Any, field: str, read: str
) -> None:
    plan, problems = read_plan(workbook(column_of(heading, value)))
    assert getattr(plan.devices[0], field) == read
    assert said_of(problems) == [("warning", "number-as-text")]


def test_a_prefix_length_typed_as_a_number_is_no_riddle(workbook: Any) -> None:
    rows = [["Name", "Address", "Prefix"], ["r", "198.18.0.1", 24]]
    plan, problems = read_plan(workbook(rows))
    assert problems == ()
    assert str(plan.devices[0].address) == "198.18.0.1/24"


def test_a_number_shown_with_zeros_before_it_is_two_serials(workbook: Any) -> None:
    """123 with the format 000000 is read by everybody as 000123."""

    def padded(page: Any) -> None:
        page["C2"].number_format = "000000"

    _, problems = read_plan(workbook(column_of("Serial", 123), padded))
    assert said_of(problems) == [("error", "unreadable-cell")]
    assert "123, shown as 000123" in problems[0].message


def test_a_percentage_is_read_as_it_is_shown(workbook: Any) -> None:
    """0.001 with a format of per cent is shown as 0.1 %."""

    def percent(page: Any) -> None:
        page["B2"].number_format = "0.0%"

    rows = [["Field", "Value"], ["acceptance.max_loss_pct", 0.001]]
    plan, problems = read_plan(workbook(rows, percent, "Network"))
    assert plan.acceptance.max_loss_pct == 0.1
    assert said_of(problems) == [("warning", "percent-format")]


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
    assert str(problems[0].origin) == "Devices.csv, row 2, column Gateway"


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
    assert said_of(problems) == [("warning", rule) for rule in rules]


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
    assert said_of(problems) == [("warning", rule) for rule in rules]


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


def test_a_name_that_is_no_column_or_unit_is_no_surprise() -> None:
    """Every device a heading of ours shows is one that a cell may repeat."""
    for sheet in sheets().values():
        for column in sheet.columns:
            if column.unit:
                assert unit_named(column.unit) == column.unit
