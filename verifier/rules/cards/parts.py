"""What a field card is made of: sections of rows, for whoever draws them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Fill = Literal["none", "box", "room"]
"""What stands beside a row: nothing, a box to tick, or room for what is found."""


@dataclass(frozen=True, slots=True)
class CardLine:
    """One line: what it is, its value by the plan, and what a person adds to it."""

    what: str
    value: str = ""
    fill: Fill = "none"
    note: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """Rows under a title; `rules` are the sentences that stand below them."""

    title: str
    rows: tuple[CardLine, ...]
    rules: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """All that is needed at one device, on paper.

    Attributes:
        label: text of its sticker; its name where none is planned.
        address: planned, with the length of its prefix.
        far: one line for each link: its name, the far device and its site.
        plan: name and revision, in words.
    """

    device: str
    label: str
    site: str
    address: str
    plan: str
    far: tuple[str, ...] = ()
    sections: tuple[Section, ...] = field(default=())


def figure(value: float | None, unit: str, decimals: int | None = None) -> str:
    """A figure with its unit, without needless digits; empty where there is none."""
    if value is None:
        return ""
    text = f"{value:.3f}" if decimals is None else f"{value:.{decimals}f}"
    if decimals is None:
        text = text.rstrip("0").rstrip(".")
    return f"{text} {unit}"
