"""Which of a device's objects show a figure that its own page shows.

SMI has whole numbers only, so a device gives -45.6 dBm as -456 or the like: each object is tried
with the usual scales. What an enumeration's number means cannot be known; then the raw value is
given.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal, get_args

from verifier.model.profile import ReadingField
from verifier.rules import decode

FIELDS: tuple[ReadingField, ...] = get_args(ReadingField)
FEW = 5
"""More objects than these that fit alike: none is better than another."""
_MHZ = (0.001, 1e-06, 1.0, 0.01, 0.1, 0.0001, 10.0, 1000.0)
_DB = (0.1, 0.01, 1.0, 0.001, 10.0, 1000.0)
_MBPS = (1.0, 0.001, 1e-06, 0.01, 0.1, 10.0, 1000.0)
_S = (1.0, 0.01, 0.001, 0.1, 10.0, 1000.0)
_SCALES: Mapping[str, tuple[str, tuple[float, ...], Decimal]] = {
    "_mhz": ("MHz", _MHZ, Decimal(0)),
    "_dbm": ("dBm", _DB, Decimal(1)),
    "_db": ("dB", _DB, Decimal(1)),
    "_mbps": ("Mbps", _MBPS, Decimal(0)),
    "_s": ("s", _S, Decimal(60)),
}
"""By the ending of a field: its unit; scales, the usual ones first (kHz, Hz and kbit/s, bit/s among
them); and how far it may go on between looking at the page and asking. Common practice."""
_DECIMALS = {
    s: Decimal(repr(s)) for _, scales, _ in _SCALES.values() for n in scales for s in (n, -n)
}
_NO_FIGURE = re.compile(r"0[0-9]")
"""Digits that begin so are a serial number or the like."""
_TRUE, _FALSE = ("true", "on", "yes", "enabled", "locked"), ("false", "off", "no", "disabled")
_TRUTHS = ("tx_enabled", "atpc", "locked", "ntp_locked")
_WORDS = (
    "tx_modulation",
    "rx_modulation",
    "polarisation",
    "unsaved_settings",
    "test_mode",
    "alarm",
    "switch_forced",
)
_MANY_WORDS = ("tx_modulation", "rx_modulation")
_MAX_ENUMERATION = 63
_MAX_STATE = 2
"""Numbers up to this one are what states of two words use, and rarely one of many modulations."""
_CLOSE = ("the same", "rounds to it", "is near", "holds it", "could mean it", "hardly means it")
_EXACT = 2
"""Of `_CLOSE`, so many are exact."""

Kind = Literal["number", "truth", "word", "text"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A figure that a person saw. `number`: where it is one; `tolerance`: half its last digit."""

    field: ReadingField
    kind: Kind
    text: str
    number: Decimal = Decimal(0)
    tolerance: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ObjectCandidate:
    """An object that may be the figure's.

    Attributes:
        raw: what the device gave, as text.
        close: how it fits: one of "the same", "rounds to it", "is near" (it may have changed, or
            the device rounds), "holds it" (a text with more in it), "could mean it", "hardly means
            it" (enumerations).
        guess: what is uncertain in it, for a person; empty where nothing is.
    """

    oid: str
    raw: str
    close: str
    type: Literal["integer", "text", "enumeration"]
    scale: float = 1.0
    values: Mapping[int, str] = field(default_factory=dict)
    guess: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldCandidates:
    """The objects that may be a figure's, the likeliest first; `chosen`: the one to begin with."""

    figure: Figure
    fits: tuple[ObjectCandidate, ...]
    chosen: ObjectCandidate | None

    @property
    def alike(self) -> int:
        """How many fit as well as the first."""
        return sum(f.close == self.fits[0].close for f in self.fits) if self.fits else 0


def unit_of(name: ReadingField) -> str | None:
    """The unit of a field's values; None for words and texts."""
    return next((unit for end, (unit, *_) in _SCALES.items() if name.endswith(end)), None)


