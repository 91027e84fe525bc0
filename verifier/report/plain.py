"""Text from outside made harmless for a terminal."""

from __future__ import annotations

import textwrap
import unicodedata

_LONGEST = 300
_LONGEST_PARAGRAPH = 2000
_INVISIBLE = {"Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp"}
"""Unicode categories that steer a terminal or cannot be seen: controls, bidirectional marks, …"""


def plain(value: object, *, longest: int = _LONGEST) -> str:
    r"""`value` as one line: what cannot be printed is written `\x1b`, what is endless is cut."""
    text = str(value)
    if len(text) > longest:
        text = f"{text[:longest]}... ({len(text)} characters)"
    if text.isascii() and text.isprintable():
        return text
    return "".join(c if unicodedata.category(c) not in _INVISIBLE else _escaped(c) for c in text)


def paragraph(value: object, indent: str = "    ", width: int = 100) -> list[str]:
    """`value` as harmless lines of at most `width` columns; a longer word stays whole."""
    return textwrap.wrap(
        plain(value, longest=_LONGEST_PARAGRAPH),
        width,
        initial_indent=indent,
        subsequent_indent=f"{indent}  ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def _escaped(character: str) -> str:
    return character.encode("unicode_escape", "replace").decode("ascii")
