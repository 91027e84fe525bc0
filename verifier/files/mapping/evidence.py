"""What the figures of one column say of their decimal sign and unit; never those of another column.

A column whose figures can be read in two ways, or are none that its field can have, is unsure: both
readings are named and a person chooses.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from verifier.files.faults import shown
from verifier.files.mapping.dictionary import columns_by_field
from verifier.files.mapping.words import Guess, with_notes
from verifier.files.plan.columns import Column
from verifier.files.plan.scalars import parser
from verifier.files.plan.units import SAME, Scale, doubt, readings, scale, unit_named
from verifier.files.sheets.cell import Formatted, without_odd_spaces
from verifier.files.sheets.cell_number import PLAIN, Sign, angle, either, split_unit

_SIGNS = re.compile(r"[.,]")
_GROUPS = re.compile(r"[+-]?[1-9][0-9]{0,2}([.,])[0-9]{3}(?:\1[0-9]{3})*(?:(?!\1)[.,][0-9]+)?")
_ONE = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_FIGURE = re.compile(r"[+-]?[0-9]*(?:[.,][0-9]+)*[.,]?")
_BLANKS = re.compile(r"[\s'\u2019]")


@dataclass(frozen=True, slots=True)
class Range:
    """What figures of a field can be, in the field's unit, and units that a bare one may be in."""

    low: Decimal
    high: Decimal
    units: tuple[str, ...]


def _range(low: str, high: str, units: str) -> Range:
    return Range(Decimal(low), Decimal(high), tuple(units.split()))


RANGES = {
    "tx_mhz": _range("300", "300000", "MHz GHz kHz Hz"),
    "rx_mhz": _range("300", "300000", "MHz GHz kHz Hz"),
    "duplex_spacing_mhz": _range("5", "20000", "MHz GHz kHz"),
    "bandwidth_mhz": _range("0.2", "10000", "MHz GHz kHz Hz"),
    "capacity_mbps": _range("1", "100000", "Mbps Gbps kbps Mbyte/s"),
    "key_capacity_mbps": _range("1", "100000", "Mbps Gbps kbps Mbyte/s"),
    "speed_mbps": _range("10", "40000", "Mbps Gbps kbps"),
    "path_km": _range("0.05", "500", "km m mi nmi ft"),
    "antenna_height_m": _range("0", "1000", "m ft"),
    "ground_amsl_m": _range("-450", "9000", "m ft"),
    "antenna_diameter_m": _range("0.2", "20", "m ft cm mm in"),
    "cable_m": _range("0.1", "2000", "m ft"),
    "antenna_dbi": _range("-5", "70", "dBi dBd"),
    "antenna_efficiency": _range("0", "100", ""),
    "tx_power_dbm": _range("-40", "45", "dBm dBW"),
    "bench_tx_power_dbm": _range("-40", "45", "dBm dBW"),
    "max_eirp_dbm": _range("-40", "100", "dBm dBW"),
    "atpc_max_dbm": _range("-40", "45", "dBm dBW"),
    "atpc_min_dbm": _range("-60", "45", "dBm dBW"),
    "rx_level_dbm": _range("-120", "-10", "dBm"),
    "bench_rx_level_dbm": _range("-120", "-10", "dBm"),
    "atpc_target_dbm": _range("-120", "-10", "dBm"),
    "azimuth_deg": _range("0", "360", "deg gon"),
    "tilt_deg": _range("-90", "90", "deg"),
    "latitude": _range("-90", "90", "deg"),
    "longitude": _range("-180", "180", "deg"),
    "alignment_v": _range("0.05", "30", "V mV"),
    "mtu": _range("68", "65535", "bytes"),
}  # fmt: skip
"""By the last name of a field. Radio links lie between UHF and EHF (Radio Regulations No. 2.1: 300
MHz to 300 GHz); a level that is received has a negative number of dBm; IPv4 needs 68 octets
(RFC 791); the other limits are far beyond what is built."""

DECIBELS = _range("-200", "300", "dB")
"""Of every field in dB."""


@dataclass(frozen=True, slots=True)
class Settled:
    """What a column's figures came to.

    Attributes:
        decimal: its decimal sign; `either` where a person must say it.
        unit: that of its figures; empty where it is not known.
        doubt: why a person must look at it; empty where heading, unit and figures agree.
        units: those that the figures may be in, where it is not known which.
    """

    decimal: Sign
    unit: str
    doubt: str = ""
    units: tuple[str, ...] = ()


