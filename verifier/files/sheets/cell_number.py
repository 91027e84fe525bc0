"""Figures, angles and coordinates as people type them: one exact reading, or an error."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Literal

from verifier.files.faults import shown
from verifier.files.plan.columns import Column
from verifier.files.plan.units import SAME, Scale, doubt, scale, unit_named

Note = Callable[[str, str], None]
"""Takes the rule and the words of what was read otherwise than it is written."""

PLAIN = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")
_MINUS = re.compile(r"^[\u2010-\u2015\u2212\ufe63](?=\s*[0-9.,])")
_WITH_UNIT = re.compile(
    r"(?P<figure>[+-]?[0-9.,'\u2019\s]*[0-9][.,]?)\s*(?P<unit>[^0-9\s.,'\u2019].*|['\u2019]{1,2})"
)
_SPACED = re.compile(r"[+-]?[1-9][0-9]{0,2}([\s'\u2019][0-9]{3})+([.,][0-9]+)?")
_DOTS = re.compile(r"[+-]?[1-9][0-9]{0,2}(\.[0-9]{3})+(,[0-9]+)?")
_COMMAS = re.compile(r"[+-]?[1-9][0-9]{0,2}(,[0-9]{3})+(\.[0-9]+)?")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+([eE][+-]?[0-9]{1,3})?")
_EITHER = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_POINT = re.compile(r"\s*[+-]?[1-9][0-9]{0,2}\.[0-9]{3}(?![0-9.,])")
_UNDECIDED = frozenset(("?", "tbd", "tbc", "."))
_NOTHING = frozenset(("-", "--", "---", "/", "n/a", "na", "n.a.", "none", "nil", "k.a."))
_DASHES = "\u2010\u2011\u2012\u2013\u2014\u2015\u2212"


Sign = Literal["plain", ".", ",", "either"]
"""The decimal sign of a column: of ours (a point, and a comma where it can be nothing else), the
point, the comma, or not known: then a figure of two readings is refused."""


@dataclass(frozen=True, slots=True)
class NumberStyle:
    """How the figures of one column are written.

    Attributes:
        scale: what is done to a figure without a unit of its own.
    """

    decimal: Sign = "plain"
    scale: Scale = SAME


PLAINLY = NumberStyle()
"""As a plan of ours is written, in the column's unit."""


def read_number(text: str, column: Column, form: NumberStyle, note: Note) -> str:
    """The figure in the column's own unit, as plain text.

    Raises:
        ValueError: it can be read in no way, or in more than one; with a plain message.
    """
    if form is PLAINLY and PLAIN.fullmatch(text):
        return text
    text = _MINUS.sub("-", text)
    if PLAIN.fullmatch(text):
        return form.scale.of(_figure(text, form, note))
    if text.lower() in _UNDECIDED or says_nothing(text):
        raise ValueError(f"{shown(text)} is not a number: leave the cell empty if nothing is meant")
    if column.angle and (degrees := angle(text, column.angle)) is not None:
        note("degrees-converted", f"{shown(text)} is read as {degrees}")
        return degrees
    parts = _WITH_UNIT.fullmatch(text)
    if parts is None:
        return form.scale.of(_figure(text, form, note, column))
    unit, figure = unit_named(parts["unit"]), parts["figure"].strip()
    if not unit:
        if meant := doubt(parts["unit"]):
            raise ValueError(f"{shown(text)} is in {meant}: write the unit in full")
        raise ValueError(f"{shown(text)} is not a number{_wanted(column)}")
    try:
        times = scale(unit, column.unit)
    except ValueError as fault:
        raise ValueError(f"{shown(text)} {fault}") from None
    figure = times.of(_figure(figure, form, note, column))
    if unit != column.unit:
        note("unit-converted", f"{shown(text)} is read as {figure} {column.unit}")
    return figure


def says_nothing(text: str) -> bool:
    """Whether a cell says that there is no value, as an empty one does."""
    bare = text.strip()
    return bare.lower() in _NOTHING or (bare != "" and not bare.strip(_DASHES))


