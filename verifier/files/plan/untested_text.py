"""What may stay untested, as one text: `CHECK=REASON`, `CHECK@DEVICE=REASON (by NAME)`.

A part that could be read otherwise stands in double quotes, one within it is doubled.
"""

from __future__ import annotations

import re
from typing import NamedTuple

_QUOTED = r'"(?:[^"]|"")*+"'
_TEXT = re.compile(
    rf"\s*({_QUOTED}|[^=]*?)\s*(?:=\s*({_QUOTED}|.*?)\s*(?:\(by ({_QUOTED}|[^()]*?)\s*\))?\s*)?",
    re.DOTALL,
)


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
