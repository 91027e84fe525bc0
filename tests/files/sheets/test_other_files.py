"""Sheets in files of other kinds: with macros, older, binary, OpenDocument; CSV in any encoding."""

from __future__ import annotations

import io
import re
import struct
import subprocess
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from verifier.errors import InputError
from verifier.files.faults import Faults
from verifier.files.read_plan import read_plan
from verifier.files.sheets.csv_text import csv_text, unsure_lines
from verifier.files.sheets.open_pages import pages_of

ROWS: list[list[Any]] = [
    ["Link", "Tx (MHz)", "Day"],
    ["Quarry - Küste", 13143.5, "x"],
    ["Pier", 12877, None],
]


def rows_of(path: Path, **how: Any) -> list[tuple[int, list[Any]]]:
    """The rows of the first page."""
    page = pages_of(path, **how)[0]
    return list(page.read(lambda _: False, Faults()))


def book(path: Path) -> Path:
    """A workbook with two empty rows above, a hidden sheet and merged cells."""
    made = openpyxl.Workbook()
    page: Any = made.active
    for number, row in enumerate(ROWS, start=3):
        for column, value in enumerate(row, start=2):
            page.cell(number, column, value)
    page.merge_cells("B7:C7")
    page["B7"] = "end of the sheet"
    other = made.create_sheet("Archive")
    other["A1"] = "old"
    other.sheet_state = "hidden"
    made.save(path)
    return path


WANTED = [
    (3, [None, "Link", "Tx (MHz)", "Day"]),
    (4, [None, "Quarry - Küste", 13143.5, "x"]),
    (5, [None, "Pier", 12877]),
    (7, [None, "end of the sheet"]),
]


def trimmed(rows: list[tuple[int, list[Any]]]) -> list[tuple[int, list[Any]]]:
    """Rows without the empty cells at their ends."""
    for _, cells in rows:
        while cells and cells[-1] is None:
            cells.pop()
    return rows


# -- macros ----------------------------------------------------------------------------------------


def test_a_workbook_with_macros_is_read_without_them(tmp_path: Path) -> None:
    plain = book(tmp_path / "plan.xlsx")
    data = io.BytesIO(plain.read_bytes())
    with zipfile.ZipFile(data, "a") as archive:
        archive.writestr("xl/vbaProject.bin", b"\xd0\xcf\x11\xe0 not looked into")
    (tmp_path / "plan.xlsm").write_bytes(data.getvalue())
    assert trimmed(rows_of(tmp_path / "plan.xlsm")) == WANTED


def test_a_workbook_of_the_strict_kind_is_refused(tmp_path: Path) -> None:
    """The library would read it as empty."""
    with zipfile.ZipFile(book(tmp_path / "a.xlsx")) as old:
        parts = {name: old.read(name) for name in old.namelist()}
    with zipfile.ZipFile(tmp_path / "b.xlsx", "w") as new:
        for name, data in parts.items():
            strict = data.replace(
                b"http://schemas.openxmlformats.org/spreadsheetml/2006/main",
                b"http://purl.oclc.org/ooxml/spreadsheetml/main",
            )
            new.writestr(name, strict)
    with pytest.raises(InputError, match="strict kind"):
        pages_of(tmp_path / "b.xlsx")


# -- values alone ----------------------------------------------------------------------------------


def _record(kind: int, data: bytes = b"") -> bytes:
    """A record of [MS-XLSB] 2.1.4: kind and size in groups of seven bits."""
    head = bytes((kind,)) if kind < 0x80 else bytes((kind & 0x7F | 0x80, kind >> 7))
    return head + bytes((len(data),)) + data


def _text(text: str) -> bytes:
    return struct.pack("<I", len(text)) + text.encode("utf-16-le")


