"""Markdown as the pages of `explain` use it, as blocks: no more of it than stands there.

Headings, paragraphs, lists with `-` or `1.`, fenced code, tables, and `{{name}}` on a line of its
own, which the program fills. Within words: `code`, **bold**, and `{{oid sysName}}` or
`{{figure name}}`, which are filled as well.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence

from verifier.model.topic import Block, Code, Filled, Items, Paragraph, TopicHeading, TopicTable

_FILLED = re.compile(r"\{\{([a-z-]+(?: [a-z-]+)?)\}\}")
INLINE = re.compile(r"\{\{(oid|figure) ([^}]+)\}\}")
_ITEM = re.compile(r"(?:- |\d+\. )")
_FENCE = "```"
Inline = Callable[[str, str], str]
"""What stands for `{{oid NAME}}` and `{{figure NAME}}`."""


def blocks(text: str, inline: Inline) -> list[Block]:
    """The blocks of a text, with what is filled within words."""
    return list(_blocks(text.splitlines(), inline))


def _blocks(lines: Sequence[str], inline: Inline) -> Iterator[Block]:
    n = 0
    while n < len(lines):
        line = lines[n]
        if not line.strip():
            n += 1
        elif line.startswith(_FENCE):
            end = next(i for i in range(n + 1, len(lines)) if lines[i].startswith(_FENCE))
            yield Code(line.removeprefix(_FENCE).strip(), tuple(lines[n + 1 : end]))
            n = end + 1
        else:
            end = next((i for i in range(n, len(lines)) if not _goes_on(lines[i])), len(lines))
            part = [INLINE.sub(lambda m: inline(m[1], m[2]), x) for x in lines[n:end]]
            if line.startswith("#"):
                end, part = n + 1, part[:1]
            yield _block(part)
            n = end


def _goes_on(line: str) -> bool:
    return bool(line.strip()) and not line.startswith(_FENCE)


def _block(lines: Sequence[str]) -> Block:
    first = lines[0]
    if filled := _FILLED.fullmatch(first.strip()):
        return Filled(filled[1])
    if first.startswith("#"):
        mark, _, words = first.partition(" ")
        return TopicHeading(len(mark), words)
    if first.startswith("|"):
        rows = [_cells(x) for x in lines]
        return TopicTable(rows[0], tuple(rows[2:]))
    if _ITEM.match(first):
        return Items(tuple(_items(lines)), numbered=not first.startswith("-"))
    return Paragraph(" ".join(" ".join(lines).split()))


def _cells(line: str) -> tuple[str, ...]:
    return tuple(cell.strip().replace("\\|", "|") for cell in re.split(r"(?<!\\)\|", line)[1:-1])


def _items(lines: Sequence[str]) -> Iterator[str]:
    item: list[str] = []
    for line in lines:
        if (start := _ITEM.match(line)) and item:
            yield " ".join(item)
            item = []
        item.append(line[start.end() :].strip() if start else line.strip())
    yield " ".join(item)


# -- words -----------------------------------------------------------------------------------------

_SPAN = re.compile(r"`([^`]+)`|\*\*([^*]+)\*\*|\*([^*]+)\*|\[([^\]]+)\]\(([^)]+)\)")


def spans(words: str) -> Iterator[tuple[str, str]]:
    """`words` as (how, text): `text`, `code`, `bold`, `italic`, in order."""
    at = 0
    for found in _SPAN.finditer(words):
        if found.start() > at:
            yield "text", words[at : found.start()]
        code, bold, italic, link, _ = found.groups()
        if code is not None:
            yield "code", code
        elif bold is not None:
            yield "bold", bold
        else:
            yield ("italic", italic) if italic is not None else ("text", link)
        at = found.end()
    if at < len(words):
        yield "text", words[at:]


def unmarked(words: str) -> str:
    """The words without their marks."""
    return "".join(text for _, text in spans(words))
