"""Units that people write beside a figure: what each word stands for, and how one becomes another.

A word that may stand for two units stands for none (`nm`, `MB/s`, `"`): a person says which. The
factors are exact: SI brochure, 9th edition (prefixes; tables 7 and 8: minute, hour, day, degree,
dB), NIST SP 811 appendix B.8 (international foot, inch, yard, mile, fathom of six feet, nautical
mile, gon); dBi is dBd and the 2.15 dB of a half-wave dipole (ITU-R BS.1195); dBm is dBW and 30
(ITU-R V.574).
"""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Context, Decimal

from verifier.files.plan.unit_words import DOUBTFUL, FACTORS, PLAIN_IN_HEADINGS, SPELLINGS

_HUNDREDTH = Decimal("0.01")
_WIDE = Context(prec=40)
_TURN = Decimal(360)
_OFFSETS = {"dBW": Decimal(30), "dBd": Decimal("2.15")}
_POWERS = {"pW": "1e-9", "nW": "1e-6", "uW": "0.001", "mW": "1", "W": "1000", "kW": "1000000"}
"""Powers in milliwatts: a level in dBm is ten times their logarithm."""


@dataclass(frozen=True, slots=True)
class Scale:
    """How a figure in one unit becomes one in another: times, then plus; or as a level.

    Attributes:
        level: the figure is a power; `times` of it are milliwatts, and dBm is wanted.
        turn: the figure is a direction: whole turns of 360 degrees do not count.
    """

    times: Decimal = Decimal(1)
    plus: Decimal = Decimal(0)
    level: bool = False
    turn: bool = False

    def of(self, figure: str) -> str:
        """A plain figure in the wanted unit, exactly; a level of a power to 0.01 dB.

        Raises:
            ValueError: no level stands for a power of nothing or less.
        """
        if self == SAME:
            return figure
        scaled = _WIDE.multiply(Decimal(figure), self.times)
        if self.level:
            if scaled <= 0:
                raise ValueError(f"a power of {figure} has no level in dBm")
            decibels = 10 * _WIDE.log10(scaled)
            scaled = decibels.quantize(_HUNDREDTH, ROUND_HALF_EVEN)
        scaled = _WIDE.add(scaled, self.plus)
        scaled = (scaled % _TURN + _TURN) % _TURN if self.turn else scaled
        return f"{scaled.normalize():f}" if scaled else "0"

    def __str__(self) -> str:
        if self.level:
            return "made a level in dBm"
        steps = (
            f"multiplied by {self.times.normalize():f}" if self.times != 1 else "",
            f"raised by {self.plus.normalize():f}" if self.plus else "",
        )
        return " and ".join(filter(None, steps)) or "read as they are"


SAME = Scale()
"""Of a figure that is in the wanted unit."""


def unit_named(word: str) -> str:
    """The unit that a word stands for, in its one spelling; empty if none is known, or two are."""
    word = _bare(word)
    return "" if doubt(word) else _plain(word)


def doubt(word: str) -> str:
    """Which units a word may stand for, in words; empty where it is none, or one alone."""
    return " or ".join(words for _, words in _doubtful(word))


def readings(word: str) -> tuple[str, ...]:
    """The units that a word may stand for, as far as a figure in them can be read."""
    if found := _doubtful(word):
        return tuple(unit for unit, _ in found if unit)
    named = unit_named(word)
    return (named,) if named else ()


def unit_of(heading: str) -> str:
    """The unit that a heading names, in brackets or beside its words; empty if it names none.

    What may stand for two units, or where two stand, is given as it is written: `scale` refuses it.
    """
    return _found(heading)[0]


def without_unit(heading: str) -> str:
    """A heading without its unit; what else stands in brackets stays."""
    return _found(heading)[1]


def quantity_of(unit: str) -> str:
    """The quantity that a unit measures: `frequency`, `length` and so on; empty if none."""
    return FACTORS[unit][0] if unit in FACTORS else ""


def scale(unit: str, wanted: str) -> Scale:
    """How a figure in `unit` becomes one in `wanted`.

    Raises:
        ValueError: nothing leads from one to the other; says what a person can do.
    """
    if unit == wanted:
        return SAME
    if meant := doubt(unit):
        raise ValueError(f"is in {unit}, which is {meant}: name the unit in full")
    quantity, size = FACTORS.get(unit, ("", "1"))
    wanted_quantity, wanted_size = FACTORS.get(wanted, ("other", "1"))
    if unit in _POWERS and wanted == "dBm":
        return Scale(Decimal(_POWERS[unit]), level=True)
    if quantity != wanted_quantity:
        known = f"{wanted} is" if wanted else "no unit is"
        raise ValueError(f"is in {unit}, but {known} wanted")
    if plus := _OFFSETS.get(unit, Decimal(0)) - _OFFSETS.get(wanted, Decimal(0)):
        return Scale(plus=plus)
    return Scale(_WIDE.divide(Decimal(size), Decimal(wanted_size)))


# -- words -----------------------------------------------------------------------------------------

