"""A topic of `explain` as text of at most 100 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from verifier.model.topic import Block, Code, Items, Paragraph, TopicHeading, TopicTable
from verifier.report.explain.blocks import unmarked
from verifier.report.style import wrapped

_LEAST = 12
"""Columns that a column of a table keeps, if it has as many."""


def text(title: str, blocks: Sequence[Block], width: int = 100) -> str:
    """Title, then the blocks with an empty line between them; ends with a newline."""
    parts = [[title, "=" * min(len(title), width)], *(list(_lines(b, width)) for b in blocks)]
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


def _lines(block: Block, width: int) -> Iterator[str]:
    match block:
        case TopicHeading(words=words):
            yield from (unmarked(words), "-" * min(len(unmarked(words)), width))
        case Paragraph(words=words):
            yield from wrapped(unmarked(words), "", width, hang="")
        case Items(items=items, numbered=numbered):
            for n, item in enumerate(items, start=1):
                mark = f"{n}. " if numbered else "- "
                yield from wrapped(unmarked(item), mark, width, hang=" " * len(mark))
        case Code(lines=lines):
            yield from (f"    {line}".rstrip() for line in lines)
        case TopicTable(head=head, rows=rows):
            yield from _table(head, rows, width)


def _table(head: Sequence[str], rows: Sequence[Sequence[str]], width: int) -> Iterator[str]:
    """Columns as wide as they must be; the widest are folded until all fit."""
    cells = [[unmarked(c) for c in row] for row in (head, *rows)]
    widths = [max(len(row[n]) for row in cells) for n in range(len(head))]
    while sum(widths) + 2 * (len(widths) - 1) > width and max(widths) > _LEAST:
        widths[widths.index(max(widths))] -= 1
    for number, row in enumerate(cells):
        folded = [
            textwrap.wrap(c, w, break_on_hyphens=False) or [""]
            for c, w in zip(row, widths, strict=True)
        ]
        for n in range(max(map(len, folded))):
            parts = (f[n] if n < len(f) else "" for f in folded)
            pairs = zip(parts, widths, strict=True)
            yield "  ".join(part.ljust(w) for part, w in pairs).rstrip()
        if number == 0:
            yield "  ".join("-" * w for w in widths)
