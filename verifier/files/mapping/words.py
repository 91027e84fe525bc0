"""Headings of other houses: which field, which end, and what else a heading says of its figures.

A heading is taken apart into the things of `words.toml`, in any order and language; a house adds
words in its mapping. Nothing is taken for another: where a heading leaves two readings, both stand.
"""

from __future__ import annotations

import difflib
import functools
import itertools
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from verifier.files.mapping.dictionary import (
    Side,
    Words,
    columns_by_field,
    unit_of_field,
    words_of_trade,
)
from verifier.files.mapping.tokens import Option, Token, Vocabulary, readings, tokens_of
from verifier.files.plan.units import quantity_of, unit_of, without_unit
from verifier.files.trade_words import folded

_RECEIVED = frozenset(("Links.rx_level_dbm", "Links.rx_mhz", "Links.min_snr_db"))
_NEAR_ENOUGH = 0.84
_FUZZY_LENGTH = 5
_FEW_DIGITS = 2


@dataclass(frozen=True, slots=True)
class Guess:
    """What a heading seems to mean.

    Attributes:
        field: empty where it is none of ours: `reason` says why.
        others: further fields that the heading may mean.
        sure: whether the heading is known as a whole.
        reason: why it is no field, or why a person must look at it.
        state: `planned`, `as_built`, `new`, `old`, `revision 3`; empty where it says none.
        notes: what it says of its figures: `above_sea`, `magnetic`, `atpc`, `other_datum` ...
    """

    field: str
    side: Side
    sure: bool
    others: tuple[str, ...] = ()
    reason: str = ""
    state: str = ""
    notes: frozenset[str] = frozenset()
    secret: bool = False

    @property
    def fields(self) -> tuple[str, ...]:
        """Every field that it may mean."""
        return (self.field, *self.others) if self.field else ()


# -- one heading -----------------------------------------------------------------------------------

_RATIO = re.compile(r"\b(?:10\s*\^?\s*[-\u2212\u207b]\s*[3-9]|1\s*[eE]\s*-?\s*0?[3-9])\b")
_SUPER = str.maketrans("\u2070\u00b9\u00b2\u00b3\u2074\u2075\u2076\u2077\u2078\u2079", "0123456789")
_ARROW = re.compile(r"([^\W_]+)\s*(?:-+>|=+>|\u2192|\u21d2|\u27f6|>)\s*([^\W_]+)")
_BOTH = re.compile(r"\b(?:[aA]\s*[/&+]\s*[bB]|[hH][iI]gh?\s*[/&+]\s*[bB])\b")
_REVISION = re.compile(
    r"\b(?:rev|revision|issue|ausgabe|edicion|edition|indice|version)\s*([0-9]{1,3}|[a-z])\b"
)
_DROPPED = (
    (), ("end",), ("end", "site"), ("end", "site", "device", "radio"),
    ("end", "site", "device", "radio", "antenna", "link"),
)  # fmt: skip
"""What a heading may say besides; the first that makes it known is taken."""


def guess(heading: str, words: Words | None = None, *, numbered: bool = False) -> Guess | None:
    """What a heading seems to mean; None where nothing is known.

    `numbered` says that ends are called 1 and 2 in its sheet.
    """
    words = words or words_of_trade()
    if words.is_secret(heading):
        return Guess("", "", sure=True, reason="it looks like a secret", secret=True)
    unit, bare = unit_of(heading), without_unit(heading)
    for text in (heading, bare):
        if (whole := words.whole.get(folded(text))) is not None:
            return Guess(whole, "", sure=True)
    bare, revision = _without_revision(bare)
    bare = _RATIO.sub(" threshold ", bare.translate(_SUPER))
    bare, direction = _directed(bare, words.vocabulary)
    tokens = tokens_of(bare, words.vocabulary, numbered=numbered)
    if quantity_of(unit) == "attenuation":
        tokens.append(Token("100m", (Option("thing", "100m"),)))
    found = _best(tokens, words, unit) or _fuzzy(tokens, words, unit)
    if found is None:
        return None
    if revision:
        found = replace(found, state=revision)
    if direction and not found.side:
        found = replace(found, side=_end_of(direction, found))
    return with_notes(found)


def side_of(text: str, words: Words | None = None) -> Side:
    """The end that a label, a sheet's name or a group's heading tells of; empty where of none."""
    words = words or words_of_trade()
    tokens = tokens_of(text, words.vocabulary, numbered=True)
    sides = _sides(o for t in tokens for o in t.options)
    return sides.pop() if len(sides) == 1 else ""


def ends_are_numbered(headings: Iterable[str], words: Words | None = None) -> bool:
    """Whether two headings are the same place or device but for 1 and 2: these are ends then."""
    found: dict[str, set[str]] = {}
    for heading in headings:
        known = guess(heading, words)
        if known is not None and known.side in ("a", "b") and re.search(r"[12]\b", heading):
            found.setdefault(known.field, set()).add(known.side)
    return any(len(sides) > 1 for sides in found.values())