def figure(name: ReadingField, text: str) -> Figure:
    """The figure that a person typed. Raises ValueError with a plain message."""
    words = text.strip().replace("\N{MINUS SIGN}", "-")
    if not words:
        raise ValueError(f"{name}: nothing stands after the =")
    if (unit := unit_of(name)) is not None:
        number = decode.number(words)
        if number is None:
            raise ValueError(f"{name}: {text!r} is not a number of {unit}: write 13143 or -45.6")
        exponent = number.as_tuple().exponent
        half = Decimal(5).scaleb(int(exponent) - 1)
        return Figure(field=name, kind="number", text=words, number=number, tolerance=half)
    folded = words.casefold()
    if name in _TRUTHS:
        if folded not in (*_TRUE, *_FALSE):
            raise ValueError(f"{name}: {text!r} is neither true nor false")
        return Figure(field=name, kind="truth", text="true" if folded in _TRUE else "false")
    if name == "polarisation" and folded not in ("v", "h"):
        raise ValueError(f"{name}: {text!r} is neither V nor H")
    if name in _WORDS:
        word = words.upper() if name == "polarisation" else folded
        return Figure(field=name, kind="word", text=word)
    return Figure(field=name, kind="text", text=words)


def find(figures: Sequence[Figure], shown: Mapping[str, str]) -> tuple[FieldCandidates, ...]:
    """For each figure the objects that fit it, in order of likelihood.

    What fits exactly hides what is near. Among equals the usual scale comes first, then what stands
    near objects that are sure, then what few others share.

    Args:
        figures: what a person saw.
        shown: the device's objects, as text by OID.
    """
    fits = {f.field: tuple(_best(_fits(f, shown))) for f in figures}
    sure = {fit.oid for found in fits.values() if len(found) <= FEW for fit in found if _sure(fit)}
    shared = Counter(shown.values())
    for f in figures:
        free = (fit for fit in fits[f.field] if _exact(fit) or fit.oid not in sure)
        fits[f.field] = tuple(sorted(free, key=_order(f, sure, shared)))
    chosen = _choice(fits)
    return tuple(
        FieldCandidates(figure=f, fits=fits[f.field], chosen=chosen[f.field]) for f in figures
    )


def _fits(wanted: Figure, shown: Mapping[str, str]) -> Iterator[ObjectCandidate]:
    fit = _KINDS[wanted.kind]
    for oid, text in shown.items():
        yield from fit(wanted, oid, text)


def _best(fits: Iterable[ObjectCandidate]) -> list[ObjectCandidate]:
    """What fits exactly; else what is near or holds it; else what could mean it."""
    found = list(fits)
    exact = [f for f in found if _exact(f)]
    near = [f for f in found if f.type != "enumeration"]
    return exact or near or found


def _sure(fit: ObjectCandidate) -> bool:
    """Whether the object is hardly another figure's."""
    return _exact(fit) and not fit.guess


def _exact(fit: ObjectCandidate) -> bool:
    return fit.close in _CLOSE[:_EXACT]


def _order(
    wanted: Figure, sure: Collection[str], shared: Counter[str]
) -> Callable[[ObjectCandidate], tuple[int, int, int, int, tuple[int, ...]]]:
    scales = _scales(wanted)

    def key(fit: ObjectCandidate) -> tuple[int, int, int, int, tuple[int, ...]]:
        rank = scales.index(fit.scale) if fit.scale in scales else 0
        arcs = tuple(map(int, fit.oid.split(".")))
        away = -max((_common(arcs, other) for other in sure if other != fit.oid), default=0)
        return _CLOSE.index(fit.close), rank, away, shared[fit.raw], arcs

    return key


def _common(arcs: tuple[int, ...], other: str) -> int:
    """How many arcs two objects have in common, but for the last two: those tell rows apart."""
    theirs = tuple(map(int, other.split(".")))
    length = max(0, min(len(arcs), len(theirs)) - 2)
    return next((n for n in range(length) if arcs[n] != theirs[n]), length)


def _choice(
    fits: Mapping[ReadingField, Sequence[ObjectCandidate]],
) -> dict[ReadingField, ObjectCandidate | None]:
    """The first fit of each figure that no other figure has; none where many fit alike."""
    taken: set[str] = set()
    chosen: dict[ReadingField, ObjectCandidate | None] = {}
    for name, found in sorted(fits.items(), key=lambda item: len(item[1])):
        best = [f for f in found if f.close == found[0].close]
        free = [f for f in best if f.oid not in taken] or best
        chosen[name] = free[0] if free and len(best) <= FEW else None
        taken |= {f.oid for f in free[:1]}
    return chosen


def _scales(wanted: Figure) -> tuple[float, ...]:
    """The scales to try; a level below zero may be given without its sign."""
    usual = next((s for end, (_, s, _) in _SCALES.items() if wanted.field.endswith(end)), (1.0,))
    if wanted.number < 0:
        return (*usual, *(-s for s in usual[:3]))
    return usual


