"""Habits of such sheets: cells that say a value of the plan in a form of the trade.

A mapping names the form of a column (`form = "emission"`). Where a cell has not that form, or its
form leaves two readings, it is refused with a plain reason; nothing is guessed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any, Literal, get_args

from verifier.files.faults import shown
from verifier.files.plan.tree import Scalar
from verifier.files.plan.units import scale, unit_named
from verifier.files.sheets.cell_number import split_unit
from verifier.model.address import Interface

CellForm = Literal["emission", "channel", "variant", "feeder", "last octet"]
"""Forms of cells that a mapping may name."""

FORMS: tuple[str, ...] = get_args(CellForm)

Reading = Callable[[Any], Any]
"""A cell to what is read instead of it. Raises ValueError with a plain message."""

Half = Literal["high", "low"]

# -- emission designators --------------------------------------------------------------------------

_EMISSION = re.compile(
    r"(?=.{4})([1-9][0-9]{0,2}[HKMG][0-9]{0,2}|H[0-9]{3})([A-Z][0-9X][A-Z][A-Z]?[A-Z]?)?"
)
_HERTZ = {"H": "0.000001", "K": "0.001", "M": "1", "G": "1000"}
_FOUR = 4


def emission_bandwidth(text: str) -> str:
    """Megahertz of the bandwidth in an emission designator: `28M0D7W` is 28.

    Three digits and a letter in the place of the decimal point: Radio Regulations, appendix 1,
    section I, No. 2; the class of emission may follow (section II).

    Raises:
        ValueError: the text is none.
    """
    plain = "".join(text.split()).upper()
    form = _EMISSION.fullmatch(plain)
    if form is None or len(form[1]) != _FOUR:
        raise ValueError(f"{shown(text)} is no emission designator such as 28M0D7W")
    letter = next(c for c in form[1] if c in _HERTZ)
    figure = Decimal(form[1].replace(letter, "."))
    return f"{(figure * Decimal(_HERTZ[letter])).normalize():f}"


# -- channels --------------------------------------------------------------------------------------

_PRIMES = "'\u2019\u2032\u00b4`"
_CHANNEL = re.compile(
    rf"(?:ch(?:annel)?\.?\s*)?(?P<number>[0-9]{{1,3}}[a-z]?)\s*(?P<prime>[{_PRIMES}])?",
    re.IGNORECASE,
)


def channel_of(text: str) -> tuple[str, Half]:
    """The number of a channel, and the half of the band: `4'` is 4 in the upper half.

    A prime marks the upper half of a raster (ITU-R F.746 and the recommendations it names: f'n).

    Raises:
        ValueError: it is neither `4` nor `4'`.
    """
    form = _CHANNEL.fullmatch(text.strip())
    if form is None:
        raise ValueError(f"{shown(text)} is no channel such as 4 or 4'")
    return form["number"], "high" if form["prime"] else "low"


def primes_are_told(values: list[Any]) -> bool:
    """Whether a column of channels tells the halves; else a spreadsheet may have lost primes."""
    return any(str(value).strip().endswith(tuple(_PRIMES)) for value in values)


def other_frequency(frequency: str, spacing: str, half: Half) -> str:
    """Megahertz that the other end transmits, by one end's, the T/R spacing and its half."""
    step = Decimal(spacing).copy_abs()
    found = Decimal(frequency) + (step if half == "low" else -step)
    return f"{found.normalize():f}"


_PAIRS = {
    "Links.a.tx_mhz": ("Links.b.tx_mhz", ("Devices", "a")),
    "Links.b.tx_mhz": ("Links.a.tx_mhz", ("Devices", "b")),
    "Links.tx_mhz": ("Links.far.tx_mhz", ("Devices", "")),
    "Links.far.tx_mhz": ("Links.tx_mhz", ("Devices", "far")),
}
"""The frequency of the other end, and whose half of the band decides, by a frequency's name."""
_HALVES: Mapping[str, Half] = {"high": "high", "hi": "high", "low": "low", "lo": "low"}


def paired(
    name: str, frequency: str, slots: Mapping[tuple[str, str], Mapping[tuple[str, ...], Scalar]]
) -> tuple[str, str]:
    """Name and megahertz of the other end's frequency, by the values of one row.

    Raises:
        ValueError: the row does not say the T/R spacing, or the half of the band.
    """
    other, device = _PAIRS[name]
    spacing = slots.get(("Links", ""), {}).get(("duplex_spacing_mhz",))
    half = slots.get(device, {}).get(("tx_band",))
    word = _HALVES.get((half.text or "").lower()) if half is not None else None
    if spacing is None or not spacing.text or word is None:
        missing = "T/R spacing" if spacing is None or not spacing.text else "half of the band"
        raise ValueError(f"the other end's frequency does not follow: the row has no {missing}")
    return other, other_frequency(frequency, spacing.text, word)


# -- modulations -----------------------------------------------------------------------------------

_VARIANT = re.compile(
    r"(?P<plain>[0-9]{1,5}[ _-]?QAM|[BQ8]PSK|4PSK)[ _/-]*\(?(?P<variant>[a-z][a-z0-9 ]*)\)?",
    re.IGNORECASE,
)


def modulation_of(text: str) -> tuple[str, str]:
    """A modulation and the variant of its coding: `256QAM-strong` is 256QAM, strong."""
    form = _VARIANT.fullmatch(text.strip())
    if form is None:
        return text.strip(), ""
    return form["plain"], form["variant"].strip()


# -- feeders ---------------------------------------------------------------------------------------

_TIMES = re.compile(r"\s*(?:[x\u00d7*@;]|,\s)\s*")


def feeder_loss(text: str) -> str:
    """Decibels of a feeder, type x length x loss for a length: `WG7 x 45 m x 4.5 dB/100m`.

    Raises:
        ValueError: length or loss is missing, or without its unit.
    """
    length = rate = None
    plain = re.sub(r"dB\s*(?:/|per)\s*100\s*(m|ft)\b", r"dB/100\1", text)
    for part in _TIMES.split(plain):
        figure, word = split_unit(part)
        unit = unit_named(word)
        if not unit or not re.fullmatch(r"[0-9]+(\.[0-9]+)?", figure):
            continue
        if unit in ("m", "ft", "km", "yd") and length is None:
            length = Decimal(scale(unit, "m").of(figure))
        elif unit.startswith("dB/") and rate is None:
            rate = Decimal(scale(unit, "dB/100m").of(figure))
        else:
            raise ValueError(f"{shown(text)} has two lengths or losses")
    if length is None or rate is None:
        raise ValueError(
            f"{shown(text)} is not type x length x loss, such as WG7 x 45 m x 4.5 dB/100m"
        )
    return f"{(length * rate / 100).normalize():f}"


# -- addresses and angles --------------------------------------------------------------------------

_OCTET = re.compile(r"\.?\s*([0-9]{1,3})")
_OCTETS = 24


def of_subnet(octet: Any, subnet: str) -> str:
    """The address of which a cell holds the last octet alone, beside a stated subnet.

    Raises:
        ValueError: the subnet is none of IPv4 or shorter than its first three octets; or the octet
            is none of it.
    """
    text = str(octet).strip()
    form = _OCTET.fullmatch(text)
    network = Interface.parse(subnet)
    first, _, _ = str(network).partition("/")
    if form is None or int(form[1]) > 255:  # noqa: PLR2004 (an octet)
        raise ValueError(f"{shown(text)} is no last octet of an address, 0 to 255")
    if ":" in first or network.prefix < _OCTETS:
        raise ValueError(f"{subnet}: its last octet alone does not tell an address")
    address = Interface.parse(f"{first.rpartition('.')[0]}.{int(form[1])}/{network.prefix}")
    if address.subnet != network.subnet:
        raise ValueError(f".{int(form[1])} is not in {subnet}")
    return str(address)


# -- forms of a mapping ----------------------------------------------------------------------------

FIELDS_OF: Mapping[CellForm, tuple[str, ...]] = {
    "emission": ("bandwidth_mhz",),
    "channel": ("channel", "tx_band"),
    "variant": ("modulation", "modulation_max", "modulation_min", "modulation_reference"),
    "feeder": ("line_loss_db",),
    "last octet": ("address", "present_address", "gateway"),
}
"""The fields, by their last name, that a cell of each form gives."""


def habit_of(field: str, values: list[Any]) -> tuple[CellForm | None, str]:
    """The form of the cells of a column for a field, and why a person must look at it."""
    texts = [str(value).strip() for value in values if str(value).strip()]
    if field == "bandwidth_mhz" and texts and all(map(_is_emission, texts)):
        return "emission", ""
    if field in FIELDS_OF["variant"]:
        variants = dict.fromkeys(modulation_of(text)[1] for text in texts)
        if words := ", ".join(filter(None, variants)):
            return "variant", f"the variant of the coding ({words}) is not checked"
    if field == "channel" and primes_are_told(texts):
        return "channel", "a prime is the upper half of the band: tx_band may be fed as well"
    if field == "line_loss_db" and any("/100" in text or "dB/m" in text for text in texts):
        return "feeder", "the loss of the feeder is its length times its loss for a length"
    if field in FIELDS_OF["last octet"] and texts and all(map(_OCTET.fullmatch, texts)):
        return "last octet", 'they are last octets alone: write subnet = "..." beside the form'
    return None, ""


def _is_emission(text: str) -> bool:
    try:
        return bool(emission_bandwidth(text))
    except ValueError:
        return False


def reading_of(form: CellForm, field: str, values: list[Any], subnet: Callable[[], str]) -> Reading:
    """What reads the cells of a column of a form for a field.

    `values` are all of the column; `subnet` gives that of the row that is read.
    """
    if form == "emission":
        return lambda cell: emission_bandwidth(str(cell))
    if form == "feeder":
        return lambda cell: feeder_loss(str(cell))
    if form == "variant":
        return lambda cell: modulation_of(str(cell))[0]
    if form == "channel" and field == "channel":
        return lambda cell: channel_of(str(cell))[0]
    if form == "channel":
        return _half if primes_are_told(values) else _no_half
    whole = field != "gateway"
    return lambda cell: of_subnet(cell, subnet()).partition("/" if not whole else "\0")[0]


def _half(cell: Any) -> str:
    return channel_of(str(cell))[1]


def _no_half(cell: Any) -> str:
    raise ValueError(
        f"{shown(str(cell))}: no channel of the column has a prime, which a spreadsheet may have "
        "lost: the half of the band is not told"
    )
