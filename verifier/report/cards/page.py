"""Field cards and labels as one self-contained page to print in black and white.

segno makes the QR codes: pure Python, no dependency, and SVG that goes into the page; a coder of
our own would be a thousand lines for a sticker. zxing-cpp reads the codes in tests.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup

from verifier.model.cautions import CLOSING, cautions
from verifier.report.cards.text import SIGNED
from verifier.report.html.page import draw
from verifier.report.plain import plain
from verifier.rules.cards import Card


def page(cards: Sequence[Card], *, qr: bool = False) -> str:
    """A5, each card on pages of its own. It fetches nothing and has no script."""
    return _drawn(
        "cards.html", cards, qr=qr, cautions=cautions("card"), closing=CLOSING, signed=SIGNED
    )


def labels(cards: Sequence[Card], *, qr: bool = False) -> str:
    """A4, three labels beside each other, 63 mm by 34 mm, with lines to cut along."""
    return _drawn("labels.html", cards, qr=qr)


def code_text(card: Card) -> str:
    """What a card's or label's code says: name and address, one on each line."""
    return f"{card.device}\n{card.address}"


def _drawn(name: str, cards: Sequence[Card], *, qr: bool, **more: Any) -> str:
    codes: Mapping[str, Markup] = {c.device: _code(code_text(c)) for c in cards} if qr else {}
    return draw(name, "cards.css", cards=cards, codes=codes, **more)


def _code(text: str) -> Markup:
    """A QR code (ISO/IEC 18004) as a picture in the page, with its quiet zone."""
    import segno  # noqa: PLC0415 - loaded only when asked for

    stream = io.BytesIO()
    segno.make(text, error="m", micro=False).save(
        stream, kind="svg", xmldecl=False, svgns=False, omitsize=True, title=plain(text), nl=False
    )
    return Markup(stream.getvalue().decode())  # noqa: S704 - paths, and a title that is escaped
