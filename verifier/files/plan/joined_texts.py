"""Texts within one cell: several in a list, and one that a spreadsheet would run as a formula."""

from __future__ import annotations

import re

_ITEM = re.compile(r'\s*"((?:[^"]|"")*+)"\s*(?:;|$)|([^;]*)(?:;|$)')
_FORMULA = re.compile(r"'*[=+\-@]")


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
