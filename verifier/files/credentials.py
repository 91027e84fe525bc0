"""Credentials: a TOML file, the environment, or a prompt. No secret is ever part of a message."""

from __future__ import annotations

import os
import re
import typing
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from verifier.errors import InputError
from verifier.files.disk import open_to_others
from verifier.files.faults import Faults, nearest, shown
from verifier.files.toml import Toml, read_toml
from verifier.model.credentials import Auth, Priv, Secret, SnmpEntry
from verifier.model.problem import Origin

MIN_KEY_LENGTH = 8
"""Shortest password that a key is made of (RFC 3414 11.2)."""

SECRETS = ("community", "auth_key", "priv_key")
KEYS = ("version", "user", "auth", "priv", "port", *SECRETS, *(f"{s}_env" for s in SECRETS))
_VARIABLES = ("community", "user", "auth", "auth_key", "priv", "priv_key")
_V3_ONLY = ("user", "auth", "auth_key", "priv", "priv_key")
_VARIABLE = re.compile(r"[A-Z_][A-Z0-9_]*")  # else it may be the secret itself, and is not shown

Ask = Callable[[str, bool], str]
"""Asks a person a question, and returns the answer; the flag: what is typed must not be shown."""


@dataclass(frozen=True, slots=True)
class _Draft:
    """What one source says of an entry. A value is None where it was given but is of no use."""

    name: str
    place: Callable[[str], Origin]
    faults: Faults
    values: dict[str, Any] = field(default_factory=dict, repr=False)

    def tell(self, key: str, message: str) -> None:
        self.faults.error("credentials", self.place(key), f"entry {self.name}: {message}")


def load_credentials(
    names: Iterable[str],
    file: Path | None = None,
    env: Mapping[str, str] | None = None,
    ask: Ask | None = None,
) -> dict[str, SnmpEntry]:
    """The entries of these names: from the file, else the environment, else asked for.

    Args:
        names: the entries that are needed; others are not looked at.
        file: None if no file is given.
        env: the environment; that of this process if None.
        ask: None where there is no terminal.

    Raises:
        InputError: an entry is nowhere or faulty; `problems` holds all faults.
    """
    faults = Faults()
    env = os.environ if env is None else env
    toml = read_toml(file, faults) if file is not None else Toml("", {}, {})
    entries = _entries(toml, faults)
    if file is not None:
        _refuse_open_file(file, toml, entries, faults)
    found = {}
    for name in sorted(set(names)):
        if name in entries:
            draft: _Draft | None = _from_file(name, entries[name], toml, env, faults)
        else:
            draft = _from_environment(name, env, faults)
            if draft is None and ask is not None:
                draft = _asked(name, ask, faults)
        if draft is None:
            _nowhere(name, file, entries, faults)
        else:
            found[name] = draft
    checked = {name: _checked(draft) for name, draft in found.items()}
    if problems := faults.problems():
        lines = [str(p) for p in problems]
        raise InputError("\n".join(lines), problems)
    return {name: entry for name, entry in checked.items() if entry is not None}


def entry_names(file: Path) -> tuple[str, ...]:
    """The names of a file's entries, in its order. Raises InputError where it cannot be read."""
    faults = Faults()
    return tuple(_entries(read_toml(file, faults), faults))


def at_hand(names: Iterable[str], file: Path | None) -> set[str]:
    """Those of some entries that are in the file or the environment."""
    inside = set(entry_names(file)) if file is not None else set()
    keys = ("community", "user")
    return {n for n in names if n in inside or any(os.environ.get(variable(n, k)) for k in keys)}


def variable(name: str, key: str) -> str:
    """The environment variable that gives `key` of entry `name`."""
    entry = re.sub(r"[^A-Z0-9]", "_", name.upper())
    return f"PLAN_VERIFIER_{entry}_{key.upper()}"


def _entries(toml: Toml, faults: Faults) -> dict[str, dict[str, Any]]:
    """The tables [snmp.NAME] of a file."""
    for key in toml.values:
        if key != "snmp":
            message = f"unknown table {shown(key)}: entries are called [snmp.NAME]"
            faults.error("credentials", toml.origin((key,)), message)
    tables = toml.values.get("snmp", {})
    if not isinstance(tables, dict):
        faults.error("credentials", toml.origin(("snmp",)), "entries are called [snmp.NAME]")
        return {}
    for name, table in tables.items():
        if not isinstance(table, dict):
            message = "is not an entry: entries are called [snmp.NAME]"
            faults.error("credentials", toml.origin(("snmp", name)), message)
    return {name: table for name, table in tables.items() if isinstance(table, dict)}


def _refuse_open_file(
    file: Path, toml: Toml, entries: dict[str, dict[str, Any]], faults: Faults
) -> None:
    """Tells if the file holds a secret and others may read it (where files have such modes)."""
    inside = [(n, s) for n, entry in entries.items() for s in SECRETS if s in entry]
    if inside and open_to_others(file):
        name, secret = inside[0]
        message = (
            f"the file holds {secret} and others may read it: run chmod 600 {file}, "
            f"or write {secret}_env with the name of an environment variable"
        )
        faults.error("credentials-readable", toml.origin(("snmp", name, secret)), message)


