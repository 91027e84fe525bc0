"""Words of cells and of sheets' names: no plan, a footer, an old sheet; what values look like."""

from __future__ import annotations

import functools
import re
from typing import Any, Literal

from verifier.files.mapping.dictionary import words_of_trade
from verifier.files.mapping.tokens import Option
from verifier.files.trade_words import folded, spellings, table

StatusWords = Literal["not_plan", "footer", "pages"]


@functools.cache
def _status(kind: StatusWords) -> tuple[str, ...]:
    return tuple(s for word in table()["status"][kind] for s in spellings(word))


def names(text: str, kind: StatusWords) -> bool:
    """Whether a text holds one of the words that say: no plan, a footer, an old sheet."""
    plain = f" {folded(text)} "
    return any(f" {word} " in plain for word in _status(kind))


def begins_with(text: str, kind: StatusWords) -> bool:
    """Whether a text begins with such a word."""
    return f"{folded(text)} ".startswith(tuple(f"{word} " for word in _status(kind)))


def is_status(heading: str) -> bool:
    """Whether a heading is one of a status."""
    options = words_of_trade().vocabulary.options
    return any(
        Option("thing", "status") in options.get(word, ()) for word in folded(heading).split()
    )


_LOOKS = {
    "Devices.mask": r"255\.\d+\.\d+\.\d+",
    "Devices.address": r"(\d{1,3}\.){3}\d{1,3}(\s*/\s*\d+)?",
    "Devices.mac": r"([0-9a-f]{2}[:-]){5}[0-9a-f]{2}",
    "Links.polarisation": r"[vh]",
    "Links.modulation": r"\d+ ?qam|qpsk",
}


def looks_like(values: list[Any]) -> str:
    """The field that values look like, by their form alone; empty where they look like none."""
    texts = [str(value).strip().lower() for value in values]
    for name, form in _LOOKS.items():
        if texts and all(re.fullmatch(form, text) for text in texts):
            return name
    return ""
