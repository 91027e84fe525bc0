"""A workbook's archive looked over before a library opens it: sizes, counts, what it really is.

The library makes an object of every cell, of every cell of a merged range and of every cell under a
link. So these are counted first, by the same XML parser, whatever the parts are called and however
their text is written.
"""

from __future__ import annotations

import io
import zipfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO
from xml.parsers import expat

from verifier.errors import InputError
from verifier.files.sheets import limits
from verifier.files.sheets.limits import too_many

_CHUNK = 1 << 16
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main}"  # ISO/IEC 29500-4 A.2
_STRICT = "http://purl.oclc.org/ooxml/spreadsheetml/main}"  # ISO/IEC 29500-1 A.2
_CELL, _ROW, _FORMULA = _MAIN + "c", _MAIN + "row", _MAIN + "f"
_SPREAD = {_MAIN + "mergeCell", _MAIN + "hyperlink"}
_EDGES = (1, 1, limits.MAX_COLUMNS, 1_048_576)


def parts_of(data: bytes, path: Path) -> list[str]:
    """The names of the parts of the archive that `data` is. Raises InputError."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = archive.infolist()
    except Exception as error:  # noqa: BLE001 (a broken archive fails in many ways)
        reason = f"is not a readable {path.suffix} workbook: {str(error)[:200]}"
        raise InputError(f"{path}: {reason}") from None
    unpacked = sum(member.file_size for member in members)
    if unpacked > limits.MAX_UNPACKED_BYTES:
        size = f"unpacks to {unpacked // 2**20} MB, which no plan does"
        raise InputError(f"{path}: {size}: is this the right file?")
    if len(members) > limits.MAX_PARTS:
        raise too_many("parts", limits.MAX_PARTS, path)
    if any(member.flag_bits & 1 for member in members):
        raise InputError(f"{path}: is protected by a password: save it without one")
    return [member.filename for member in members]


def has_formulas(data: bytes, path: Path) -> bool:
    """Whether any cell of an .xlsx workbook is calculated.

    Raises:
        InputError: it holds more than any plan, or is one that the library would read as empty.
    """
    count = _Count(path)
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        for member in archive.infolist():
            with archive.open(member) as part:
                _parse(part, count)
    return count.calculated


def _parse(part: IO[bytes], count: _Count) -> None:
    """Counts what a part holds; a part that is no XML ends at once."""
    count.rows = 0
    parser = expat.ParserCreate(namespace_separator="}")
    parser.ordered_attributes = True
    parser.StartElementHandler = count.element
    parser.StartDoctypeDeclHandler = count.doctype
    try:
        while chunk := part.read(_CHUNK):
            parser.Parse(chunk, False)  # noqa: FBT003 (its interface)
    except (expat.ExpatError, LookupError, ValueError):
        return  # the library tells, if it needs this part


@dataclass(slots=True)
class _Count:
    """What the parts hold, up to the limits."""

    path: Path
    elements: int = 0
    cells: int = 0
    rows: int = 0
    spread: int = 0
    calculated: bool = field(default=False)

    def doctype(self, *_: object) -> None:
        raise InputError(f"{self.path}: its XML declares a document type, which no workbook does")

    def element(self, name: str, attributes: list[str]) -> None:
        self.elements += 1
        if name == _CELL:
            self.cells += 1
            if self.cells > limits.MAX_CELLS:
                raise too_many("cells", limits.MAX_CELLS, self.path)
        elif name == _ROW:
            self.rows += 1
            if self.rows > limits.MAX_ROWS:
                raise too_many("rows in a sheet", limits.MAX_ROWS, self.path)
        elif name == _FORMULA:
            self.calculated = True
        elif name in _SPREAD:
            self._spread(dict(zip(attributes[::2], attributes[1::2], strict=True)).get("ref", ""))
        elif name.startswith(_STRICT):
            reason = "is a workbook of the strict kind, which is not read: save it as plain .xlsx"
            raise InputError(f"{self.path}: {reason}")
        if self.elements > limits.MAX_ELEMENTS:
            raise too_many("elements of XML", limits.MAX_ELEMENTS, self.path)

    def _spread(self, ref: str) -> None:
        """Adds the cells of a range that the library will go through one by one."""
        from openpyxl.utils.cell import range_boundaries  # noqa: PLC0415

        try:
            edges = range_boundaries(ref.strip().upper())
        except ValueError:
            return  # the library refuses it too
        left, top, right, bottom = (
            edge or whole for edge, whole in zip(edges, _EDGES, strict=True)
        )
        self.spread += (abs(right - left) + 1) * (abs(bottom - top) + 1)
        if self.spread > limits.MAX_SPREAD:
            raise InputError(
                f"{self.path}: {self.spread} cells are merged or under a link, which no plan needs:"
                " unmerge them"
            )
