"""Reading a TOML file, and finding the line of a key in it again."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from verifier.files.disk import read_text
from verifier.files.faults import Faults
from verifier.model.problem import Origin

MAX_TOML_BYTES = 1024 * 1024
KeyPath = tuple[str | int, ...]

_TABLE = re.compile(r"\s*(\[\[?)\s*([^]]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(r"\s*([A-Za-z0-9_-]+|\"[^\"]*\")\s*[=.]")


@dataclass(frozen=True, slots=True)
class Toml:
    """A TOML file: its values, and the line of each table and key by its path."""

    file: str
    values: dict[str, Any]
    lines: dict[KeyPath, int]

    def origin(self, path: KeyPath) -> Origin:
        """The place of a key; the line is that of the nearest enclosing one that is known."""
        known = (self.lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self.lines)
        return Origin(self.file, next(known, None), spelled(path))


def read_toml(path: Path, faults: Faults) -> Toml:
    """The TOML file at `path`. Raises InputError if it cannot be read or is not TOML."""
    text = read_text(path, MAX_TOML_BYTES)
    try:
        values = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        where = re.search(r"at line (\d+)", str(error))
        origin = Origin(str(path), int(where[1]) if where else text.rstrip().count("\n") + 1)
        reason = str(error).partition(" (at ")[0] if str(error) else "nested too deep"
        raise faults.fatal("toml-syntax", origin, f"not TOML: {reason}") from None
    return Toml(str(path), values, _lines(text))


def spelled(path: KeyPath) -> str:
    """A path as a person writes it: `reading[2].oid`."""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def _lines(text: str) -> dict[KeyPath, int]:
    """Lines of tables and of keys at the beginning of a line; nothing more is looked for."""
    lines: dict[KeyPath, int] = {}
    counts: dict[str, int] = {}
    table: KeyPath = ()
    for number, line in enumerate(text.split("\n"), start=1):
        if (head := _TABLE.match(line)) is not None:
            name = head[2].replace('"', "").replace(" ", "")
            table = tuple(name.split("."))
            if table[0] in counts and len(table) > 1:
                table = (table[0], counts[table[0]] - 1, *table[1:])
            if head[1] == "[[":
                table = (*table, counts.setdefault(name, 0))
                counts[name] += 1
            lines.setdefault(table, number)
        elif (key := _KEY.match(line)) is not None:
            lines.setdefault((*table, key[1].strip('"')), number)
    return lines
