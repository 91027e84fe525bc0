"""What `explain` shows: topics, and the blocks that their text is made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["topic", "command", "check", "rule", "cause", "state", "stage", "exit", "word"]
KINDS: tuple[Kind, ...] = (
    "topic", "command", "check", "rule", "cause", "state", "stage", "exit", "word",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Topic:
    """One thing that can be asked for by its name.

    Attributes:
        name: as it is typed.
        kind: what it is.
        title: its heading.
        text: Markdown below the heading.
        page: the page that it stands on; a topic that is a page by itself has its own name here.
    """

    name: str
    kind: Kind
    title: str
    text: str
    page: str

    @property
    def about(self) -> str:
        """Its first sentence."""
        paragraph = " ".join(self.text.strip().partition("\n\n")[0].split())
        first, stop, _ = paragraph.partition(". ")
        return first.rstrip(".") + "." if stop or first else ""


@dataclass(frozen=True, slots=True)
class TopicHeading:
    """A heading within a page; level 2 and below."""

    level: int
    words: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Words that are folded."""

    words: str


@dataclass(frozen=True, slots=True)
class Items:
    """A list; `numbered` where the order counts."""

    items: tuple[str, ...]
    numbered: bool = False


@dataclass(frozen=True, slots=True)
class Code:
    """Lines that stand as they are; `language` is empty for commands to type."""

    language: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TopicTable:
    """Headings and rows of words."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Filled:
    """A place that the program fills: the name of a table."""

    name: str


Block = TopicHeading | Paragraph | Items | Code | TopicTable | Filled