def settled(
    column: Column, heading_unit: str, values: Iterable[Any], known: Sign | None = None
) -> Settled:
    """Decimal sign and unit of a column of figures, by its heading's unit and its own figures.

    `known` is the sign that a person said it has.
    """
    if column.kind != "number":
        return Settled("plain", "")
    cells = list(_cells(column, values))
    unit_doubt = doubt(heading_unit)
    sign, sign_doubt = _sign(column, "" if unit_doubt else heading_unit, cells)
    sign, sign_doubt = (known, "") if known else (sign, sign_doubt)
    if unit_doubt:
        return Settled(sign, "", f"{heading_unit} is {unit_doubt}", readings(heading_unit))
    units, unit_doubt = _unit(column, heading_unit, sign, cells)
    unit = units[0] if len(units) == 1 else ""
    words = "; ".join(filter(None, (sign_doubt, unit_doubt)))
    return Settled(sign, unit, words, units if len(units) > 1 else ())


def outside(column: Column, sign: Sign, found: Scale, values: Iterable[Any]) -> str:
    """Why figures, once converted, are none that their field can have; empty where all can be."""
    limits = could_be(column)
    if column.kind != "number" or limits is None:
        return ""
    for cell in _cells(column, values):
        if not cell.unit and (figure := _plain(cell, sign)) and not _within(limits, found, figure):
            return _beside_limits(figure, "", column, limits)
    return ""


def chosen(found: Guess, unit: str, values: Iterable[Any]) -> Guess:
    """A guess with the one of its fields that the figures of the column can be, if it is one."""
    if not found.others:
        return found
    held = [v for v in values if v is not None and str(v).strip()]
    fitting = [name for name in found.fields if held and _can_hold(name, unit, held)]
    if len(fitting) != 1:
        return found
    single = replace(found, field=fitting[0], others=(), sure=True, reason="")
    return with_notes(single)


def _can_hold(name: str, unit: str, values: list[Any]) -> bool:
    """Whether a field can hold all the values of a column."""
    column = columns_by_field().get(name)
    if column is None or column.kind != "number":
        return column is not None and all(_is_word(column, value) for value in values)
    cells = list(_cells(column, values))
    if len(cells) < len(values):
        return False
    found = settled(column, unit, values)
    return not found.doubt or "no unit" in found.doubt or "write decimal" in found.doubt


def _is_word(column: Column, value: Any) -> bool:
    try:
        parser(column.hint)(str(value).strip())
    except ValueError:
        return False
    return True


def could_be(column: Column) -> Range | None:
    """What figures of a field can be; None where nothing is known."""
    if (found := RANGES.get(column.path[-1])) is not None:
        return found
    return DECIBELS if column.unit == "dB" else None


# -- cells -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Cell:
    """A figure, as it is written without blanks, and the unit that stands beside it."""

    figure: str
    unit: str
    text: bool


def _cells(column: Column, values: Iterable[Any]) -> Iterator[_Cell]:
    """The figures among values; what is none is left to the reader of the cell."""
    for value in values:
        bare = value.value if isinstance(value, Formatted) else value
        if isinstance(bare, (int, float)) and not isinstance(bare, bool):
            text = f"{bare:.15g}" if isinstance(bare, float) else str(bare)
            if PLAIN.fullmatch(text):
                yield _Cell(text, "", text=False)
        elif isinstance(bare, str) and not _is_angle(column, bare):
            figure, unit = split_unit(without_odd_spaces(bare))
            figure = _BLANKS.sub("", figure)
            if _FIGURE.fullmatch(figure) and any(map(str.isdigit, figure)):
                yield _Cell(figure, unit, text=True)


def _is_angle(column: Column, text: str) -> bool:
    """Whether a cell is degrees with a mark, minutes or a letter; what is wrong in it too."""
    try:
        return bool(column.angle) and angle(text.strip(), column.angle) is not None
    except ValueError:
        return True


# -- decimal sign ----------------------------------------------------------------------------------


