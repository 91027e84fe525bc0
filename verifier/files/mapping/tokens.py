"""Headings taken apart: the words of the trade in them, and what each may stand for."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from verifier.files.trade_words import folded, spellings

Kind = Literal["thing", "side", "state", "note", "filler", "unknown"]


@dataclass(frozen=True, slots=True)
class Option:
    """One thing that a word may stand for."""

    kind: Kind
    value: str = ""


@dataclass(frozen=True, slots=True)
class Token:
    """A word or several of a heading, folded, and all that it may stand for."""

    text: str
    options: tuple[Option, ...]


Options = dict[str, tuple[Option, ...]]

_LETTERS = {"a": "a", "b": "b", "z": "b"}
_NUMBERS = {"1": "a", "2": "b"}
_ENDS = ("site", "end", "device", "radio")
_SHORTEST_PART = 3
_SHORT_PARTS = frozenset(("tx", "rx", "ip", "id", "az", "gw", "bw"))
_LINKING = ("", "s", "n", "e", "en", "es")
_MANY = 300


@dataclass(frozen=True)
class Vocabulary:
    """What words stand for, by their folded text; and every single word in them."""

    options: Mapping[str, tuple[Option, ...]]
    single: frozenset[str]
    longest: int

    @classmethod
    def of(cls, found: Mapping[str, Any]) -> Vocabulary:
        """The vocabulary of a table of words."""
        options: Options = {}
        for thing, languages in found["word"].items():
            for words in languages.values():
                _add(options, words, Option("thing", thing))
        absolute = set(found["absolute"]["ends"])
        for name, (first, second) in found["end"].items():
            a, b = ("a", "b") if name in absolute else ("near", "far")
            for word, side in ((first, a), (second, b)):
                if word not in _LETTERS and word not in _NUMBERS:
                    _add(options, [word], Option("side", side))
        for state, words in found["state"].items():
            _add(options, words, Option("state", state))
        for note, words in found["reference"].items():
            _add(options, words, Option("note", note))
        _add(options, found["filler"]["words"], Option("filler"))
        return cls(options, *_measured(options))

    def with_options(self, added: Options) -> Vocabulary:
        """This vocabulary with further words; theirs come before ours."""
        options = {**self.options}
        for word, some in added.items():
            options[word] = (*some, *options.get(word, ()))
        return Vocabulary(options, *_measured(options))


def _add(options: Options, words: Sequence[str], option: Option) -> None:
    for word in words:
        for spelled in spellings(word):
            if spelled and option not in options.get(spelled, ()):
                options[spelled] = (*options.get(spelled, ()), option)


def _measured(options: Mapping[str, tuple[Option, ...]]) -> tuple[frozenset[str], int]:
    split = [word.split() for word in options]
    return frozenset(itertools.chain.from_iterable(split)), max(map(len, split))


# -- one heading -----------------------------------------------------------------------------------

_WORD = re.compile(r"[^\W_]+|[#\u00b0]")
_SEGMENTS = re.compile(r"[()\[\]{}]")
_HUMP = re.compile(
    r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])|(?<=[^\W\d_])(?=\d)|(?<=\d)(?=[^\W\d_])"
)


@dataclass(frozen=True, slots=True)
class _Word:
    text: str
    raw: str
    edge: bool


def tokens_of(text: str, vocabulary: Vocabulary, *, numbered: bool = False) -> list[Token]:
    """A heading's words, the longest that are known first, each with all it may stand for."""
    words = list(_words(text, vocabulary))
    found: list[Token] = []
    at = 0
    while at < len(words):
        for length in range(min(vocabulary.longest, len(words) - at), 0, -1):
            joined = " ".join(w.text for w in words[at : at + length])
            options = vocabulary.options.get(joined, ())
            if length == 1:
                options = (*_letter(words, at, vocabulary, numbered=numbered), *options)
            if options or length == 1:
                found.append(Token(joined, options or (Option("unknown", joined),)))
                at += length
                break
    return found


def _words(text: str, vocabulary: Vocabulary) -> Iterator[_Word]:
    """The single words of a text: humps, figures and compounds are taken apart if need be."""
    for segment in _SEGMENTS.split(text):
        raw = _WORD.findall(segment)
        for index, whole in enumerate(raw):
            parts = _parts(whole, vocabulary)
            for at, part in enumerate(parts):
                first = index == 0 and at == 0
                last = index == len(raw) - 1 and at == len(parts) - 1
                yield _Word(folded(part), part, first or last)


def _parts(whole: str, vocabulary: Vocabulary) -> list[str]:
    """A word as it is where it is known, else its parts."""
    if folded(whole) in vocabulary.single:
        return [whole]
    found: list[str] = []
    for part in _HUMP.split(whole):
        low = folded(part)
        known = low in vocabulary.single or len(low) <= _SHORTEST_PART
        found += [part] if known else (compound(low, vocabulary.single) or [part])
    return found


def compound(word: str, known: frozenset[str], depth: int = 4) -> list[str]:
    """The known words that a word is put together of, the longest first; empty if it is not."""
    if word in known and (len(word) >= _SHORTEST_PART or word in _SHORT_PARTS):
        return [word]
    if depth == 0:
        return []
    for end in range(len(word) - 2, 1, -1):
        first = word[:end]
        if first not in known or (len(first) < _SHORTEST_PART and first not in _SHORT_PARTS):
            continue
        for linking in _LINKING:
            rest = word[end:]
            if rest.startswith(linking) and (
                more := compound(rest[len(linking) :], known, depth - 1)
            ):
                return [first, *more]
    return []


def _letter(
    words: Sequence[_Word], at: int, vocabulary: Vocabulary, *, numbered: bool
) -> tuple[Option, ...]:
    """The end that a single letter or number stands for, where it can stand for one there."""
    word = words[at]
    beside = [words[i] for i in (at - 1, at + 1) if 0 <= i < len(words)]
    by_end = any(
        Option("thing", end) in vocabulary.options.get(w.text, ()) for w in beside for end in _ENDS
    )
    if (side := _LETTERS.get(word.raw.lower())) is not None:
        upper = word.raw.isupper()
        mixed = any(w.raw.islower() or w.raw.istitle() for w in words if len(w.raw) > 1)
        edge = word.edge and (upper or at == len(words) - 1)
        if by_end or edge or (upper and mixed):
            return (Option("side", side),)
    if (side := _NUMBERS.get(word.raw)) is not None:
        literal = Option("thing", word.raw)
        if by_end or (numbered and word.edge):
            return Option("side", side), literal, Option("unknown", word.raw)
        return literal, Option("unknown", word.raw)
    return ()


def readings(tokens: Sequence[Token]) -> Iterator[tuple[Option, ...]]:
    """Every way to read a heading, at most a few hundred."""
    return itertools.islice(itertools.product(*(token.options for token in tokens)), _MANY)
