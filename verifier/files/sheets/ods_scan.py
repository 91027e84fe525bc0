"""An OpenDocument spreadsheet looked over before a library opens it: its repeat counts added up.

One cell can stand for 17 milliard of them (`table:number-columns-repeated` in a row with
`table:number-rows-repeated`, ODF 1.3 part 3, 19.675 and 19.679), and a reader makes all of them.
"""

from __future__ import annotations

import io
import zipfile
from dataclasses import dataclass
from pathlib import Path
from xml.parsers import expat

from verifier.errors import InputError
from verifier.files.sheets import limits
from verifier.files.sheets.limits import too_many

_CHUNK = 1 << 16
_TABLE = "urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_TEXT = "urn:oasis:names:tc:opendocument:xmlns:text:1.0}p"
_SHEET, _ROW = _TABLE + "table", _TABLE + "table-row"
_CELLS = (_TABLE + "table-cell", _TABLE + "covered-table-cell")
_ROWS_REPEATED = _TABLE + "number-rows-repeated"
_COLUMNS_REPEATED = _TABLE + "number-columns-repeated"
_VALUES = ("office:1.0}value-type", "calcext:1.0}value-type", "office:1.0}value")


def refuse_large(data: bytes, path: Path) -> None:
    """Raises InputError where the sheets hold or span more than those of any plan."""
    spans = _Spans(path)
    parser = expat.ParserCreate(namespace_separator="}")
    parser.StartElementHandler = spans.start
    parser.EndElementHandler = spans.end
    parser.StartDoctypeDeclHandler = spans.doctype
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive, archive.open("content.xml") as part:
            while chunk := part.read(_CHUNK):
                parser.Parse(chunk, False)  # noqa: FBT003 (its interface)
            parser.Parse(b"", True)  # noqa: FBT003
    except (KeyError, ValueError, expat.ExpatError, zipfile.BadZipFile, NotImplementedError) as why:
        raise InputError(f"{path}: is not a readable .ods file: {str(why)[:200]}") from None


@dataclass(slots=True)
class _Spans:
    """What the sheets come to, up to the limits."""

    path: Path
    elements: int = 0
    cells: int = 0
    places: int = 0
    row: int = 0
    rows_repeated: int = 1
    column: int = 0
    columns_repeated: int = 1
    filled: int = 0
    last: int = 0
    widest: int = 0
    holds: bool = False

    def doctype(self, *_: object) -> None:
        raise InputError(f"{self.path}: its XML declares a document type: is this the right file?")

    def start(self, name: str, attributes: dict[str, str]) -> None:
        self.elements += 1
        if self.elements > limits.MAX_ELEMENTS:
            raise too_many("elements of XML", limits.MAX_ELEMENTS, self.path)
        if name in _CELLS:
            self.columns_repeated = max(1, int(attributes.get(_COLUMNS_REPEATED, "1")))
            self.holds = any(key.endswith(_VALUES) for key in attributes)
        elif name == _TEXT:
            self.holds = True
        elif name == _ROW:
            self.rows_repeated = max(1, int(attributes.get(_ROWS_REPEATED, "1")))
            self.column = self.filled = self.last = 0
        elif name == _SHEET:
            self.row = self.widest = 0

    def end(self, name: str) -> None:
        if name in _CELLS:
            self.column += self.columns_repeated
            if self.holds:
                self.filled += self.columns_repeated
                self.last = self.column
            self.holds = False
        elif name == _ROW:
            self.row += self.rows_repeated
            if self.filled:
                self._row()

    def _row(self) -> None:
        """Adds a row that holds anything, as often as it is repeated."""
        self.cells += self.filled * self.rows_repeated
        self.widest = max(self.widest, self.last)
        for what, most, count in (
            ("cells in a row", limits.MAX_FILLED, self.filled),
            ("rows in a sheet", limits.MAX_ROWS, self.row),
            ("cells", limits.MAX_CELLS, self.cells),
            ("places in its rows", limits.MAX_PLACES, self.row * self.widest),
        ):
            if count > most:
                raise too_many(what, most, self.path)
