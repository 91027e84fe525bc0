"""Angles and coordinates written with degrees, minutes, seconds or a letter for the hemisphere."""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal

from verifier.files.faults import shown

_NUMBER = r"[0-9]{1,3}(?:[.,][0-9]+)?"
_MINUTE = "['\u2032\u2019\u00b4m:]"
_SECOND = "(?:\"|\u2033|\u201d|''|\u2032\u2032|\u2019\u2019|s)"
_FORM = re.compile(
    rf"(?P<lead>[NSEWO])?\s*(?P<sign>[+-])?\s*(?P<degrees>{_NUMBER})\s*(?P<mark>[\u00b0\u00ba:d]|deg)?"
    rf"(?:\s*(?P<minutes>{_NUMBER})\s*{_MINUTE}?"
    rf"(?:\s*(?P<seconds>{_NUMBER})\s*{_SECOND}?)?)?\s*(?P<tail>[NSEWO])?",
    re.IGNORECASE,
)
_LETTERS = {"latitude": "NS", "longitude": "EW", "angle": ""}
_PLACES = Decimal("0.000000001")  # of a degree: a tenth of a millimetre on the ground


def angle(text: str, kind: str) -> str | None:
    """Decimal degrees, north and east positive; None where `text` is not written so.

    Raises:
        ValueError: it is, but means nothing or two things; with a plain message.
    """
    form = _FORM.fullmatch(text)
    if form is None or not (form["mark"] or form["lead"] or form["tail"] or form["seconds"]):
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
