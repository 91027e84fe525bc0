"""How a workbook looks: its own plain colours, apart in print without colour too."""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass
from typing import Any

from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.worksheet.properties import PageSetupProperties

from verifier.files.plan.columns import Column

MARGIN_WIDTH, TEXT_WIDTH = 3, 96
_MIN_WIDTH, _MAX_WIDTH = 9, 44
_HEADING_LINES = 3

_DARK, _MIDDLE, _LIGHT, _PALE = "24404F", "8FB3C4", "EADFC3", "F7F4EC"
_FONT = "Calibri"
_A4 = 9  # ISO/IEC 29500-1 18.3.1.63
_EDGE = Border(left=Side(style="medium", color=_DARK))
_WRAP = Alignment(horizontal="left", vertical="center", wrap_text=True, indent=1)
_HEAD = Alignment(horizontal="left", vertical="top", wrap_text=True, indent=1)
_INDENT = Alignment(horizontal="left", indent=1)


_BODY = Font(name=_FONT, size=11)


@dataclass(frozen=True, slots=True)
class CellStyle:
    """Everything that is set on a cell or on the empty cells of a column."""

    font: Font = _BODY
    fill: PatternFill | None = None
    alignment: Alignment | None = None
    border: Border | None = None
    number_format: str = "General"

    def height(self, text: str, columns: float) -> float:
        """Points that a text needs in a cell so many characters wide; its lines break."""
        size = float(self.font.size)
        lines = math.ceil(len(text) * size / 11.5 / columns) or 1
        return size * 1.35 * lines + 4

    def on(self, cell: Any) -> Any:
        """The cell, with this look."""
        cell.font = self.font
        cell.number_format = self.number_format
        for name in ("fill", "alignment", "border"):
            if (value := getattr(self, name)) is not None:
                setattr(cell, name, value)
        return cell


def _solid(color: str) -> PatternFill:
    return PatternFill("solid", fgColor=color)


TITLE = CellStyle(Font(name=_FONT, size=18, bold=True, color=_DARK), alignment=_WRAP)
SECTION = CellStyle(Font(name=_FONT, size=12, bold=True, color="FFFFFF"), _solid(_DARK), _WRAP)
PLAIN = CellStyle(alignment=_WRAP)
QUIET = CellStyle(Font(name=_FONT, size=10, color="44535C"), alignment=_HEAD, number_format="@")
FIELD = CellStyle(Font(name=_FONT, size=11, bold=True), _solid(_PALE), _HEAD, number_format="@")
HEADING = CellStyle(Font(name=_FONT, size=11, bold=True, color="FFFFFF"), _solid(_DARK), _WRAP)

_SIDES = {"a": (_MIDDLE, "000000", None), "b": (_LIGHT, "000000", _PALE)}
"""Of each end: heading, its writing, cells below."""


def heading_of(column: Column, *, required: bool) -> CellStyle:
    """The heading of a column: each end of a link has its own, a required one is underlined."""
    fill, ink, _ = _SIDES.get(column.path[0], (_DARK, "FFFFFF", None))
    font = Font(name=_FONT, size=11, bold=True, color=ink, underline="single" if required else None)
    return CellStyle(font, _solid(fill), _HEAD, _border(column))


def cell_of(column: Column) -> CellStyle:
    """The cells below a heading: text that stays text, numbers, days."""
    pale = _SIDES.get(column.path[0], (None, None, None))[2]
    fill = None if pale is None else _solid(pale)
    formats = {"number": "General", "date": "yyyy-mm-dd"}
    number_format = formats.get(column.kind, "@")
    alignment = None if column.kind == "number" else _INDENT
    return CellStyle(
        fill=fill, alignment=alignment, border=_border(column), number_format=number_format
    )


def value_of(column: Column) -> CellStyle:
    """The value of a field of sheet Network."""
    return CellStyle(alignment=_HEAD, number_format=cell_of(column).number_format)


def _border(column: Column) -> Border | None:
    """A strong line where an end of a link begins."""
    return _EDGE if column.path in (("a", "device"), ("b", "device")) else None


def width(heading: str, values: list[Any]) -> float:
    """A width at which the heading fits into three lines and most values into one."""
    word = max(map(len, heading.split()))
    line = math.ceil(len(heading) / _HEADING_LINES) + 2
    longest = max((len(str(v)) for v in values if v is not None), default=0)
    return min(max(word + 5, line, longest + 3, _MIN_WIDTH), _MAX_WIDTH)


def heading_height(widths: dict[str, float]) -> float:
    """Points for the tallest of these headings, with room below it for the arrow of a filter."""
    lines = max(len(textwrap.wrap(text, int(wide) - 3)) for text, wide in widths.items())
    return 15.0 * lines + 16


def page(sheet: Any, *, orientation: str = "landscape", pages_across: int | None) -> None:
    """Prints on A4, at two thirds of its size where any number of pages may be needed."""
    sheet.page_setup.paperSize = _A4
    sheet.page_setup.orientation = orientation
    sheet.print_options.gridLines = orientation == "landscape"
    if pages_across is None:
        sheet.page_setup.scale = 67
    else:
        sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = pages_across, 0
        sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    for side in ("left", "right", "top", "bottom"):
        setattr(sheet.page_margins, side, 0.5)
    sheet.oddFooter.center.text = "&F - &A - &P / &N"
