"""Garbage for a plan: it is read, or refused in words; nothing breaks."""

import datetime as dt
import re
import warnings
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

from tests.files.by_hand import column_of
from verifier.errors import VerifierError
from verifier.files.plan.columns import sheets
from verifier.files.read_plan import read_plan

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
    max_examples=80,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
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


def _answer(path: Path) -> list[str]:
    """What is wrong in words: of each problem, or of the file that cannot be read at all."""
    try:
        _, problems = read_plan(path)
    except VerifierError as fault:
        return [str(fault)]
    assert all(str(p.origin) for p in problems)
    return [p.message for p in problems]


@MANY
@given(st.data())
def test_garbage_in_any_cell_of_csv_gives_no_traceback(tmp_path: Path, data: Any) -> None:
    name, rows = _cell(data, GARBAGE.map(str))
    separator = data.draw(st.sampled_from(",;\t"))
    end = data.draw(st.sampled_from(["\n", "\r\n", "\r"]))
    quoted = (separator.join('"' + str(c).replace('"', '""') + '"' for c in row) for row in rows)
    path = tmp_path / f"{name}.csv"
    path.write_bytes(end.join(quoted).encode("utf-8", "surrogatepass"))
    assert all(_answer(tmp_path))
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
    assert all(_answer(tmp_path / "plan.xlsx"))


@MANY
@given(st.binary(max_size=200))
def test_any_bytes_as_csv_give_no_traceback(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "Devices.csv").write_bytes(b"Name,Address\n" + data)
    assert all(_answer(tmp_path))


@MANY
@given(st.data())
def test_a_damaged_workbook_gives_no_traceback(tmp_path: Path, data: Any) -> None:
    path = tmp_path / "plan.xlsx"
    if not (tmp_path / "whole").exists():
        book = openpyxl.Workbook()
        page: Any = book.active
        page.title = "Devices"
        for row in column_of("Gateway", '="198.18.0."&9'):
            page.append(row)
        page.merge_cells("A1:A1")
        book.save(tmp_path / "whole")
    content = bytearray((tmp_path / "whole").read_bytes())
    for place in data.draw(st.lists(st.integers(0, len(content) - 1), max_size=4)):
        content[place] = data.draw(st.integers(0, 255))
    path.write_bytes(content[: data.draw(st.just(None) | st.integers(0, len(content)))])
    assert all(_answer(path))


@MANY
@given(st.data())
def test_a_workbook_of_damaged_parts_gives_no_traceback(tmp_path: Path, data: Any) -> None:
    """The archive is whole, but its XML holds other attributes and values."""
    book = openpyxl.Workbook()
    page: Any = book.active
    page.title = "Devices"
    for row in column_of("Gateway", 7):
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
    assert all(_answer(path))
