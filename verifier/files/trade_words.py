"""The words of the trade, as `mapping/words.toml` has them, and how words are compared."""

from __future__ import annotations

import functools
import re
import tomllib
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Any

_TABLE = Path(__file__).parent / "mapping" / "words.toml"
_OTHER = str.maketrans(
    {"\u00f8": "o", "\u00e6": "ae", "\u0153": "oe", "\u0142": "l", "\u0131": "i"}
)
_UMLAUTS = str.maketrans({"\u00e4": "ae", "\u00f6": "oe", "\u00fc": "ue"})
_SIGN = re.compile(r"([#\u00b0])")
_NO_WORD = re.compile(r"[^\w#\u00b0]|_")


@functools.cache
def table() -> dict[str, Any]:
    """The whole table of words."""
    return tomllib.loads(_TABLE.read_text(encoding="utf-8"))


def folded(text: str) -> str:
    """A text without case, accents and whatever is neither letter nor digit: words and blanks."""
    low = text.casefold().translate(_OTHER)
    plain = "".join(c for c in unicodedata.normalize("NFKD", low) if not unicodedata.combining(c))
    return " ".join(_SIGN.sub(r" \1 ", _NO_WORD.sub(" ", plain)).split())


def spellings(word: str) -> Iterator[str]:
    """A word of the table, folded; with an umlaut also as it is written without one."""
    yield folded(word)
    low = unicodedata.normalize("NFC", word).casefold()
    if (spelled := low.translate(_UMLAUTS)) != low:
        yield folded(spelled)


# -- secrets ---------------------------------------------------------------------------------------

_KEY = re.compile(r"(auth|priv|privacy|private|api|encryption|usm|v3|snmp)(entication)?(key|pass)")
_CAMEL = re.compile(r"(?<=[^\W\d_A-Z])(?=[A-Z])")
_WITHOUT_BLANKS = "\u3000"
"""Scripts from here on are written without blanks between words."""
_NO_SECRET = frozenset(("capacity", "port", "traffic", "vlan", "modulation", "kapazitat", "fail"))
"""Words beside which a common word (key, user) means no secret: key capacity, user port."""


@functools.cache
def _secrets() -> tuple[frozenset[str], tuple[str, ...], tuple[str, ...]]:
    """Secrets as single words, as several words, and as parts of words without blanks."""
    words = {
        spelled
        for language, some in table()["secret"].items()
        if language != "inside"
        for word in some
        for spelled in spellings(word)
    }
    several = tuple(sorted(word for word in words if " " in word))
    whole = tuple(word for word in words if word[0] >= _WITHOUT_BLANKS)
    return frozenset(words), several, (*table()["secret"]["inside"], *whole)


@functools.lru_cache(4096)
def looks_secret(name: str) -> bool:
    """Whether a field of this name would hold a password, a key, a user or a community."""
    plain = folded(_CAMEL.sub(" ", name))
    alone, several, inside = _secrets()
    close = folded(name).replace(" ", "")
    if _KEY.search(close) or any(part in close for part in inside):
        return True
    words = plain.split()
    if _NO_SECRET.intersection(words):
        return False
    return bool(alone.intersection(words)) or any(f" {s} " in f" {plain} " for s in several)
