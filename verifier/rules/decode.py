"""What a text of a device means by a profile: a scaled number, a word, a time of day, or itself.

Times of day are read as documents write them and as MIBs and profiles tell them.
"""

from __future__ import annotations

import datetime as dt
import re
from decimal import Decimal
from typing import Final

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


_SHORT, _LONG = 8, 11
"""Octets of DateAndTime without and with its zone (RFC 2579)."""
_ZONE_STEP_S: Final = 900.0
"""Zones lie whole quarters of an hour apart."""


def rfc3339(at_s: float, timespec: str = "seconds") -> str:
    """Seconds since 1970 as RFC 3339 in UTC."""
    at = dt.datetime.fromtimestamp(at_s, dt.UTC)
    return at.isoformat(timespec=timespec).replace("+00:00", "Z")


def date_and_time(octets: bytes) -> dt.datetime | None:
    """DateAndTime (RFC 2579) as a time; without a zone where it has none; None where it is none."""
    if len(octets) not in {_SHORT, _LONG}:
        return None
    year = int.from_bytes(octets[:2], "big")
    month, day, hour, minute, second, tenths = octets[2:8]
    zone = None
    if len(octets) == _LONG:
        sign, hours, minutes = octets[8:11]
        if sign not in b"+-":
            return None
        east = dt.timedelta(hours=hours, minutes=minutes)
        zone = dt.timezone(east if sign == ord("+") else -east)
    try:
        return dt.datetime(
            year, month, day, hour, minute, min(second, 59), tenths * 100_000, tzinfo=zone
        )
    except ValueError:
        return None


def read(text: str) -> dt.datetime | None:
    """A time as a device writes it: RFC 3339 or ISO 8601, or seconds since 1970; else None."""
    try:
        return dt.datetime.fromisoformat(text.strip())
    except ValueError:
        pass
    try:
        return dt.datetime.fromtimestamp(float(text), dt.UTC)
    except (ValueError, OverflowError, OSError):
        return None


def off_s(told: dt.datetime, at: dt.datetime) -> float:
    """How far a clock is ahead of `at`, in seconds.

    One without a zone is taken to be in whatever zone fits best: what is left is within 450 s.
    """
    if told.tzinfo is not None:
        return (told - at).total_seconds()
    ahead_s = (told.replace(tzinfo=dt.UTC) - at).total_seconds()
    return ahead_s - _ZONE_STEP_S * round(ahead_s / _ZONE_STEP_S)
