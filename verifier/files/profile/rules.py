"""What the types of a profile cannot say: object identifiers, indexes, tables that rise or fall."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Any

from verifier.files.faults import shown
from verifier.files.toml import KeyPath
from verifier.model.modulation import bits_per_symbol
from verifier.model.profile import (
    AlignmentPort,
    Factory,
    Limits,
    Mode,
    Profile,
    ProfileReading,
    Tolerance,
    Variant,
)

_OID = re.compile(r"[0-2](\.(0|[1-9][0-9]{0,9})){1,127}")
_INDEX = re.compile(r"port:.+|radio:[1-9][0-9]*|first|0|[1-9][0-9]*")
_TRUTH = ("true", "false")
_WORDS = {
    "polarisation": ("V", "H"), "tx_enabled": _TRUTH, "atpc": _TRUTH, "locked": _TRUTH,
    "ntp_locked": _TRUTH,
}  # fmt: skip
"""What an enumeration of these fields may say: the words of the plan."""

_UNITS = {
    "_mhz": ("MHz",), "_dbm": ("dBm",), "_db": ("dB",), "_s": ("s",),
    "_mbps": ("Mbps", "Mbit/s", "Mb/s"),
}  # fmt: skip
"""By the ending of a field: what its values are in."""

Told = Iterator[tuple[KeyPath, str]]
"""Path within the group, message."""


def check_value(cls: Any, key: str, value: Any) -> str:
    """What is wrong with one well-typed value; empty if nothing is."""
    check = _VALUE_CHECKS.get((cls, key))
    return check(value) if check is not None else ""


def check_group(group: Any) -> Told:
    """What is wrong between the values of one group."""
    check = _GROUP_CHECKS.get(type(group))
    if check is not None:
        yield from check(group)


def _oid(text: str) -> str:
    """Object identifiers have at most 128 arcs of 32 bits (RFC 2578 3.5)."""
    if _OID.fullmatch(text) and all(int(arc) < 2**32 for arc in text.split(".")):
        return ""
    return f"{shown(text)} is not a numeric object identifier such as 1.3.6.1.2.1.1.5.0"


def _index(text: str) -> str:
    known = "port:NAME, radio:N, first or a number"
    return "" if _INDEX.fullmatch(text) else f"{shown(text)} is none of {known}"


def _table(rows: tuple[tuple[float, float], ...]) -> str:
    """One level for one voltage and the other way round: each column only rises or only falls."""
    if len(rows) < 2:  # noqa: PLR2004
        return "has fewer than two rows: nothing can be read between them"
    for column, name in ((0, "dBm"), (1, "V")):
        steps = [after[column] - before[column] for before, after in pairwise(rows)]
        if not (all(s > 0 for s in steps) or all(s < 0 for s in steps)):
            return f"its {name} column neither only rises nor only falls"
    return ""


def _above_zero(value: float) -> str:
    return "" if value > 0 else "is not above 0"


def _reading(reading: ProfileReading) -> Told:
    if reading.type == "enumeration" and not reading.values:
        yield ("values",), 'is missing: an enumeration says what each number means: {1 = "4qam"}'
    if reading.type != "enumeration" and reading.values:
        yield ("values",), f"belongs to type enumeration, not to {reading.type}"
    if reading.type == "text" and (reading.no_signal or reading.good or reading.scale != 1):
        yield ("type",), "a text has no scale, no_signal or good"
    yield from _unit(reading)
    words = _WORDS.get(reading.field, ())
    for word in reading.values.values():
        if words and word not in words:
            yield ("values",), f"{shown(word)} is none of {', '.join(words)}"


def _unit(reading: ProfileReading) -> Told:
    """A value in another unit than the rules take it for would be a wrong number."""
    units = next((u for end, u in _UNITS.items() if reading.field.endswith(end)), None)
    if units and reading.unit is not None and reading.unit not in units:
        message = f"{shown(reading.unit)}: {reading.field} is in {units[0]}; scale makes it so"
        yield ("unit",), message


def _mode(mode: Mode) -> Told:
    """Modes are told apart and put in order by their bits."""
    bits = bits_per_symbol(mode.modulation)
    if bits is not None and bits != mode.bits:
        yield ("bits",), f"{shown(mode.modulation)} has {bits} bits, not {mode.bits}"


def _limits(limits: Limits) -> Told:
    overload, damage = limits.rx_max_dbm, limits.rx_damage_dbm
    if overload is not None and damage is not None and damage < overload:
        yield ("rx_damage_dbm",), "is below rx_max_dbm: a receiver overloads before it is damaged"


def _variant(variant: Variant) -> Told:
    if variant.tx_min_mhz > variant.tx_max_mhz:
        yield ("tx_max_mhz",), "is below tx_min_mhz"


def _factory(factory: Factory) -> Told:
    if factory.address and (factory.low or factory.high):
        yield ("address",), "is for devices of one kind: write address, or low and high"


def _profile(profile: Profile) -> Told:
    """Parts that say the same thing twice."""
    said = {
        "reading": [_name(r.field, r.index) for r in profile.reading],
        "mode": [_name(m.modulation, m.bandwidth_mhz) for m in profile.mode],
        "variant": [v.part for v in profile.variant],
    }
    for key, names in said.items():
        for n, name in enumerate(names):
            if name in names[:n]:
                yield (key, n), f"{name} is there already: {key}[{names.index(name)}]"


def _name(*parts: Any) -> str:
    return " ".join(str(p) for p in parts if p is not None)


_VALUE_CHECKS: dict[tuple[Any, str], Callable[[Any], str]] = {
    (Profile, "object_id"): _oid,
    (Profile, "boot_s"): _above_zero,
    (ProfileReading, "oid"): _oid,
    (ProfileReading, "index"): _index,
    (ProfileReading, "scale"): lambda scale: "" if scale else "0 would turn every value into 0",
    (Mode, "bits"): _above_zero,
    (Mode, "bandwidth_mhz"): _above_zero,
    (AlignmentPort, "table"): _table,
    (Tolerance, "rx_level_db"): _above_zero,
}
_GROUP_CHECKS: dict[type, Callable[[Any], Told]] = {
    ProfileReading: _reading, Variant: _variant, Factory: _factory, Profile: _profile, Mode: _mode,
    Limits: _limits,
}  # fmt: skip
