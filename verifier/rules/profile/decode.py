"""What an object's text means by a profile's reading: a scaled number, a word, or itself."""

from __future__ import annotations

import re
from decimal import Decimal

from verifier.model.address import Mac
from verifier.model.profile import ProfileReading

_NUMBER = re.compile(r"\s*[+-]?[0-9]+(\.[0-9]+)?\s*", re.ASCII)
_LARGEST = (1 << 64) - 1
"""Largest number SMI knows (Counter64, RFC 2578 7.1.10); digits in a text may say anything."""
_MAC_OCTETS = 6


def number(text: str) -> Decimal | None:
    """The number that `text` is, exactly; None where it is anything else, or beyond SMI's.

    SMI has whole numbers only, so that devices give decimals as text: `-45.6`.
    """
    if not _NUMBER.fullmatch(text):
        return None
    found = Decimal(text.strip())
    return found if abs(found) <= _LARGEST else None


def scaled(raw: Decimal, scale: float) -> float:
    """`raw` times `scale`, both as they are written: -456 times 0.1 is -45.6."""
    return float(raw * Decimal(repr(scale)))


def no_signal(reading: ProfileReading, text: str) -> bool:
    """Whether the profile calls this raw value "nothing received"."""
    return number(text) in reading.no_signal


def value(reading: ProfileReading, text: str) -> str | float | None:
    """The value: scaled, or named, or the text; None where it means nothing by the profile."""
    if reading.type == "text":
        return text
    raw = number(text)
    if raw is None or raw in reading.no_signal:
        return None
    if reading.type == "integer":
        return scaled(raw, reading.scale)
    return reading.values.get(int(raw)) if raw == int(raw) else None


def hardware_address(octets: str) -> Mac | None:
    """The hardware address that ifPhysAddress tells, in octets such as `02:00:5e:10:00:01`.

    None where it tells none: RFC 2863 has it empty where an interface has none, and all zeros are
    nobody's either. Some agents write the address as text: `02-00-5E-10-00-01` in 17 octets.
    """
    try:
        raw = bytes.fromhex(octets.replace(":", ""))
        text = octets if len(raw) == _MAC_OCTETS else raw.decode("ascii").strip("\0 ")
        found = Mac.parse(text)
    except ValueError:
        return None
    return None if set(str(found)) <= {"0", ":"} else found
