"""What a cell holds, to the text that `plan/to_model` reads: cleaned by the kind of its column.

Nothing is guessed: what can be read in one way only is read and told, the rest is refused.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from verifier.files.faults import shown
from verifier.files.plan.columns import Column
from verifier.files.plan.units import Scale
from verifier.files.sheets.cell_number import PLAIN, Note, NumberStyle, read_number
from verifier.files.sheets.limits import MAX_CELL

_ODD = re.compile("[\u00a0\u00ad\u1680\u2000-\u200d\u202f\u205f\u2060\u3000\ufeff\uff01-\uff5e]")
_INVISIBLE = dict.fromkeys((0x00AD, 0x200B, 0x200C, 0x200D, 0x2060, 0xFEFF))
_SPACES = dict.fromkeys((0xA0, 0x1680, *range(0x2000, 0x200B), 0x202F, 0x205F, 0x3000), " ")
_WIDE = {code: code - 0xFEE0 for code in range(0xFF01, 0xFF5F)}
_COMMAS = re.compile(r"[0-9]{1,3}(,[0-9]{1,3}){3}(/.*)?")
_GATEWAYS = ("gateway", "present_gateway")
_PREFIX = re.compile(r"/[0-9]{1,3}$")
_SLASH = re.compile(r"\s*/\s*")
_DAY = re.compile(r"([0-9]{1,2})([./])([0-9]{1,2})\2([0-9]{4})")
_MONTHS = 12
_EXACT_DIGITS = 15
_LONGEST_MASK = 128
_PERCENT = Scale(Decimal(100))


@dataclass(frozen=True, slots=True)
class Formatted:
    """A number of a workbook whose format shows other digits than it has: zeros or per cent."""

    value: int | float
    format: str


@dataclass(frozen=True, slots=True)
class UnreadableCell:
    """A cell of a workbook without a value; says why."""

    reason: str


def too_long(text: str) -> UnreadableCell:
    """What a cell is that holds more than anybody types."""
    return UnreadableCell(f"the cell holds {len(text):,} characters: at most {MAX_CELL:,} are read")


def clean(value: Any, column: Column, form: NumberStyle, note: Note) -> str:
    """The text of a cell; empty where nothing is written.

    Raises:
        ValueError: the cell holds what its column cannot, or what can be read in two ways.
    """
    if not isinstance(value, str):
        return _typed(value, column, form, note)
    text = value.strip()
    if not text.isascii() and _ODD.search(text):
        text = _folded(text, column, note)
    if not text or column.kind == "number":
        return text and read_number(text, column, form, note)
    if column.is_address:
        return _address(text, column, note)
    return _day(text, note) if column.kind == "date" else text


def without_odd_spaces(text: str) -> str:
    """A text with common spaces and narrow figures only, for a look at what it holds."""
    return text.translate(_INVISIBLE).translate(_WIDE).translate(_SPACES).strip()


def _folded(text: str, column: Column, note: Note) -> str:
    """`text` without what only looks like blanks, letters and digits."""
    seen = text.translate(_INVISIBLE).strip()
    if len(seen) < len(text.strip("\ufeff\u200b")):
        note("invisible-character", f"{shown(text)} is read as {shown(seen)}")
    narrow = seen if column.hint is str else seen.translate(_WIDE)  # a name is what it is
    if narrow != seen:
        note("full-width", f"{shown(seen)} is read as {shown(narrow)}")
    plain = narrow.translate(_SPACES).strip()
    if plain != narrow and column.kind != "number":
        note("odd-space", f"{shown(narrow)} is read as {shown(plain)}, with common spaces")
    return plain


def _address(text: str, column: Column, note: Note) -> str:
    if _COMMAS.fullmatch(text):
        point = text.replace(",", ".")
        raise ValueError(f"{shown(text)} is not an address: is {point} meant, with points?")
    close = _SLASH.sub("/", text)
    if close != text:
        note("space-in-address", f"{shown(text)} is read as {close}")
    if column.path[-1] in _GATEWAYS and (prefix := _PREFIX.search(close)) is not None:
        return close[: prefix.start()]  # the subnet is that of the device's own address
    return close


def _day(text: str, note: Note) -> str:
    """A date as year-month-day, where it can be read in one way only."""
    if (parts := _DAY.fullmatch(text)) is None:
        return text
    first, second = int(parts[1]), int(parts[3])
    day_first, month_first = (
        f"{parts[4]}-{second:02}-{first:02}", f"{parts[4]}-{first:02}-{second:02}",
    )  # fmt: skip
    if parts[2] == "/" and first <= _MONTHS and second <= _MONTHS and first != second:
        raise ValueError(f"{shown(text)} is {day_first} or {month_first}: write one of these")
    read = month_first if parts[2] == "/" and second > _MONTHS else day_first
    note("date-form", f"{shown(text)} is read as {read}")
    return read


def _typed(value: Any, column: Column, form: NumberStyle, note: Note) -> str:
    """A cell of a workbook that is not text."""
    if isinstance(value, UnreadableCell):
        raise ValueError(value.reason)  # noqa: TRY004 (one kind of error for every cell)
    shown_as = value.format if isinstance(value, Formatted) else ""
    value = value.value if isinstance(value, Formatted) else value
    if isinstance(value, bool):
        if column.kind == "flag":
            return str(value).lower()
        raise ValueError(_wrong("a truth value", str(value).lower(), column))
    if isinstance(value, (int, float)):
        return _number(value, shown_as, column, form, note)
    day_alone = type(value) is dt.date or (isinstance(value, dt.datetime) and _midnight(value))
    if day_alone and column.kind == "date":
        return str(value.isoformat()[:10])
    made = ""
    if day_alone and column.kind in ("text", "number"):
        typed = f"{value.day}-{value.month} or {value.month}-{value.day}"
        made = f", perhaps made of {typed} by the spreadsheet"
    text = value.isoformat() if isinstance(value, (dt.date, dt.time)) else str(value)
    raise ValueError(_wrong("a date or time", f"{text}{made}", column))


def _midnight(value: dt.datetime) -> bool:
    return value.time() == dt.time()


def _number(value: float, shown_as: str, column: Column, form: NumberStyle, note: Note) -> str:
    text = _digits(value) if isinstance(value, float) else str(value)
    if column.kind == "number":
        if "%" not in shown_as:
            return form.scale.of(text) if PLAIN.fullmatch(text) else text
        if column.unit != "%":
            raise ValueError(_wrong("a percentage", f"{_PERCENT.of(text)} %", column))
        note("percent-format", f"{text} is shown, and read, as {_PERCENT.of(text)} %")
        return _PERCENT.of(text)
    if column.kind == "text" and not column.is_address and _is_whole(value):
        digits = str(int(value))
        padded = f"{int(value):0{len(shown_as)}}" if shown_as else digits
        if column.path == ("mask",) and 0 <= value <= _LONGEST_MASK:
            return digits
        if padded == digits and len(digits) <= _EXACT_DIGITS:
            note("number-as-text", f"the cell holds a number: it is read as the text {digits}")
            return digits
        both = f"{text}, shown as {padded}" if padded != digits else f"{text}, 15 digits exact"
        raise ValueError(_wrong("a number", both, column))
    return _refused_number(text, column)


def _is_whole(value: float) -> bool:
    return isinstance(value, int) or value.is_integer()


def _refused_number(text: str, column: Column) -> str:
    """Raises ValueError: a number stands where its digits may not be those that were typed."""
    typed = ""
    if column.is_address and text.isdigit():
        groups = f"{int(text):,}".split(",")
        if len(groups) == 4 and max(map(int, groups)) <= 255:  # noqa: PLR2004 (octets)
            typed = f"; {'.'.join(str(int(g)) for g in groups)} typed with points for thousands"
    elif column.kind == "text" and "." in text:
        typed = f"; it may have been typed as {text} or {text}0"
    raise ValueError(_wrong("a number", text, column) + typed)


def _wrong(found: str, text: str, column: Column) -> str:
    wanted = {
        "text": "as text, in a cell formatted as text",
        "number": "a number",
        "flag": "TRUE or FALSE",
        "date": "a date",
        "moment": "as text with its time zone, such as 2026-12-01T08:00Z",
    }[column.kind]
    return f"the cell holds {found} ({text}): write {wanted}"


def as_shown(value: Any) -> str:
    """The text of a cell as a person sees it, in one line."""
    if isinstance(value, UnreadableCell):
        return value.reason
    if isinstance(value, Formatted):
        number = value.value
        if "%" in value.format:
            return f"{Scale(Decimal(100)).of(_digits(number))} %"
        return f"{number:0{len(value.format)}.0f}"
    if isinstance(value, float):
        return _digits(value)
    if isinstance(value, dt.datetime) and _midnight(value):
        return value.date().isoformat()
    return " ".join(str(value).split())


def _digits(value: float) -> str:
    return f"{value:.15g}"
