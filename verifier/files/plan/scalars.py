"""One text to one typed value, by the type hint of its field; strict, with plain messages.

Every parser takes non-empty text and returns the value or raises ValueError with a message.
"""

from __future__ import annotations

import datetime as dt
import functools
import math
import re
import typing
from collections.abc import Callable
from typing import Any, Literal

from verifier.files.faults import nearest, shown
from verifier.files.plan.columns import VALUE_WORDS

Parser = Callable[[str], Any]

MAX_TEXT = 1000
MAX_PARSED = 120  # an IPv6 address with a zone and a mask written out has at most 107
_MAX_INTEGER = 2**53 - 1  # the largest that every JSON reader keeps exactly (RFC 8259 6)

_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")
_INTEGER = re.compile(r"[+-]?[0-9]{1,17}")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_MOMENT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2})?(?P<zone>Z|[+-][0-9]{2}:[0-9]{2})?"
)
_FLAGS = {
    "true": True, "yes": True, "on": True, "false": False, "no": False, "off": False,
}  # fmt: skip


@functools.cache
def parser(hint: Any) -> Parser:
    """The parser for a type hint: an address type, a choice, number, flag, date, moment or text."""
    if typing.get_origin(hint) is Literal:
        return functools.partial(_choice, typing.get_args(hint))
    parsers: dict[Any, Parser] = {
        str: _text, int: _integer, float: _number, bool: _flag,
        dt.date: _date, dt.datetime: _moment,
    }  # fmt: skip
    return parsers[hint] if hint in parsers else functools.partial(_parsed, hint)


def _text(text: str) -> str:
    text = text.strip()
    if len(text) > MAX_TEXT:
        raise ValueError(f"{shown(text)} has {len(text)} characters: at most {MAX_TEXT} are read")
    if not text.isprintable():
        odd = next(c for c in text if not c.isprintable())
        raise ValueError(f"{shown(text)} holds a character that does not print: U+{ord(odd):04X}")
    return text


def _parsed(cls: Any, text: str) -> Any:
    text = _text(text)
    if len(text) > MAX_PARSED:
        raise ValueError(f"{shown(text)} is longer than any {cls.__name__.lower()}")
    return cls.parse(text)


def _choice(choices: tuple[str, ...], text: str) -> str:
    text = _text(text)
    if text in choices:
        return text
    by_lower = {c.lower(): c for c in choices}
    word = VALUE_WORDS.get(text.lower(), text)
    if word.lower() in by_lower:
        return by_lower[word.lower()]
    raise ValueError(f"{shown(text)} is none of {', '.join(choices)}{nearest(text, choices)}")


def _number(text: str) -> float:
    text = _text(text).replace("\N{MINUS SIGN}", "-")
    if not _NUMBER.fullmatch(text):
        raise ValueError(f"{shown(text)} is not a number{_number_hint(text)}")
    if not math.isfinite(value := float(text)):
        raise ValueError(f"{shown(text)} is too large a number")
    return value


def _integer(text: str) -> int:
    text = _text(text).replace("\N{MINUS SIGN}", "-")
    if not _INTEGER.fullmatch(text) or abs(value := int(text)) > _MAX_INTEGER:
        raise ValueError(f"{shown(text)} is not a whole number{_number_hint(text)}")
    return value


def _number_hint(text: str) -> str:
    if re.fullmatch(r"[+-]?[0-9]+,[0-9]+", text):
        return ": write a decimal point, not a comma"
    if re.fullmatch(r"[+-]?[0-9.]+ *[A-Za-z%][A-Za-z/]*", text):
        return ": write the figure alone, the unit is that of the field"
    return ""


def _flag(text: str) -> bool:
    if (flag := _FLAGS.get(_text(text).lower())) is None:
        raise ValueError(f"{shown(text)} is neither true nor false")
    return flag


def _date(text: str) -> dt.date:
    text = _text(text)
    try:
        if _DATE.fullmatch(text):
            return dt.date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{shown(text)} is no day of the calendar") from None
    raise ValueError(f"{shown(text)} is not a date: write year-month-day, such as 2026-11-20")


def _moment(text: str) -> dt.datetime:
    text = _text(text)
    form = "write it such as 2026-12-01T08:00Z"
    if (parts := _MOMENT.fullmatch(text)) is None:
        raise ValueError(f"{shown(text)} is not a date with a time: {form}")
    if parts["zone"] is None:
        raise ValueError(f"{shown(text)} has no time zone: {form} or with +01:00")
    try:
        return dt.datetime.fromisoformat(text).astimezone(dt.UTC)
    except (ValueError, OverflowError):
        raise ValueError(f"{shown(text)} is no moment of the calendar: {form}") from None
