"""Field cards and labels, as text and as self-contained pages to print in black and white.

segno makes the QR codes: pure Python, no dependency, and SVG that goes into the page; a coder of
our own would be a thousand lines for a sticker. zxing-cpp reads the codes in tests.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from markupsafe import Markup

from verifier.model.cautions import CLOSING, cautions
from verifier.report.style import paragraph, plain
from verifier.rules.cards import Card, CardLine, Section

_WHAT, _WIDEST = 20, 32
"""Columns for what a row is: usually, and the most where a name is longer."""
_MARKS = {"none": "   ", "box": "[ ]", "room": "   "}
_ROOM = "________"
SIGNED = ("Done by", "Date and time", "Signature")


def cards_text(cards: Sequence[Card], width: int = 100) -> str:
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


def labels_text(cards: Sequence[Card], width: int = 100) -> str:
    """What the stickers say: label, name, address; ends with a newline."""
    lines: list[str] = []
    for card in cards:
        lines += paragraph(card.label, "", width)
        lines += paragraph(f"{card.device}   {card.address}", "    ", width)
    return "\n".join(lines) + "\n"


# --- as pages ----------------------------------------------------------------------------------


def cards_page(cards: Sequence[Card], *, qr: bool = False) -> str:
    """A5, each card on pages of its own. It fetches nothing and has no script."""
    return _drawn(
        "cards.html", cards, qr=qr, cautions=cautions("card"), closing=CLOSING, signed=SIGNED
    )


def labels_page(cards: Sequence[Card], *, qr: bool = False) -> str:
    """A4, three labels beside each other, 63 mm by 34 mm, with lines to cut along."""
    return _drawn("labels.html", cards, qr=qr)


def code_text(card: Card) -> str:
    """What a card's or label's code says: name and address, one on each line."""
    return f"{card.device}\n{card.address}"


def _drawn(name: str, cards: Sequence[Card], *, qr: bool, **more: Any) -> str:
    codes: Mapping[str, Markup] = {c.device: _code(code_text(c)) for c in cards} if qr else {}
    from verifier.report.html import draw  # noqa: PLC0415 - Jinja2 only when drawn

    return draw(name, "cards.css", cards=cards, codes=codes, **more)


def _code(text: str) -> Markup:
    """A QR code (ISO/IEC 18004) as a picture in the page, with its quiet zone."""
    import segno  # noqa: PLC0415 - loaded only when asked for

    stream = io.BytesIO()
    segno.make(text, error="m", micro=False).save(
        stream, kind="svg", xmldecl=False, svgns=False, omitsize=True, title=plain(text), nl=False
    )
    return Markup(stream.getvalue().decode())  # noqa: S704 - paths, and a title that is escaped