def _from_file(
    name: str, raw: dict[str, Any], toml: Toml, env: Mapping[str, str], faults: Faults
) -> _Draft:
    draft = _Draft(name, lambda key: toml.origin(("snmp", name, key)), faults)
    for key, value in raw.items():
        given = key.removesuffix("_env")
        if key not in KEYS:
            draft.tell(key, f"unknown key {shown(key)}{nearest(key, KEYS)}")
        elif key == "port":
            draft.values[key] = _port(value, draft)
        elif not isinstance(value, str) or not value:
            hint = ': write it in quotes, such as "3"' if key == "version" else ""
            draft.tell(key, f"{key} is not a text{hint}")
            draft.values[given] = None
        elif key == given:
            draft.values[key] = value
        elif given in raw:
            draft.tell(key, f"gives {given} as well as {key}: write one")
        else:
            draft.values[given] = env.get(value) or None
            if draft.values[given] is None:
                called = value if _VARIABLE.fullmatch(value) else f"that {key} names"
                draft.tell(key, f"environment variable {called} is not set: it would hold {given}")
    return draft


def _port(value: Any, draft: _Draft) -> int | None:
    if type(value) is int and 1 <= value <= 65535:  # noqa: PLR2004
        return value
    draft.tell("port", "port is not a number from 1 to 65535")
    return None


def _from_environment(name: str, env: Mapping[str, str], faults: Faults) -> _Draft | None:
    """The entry as the environment has it; None if it has neither community nor user."""
    names = {key: variable(name, key) for key in _VARIABLES}
    values = {key: env[v] for key, v in names.items() if env.get(v)}
    if "community" not in values and "user" not in values:
        return None
    values["version"] = "3" if "user" in values else "2c"
    place = lambda key: Origin("environment", field=names.get(key, names["user"]))  # noqa: E731
    return _Draft(name, place, faults, values)


def _asked(name: str, ask: Ask, faults: Faults) -> _Draft:
    """The entry as a person types it; an empty user means version 2c."""
    draft = _Draft(name, lambda key: Origin("prompt", field=key), faults)
    user = ask(f"SNMP entry {name}: user of version 3 (empty for version 2c)", False).strip()  # noqa: FBT003
    if not user:
        draft.values["version"] = "2c"
        if answer := ask(f"SNMP entry {name}: community", True):  # noqa: FBT003
            draft.values["community"] = answer
        return draft
    draft.values.update(version="3", user=user)
    for key, words in (("auth_key", "authentication key"), ("priv_key", "privacy key")):
        if answer := ask(f"SNMP entry {name}: {words} (empty for none)", True):  # noqa: FBT003
            draft.values[key] = answer
    return draft


def _nowhere(name: str, file: Path | None, entries: Iterable[str], faults: Faults) -> None:
    variables = f"{variable(name, 'community')} or {variable(name, 'user')}"
    where = f"there are {', '.join(sorted(entries)) or 'none'}" if file else "no file was given"
    message = (
        f"no SNMP entry {shown(name)}{nearest(name, entries)}: {where}; "
        f"environment variable {variables} would do"
    )
    faults.error("credentials", Origin(str(file) if file else "credentials"), message)


def _checked(draft: _Draft) -> SnmpEntry | None:
    """The entry, or None where a fault was told."""
    given = draft.values
    version = given.get("version")
    if "version" not in given:
        draft.tell("version", 'version is missing: "1", "2c" or "3"')
    elif version is not None and version not in ("1", "2c", "3"):
        draft.tell("version", 'version is none of "1", "2c", "3"')
    elif version == "3":
        _check_v3(draft)
    elif version is not None:
        if "community" not in given:
            draft.tell("community", f"version {version} needs community_env or community")
        for key in _V3_ONLY:
            if key in given:
                draft.tell(key, f"{key} belongs to version 3, this entry is version {version}")
    secrets: dict[str, Any] = {s: Secret(given[s]) for s in SECRETS if given.get(s) is not None}
    rest: dict[str, Any] = {k: v for k, v in given.items() if k not in SECRETS and v is not None}
    return None if draft.faults.problems() else SnmpEntry(name=draft.name, **rest, **secrets)


def _check_v3(draft: _Draft) -> None:
    given = draft.values
    if "user" not in given:
        draft.tell("user", "version 3 needs user")
    if "community" in given:
        draft.tell("community", "community belongs to versions 1 and 2c, this entry is version 3")
    for key, known in (("auth", typing.get_args(Auth)), ("priv", typing.get_args(Priv))):
        if (algorithm := given.get(key)) is not None and algorithm not in known:
            hint = nearest(algorithm, known)
            draft.tell(key, f"{key} is none of {', '.join(known)}{hint}")
        if key in given and f"{key}_key" not in given:
            draft.tell(key, f"{key} needs {key}_key_env or {key}_key")
        secret = given.get(f"{key}_key")
        if secret is not None and len(secret) < MIN_KEY_LENGTH:
            message = f"{key}_key is shorter than {MIN_KEY_LENGTH} characters (RFC 3414 11.2)"
            draft.tell(f"{key}_key", message)
    if "priv_key" in given and "auth_key" not in given:
        draft.tell("priv_key", "privacy needs authentication too: auth_key is missing")
