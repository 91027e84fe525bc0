"""Somebody's own sheet as it looks, each cell with what became of it, as one self-contained page.

The cells stand in the page as data; its script draws those that are to be seen, so that 5,000 rows
open as fast as five. What a cell shows is what the ledger says it shows: a secret is not in it.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from typing import Any

from markupsafe import Markup

from verifier.model.ledger import CellRecord, Fate, Ledger
from verifier.model.sheet_look import SheetLook
from verifier.report.html import draw
from verifier.report.style import plain

FATES: dict[Fate, tuple[str, str, str]] = {
    "not read": ("?", "not read", "nobody has said what it is"),
    "read": ("\u25cf", "read", "into a field of the plan"),
    "left out": ("\u2013", "left out", "a person says why in the mapping"),
    "row skipped": ("\u00d7", "row skipped", "the row is no plan"),
    "footer": ("\u25bd", "footer", "stands below the rows"),
    "title": ("\u25ad", "title", "stands above the headings"),
    "heading": ("\u2261", "heading", "names a column"),
    "unit row": ("u", "unit row", "says the units of the columns"),
    "repeat": ("\u21bb", "repeated heading", "the headings once more"),
    "note": ("\u270e", "note", "words among the rows"),
}
"""Of each fate the sign on a cell, its name, and what it means."""

_LONGEST = 400
_UNREAD = 200
_WIDTHS = (4.0, 40.0)
"""Characters of a column without a width of its own."""
_LOOKED_AT = 300


def page(name: str, mapping: str, ledger: Ledger) -> str:
    """The page. It fetches nothing.

    Args:
        name: of the file.
        mapping: name of the mapping that it was read by.
        ledger: what became of each cell, and how the sheets look.
    """
    counts = Counter(cell.fate for cell in ledger.cells)
    unread = ledger.unread()
    return draw(
        "read_sheet.html",
        "read_sheet.css",
        "read_sheet.js",
        longest=_LONGEST,
        name=name,
        mapping=mapping,
        counts=[(FATES[fate], fate, counts[fate]) for fate in FATES if counts[fate]],
        total=len(ledger.cells),
        unread=unread[:_UNREAD],
        more_unread=len(unread) - len(unread[:_UNREAD]),
        data=_data(ledger),
    )


def _data(ledger: Ledger) -> Markup:
    """The cells as JSON that can stand in a page: every text once, cells by their numbers."""
    texts = _Texts()
    of_sheet: dict[str, list[CellRecord]] = {}
    for cell in ledger.cells:
        of_sheet.setdefault(cell.sheet, []).append(cell)
    known = {look.name: look for look in ledger.looks}
    names = [*known, *(name for name in of_sheet if name not in known)]
    sheets = [
        _sheet(known.get(name) or SheetLook(name, {}), of_sheet.get(name, []), texts)
        for name in names
    ]
    fates = [[fate.replace(" ", "-"), sign, name] for fate, (sign, name, _) in FATES.items()]
    whole = {"fates": fates, "sheets": sheets, "texts": texts.all}
    text = json.dumps(whole, ensure_ascii=True, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace("&", "\\u0026"))  # noqa: S704 - JSON


class _Texts:
    """Texts by number, each once; what cannot be seen is spelt out."""

    def __init__(self) -> None:
        self.all: list[str] = []
        self._numbers: dict[str, int] = {}

    def number(self, text: str) -> int:
        """The number of a text."""
        if (found := self._numbers.get(text)) is None:
            found = self._numbers[text] = len(self.all)
            self.all.append(plain(text, longest=_LONGEST))
        return found


def _sheet(look: SheetLook, cells: Sequence[CellRecord], texts: _Texts) -> dict[str, Any]:
    """One sheet: its look, and its cells by row."""
    order = list(FATES)
    rows: dict[int, list[Any]] = {}
    for cell in cells:
        reads = [
            [texts.number(part) for part in (r.field, str(r.subject), r.value, r.unit, r.how)]
            for r in cell.reads
        ]
        more = [texts.number(cell.heading), texts.number(cell.reason), reads]
        struck = int((cell.row, cell.column) in look.struck)
        rows.setdefault(cell.row, []).append(
            [cell.column, texts.number(cell.shown), order.index(cell.fate), struck, *more]
        )
    last = max((cell.column for cell in cells), default=1)
    return {
        "name": plain(look.name, longest=_LONGEST),
        "hidden": look.hidden,
        "widths": [round(width, 1) for width in _widths(look, cells, last)],
        "hiddenRows": sorted(look.hidden_rows),
        "hiddenColumns": sorted(c for c in look.hidden_columns if c <= last),
        "blocks": [
            [b.top, b.left, b.bottom, min(b.right, last)] for b in look.blocks if b.left <= last
        ],
        "rows": [[row, rows[row]] for row in sorted(rows)],
    }


def _widths(look: SheetLook, cells: Sequence[CellRecord], last: int) -> list[float]:
    """The width of each column in characters: its own, or that of what it holds."""
    low, high = _WIDTHS
    found = dict.fromkeys(range(1, last + 1), low)
    seen: Counter[int] = Counter()
    for cell in cells:
        if seen[cell.column] < _LOOKED_AT:
            seen[cell.column] += 1
            found[cell.column] = max(found[cell.column], min(len(cell.shown) + 3.0, high))
    return [max(low, look.widths.get(column, width)) for column, width in found.items()]
