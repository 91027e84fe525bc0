"""CSV: one row a finding, read by Python's csv; nothing a spreadsheet program would run."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from verifier.report.result import FORMATS
from verifier.report.result.csv import HEADINGS, cell

drawn: Any = FORMATS["csv"]


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline="")))


def test_one_row_a_finding(sample) -> None:
    """Each finding is a row with its subject in parts, its values and its causes."""
    result, look = sample
    text = drawn(result, look)
    document, *rows = read(text)
    assert (document["id"], document["verdict"]) == ("", "fail")
    assert [r["id"] for r in rows] == [f.id for f in result.findings]
    assert tuple(rows[0]) == HEADINGS
    assert rows[1] == {
        "id": "f2", "verdict": "fail", "check": "identity.serial", "kind": "device",
        "subject": "quarry", "port": "", "carrier": "", "end": "", "expected": "000123",
        "observed": "000999", "unit": "", "reason": "the device reports another serial",
        "advice": "is this the right device?", "origin": "plan.yaml, line 7", "caused_by": "c1",
    }  # fmt: skip
    assert (rows[4]["expected"], rows[4]["end"]) == ("-45.6", "a")
    assert text.count("\r\n") == len(rows) + 2  # RFC 4180 section 2


def test_no_cell_is_a_formula(evil) -> None:
    """Whatever the texts begin with: no cell begins as a formula does, or holds a control."""
    for row in read(drawn(*evil)):
        for value in row.values():
            assert not value.startswith(("=", "+", "-", "@", "\t", "\r", "\uff1d"))
            assert value.isprintable()


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("=1+1", "'=1+1"), ("+1", "'+1"), ("-1", "'-1"), ("@A1", "'@A1"), ("\t=1", "'\\t=1"),
        ("\r=1", "'\\r=1"), ("ferry", "ferry"), (-45.6, -45.6), (1000, 1000), (None, None),
        (True, "True"),
    ],
)  # fmt: skip
def test_cells(value, expected) -> None:
    """A number stays one; a text that would be run gets an apostrophe."""
    assert cell(value) == expected


def test_a_byte_order_mark_where_it_is_needed(sample, evil) -> None:
    """Plain ASCII has none."""
    assert drawn(*sample)[0] != "\ufeff"
    assert drawn(*evil)[0] == "\ufeff"
