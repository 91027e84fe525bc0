"""Times of day: as documents write them, as MIBs and profiles tell them."""

from __future__ import annotations

import datetime as dt
from typing import Final

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