def _number(wanted: Figure, oid: str, text: str) -> Iterator[ObjectCandidate]:
    raw = decode.number(text)
    if raw is None or _NO_FIGURE.match(text) or (raw != 0 and wanted.number == 0):
        return
    drift = next(d for end, (_, _, d) in _SCALES.items() if wanted.field.endswith(end))
    found: list[ObjectCandidate] = []
    for scale in _scales(wanted) if raw else (1.0,):
        factor = _DECIMALS[scale]
        step, off = abs(factor), abs(raw * factor - wanted.number)
        exact = off <= wanted.tolerance
        rounded = step > wanted.tolerance and off <= step / 2 and step <= 1
        if exact or rounded or off <= drift:
            close = _CLOSE[0] if off == 0 else _CLOSE[1] if exact else _CLOSE[2]
            guess = _doubt(wanted, raw, scale, close)
            fit = ObjectCandidate(
                oid=oid, raw=text, close=close, type="integer", scale=scale, guess=guess
            )
            found.append(fit)
    yield from sorted(found, key=lambda fit: _CLOSE.index(fit.close))[:1]


def _doubt(wanted: Figure, raw: Decimal, scale: float, close: str) -> str:
    """What is uncertain in a scaled fit."""
    if not raw:
        return "the scale: 0 is 0 at any scale"
    if scale < 0:
        return "the scale: the device may give the level without its sign"
    if close == _CLOSE[2]:
        return f"the scale: it gives {decode.scaled(raw, scale):.10g}, not {wanted.text}"
    if len(str(abs(wanted.number)).replace(".", "").strip("0")) <= 1:
        return "the object: a figure of one digit fits by chance"
    return ""


def _truth(wanted: Figure, oid: str, text: str) -> Iterator[ObjectCandidate]:
    true = wanted.text == "true"
    if text.strip().casefold() in (_TRUE if true else _FALSE):
        guess = "the words: the profile takes true and false, this device says otherwise"
        known = text.strip().casefold() in ("true", "false")
        yield ObjectCandidate(
            oid=oid, raw=text, close=_CLOSE[0], type="text", guess="" if known else guess
        )
    raw = decode.number(text)
    if raw not in ((1,) if true else (0, 2)):
        return
    values = {0: "false", 1: "true"} if raw == 0 else {1: "true", 2: "false"}
    guess = "the meaning: taken as the TruthValue of RFC 2579, 1 true, 2 false"
    if raw == 0:
        guess = "the meaning: taken as 0 false, 1 true"
    yield ObjectCandidate(
        oid=oid, raw=text, close=_CLOSE[4], type="enumeration", values=values, guess=guess
    )


def _word(wanted: Figure, oid: str, text: str) -> Iterator[ObjectCandidate]:
    raw, known = decode.number(text), decode.number(wanted.text)
    if raw is None or _NO_FIGURE.match(text):
        yield from _text(wanted, oid, text)
    elif known is not None and raw == known:
        guess = "the meaning: say in `good` or `values` what the numbers mean"
        yield ObjectCandidate(oid=oid, raw=text, close=_CLOSE[0], type="integer", guess=guess)
    elif known is None and raw == int(raw) and 0 <= raw <= _MAX_ENUMERATION:
        guess = f"the meaning of {raw}: it could be anything; complete the values"
        values = {int(raw): wanted.text}
        likely = (raw > _MAX_STATE) == (wanted.field in _MANY_WORDS)
        close = _CLOSE[4] if likely else _CLOSE[5]
        yield ObjectCandidate(
            oid=oid, raw=text, close=close, type="enumeration", values=values, guess=guess
        )


def _text(wanted: Figure, oid: str, text: str) -> Iterator[ObjectCandidate]:
    theirs, ours = _letters(text), _letters(wanted.text)
    if text.strip() == wanted.text:
        yield ObjectCandidate(oid=oid, raw=text, close=_CLOSE[0], type="text")
    elif theirs == ours:
        guess = "the spelling differs"
        yield ObjectCandidate(oid=oid, raw=text, close=_CLOSE[1], type="text", guess=guess)
    elif ours and ours in theirs:
        guess = "the text has more in it"
        yield ObjectCandidate(oid=oid, raw=text, close=_CLOSE[3], type="text", guess=guess)


def _letters(text: str) -> str:
    """A text without what is written now this way, now that: case, blanks, hyphens."""
    return re.sub(r"[\s_-]", "", text.casefold())


_KINDS: Mapping[Kind, Callable[[Figure, str, str], Iterator[ObjectCandidate]]] = {
    "number": _number, "truth": _truth, "word": _word, "text": _text,
}  # fmt: skip