def _without_revision(bare: str) -> tuple[str, str]:
    """A heading without the revision that it names, and that."""
    plain = folded(bare)
    if (found := _REVISION.search(plain)) is None:
        return bare, ""
    return f"{plain[: found.start()]} {plain[found.end() :]}", f"revision {found[1]}"


def _directed(bare: str, vocabulary: Vocabulary) -> tuple[str, tuple[Side, ...]]:
    """A heading without `A>B` or `A/B`, and the ends that these name: from, to; or both."""
    if (arrow := _ARROW.search(bare)) is not None:
        ends = [_side_word(word, vocabulary) for word in arrow.groups()]
        if all(ends) and ends[0] != ends[1]:
            return f"{bare[: arrow.start()]} {bare[arrow.end() :]}", tuple(ends)
    if (both := _BOTH.search(bare)) is not None:
        return f"{bare[: both.start()]} {bare[both.end() :]}", ("both",)
    return bare, ()


_AS_SIDE: dict[str, Side] = {"a": "a", "b": "b", "near": "near", "far": "far"}


def _sides(options: Iterable[Option]) -> set[Side]:
    """The ends that some options tell of."""
    return {_AS_SIDE[o.value] for o in options if o.kind == "side"}


def _side_word(word: str, vocabulary: Vocabulary) -> Side:
    low: Side
    known: dict[str, Side] = {"a": "a", "b": "b", "z": "b", "1": "a", "2": "b"}
    if (low := known.get(word.lower(), "")) != "":
        return low
    sides = _sides(vocabulary.options.get(folded(word), ()))
    return sides.pop() if len(sides) == 1 else ""


def _end_of(direction: tuple[Side, ...], found: Guess) -> Side:
    """The end that a column of one direction belongs to: where it is sent, or received."""
    if direction == ("both",):
        return "both"
    column = columns_by_field().get(found.field)
    received = found.field in _RECEIVED
    of_end = found.field == "Links.rx_mhz" or (column is not None and column.path[0] in ("a", "b"))
    if not of_end and not found.field.startswith(("Devices.", "Sites.")):
        return ""
    return direction[1] if received else direction[0]


# -- readings --------------------------------------------------------------------------------------


def _best(tokens: Sequence[Token], words: Words, unit: str) -> Guess | None:
    """The reading that leaves the least out; None where none is known."""
    best: tuple[int, int, int] | None = None
    found_best: list[Guess] = []
    for options in readings(tokens):
        unknown = [o.value for o in options if o.kind == "unknown"]
        figures = any(len(word) > _FEW_DIGITS and word.isdecimal() for word in unknown)
        if len(_sides(options)) > 1 or len(unknown) == len(options) or figures:
            continue  # a value such as SN4816810 is no heading
        things = [o.value for o in options if o.kind == "thing"]
        for level, dropped in enumerate(_DROPPED):
            rest = tuple(sorted({t for t in things if t not in dropped}))
            if (found := _looked_up(rest, options, words, unit)) is not None:
                rank = (len(unknown), level, -len(things))
                if best is None or rank < best:
                    best, found_best = rank, []
                if rank == best:
                    found_best.append(_with_unknown(found, unknown))
                break
    return _together(found_best, unit) if found_best else _end_alone(tokens)


def _together(found: Sequence[Guess], unit: str) -> Guess:
    """Readings that are as good as each other: one, or a guess of all their fields."""
    fields = tuple(dict.fromkeys(itertools.chain.from_iterable(g.fields for g in found)))
    if len(fields) < 2 or len(found) < 2:  # noqa: PLR2004 (two readings)
        return found[0]
    fields = _of_unit(fields, unit)
    first = next(g for g in found if fields[0] in g.fields)
    sure = len(fields) == 1 and (first.sure or len(first.fields) > 1)
    reason = "" if sure else f"it may be {' or '.join(fields)}"
    return replace(first, field=fields[0], others=fields[1:], sure=sure, reason=reason)


def _looked_up(
    things: tuple[str, ...], options: Sequence[Option], words: Words, unit: str
) -> Guess | None:
    """What some things mean together; None where that is not known."""
    side: Side = next(iter(_sides(options)), "")
    states = [o.value for o in options if o.kind == "state"]
    notes = frozenset(o.value for o in options if o.kind == "note")
    state = next((s for s in states if s != "planned"), next(iter(states), ""))
    if side and things == ("end",):
        return None
    fields = _of_unit(words.fields.get(things, ()), unit)
    if things in words.reasons and not _fits(fields, unit):
        fields = ()
    if fields:
        fields = _by_notes(fields, notes)
        sure = len(fields) == 1
        reason = "" if sure else f"it may be {' or '.join(fields)}"
        return Guess(fields[0], side, sure, fields[1:], reason, state, notes)
    if reason := words.reasons.get(things, ""):
        return Guess("", side, sure=True, reason=reason, state=state, notes=notes)
    return None


