"""How a report is to look, and text from outside made harmless for a terminal."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from verifier.model.plan import Plan
    from verifier.model.samples import Block


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportSheet:
    """A sheet of the plan: field path and heading of each column, and the rows below."""

    name: str
    columns: tuple[tuple[str, str], ...]
    rows: tuple[tuple[Any, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Annex:
    """What a document may show beside the result.

    Attributes:
        plan: what should be; None where only a result is left.
        sheets: the same as rows, for a workbook.
        samples: blocks of a soak, see `rules/soak/tally`; gone through once.
        sha256: hash of each part of the evidence, by its name.
        signature: public key of the signature, in words; empty where it is not signed.
    """

    plan: Plan | None = None
    sheets: tuple[ReportSheet, ...] = ()
    samples: Iterable[Block] = ()
    sha256: Mapping[str, str] = field(default_factory=dict)
    signature: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportStyle:
    """How a report is to look: width in columns, colour, everything or what matters.

    Attributes:
        screen: it is printed, so it is to be taken in at a glance; else it is a document.
        verbose: everything.
    """

    width: int = 100
    colour: bool = False
    verbose: bool = False
    screen: bool = False
    annex: Annex = Annex()


SCREEN = 25
"""Lines after which the verdict stands again at the end."""
_LONGEST = 300
_LONGEST_PARAGRAPH = 2000
"""A reason with what the device said in it, or the checks and ports it is about."""
INVISIBLE = {"Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp"}
"""Unicode categories that steer a terminal or cannot be seen: controls, bidirectional marks, …"""


def plain(value: object, *, longest: int = _LONGEST) -> str:
    r"""`value` as one line: what cannot be printed is written `\x1b`, what is endless is cut."""
    text = str(value)
    if len(text) > longest:
        text = f"{text[:longest]}... ({len(text)} characters)"
    if text.isascii() and text.isprintable():
        return text
    return "".join(c if unicodedata.category(c) not in INVISIBLE else _escaped(c) for c in text)


def paragraph(
    value: object,
    indent: str = "    ",
    width: int = 100,
    *,
    hang: str | None = None,
    split: bool = False,
) -> list[str]:
    """`value` made harmless, then `wrapped`."""
    return wrapped(plain(value, longest=_LONGEST_PARAGRAPH), indent, width, hang=hang, split=split)


def wrapped(
    words: str,
    indent: str = "    ",
    width: int = 100,
    *,
    hang: str | None = None,
    split: bool = True,
) -> list[str]:
    """Harmless words as lines of at most `width` columns.

    The second line and the rest begin with `hang`, or with two columns more than the first. A word
    that no line holds is divided, or stays whole and sticks out without `split`.
    """
    return textwrap.wrap(
        words,
        width,
        initial_indent=indent,
        subsequent_indent=f"{indent}  " if hang is None else hang,
        break_long_words=split,
        break_on_hyphens=False,
    )


def page(text: str, verdict: Sequence[str]) -> str:
    """A report of more than a screen with its verdict at the end too; ends with a newline.

    Args:
        text: the report; its first lines hold the verdict.
        verdict: its lines.
    """
    lines = text.rstrip("\n").split("\n")
    if len(lines) > SCREEN:
        lines += ["", *verdict]
    return "\n".join(lines) + "\n"


def _escaped(character: str) -> str:
    return character.encode("unicode_escape", "replace").decode("ascii")
