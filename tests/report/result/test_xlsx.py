"""The workbook, read by openpyxl, and by LibreOffice where it is there."""

from __future__ import annotations

import csv
import dataclasses
import io
import subprocess
from typing import Any

import openpyxl
import pytest

from verifier.model.problem import Subject
from verifier.model.result import Finding
from verifier.report.result import FORMATS
from verifier.report.style import ReportSheet, ReportStyle

xlsx: Any = FORMATS["xlsx"]


def opened(drawn: bytes) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(drawn))


def table(sheet) -> list[tuple[object, ...]]:
    return [tuple(cell.value for cell in row) for row in sheet.iter_rows()]


def test_the_summary_is_first(sample) -> None:
    """Verdict, counts, plan, hashes and the caution about echoes."""
    book = opened(xlsx(*sample))
    assert book.sheetnames == ["Summary", "Findings", "Devices", "Ports", "Links", "Link ends"]
    rows = table(book["Summary"])
    assert rows[0][0] == "Verification of Coast"
    assert rows[1][0] == "FAIL"
    values = {row[0]: row[1] for row in rows[2:]}
    assert (values["Pass"], values["Fail"], values["Warn"], values["Not tested"]) == (2, 1, 1, 1)
    assert values["SHA-256 of result"] == "ef" * 32
    assert values["Throughput"] == "Echoes are not a throughput test; attach one."
    assert values["Cause c1"] == "quarry was exchanged (likely). read the sticker"


def test_findings_heaviest_first(sample) -> None:
    """One row each; numbers are numbers; the verdict stands in words and in colour."""
    sheet = opened(xlsx(*sample))["Findings"]
    rows = table(sheet)
    assert [row[0] for row in rows[1:]] == ["FAIL", "NOT TESTED", "WARN", "PASS", "PASS"]
    assert rows[5][3:6] == (-45.6, -46, "dBm")
    assert sheet["A2"].fill.fgColor.rgb != sheet["A5"].fill.fgColor.rgb
    assert sheet.freeze_panes == "D2"


def test_as_found_stands_beside_the_plan(sample) -> None:
    """Beside each column that was looked at: value and verdict; the reason where untested."""
    book = opened(xlsx(*sample))
    assert table(book["Devices"]) == [
        ("Name", "Name, as found", "Verdict", "Serial", "Serial, as found", "Verdict"),
        ("quarry", "quarry", "PASS", "000123", "000999", "FAIL"),
        ("ferry", None, None, None, None, None),
    ]
    assert table(book["Ports"])[1] == ("ferry", "eth1", 1000, "no answer", "NOT TESTED")
    assert table(book["Links"])[1] == ("Hop 1", -45.6, -46, "PASS")


def test_what_both_ends_share_has_its_column(sample) -> None:
    """Planned once for the link, read at either end: value and the heavier verdict beside it."""
    result, look = sample
    ours = Finding(id="f1", check="radio.bandwidth", verdict="pass", expected=28.0, observed=28.0,
                   subject=Subject("link", "Hop 1", carrier=1, end="a"), reason="read")  # fmt: skip
    far = dataclasses.replace(ours, id="f2", verdict="fail", observed=14.0,
                              subject=dataclasses.replace(ours.subject, end="b"))  # fmt: skip
    sheet = ReportSheet(name="Links", columns=(("name", "Name"), ("bandwidth_mhz", "Bandwidth (MHz)")),
                  rows=(("Hop 1", 28),))  # fmt: skip
    annex = dataclasses.replace(look.annex, sheets=(sheet,))
    drawn = xlsx(dataclasses.replace(result, findings=(ours, far)), ReportStyle(annex=annex))
    assert table(opened(drawn)["Links"]) == [
        ("Name", "Bandwidth (MHz)", "Bandwidth (MHz), as found", "Verdict"),
        ("Hop 1", 28, 14, "FAIL"),
    ]


def test_a_voltage_worked_out_stands_as_planned(sample) -> None:
    """Where the plan has no voltage, the one that follows from level and profile is planned."""
    result, look = sample
    found = Finding(id="f9", check="manual.alignment-voltage", verdict="pass", expected=1.088,
                    subject=Subject("link", "Hop 1", carrier=1, end="a"), observed=1.09, unit="V",
                    reason="entered")  # fmt: skip
    drawn = xlsx(dataclasses.replace(result, findings=(found,)), look)
    row = ("Hop 1", "a", "quarry", None, "Alignment voltage", "1.088 V", "1.09 V", "PASS")
    assert row in table(opened(drawn)["Link ends"])


def test_each_end_of_a_link_has_what_is_handed_over(sample) -> None:
    """A row for each end and figure: planned, found with its deviation, verdict."""
    rows = table(opened(xlsx(*sample))["Link ends"])
    assert rows[0] == ("Link", "End", "Device", "Site", "What", "Planned", "Found", "Verdict")
    assert ("Hop 1", "a", "quarry", None, "Serial", "000123", "000999", "FAIL") in rows
    level = ("Hop 1", "a", "quarry", None, "Rx level", "-45.6 dBm", "-46 dBm (-0.4 dB)", "PASS")
    assert level in rows
    assert ("Hop 1", "b", "ferry", None, "Rx level", "-45.6 dBm", None, None) in rows


def test_no_cell_is_a_formula(evil) -> None:
    """Texts stay texts and printable, whatever they begin with."""
    book = opened(xlsx(*evil))
    cells = [c for sheet in book for row in sheet.iter_rows() for c in row if c.value is not None]
    assert len(cells) > 500
    for cell in cells:
        assert cell.data_type in {"s", "n"}
        assert not isinstance(cell.value, str) or cell.value.isprintable()


@pytest.mark.office
def test_libreoffice_opens_it(evil, tmp_path) -> None:
    """Opened and saved as CSV by LibreOffice; what looked like a formula is still that text."""
    (tmp_path / "report.xlsx").write_bytes(xlsx(*evil))
    subprocess.run(
        ["soffice", f"-env:UserInstallation=file://{tmp_path}/profile", "--headless",
         "--convert-to", "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,2",
         "--outdir", tmp_path, tmp_path / "report.xlsx"],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    (made,) = tmp_path.glob("*.csv")
    rows = list(csv.reader(io.StringIO(made.read_text("utf-8"), newline="")))
    assert rows[0][:2] == ["Verdict", "Subject"]
    assert len(rows) == 1 + len(evil[0].findings)
    subjects = {row[1] for row in rows}
    assert {"=cmd|'/C calc'!A0", "+1+1", "@SUM(A1)", "_x000D_"} <= subjects
