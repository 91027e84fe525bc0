"""Units that people write beside a figure, and the exact factors between units of one quantity."""

from __future__ import annotations

import re
from decimal import Decimal

_PLAIN_WORDS = (
    "MHz", "Mbps", "dBm", "dB", "dBi", "m", "km", "deg", "V", "s", "ms", "%", "bytes",
    "GHz", "kHz", "Hz", "bps", "kbps", "Gbps", "mW", "W", "dBW", "dBd", "ft", "in", "yd", "mm",
    "cm", "mi", "rad", "mV", "min", "h",
)  # fmt: skip
_WORDS = {word.lower(): word for word in _PLAIN_WORDS} | {
    "bit/s": "bps", "kb/s": "kbps", "kbit/s": "kbps", "mb/s": "Mbps", "mbit/s": "Mbps",
    "mbits": "Mbps", "mbit": "Mbps", "gb/s": "Gbps", "gbit/s": "Gbps", "gbit": "Gbps",
    "\N{DEGREE SIGN}": "deg", "\N{MASCULINE ORDINAL INDICATOR}": "deg", "degrees": "deg",
    "degree": "deg",
    "meters": "m", "metres": "m", "meter": "m", "metre": "m", "feet": "ft", "foot": "ft",
    "inches": "in", "inch": "in", "yards": "yd", "miles": "mi", "volts": "V", "volt": "V",
    "byte": "bytes", "percent": "%", "sec": "s", "seconds": "s", "hours": "h",
}  # fmt: skip
_BYTES_PER_S = re.compile(r"[kKMG]B(/s|ps)")

_EXACT = {
    "Hz": ("frequency", "0.000001"), "kHz": ("frequency", "0.001"), "MHz": ("frequency", "1"),
    "GHz": ("frequency", "1000"),
    "bps": ("rate", "0.000001"), "kbps": ("rate", "0.001"), "Mbps": ("rate", "1"),
    "Gbps": ("rate", "1000"),
    "mm": ("length", "0.001"), "cm": ("length", "0.01"), "m": ("length", "1"),
    "km": ("length", "1000"),
    "mV": ("voltage", "0.001"), "V": ("voltage", "1"),
    "ms": ("time", "0.001"), "s": ("time", "1"), "min": ("time", "60"), "h": ("time", "3600"),
}  # fmt: skip
"""Quantity and size of a unit (SI prefixes; a minute and an hour: BIPM SI brochure, table 8)."""

_BY_HAND = {
    "ft": "1 ft is 0.3048 m", "in": "1 in is 0.0254 m", "yd": "1 yd is 0.9144 m",
    "mi": "1 mi is 1.609344 km", "dBd": "a gain in dBd is 2.15 dB less than in dBi",
    "dBW": "0 dBW is 30 dBm", "W": "1 W is 30 dBm", "mW": "1 mW is 0 dBm",
    "rad": "1 rad is 57.29578 deg",
}  # fmt: skip
"""What is not converted but told: not a factor, not exact, or of more than one definition."""


def unit_named(word: str) -> str:
    """The unit that a word stands for, in its one spelling; empty if it is none that is known."""
    word = word.strip().rstrip(".")
    if _BYTES_PER_S.fullmatch(word):
        return ""  # eight times as much as its look-alike
    return _WORDS.get(word.lower(), "")


def unit_of(heading: str) -> str:
    """The unit that a heading names in brackets; empty if it names none that is known."""
    for inside in re.findall(r"[(\[]([^)\]]*)[)\]]", heading):
        if unit := unit_named(inside):
            return unit
    return ""


def factor(unit: str, wanted: str) -> Decimal:
    """What a figure in `unit` is multiplied by to be one in `wanted`; exact.

    Raises:
        ValueError: no factor leads from one to the other; says what a person can do.
    """
    if unit == wanted:
        return Decimal(1)
    quantity, size = _EXACT.get(unit, ("", "1"))
    wanted_quantity, wanted_size = _EXACT.get(wanted, ("other", "1"))
    if quantity == wanted_quantity:
        return Decimal(size) / Decimal(wanted_size)
    help_ = f": {_BY_HAND[unit]}" if unit in _BY_HAND and wanted else ""
    raise ValueError(
        f"is in {unit}, but {f'{wanted} is' if wanted else 'no unit is'} wanted{help_}"
    )