def _sign(column: Column, unit: str, cells: list[_Cell]) -> tuple[Sign, str]:
    """The decimal sign and why it is not known."""
    found: set[str] = set()
    open_: list[str] = []
    for cell in cells:
        if not cell.text or not _SIGNS.search(cell.figure):
            continue
        sign = _sign_in(column, unit_named(cell.unit) or unit, cell.figure)
        if sign:
            found.add(sign)
        else:
            open_.append(cell.figure)
    if len(found) > 1:
        return "either", "its figures have decimal points and decimal commas: write decimal"
    if found:
        return ("," if "," in found else "."), ""
    if open_:
        point, whole = either(open_[0])
        return "either", f"{shown(open_[0])} is {point} or {whole}: write decimal"
    return ".", ""


def _sign_in(column: Column, unit: str, figure: str) -> str:
    """The decimal sign that a figure shows; empty where it can be read both ways."""
    signs: list[str] = _SIGNS.findall(figure)
    last, other = signs[-1], "," if signs[-1] == "." else "."
    if len(set(signs)) > 1:
        return last
    if len(signs) > 1:
        return other if _GROUPS.fullmatch(figure) else ""
    if column.angle or not _ONE.fullmatch(figure):
        return last
    return last if _beyond(column, unit, either(figure)[1]) else ""


def _beyond(column: Column, unit: str, whole: str) -> bool:
    """Whether a figure is none that the field can have, so that its sign is no thousands' one."""
    limits = could_be(column)
    if limits is None:
        return False
    if unit:
        return not _within(limits, _scale(column, unit), whole)
    scales = [_scale(column, unit) for unit in limits.units]
    return not any(_within(limits, found, whole) for found in scales)


# -- unit ------------------------------------------------------------------------------------------


def _unit(column: Column, said: str, sign: Sign, cells: list[_Cell]) -> tuple[tuple[str, ...], str]:
    """The units that a column's bare figures can be in; why it is not known, or not right."""
    limits = could_be(column)
    bare = [_plain(c, sign) for c in cells if not c.unit]
    figures = [figure for figure in bare if figure]
    if said:
        return (said,), _disagreement(column, said, figures, limits)
    if not column.unit or not figures:
        return (), ""
    if limits is None or not limits.units:
        return (column.unit,), ""
    fitting = tuple(
        unit
        for unit in limits.units
        if all(_within(limits, _scale(column, unit), figure) for figure in figures)
    )
    if len(fitting) == 1:
        return fitting, ""
    if fitting:
        return fitting, f"no unit is said: {' or '.join(fitting)}; write unit"
    return (), _disagreement(column, column.unit, figures, limits)


def _disagreement(column: Column, unit: str, figures: list[str], limits: Range | None) -> str:
    """Why the figures cannot be in a unit; empty where they can."""
    try:
        found = scale(unit, column.unit)
    except ValueError as fault:
        return f"it {fault}"
    if limits is None:
        return ""
    odd = next((figure for figure in figures if not _within(limits, found, figure)), "")
    return _beside_limits(odd, unit, column, limits) if odd else ""


def _beside_limits(figure: str, unit: str, column: Column, limits: Range) -> str:
    """Why a figure cannot be."""
    written = f"{figure} {unit}".strip()
    if limits.high < 0 < Decimal(figure):
        return f"{written} has no sign: a level that is received is below zero"
    low, high = f"{limits.low:f}", f"{limits.high:f}"
    return f"{written} is outside {low} to {high} {column.unit}: is the unit right?"


def _plain(cell: _Cell, sign: Sign) -> str:
    """A figure with a point, where it is plain by the column's sign; else empty."""
    text = cell.figure
    if cell.text and sign == ",":
        text = text.replace(".", "").replace(",", ".")
    elif cell.text and sign == ".":
        text = text.replace(",", "")
    elif cell.text and _ONE.fullmatch(text):
        return ""
    elif cell.text and text.count(",") == 1:
        text = text.replace(".", "").replace(",", ".")
    return text if PLAIN.fullmatch(text) else ""


def _scale(column: Column, unit: str) -> Scale | None:
    if unit == column.unit or not unit:
        return SAME
    try:
        return scale(unit, column.unit)
    except ValueError:
        return None


def _within(limits: Range, found: Scale | None, figure: str) -> bool:
    """Whether a figure, converted, is one that the field can have."""
    if found is None:
        return False
    try:
        return limits.low <= Decimal(found.of(figure)) <= limits.high
    except ValueError:
        return False
