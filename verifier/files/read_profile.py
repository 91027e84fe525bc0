"""Device profiles: TOML to the model, every fault at once, each with file, line and key."""

from __future__ import annotations

import dataclasses
import functools
import json
import re
import typing
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

import verifier
from verifier.errors import InputError
from verifier.files.faults import Faults, nearest, shown
from verifier.files.plan.columns import is_group, without_none
from verifier.files.toml import KeyPath, Toml, read_toml, spelled
from verifier.model.profile import (
    AlignmentPort,
    Factory,
    Limits,
    Mode,
    Profile,
    ProfileReading,
    Tolerance,
    Variant,
    bits_per_symbol,
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


def _whole(profile: Profile) -> Told:
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
    ProfileReading: _reading, Variant: _variant, Factory: _factory, Profile: _whole, Mode: _mode,
    Limits: _limits,
}  # fmt: skip


MAX_LISTED = 8
"""More words than these are not listed in a message; the nearest is named."""


def load_profiles(ids: Iterable[str], directory: Path | None = None) -> dict[str, Profile]:
    """The profiles of these ids: from `directory` first, then from those that are shipped.

    Raises:
        InputError: an id is nowhere, or a profile is faulty; `problems` holds all faults.
    """
    files = available(directory)
    wanted = sorted(set(ids))
    if missing := [i for i in wanted if i not in files]:
        looked = " and ".join(str(d) for d in (directory, shipped_directory()) if d is not None)
        hints = ", ".join(f"{shown(i)}{nearest(i, files)}" for i in missing)
        raise InputError(
            f"unknown profile {hints}; there are {', '.join(sorted(files))} (looked in {looked})"
        )
    faults = Faults()
    found = {i: _profile(files[i], faults) for i in wanted}
    _raise_if_any(faults)
    return found


def read_profile(path: Path) -> Profile:
    """The profile in one file. Raises InputError; `problems` holds all faults."""
    faults = Faults()
    profile: Profile = _profile(path, faults)
    _raise_if_any(faults)
    return profile


def available(directory: Path | None = None) -> dict[str, Path]:
    """The files by id: those in `directory`, then the shipped ones of other ids.

    Raises:
        InputError: `directory` is not one, holds a file that is no TOML, or an id twice.
    """
    if directory is not None and not directory.is_dir():
        raise InputError(f"{directory}: is not a folder of profiles")
    own = _by_id(directory) if directory is not None else {}
    return {**_by_id(shipped_directory()), **own}


def shipped_directory() -> Path:
    """Where the shipped profiles are: inside an installed package, beside one that is edited."""
    package = Path(verifier.__file__).parent
    inside = package / "_profiles"
    return inside if inside.is_dir() else package.parent / "profiles"


def _profile(path: Path, faults: Faults) -> Any:
    """The profile in a file; None where anything is wrong, which goes to `faults`."""
    toml = read_toml(path, faults)
    return _GroupReader(toml, faults).group(Profile, (), toml.values)


def _by_id(directory: Path) -> dict[str, Path]:
    faults = Faults()
    found: dict[str, Path] = {}
    for path in sorted(directory.glob("*.toml")):
        toml = read_toml(path, faults)
        name = toml.values.get("id")
        if not isinstance(name, str) or not name:
            faults.error("profile-field", toml.origin(("id",)), "id is missing: a profile has one")
        elif name in found:
            message = f"id {shown(name)} is also in {found[name].name}"
            faults.error("profile-twice", toml.origin(("id",)), message)
        else:
            found[name] = path
    _raise_if_any(faults)
    return found


def _raise_if_any(faults: Faults) -> None:
    if problems := faults.problems():
        lines = [str(p) for p in problems]
        raise InputError("\n".join(lines), problems)


@dataclass(frozen=True, slots=True)
class _GroupReader:
    """Reads the groups of one TOML file by the model's type hints."""

    toml: Toml
    faults: Faults

    def tell(self, path: KeyPath, message: str) -> None:
        self.faults.error("profile-field", self.toml.origin(path), message)

    def group(self, cls: Any, path: KeyPath, raw: Any) -> Any:
        """A table as a `cls`; None where any of it is faulty."""
        if not isinstance(raw, dict):
            self.tell(path, f"is not a table: write [{spelled(path)}] or {{...}}")
            return None
        fields = _fields(cls)
        values: dict[str, Any] = {}
        for key, value in raw.items():
            if key in fields:
                values[key] = self.value(cls, key, (*path, key), value)
            else:
                self.tell((*path, key), f"unknown key {shown(key)}{nearest(key, fields)}")
        missing = [key for key, field in fields.items() if field.required and key not in raw]
        for key in missing:
            self.tell(path, f"{key} is missing")
        if missing or any(value is None for value in values.values()):
            return None
        whole = cls(**values)
        for where, message in check_group(whole):
            self.tell((*path, *where), message)
        return whole

    def value(self, cls: Any, key: str, path: KeyPath, raw: Any) -> Any:
        """The value of a key of `cls`; None where it is faulty."""
        hint = _fields(cls)[key].hint
        inner = typing.get_args(hint)[0] if typing.get_origin(hint) is tuple else None
        if is_group(hint):
            return self.group(hint, path, raw)
        if inner is None or not is_group(inner):
            return self.leaf(cls, hint, path, raw)
        if not isinstance(raw, list):
            self.tell(path, f"is not a list of tables: write [[{spelled(path)}]]")
            return None
        parts = [self.group(inner, (*path, n), part) for n, part in enumerate(raw)]
        return None if None in parts else tuple(parts)

    def leaf(self, cls: Any, hint: Any, path: KeyPath, raw: Any) -> Any:
        """A value that is no table, or a list or table of such."""
        try:
            text = json.dumps(raw, allow_nan=False)
        except (TypeError, ValueError):
            self.tell(path, "a date, inf or nan is not wanted here")
            return None
        try:
            value = _adapter(hint).validate_json(text, strict=True)
        except ValidationError as error:
            for fault in error.errors(include_url=False):
                self.tell((*path, *(p for p in fault["loc"] if p != "[key]")), _plainly(fault))
            return None
        if message := check_value(cls, str(path[-1]), value):
            self.tell(path, message)
            return None
        return value


def _plainly(fault: Any) -> str:
    """A fault that pydantic found, in plain words."""
    found = shown(str(fault["input"]))
    if fault["type"] == "literal_error":
        known = re.findall(r"'([^']*)'", fault["ctx"]["expected"])
        listed = f"none of {', '.join(known)}" if len(known) <= MAX_LISTED else "not known"
        return f"{found} is {listed}{nearest(str(fault['input']), known)}"
    what = str(fault["msg"])
    if what.startswith("Input should be "):
        return f"{found} is not {what.removeprefix('Input should be ')}"
    return what.removeprefix("Value error, ")


@dataclass(frozen=True, slots=True)
class _TomlField:
    hint: Any
    required: bool


@functools.cache
def _fields(cls: Any) -> dict[str, _TomlField]:
    hints = typing.get_type_hints(cls)
    missing = dataclasses.MISSING
    return {
        f.name: _TomlField(
            without_none(hints[f.name]), f.default is missing and f.default_factory is missing
        )
        for f in dataclasses.fields(cls)
    }


@functools.cache
def _adapter(hint: Any) -> TypeAdapter[Any]:
    return TypeAdapter(hint)
