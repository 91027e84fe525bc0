"""Field cards as text of 100 columns, and labels as a list: the words that the page shares."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from verifier.model.cautions import CLOSING, cautions
from verifier.report.plain import paragraph, plain
from verifier.rules.cards import Card, CardLine, Section

_WHAT, _WIDEST = 20, 32
"""Columns for what a row is: usually, and the most where a name is longer."""
_MARKS = {"none": "   ", "box": "[ ]", "room": "   "}
_ROOM = "________"
SIGNED = ("Done by", "Date and time", "Signature")


def text(cards: Sequence[Card], width: int = 100) -> str:
    """All cards, one below the other; ends with a newline."""
    return "\n\n".join(_card(card, width) for card in cards) + "\n"


def _card(card: Card, width: int) -> str:
    lines = ["=" * width, *_heading(card, width)]
    for section in card.sections:
        lines += ["", section.title.upper(), *_rows(section, width)]
    line = "_" * max(3, min(20, (width - sum(map(len, SIGNED))) // len(SIGNED) - 4))
    lines += ["", "   ".join(f"{what} {line}" for what in SIGNED), "", "CAUTIONS"]
    lines += [
        line
        for caution in (*map(str, cautions("card")), CLOSING)
        for line in paragraph(caution, "  ", width)
    ]
    return "\n".join(lines)


def _heading(card: Card, width: int) -> Iterator[str]:
    site = f", {card.site}" if card.site else ""
    yield from paragraph(f"{card.label}   ({card.device}{site})", "", width)
    for far in card.far:
        yield from paragraph(far, "  ", width)
    yield from paragraph(f"plan: {card.plan}", "  ", width)


def _rows(section: Section, width: int) -> Iterator[str]:
    column = max([_WHAT, *(min(len(plain(row.what)), _WIDEST) for row in section.rows)])
    for row in section.rows:
        yield _row(row, width, column)
    if section.rules:
        yield from paragraph(" ".join(section.rules), "  ", width)


def _row(row: CardLine, width: int, column: int) -> str:
    """Mark and what in columns of their own; value and note fold beside them."""
    what, value, note = plain(row.what), plain(row.value), plain(row.note)
    room = f"{_ROOM}  " if row.fill == "room" else ""
    head = f"  {_MARKS[row.fill]} {what:<{column}} "
    left = max(20, width - len(head) - 2)
    parts = [value, f"({note})"] if value and note else [value or note]
    if len(room + "  ".join(parts)) <= left:
        parts = ["  ".join(parts)]
    folded = [
        line for n, p in enumerate(parts) for line in paragraph(p if n else room + p, "", left)
    ]
    margin = " " * len(f"  {_MARKS[row.fill]} {'':<{column}} ")
    return (head + f"\n{margin}".join(folded)).rstrip()


def labels(cards: Sequence[Card], width: int = 100) -> str:
    """What the stickers say: label, name, address; ends with a newline."""
    lines: list[str] = []
    for card in cards:
        lines += paragraph(card.label, "", width)
        lines += paragraph(f"{card.device}   {card.address}", "    ", width)
    return "\n".join(lines) + "\n"
