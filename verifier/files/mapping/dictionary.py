"""The words that headings are understood by: those of the trade, and those that a house adds."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

from verifier.files.mapping.tokens import Option, Vocabulary
from verifier.files.plan.columns import UNITS, Column, sheets
from verifier.files.trade_words import folded, looks_secret, spellings, table

Side = Literal["", "a", "b", "near", "far", "both"]
"""An end: named by itself, or as it is seen from the row's own end; `both` in one cell."""

_HOUSE_SIDES: dict[str, Side] = {"end a": "a", "end b": "b", "near": "near", "far": "far"}


@dataclass(frozen=True)
class Words:
    """The words that headings are understood by: ours, and those that a house adds."""

    vocabulary: Vocabulary
    fields: Mapping[tuple[str, ...], tuple[str, ...]]
    reasons: Mapping[tuple[str, ...], str]
    whole: Mapping[str, str] = field(default_factory=dict)
    secret: frozenset[str] = frozenset()

    def with_house(self, added: Mapping[str, Iterable[str]]) -> Words:
        """These words and those of a house: headings by field, by end (`end a`), secrets.

        Raises:
            ValueError: a key is none that words can be added to.
        """
        whole, secret, vocabulary = dict(self.whole), set(self.secret), self.vocabulary
        known = set(itertools.chain.from_iterable(self.fields.values()))
        for key, words in added.items():
            spelled = [s for word in words for s in spellings(word)]
            if key == "secret":
                secret |= set(spelled)
            elif key in _HOUSE_SIDES:
                option = Option("side", _HOUSE_SIDES[key])
                vocabulary = vocabulary.with_options(dict.fromkeys(spelled, (option,)))
            elif key in known:
                whole |= dict.fromkeys(spelled, key)
            else:
                raise ValueError(f"{key} is no field, none of {', '.join(_HOUSE_SIDES)}, no secret")
        return Words(vocabulary, self.fields, self.reasons, whole, frozenset(secret))

    def is_secret(self, heading: str) -> bool:
        """Whether a heading, or a label, stands for what is never read, shown or kept."""
        return looks_secret(heading) or (bool(self.secret) and folded(heading) in self.secret)


@functools.cache
def words_of_trade() -> Words:
    """The words that are shipped."""
    found = table()
    fields: dict[tuple[str, ...], tuple[str, ...]] = {}
    for name, phrases in found["field"].items():
        for key in itertools.chain.from_iterable(map(_keys, phrases)):
            if name not in fields.get(key, ()):
                fields[key] = (*fields.get(key, ()), name)
    reasons = {
        key: found["reason"][kind]
        for kind, phrases in found["no_field"].items()
        for key in itertools.chain.from_iterable(map(_keys, phrases))
    }
    return Words(Vocabulary.of(found), fields, reasons)


def _keys(phrase: str) -> Iterator[tuple[str, ...]]:
    """The things of a phrase in order of the alphabet; with and without what may be missing."""
    words = phrase.split()
    choices = [(w[:-1], "") if w.endswith("?") else (w,) for w in words]
    for chosen in itertools.product(*choices):
        yield tuple(sorted(set(filter(None, chosen))))


@functools.cache
def columns_by_field() -> dict[str, Column]:
    """The column of ours of each field, by the name that a table of words has for it."""
    found: dict[str, Column] = {}
    for name, sheet in sheets().items():
        for column in sheet.columns:
            path = column.path[1:] if column.path[0] in ("a", "b") else column.path
            found.setdefault(f"{name}.{'.'.join(path)}", column)
    return found


def unit_of_field(name: str) -> str:
    """The unit of a field of ours, by the name that a table of words has for it."""
    column = columns_by_field().get(name)
    return column.unit if column is not None else UNITS.get(name.rpartition("_")[2], "")