def could_be_thousands(text: str) -> bool:
    """Whether a figure with one point means a thousand times as much where commas are decimal."""
    return _POINT.match(text) is not None


def _wanted(column: Column) -> str:
    return f": write the figure alone, in {column.unit}" if column.unit else ""


def _figure(text: str, form: NumberStyle, note: Note, column: Column | None = None) -> str:
    """A figure without a unit as plain text: its separators replaced and told."""
    bare = re.sub(r"^([+-])\s+", r"\1", text)
    if _SPACED.fullmatch(bare):
        bare = re.sub(r"[\s'\u2019]", "", bare)
        note("thousands-separator", f"{shown(text)} is read as {bare.replace(',', '.')}")
        return bare.replace(",", ".")
    angle = column is not None and column.angle
    if form.decimal == ",":
        return _continental(text, bare, note)
    if form.decimal == "either" and _EITHER.fullmatch(bare) and not angle:
        raise ValueError(f"{shown(text)} is {' or '.join(either(bare))}: say decimal of its column")
    if PLAIN.fullmatch(bare):
        return bare
    if form.decimal == ".":
        return _insular(text, bare, note)
    if _EITHER.fullmatch(bare) and not angle:
        raise ValueError(
            f"{shown(text)} is {bare.replace(',', '.')} with a decimal comma, "
            f"{bare.replace(',', '')} with a comma between thousands: write it without a comma"
        )
    if _DECIMAL_COMMA.fullmatch(bare):
        figure = bare.replace(",", ".")
        note("decimal-comma", f"{shown(text)} is read as {figure}")
        return figure
    if _COMMAS.fullmatch(bare) or _DOTS.fullmatch(bare):
        decimal = min(",.", key=lambda c: (bare.count(c) != 1, -bare.rfind(c)))
        if bare.count(decimal) != 1:
            decimal = ""
        figure = "".join(("." if c == decimal else "") if c in ",." else c for c in bare)
        note("thousands-separator", f"{shown(text)} is read as {figure}")
        return figure
    raise ValueError(f"{shown(text)} is not a number{'' if column is None else _wanted(column)}")


def split_unit(text: str) -> tuple[str, str]:
    """A figure and the unit that is written beside it; no unit where there is none."""
    text = _MINUS.sub("-", text.strip())
    if (parts := _WITH_UNIT.fullmatch(text)) is None:
        return text, ""
    return parts["figure"].strip(), parts["unit"]


def either(bare: str) -> tuple[str, str]:
    """Both readings of a figure with one sign and three digits behind it."""
    return re.sub("[.,]", ".", bare), re.sub("[.,]", "", bare)


def _insular(text: str, bare: str, note: Note) -> str:
    """A figure, not a plain one, of a column that is known to write a decimal point."""
    if not _COMMAS.fullmatch(bare):
        raise ValueError(f"{shown(text)} is not a number with a decimal point, as its column has")
    figure = bare.replace(",", "")
    note("thousands-separator", f"{shown(text)} is read as {figure}")
    return figure


def _continental(text: str, bare: str, note: Note) -> str:
    """A figure of a sheet that is known to write a decimal comma."""
    if _DOTS.fullmatch(bare):
        figure = bare.replace(".", "").replace(",", ".")
        note("thousands-separator", f"{shown(text)} is read as {figure}")
        return figure
    if "." in bare or not PLAIN.fullmatch(figure := bare.replace(",", ".")):
        raise ValueError(f"{shown(text)} is not a number with a decimal comma, as its column has")
    return figure


# -- angles: degrees, minutes, seconds, or a letter for the hemisphere -----------------------------

