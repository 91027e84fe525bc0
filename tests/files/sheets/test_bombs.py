"""Small files that would take much memory or time: each is refused in plain words, at once."""

from __future__ import annotations

import io
import re
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from tests.files.sheets.test_other_files import binary_book
from verifier.errors import InputError
from verifier.files.sheets.open_pages import pages_of

Bombs = dict[str, tuple[bytes, str]]
"""Files by what is odd about them, and what is said of each."""

SECONDS = 5
"""Of the processor, which a busy machine does not slow; two of the bombs took 49 and 97."""

MEMORY = 700 << 20
READ = f"""
import resource, sys, time
resource.setrlimit(resource.RLIMIT_AS, ({MEMORY}, {MEMORY}))
from pathlib import Path
from verifier.errors import InputError
from verifier.files.faults import Faults
from verifier.files.sheets.open_pages import pages_of
for name in sys.argv[1:]:
    start = time.process_time()
    try:
        for page in pages_of(Path(name), values_only=True):
            print(99, name, "READ", sum(1 for _ in page.read(lambda _: False, Faults())))
    except InputError as fault:
        print(f"{{time.process_time() - start:.2f}} {{str(fault)[:300]}}")
"""


def workbook(change: Callable[[bytes], bytes], part: str = "xl/worksheets/sheet1.xml") -> bytes:
    """A small workbook with one merged range, its sheet changed by hand, under another name."""
    made = openpyxl.Workbook()
    page = made.active
    assert page is not None
    page.append(["Name", 1])
    page.merge_cells("C2:D2")
    plain, out = io.BytesIO(), io.BytesIO()
    made.save(plain)
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = old.read(name).replace(b"/xl/worksheets/sheet1.xml", b"/%s" % part.encode())
            own = name == "xl/worksheets/sheet1.xml"
            new.writestr(part if own else name, change(data) if own else data)
    return out.getvalue()


def merged(ref: bytes) -> Callable[[bytes], bytes]:
    """A sheet with another range in its place, as it is spelt."""
    return lambda data: re.sub(rb'ref="C2:D2"', lambda _: ref, data)


def rows(each: bytes, count: int) -> Callable[[bytes], bytes]:
    """A sheet of so many rows, spelt alike."""
    body = b"".join(each.replace(b"N", b"%d" % n) for n in range(1, count + 1))
    whole = b"<sheetData>" + body + b"</sheetData>"
    return lambda data: re.sub(
        rb"<sheetData>.*</sheetData>", lambda _: whole, data, flags=re.DOTALL
    )


LINKED = b'</mergeCells><hyperlinks><hyperlink ref="A1:XFD1048576" location="a"/></hyperlinks>'
ALL = b"C2:XFD1048576"


def books() -> Bombs:
    return {
        "plain": (workbook(merged(b'ref="C2:XFD1048576"')), "cells are merged"),
        "lower case": (workbook(merged(b'ref="c2:xfd1048576"')), "cells are merged"),
        "dollars": (workbook(merged(b'ref="$C$2:$XFD$1048576"')), "cells are merged"),
        "spaces": (workbook(merged(b'ref = "C2:XFD1048576"')), "cells are merged"),
        "apostrophes": (workbook(merged(b"ref\n=\t'C2:XFD1048576'")), "cells are merged"),
        "a character by number": (workbook(merged(b'ref="&#67;2:XFD1048576"')), "cells are merged"),
        "whole columns": (workbook(merged(b'ref="A:XFD"')), "cells are merged"),
        "another name": (workbook(merged(b'ref="%s"' % ALL), "xl/a/b.dat"), "cells are merged"),
        "a link": (
            workbook(lambda data: data.replace(b"</mergeCells>", LINKED)),
            "under a link",
        ),
        "a document type": (
            workbook(lambda data: b"<!DOCTYPE a [<!ENTITY b 'c'>]>" + data),
            "declares a document type",
        ),
        "many rows": (
            workbook(rows(b'<row r="N"><c r="AN"><v>1</v></c></row>', 1_048_573)),
            "more than 100,000 rows in a sheet",
        ),
        "many empty rows": (
            workbook(rows(b'<row r="N" s="1" customFormat="1"/>', 1_048_573)),
            "more than 100,000 rows in a sheet",
        ),
        "cells far to the right": (
            workbook(rows(b'<row r="N"><c r="XFDN"><v>1</v></c></row>', 400)),
            "more than 5,000,000 places",
        ),
    }


def spreadsheet(cell: str, row: str) -> bytes:
    """An .ods whose one cell is repeated."""
    names = "".join(
        f' xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{short}:1.0"'
        for short in ("office", "table", "text")
    )
    content = (
        f"<office:document-content{names}><office:body><office:spreadsheet>"
        f'<table:table table:name="A"><table:table-row table:number-rows-repeated="{row}">'
        f'<table:table-cell table:number-columns-repeated="{cell}" office:value-type="string">'
        "<text:p>1</text:p></table:table-cell></table:table-row></table:table>"
        "</office:spreadsheet></office:body></office:document-content>"
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", content)
    return out.getvalue()


def tables() -> Bombs:
    return {
        "repeated cells": (spreadsheet("20000000", "1"), "more than 1,000 cells in a row"),
        "repeated rows": (spreadsheet("1", "20000000"), "more than 100,000 rows in a sheet"),
        "both": (spreadsheet("900", "90000"), "more than 1,000,000 cells"),
        "no number": (spreadsheet("many", "1"), "is not a readable .ods file"),
    }


def texts() -> Bombs:
    return {
        "one row of 30 MB": (b"a," * 15_000_000, "more than 1,000,000 characters in a line"),
        "one heading of 30 MB": (b"a" * 30_000_000, "more than 1,000,000 characters in a line"),
        "many cells": (b"Name," + b"a," * 1_200 + b"\n", "more than 1,000 cells in a row"),
        "many rows": (b"Name,Address\n" + b"a,b\n" * 1_048_573, "more than 100,000 lines"),
        "many rows of an old kind": (
            b"Name,Address\r" + b"a\r" * 1_048_573,
            "more than 100,000 lines",
        ),
        "many lines in one cell": (
            b'Name\n"' + b"\n" * 1_048_573 + b'"',
            "more than 100,000 lines",
        ),
    }


def test_bombs_are_refused_at_once_and_take_little_memory(tmp_path: Path) -> None:
    """All of them in one process that may take 700 MB, each within five seconds."""
    wanted = []
    for ending, bombs in ((".xlsx", books()), (".ods", tables()), (".csv", texts())):
        for name, (data, words) in bombs.items():
            (path := tmp_path / f"{name}{ending}").write_bytes(data)
            wanted.append((path, words))
    done = subprocess.run(
        [sys.executable, "-c", READ, *(str(path) for path, _ in wanted)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert len(lines) == len(wanted), done.stdout
    for line, (path, words) in zip(lines, wanted, strict=True):
        assert path.name in line, line
        assert words in line, line
        assert float(line.partition(" ")[0]) < SECONDS, line


def test_a_binary_workbook_has_a_limit_of_memory(tmp_path: Path) -> None:
    """Two cells at far corners: the library lays out all places between them."""
    path = binary_book(tmp_path / "far.xlsb", corner=(1_048_575, 16_383))
    with pytest.raises(InputError, match="cannot be read within 1024 MB of memory"):
        pages_of(path, values_only=True)


def test_a_binary_workbook_of_many_rows_is_refused(tmp_path: Path) -> None:
    path = binary_book(tmp_path / "long.xlsb", corner=(200_000, 1))
    with pytest.raises(InputError, match="more than 100,000 rows"):
        pages_of(path, values_only=True)
