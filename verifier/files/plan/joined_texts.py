"""Texts within one cell: several in a list, one that is like a formula, what may stay untested."""

from __future__ import annotations

import re
from typing import NamedTuple

_ITEM = re.compile(r'\s*"((?:[^"]|"")*+)"\s*(?:;|$)|([^;]*)(?:;|$)')
_FORMULA = re.compile(r"'*[=+\-@]")
_QUOTED = r'"(?:[^"]|"")*+"'
_TEXT = re.compile(
    rf"\s*({_QUOTED}|[^=]*?)\s*(?:=\s*({_QUOTED}|.*?)\s*(?:\(by ({_QUOTED}|[^()]*?)\s*\))?\s*)?",
    re.DOTALL,
)


def parted(text: str) -> list[str]:
    """The names of a list separated by `;`; one that holds a `;` stands in double quotes."""
    found = (
        m[2].strip() if m[1] is None else m[1].replace('""', '"') for m in _ITEM.finditer(text)
    )
    return [name for name in found if name]


def joined(texts: list[str], separator: str) -> str:
    """The opposite of `parted`; texts that stand between spaces are never quoted."""
    if separator.strip():
        texts = [_in_quotes(t) if ";" in t or t.startswith('"') else t for t in texts]
    return separator.join(texts)


def _in_quotes(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def guarded(text: str) -> str:
    """A text of a CSV file that no program takes for a formula: behind an apostrophe if need be."""
    return f"'{text}" if _FORMULA.match(text) else text


def unguarded(text: str) -> str:
    """The opposite of `guarded`."""
    return text[1:] if text[:1] == "'" and _FORMULA.match(text) else text


# -- what may stay untested: CHECK=REASON, CHECK@DEVICE=REASON (by NAME) ---------------------------
# A part that could be read otherwise stands in double quotes, one within it is doubled.


class Written(NamedTuple):
    """Its parts; empty where the text has none."""

    check: str
    reason: str = ""
    by: str = ""


def taken_apart(text: str) -> Written:
    """The parts of a text; whatever stands before the first `=` is the check."""
    found = _TEXT.fullmatch(text)
    if found is None:  # a quotation mark too few
        return Written(text.strip())
    return Written(*(_bare(part or "") for part in found.groups()))


def put_together(check: str, reason: str, by: str | None) -> str:
    """The opposite of `taken_apart`."""
    text = f"{_safe(check, '=')}={_safe(reason, '(by')}"
    return f"{text} (by {_safe(by, '()')})" if by else text


def _safe(part: str, marks: str) -> str:
    """A part, in quotes where it begins with one, or holds what would end it."""
    holds = marks in part if marks == "(by" else any(mark in part for mark in marks)
    return '"' + part.replace('"', '""') + '"' if holds or part.startswith('"') else part


def _bare(part: str) -> str:
    if re.fullmatch(_QUOTED, part) is None:
        return part
    return part[1:-1].replace('""', '"')