def binary_book(path: Path, corner: tuple[int, int] = (1, 1)) -> Path:
    """A small .xlsb by hand: a text at the first place, a number at `corner`."""
    row = b"".join(
        _record(0, struct.pack("<III", number, 0, 0) + bytes(13)) + cell
        for number, cell in (
            (0, _record(6, struct.pack("<II", 0, 0) + _text("Link"))),
            (corner[0], _record(5, struct.pack("<IId", corner[1], 0, 12877.0))),
        )
    )
    edges = struct.pack("<IIII", 0, corner[0], 0, corner[1])
    sheet = _record(129) + _record(148, edges) + _record(145) + row + _record(146) + _record(130)
    bundle = struct.pack("<II", 0, 1) + _text("rId1") + _text("Hops")
    main = _record(131) + _record(143) + _record(156, bundle) + _record(144) + _record(132)
    kinds = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    rels = (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        f'<Relationship Id="rId1" Type="{kinds}/worksheet" Target="worksheets/sheet1.bin"/>'
        "</Relationships>"
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.bin", main)
        archive.writestr("xl/_rels/workbook.bin.rels", rels)
        archive.writestr("xl/worksheets/sheet1.bin", sheet)
    return path


def test_a_binary_workbook_is_read_for_its_values(tmp_path: Path) -> None:
    rows = rows_of(binary_book(tmp_path / "a.xlsb"), values_only=True)
    assert rows == [(1, ["Link", None]), (2, [None, 12877])]


@pytest.mark.parametrize("ending", [".xls", ".xlsb", ".ods"])
def test_of_other_files_nothing_is_read_before_a_person_knows(tmp_path: Path, ending: str) -> None:
    (tmp_path / f"a{ending}").write_bytes(b"PK")
    with pytest.raises(InputError) as caught:
        pages_of(tmp_path / f"a{ending}")
    assert "error of a formula is an empty cell" in str(caught.value)
    assert "values_only = true" in str(caught.value)
    assert "Save it as .xlsx" in str(caught.value)


@pytest.mark.parametrize("ending", [".xls", ".xlsb", ".ods"])
@pytest.mark.parametrize("data", [b"", b"PK", b"Link;Tx\n", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1xx"])
def test_what_is_no_such_file_is_refused(tmp_path: Path, ending: str, data: bytes) -> None:
    (tmp_path / f"a{ending}").write_bytes(data)
    with pytest.raises(InputError):
        pages_of(tmp_path / f"a{ending}", values_only=True)


@pytest.mark.office
def test_what_libreoffice_saves_is_read_with_its_places(tmp_path: Path) -> None:
    """Of .ods, .xls and .xlsx: the same rows, at the same numbers; hidden sheets are told."""
    plain = book(tmp_path / "plan.xlsx")
    for kind in ("ods", "xls", "xlsx"):
        subprocess.run(
            ["soffice", f"-env:UserInstallation=file://{tmp_path}/profile", "--headless",
             "--convert-to", kind, "--outdir", str(tmp_path / "out"), str(plain)],
            check=True, capture_output=True, timeout=180,
        )  # fmt: skip
        path = tmp_path / "out" / f"plan.{kind}"
        assert trimmed(rows_of(path, values_only=True)) == WANTED, kind
        notes = [page.notes for page in pages_of(path, values_only=True)]
        assert [rule for rule, _ in notes[1]] == ["hidden-sheet"], kind


# -- CSV -------------------------------------------------------------------------------------------

TEXT = "Name;Address\nKüste;198.18.0.1/24\n"


@pytest.mark.parametrize(
    ("data", "encoding"),
    [
        (TEXT.encode(), ""),
        (TEXT.encode("utf-8-sig"), ""),
        (TEXT.encode("utf-16"), ""),
        ("\ufeff".encode("utf-16-be") + TEXT.encode("utf-16-be"), ""),
        (TEXT.encode("cp1252"), "Windows-1252"),
        (TEXT.encode("mac-roman"), "mac_roman"),
        (TEXT.encode("utf-16-le"), "utf-16-le"),
    ],
)
def test_the_encodings_that_are_sure_or_confirmed(
    tmp_path: Path, data: bytes, encoding: str
) -> None:
    (tmp_path / "a.csv").write_bytes(data)
    rows = rows_of(tmp_path / "a.csv", encoding=encoding)
    assert rows == [(1, ["Name", "Address"]), (2, ["Küste", "198.18.0.1/24"])]


def test_every_line_that_is_not_sure_is_named(tmp_path: Path) -> None:
    data = "Name\nKüste\nPier\nHöhe\nÄcker\n".encode("cp1252")
    assert unsure_lines(data) == {2: "Küste", 4: "Höhe", 5: "Äcker"}
    (tmp_path / "a.csv").write_bytes(data)
    with pytest.raises(InputError) as caught:
        rows_of(tmp_path / "a.csv")
    assert "in windows-1252 line 2 is 'Küste'; look at lines 2, 4-5" in str(caught.value)


@pytest.mark.parametrize(
    ("data", "encoding", "words"),
    [
        (TEXT.encode("utf-16-le"), "", "is it UTF-16 without a mark"),
        (TEXT.encode("cp1252"), "utf-8", "line 2: byte 0xfc at offset 14 is not utf-8"),
        (b"a\x81b", "windows-1252", "is not windows-1252"),
        (TEXT.encode("cp1252"), "windows1252", "did you mean windows-1252"),
        (TEXT.encode("cp1252"), "rot13", "no encoding 'rot13' is known"),
    ],
)
def test_encodings_that_do_not_fit_are_refused(data: bytes, encoding: str, words: str) -> None:
    with pytest.raises(InputError, match=re.escape(words)):
        csv_text(data, Path("a.csv"), encoding)


@pytest.mark.parametrize("separator", [",", ";", "\t", "|", "^", "~", ":", "!", "#", "§", "¦"])
def test_any_sign_may_separate_the_cells(table: Any, separator: str) -> None:
    lines = (["Name", "Site", "Label"], ["r", "Quarry", "to sea"], ["s", "Pier", "to land"])
    text = "".join(separator.join(line) + "\n" for line in lines)
    page = pages_of(table(text.encode()))[0]
    known = {"name", "site", "label"}
    rows = list(page.read(lambda heading: heading.casefold() in known, Faults()))
    assert [cells for _, cells in rows] == list(lines)


def test_a_colon_within_cells_separates_nothing(table: Any) -> None:
    """Headings such as `A: Site` and hardware addresses hold more colons than there are cells."""
    lines = (["Name", "A: Site", "B: Site", "A: MAC"],
             ["r", "Quarry", "Pier", "02:00:5e:10:00:01"],
             ["s", "Pier", "Quarry", "02:00:5e:10:00:02"])  # fmt: skip
    page = pages_of(table("".join(";".join(line) + "\n" for line in lines).encode()))[0]
    known = {"name", "name;a", "site;b", "site;a", "mac", "a: site", "b: site"}
    rows = list(page.read(lambda heading: heading.strip().casefold() in known, Faults()))
    assert [cells for _, cells in rows] == list(lines)


def test_a_sign_that_is_told_separates(table: Any) -> None:
    plan, problems = read_plan(table(b"sep=|\nName|Address\nr|198.18.0.1/24\n"))
    assert [device.name for device in plan.devices] == ["r"]
    assert problems == ()
