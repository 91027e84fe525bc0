"""Topics of `explain` as one self-contained page."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from markupsafe import Markup

from verifier.model.topic import Block
from verifier.report.explain.blocks import spans
from verifier.report.html import draw

_LONGEST = 4000
"""Characters of one text: a paragraph of our own is never cut."""
_TAGS: Mapping[str, str] = {"code": "code", "bold": "b", "italic": "i"}
Part = tuple[str, str, int, Sequence[Block]]
"""A topic's name, title, level of its heading, and blocks."""


def page(title: str, parts: Sequence[Part]) -> str:
    """The page: its contents, where there are several parts, then the parts."""
    names = {name for name, *_ in parts}
    return draw(
        "explain.html",
        "explain.css",
        longest=_LONGEST,
        title=title,
        parts=[
            {"name": n, "id": anchor(n), "title": t, "level": level,
             "blocks": [{"kind": type(b).__name__, "block": b} for b in blocks]}
            for n, t, level, blocks in parts
        ],
        words=lambda words: _marked(words, names),
    )  # fmt: skip


def anchor(name: str) -> str:
    """The name as an id within the page."""
    return "topic-" + re.sub(r"[^a-z0-9.-]+", "-", name.casefold())


def _marked(words: str, names: set[str]) -> Markup:
    """Words with their marks; a name in backquotes that is a topic of the page leads there."""
    made = Markup()
    for how, part in spans(words):
        if how == "text":
            made += part
            continue
        tag = _TAGS[how]
        piece = Markup("<{0}>{1}</{0}>").format(Markup(tag), part)  # noqa: S704 - our own tags
        if how == "code" and part in names:
            piece = Markup('<a href="#{}">{}</a>').format(anchor(part), piece)
        made += piece
    return made