def _of_unit(fields: tuple[str, ...], unit: str) -> tuple[str, ...]:
    """The fields that a unit fits; all where it fits none, or there is no unit."""
    fitting = tuple(name for name in fields if _fits((name,), unit))
    return fitting or fields


def _fits(fields: tuple[str, ...], unit: str) -> bool:
    """Whether a unit is one of the quantity of some field."""
    quantity = quantity_of(unit).replace("power", "level")
    return bool(quantity) and any(quantity_of(unit_of_field(name)) == quantity for name in fields)


def _by_notes(fields: tuple[str, ...], notes: frozenset[str]) -> tuple[str, ...]:
    """Of two heights the one that is meant above ground, or above the sea."""
    if "above_ground" in notes and "Links.antenna_height_m" in fields:
        return ("Links.antenna_height_m",)
    if "above_sea" in notes and "Sites.ground_amsl_m" in fields:
        return ("Sites.ground_amsl_m",)
    return fields


def _with_unknown(found: Guess, unknown: list[str]) -> Guess:
    if not unknown:
        return found
    also = ", ".join(unknown)
    reason = "; ".join(filter(None, (found.reason, f"the heading also says {also}")))
    return replace(found, sure=False, reason=reason)


def _end_alone(tokens: Sequence[Token]) -> Guess | None:
    """A heading that names an end and nothing else: most often the place there."""
    sides = _sides(o for t in tokens for o in t.options)
    others = [t for t in tokens if not any(o.kind in ("side", "filler") for o in t.options)]
    ends = all(Option("thing", "end") in t.options for t in others)
    if len(sides) != 1 or not ends:
        return None
    side = sides.pop()
    reason = "it names an end alone: the place there, its device or its address"
    return Guess("Sites.name", side, sure=False, reason=reason)


@functools.lru_cache(maxsize=20_000)
def _near(text: str, known: tuple[str, ...]) -> list[str]:
    """The one word that a text is most like, if it is like any."""
    return difflib.get_close_matches(text, known, n=1, cutoff=_NEAR_ENOUGH)


def _fuzzy(tokens: Sequence[Token], words: Words, unit: str) -> Guess | None:
    """The reading of a heading whose unknown words are misspelt; never sure."""
    known = tuple(w for w in words.vocabulary.options if len(w) >= _FUZZY_LENGTH)
    mended, changed = [], False
    for token in tokens:
        near: list[str] = []
        if token.options[0].kind == "unknown" and len(token.text) >= _FUZZY_LENGTH:
            near = _near(token.text, known)
        changed = changed or bool(near)
        mended.append(Token(near[0], words.vocabulary.options[near[0]]) if near else token)
    if not changed or (found := _best(mended, words, unit)) is None:
        return None
    return replace(found, sure=False, reason=found.reason or "the heading is only like a known one")


# -- what a heading says of its figures ------------------------------------------------------------


def with_notes(found: Guess) -> Guess:
    """A guess with the reason why a person must look at it, by what its heading says besides."""
    if found.field and (reason := _note(found)):
        reason = "; ".join(filter(None, (found.reason, reason)))
        return replace(found, sure=False, reason=reason)
    return found


_LEVEL = "Links.rx_level_dbm"
_NOTES: tuple[tuple[tuple[str, ...], str, str], ...] = (
    (("Links.antenna_height_m",), "above_sea",
     "it is above sea level: the plan has the height of the antenna above ground"),
    (("Sites.ground_amsl_m",), "above_ground",
     "it is above ground: the plan has the height of the ground above sea level"),
    (("Links.azimuth_deg",), "magnetic",
     "it is magnetic: plus = the declination (east is positive) makes it true"),
    (("Sites.latitude", "Sites.longitude"), "other_datum",
     "it is of another datum: a plan has WGS 84"),
    ((_LEVEL,), "atpc", "it is the level with ATPC, not that of the planned power"),
)  # fmt: skip
"""What a note of a heading means for some fields."""


def _note(found: Guess) -> str:
    """Why a field's column is not sure for what its heading says of its figures."""
    for fields, note, reason in _NOTES:
        if found.field in fields and note in found.notes:
            return reason
    if found.side == "both":
        return "it holds both ends in one cell: split says how"
    if found.state == "as_built":
        return "it is as built or measured, not as planned"
    if found.state in ("old", "new") or found.state.startswith("revision"):
        return f"it is {found.state}: is it the plan that holds?"
    return ""