_DEGREES = r"[0-9]{1,3}(?:[.,][0-9]+)?"
_MINUTE = "['\u2032\u2019\u00b4m:]"
_SECOND = "(?:\"|\u2033|\u201d|''|\u2032\u2032|\u2019\u2019)"
_S = r"s(?=\s*[NSEWO])|(?(lead)s|(?!))"  # alone it is south
_ANGLE = re.compile(
    rf"(?P<lead>[NSEWO])?\s*(?P<sign>[+-])?\s*(?P<degrees>{_DEGREES})\s*(?P<mark>[\u00b0\u00ba:d]|deg)?"
    rf"(?:(?:(?<=[\u00b0\u00ba:dg])\s*|\s+)(?P<minutes>{_DEGREES})(?:\s*{_MINUTE})?"
    rf"(?:(?:(?<={_MINUTE})\s*|\s+)(?P<seconds>{_DEGREES})\s*(?:{_SECOND}|{_S})?)?)?"
    r"\s*(?P<tail>[NSEWO])?",
    re.IGNORECASE,
)
_PACKED = re.compile(
    r"(?P<lead>[NSEWO])?\s*(?P<sign>(?!))?(?P<degrees>[0-9]{2,3})(?P<between>[.-]?)"
    r"(?P<minutes>[0-9]{2})(?:(?P=between)(?P<seconds>[0-9]{2}(?:[.,][0-9]+)?))?\s*(?P<tail>[NSEWO])?",
    re.IGNORECASE,
)
"""Degrees, minutes and seconds without marks (470600N) or with points or strokes between them: only
with a letter, and the degrees of a latitude in two digits, those of a longitude in three."""
_LETTERS = {"latitude": "NS", "longitude": "EW", "angle": ""}
_PLACES = Decimal("0.000000001")  # of a degree: a tenth of a millimetre on the ground


def angle(text: str, kind: str) -> str | None:
    """Decimal degrees, north and east positive; None where `text` is not written so.

    Raises:
        ValueError: it is, but means nothing or two things; with a plain message.
    """
    if (form := _written(text, kind)) is None:
        return None
    letter = _letter(form, kind, text)
    degrees, minutes, seconds = (
        Decimal((form[part] or "0").replace(",", ".")) for part in ("degrees", "minutes", "seconds")
    )
    broken = (form["minutes"] and degrees % 1) or (form["seconds"] and minutes % 1)
    if broken or minutes >= 60 or seconds >= 60:  # noqa: PLR2004 (sixtieths)
        raise ValueError(
            f"{shown(text)}: minutes and seconds are below 60, only the last is broken"
        )
    if letter and form["sign"]:
        raise ValueError(f"{shown(text)} has a sign and a letter: write one of them")
    value = degrees + minutes / 60 + seconds / 3600
    value = value.quantize(_PLACES, ROUND_HALF_EVEN).normalize()
    return f"{-value if letter in tuple('SW') or form['sign'] == '-' else value:f}"


def _written(text: str, kind: str) -> re.Match[str] | None:
    """The parts of an angle; None where it is none, or nothing but a figure."""
    packed = _PACKED.fullmatch(text)
    if packed is not None and (packed["lead"] or packed["tail"]) and kind != "angle":
        whole = len(packed["degrees"]) == {"latitude": 2, "longitude": 3}[kind]
        if packed["seconds"] if packed["between"] else whole:
            return packed
    form = _ANGLE.fullmatch(text)
    if form is None or not (form["mark"] or form["lead"] or form["tail"] or form["seconds"]):
        return None
    return form


def _letter(form: re.Match[str], kind: str, text: str) -> str:
    """The hemisphere, or nothing."""
    letters = [form[part].upper() for part in ("lead", "tail") if form[part]]
    if len(letters) > 1:
        raise ValueError(f"{shown(text)} has two letters: write one")
    letter = letters[0] if letters else ""
    if letter == "O" and kind == "longitude":
        raise ValueError(f"{shown(text)}: O is east in German and west in French: write E or W")
    if letter and letter not in _LETTERS[kind]:
        raise ValueError(f"{shown(text)} cannot be a {kind}")
    return letter