_BYTES_PER_S = re.compile(r"([kKMG])B(?:/s(?:ec)?|ps)?")
_BITS = {"k": "kbps", "K": "kbps", "M": "Mbps", "G": "Gbps"}
_BYTES = {"k": "kbyte/s", "K": "kbyte/s", "M": "Mbyte/s", "G": "Gbyte/s"}
_BRACKETS = re.compile(r"[(\[]([^)\]]*)[)\]]")
_SEPARATOR = re.compile(r"[\s,;:_|]+")
_TAIL = re.compile(
    r"(?:(?:\b(?:in|en)\s|[/,:])\s*(?P<after>m|ft|V|W|mW|s|h|in)|\s(?P<unit>m|ft|mW|%))\s*$"
)
_PER_LENGTH = re.compile(r"(?i:db)\s*(?:/|\bper\b|\bje\b|\bpar\b|\bpor\b)\s*100\s*(m|ft)\b")
_REFERRED = re.compile(
    r"(?:\bin\s+|[\s/,])(?P<unit>m|ft)\s+(?=(?:agl|amsl|a\.?s\.?l|msl|ü|über|sobre|snm|s\.n|sur)\b)",
    re.IGNORECASE,
)
_DEGREE = re.compile("\N{DEGREE SIGN}\\s*$")


def _bare(word: str) -> str:
    word = word.strip().strip("[]()").strip()
    word = word.replace("\N{MICRO SIGN}", "u").replace("\N{GREEK SMALL LETTER MU}", "u")
    return word.rstrip(".") if len(word) > 1 else word


def _doubtful(word: str) -> tuple[tuple[str, str], ...]:
    """Units and words of what may stand for several."""
    word = _bare(word)
    if parts := _BYTES_PER_S.fullmatch(word):
        size = parts[1]
        return ((_BYTES[size], _BYTES[size]), (_BITS[size], f"{size}bit/s"))
    if "|" in word:
        units = word.split("|")
        return tuple((unit, unit) for unit in units)
    return DOUBTFUL.get(_folded(word), ())


def _plain(word: str) -> str:
    if word in FACTORS or word in SPELLINGS:
        return SPELLINGS.get(word, word)
    folded = _folded(word)
    return _symbols().get(folded) or SPELLINGS.get(folded, "")


def _folded(word: str) -> str:
    return " ".join(word.casefold().split())


@functools.cache
def _symbols() -> dict[str, str]:
    """Units by their symbols in lower case; where two differ by case alone the common one."""
    return {symbol.casefold(): symbol for symbol in reversed(FACTORS)}


@functools.lru_cache(4096)
def _found(heading: str) -> tuple[str, str]:
    """The unit of a heading and the rest of it."""
    heading = _PER_LENGTH.sub(r"dB/100\1", heading)
    for inside in _BRACKETS.finditer(heading):
        whole = inside[1]
        if unit_named(whole) or doubt(whole):
            return _named(whole), heading[: inside.start()] + " " + heading[inside.end() :]
        parts = _SEPARATOR.split(whole.strip())
        for part in map(_of_two, parts):
            if part and (unit_named(part) or doubt(part)):
                rest = " ".join(" ".join(parts).replace(part, "", 1).split())
                before, after = heading[: inside.start()], heading[inside.end() :]
                return _named(part), f"{before} ({rest}) {after}"
    return _beside(heading)


def _of_two(word: str) -> str:
    """The first of two words with a stroke between them, if it is a unit and the other none."""
    first, _, other = word.partition("/")
    both = unit_named(word) or doubt(word) or unit_named(other) or other[:1].isdigit()
    return first if other and not both and unit_named(first) else word


def _named(word: str) -> str:
    return _bare(word) if doubt(word) else unit_named(word)


def _beside(heading: str) -> tuple[str, str]:
    """A unit without brackets: a word that is nothing else, or a short one at the end."""
    bare = _BRACKETS.sub(" ", heading)
    words = [w for w in _SEPARATOR.split(bare) if w]
    found: dict[str, str] = {}
    for word in words[1:] if "/" not in "".join(words[:1]) else words:
        last = word.partition("/")[2] if not unit_named(word) and not doubt(word) else word
        if last.casefold() in PLAIN_IN_HEADINGS:
            found.setdefault(_named(last), word if last == word else f"/{last}")
    if len(found) == 1:
        unit, text = next(iter(found.items()))
        start = "" if text.startswith("/") else r"(?<![^\W_])"
        return unit, re.sub(rf"{start}{re.escape(text)}(?![^\W_])", " ", heading, count=1)
    if found:
        return "|".join(found), heading
    if (middle := _REFERRED.search(bare)) is not None:
        return unit_named(middle["unit"]), f"{bare[: middle.start()]} {bare[middle.end() :]}"
    if len(words) > 1 or "/" in bare or _DEGREE.search(bare):
        tail = _TAIL.search(bare)
        if tail is not None and tail.start():
            return unit_named(tail["unit"] or tail["after"]), bare[: tail.start()]
        if (tail := _DEGREE.search(bare)) is not None:
            return "deg", bare[: tail.start()]
    return "", heading
