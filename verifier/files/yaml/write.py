"""A plan to YAML, laid out for a person; an empty plan becomes a form with a hint on each field."""

from __future__ import annotations

import datetime as dt
import functools
import json
import re
from collections.abc import Iterator
from typing import Any

from verifier.files.plan.columns import Column, Path, sheets
from verifier.files.plan.from_model import Group, as_tree, written
from verifier.files.plan.hints import sentences
from verifier.files.plan.instructions import YAML
from verifier.files.yaml.write_origins import with_origins
from verifier.model.plan import Plan

_WIDTH = 100
_COMMENT_AT = 36

_PLAIN = re.compile(
    r"[a-z][\w.-]*( [\w.-]+)*|[0-9]+(\.[0-9]+){3}(/[0-9]+)?|[0-9]+/tcp", re.ASCII | re.IGNORECASE
)
_WORDS = frozenset(("true", "false", "yes", "no", "on", "off", "y", "n", "null"))
"""Texts that are no texts to YAML 1.1 or 1.2 without quotes."""


def yaml_text(plan: Plan, *, origins: bool = False) -> str:
    """The plan as a YAML document; `origins` puts the place of each value in a comment beside it.

    Raises UsageError for a text that no file can hold.
    """
    head = [f"# {line}".rstrip() for line in YAML]
    tree = as_tree(plan)
    if not tree:
        return "\n".join([*head, "# Delete the # of the lines that you fill in.", *_form()]) + "\n"
    links = [_link(link) for link in tree.get("links", ())]
    whole = {**tree, **({"links": links} if links else {})}
    lines = with_origins(plan, whole, _in_line) if origins else _block(whole, "")
    return "\n".join([*head, *lines]) + "\n"


def _in_line(value: Any) -> str:
    return _flow(value, _WIDTH) or ""


def _link(link: Group) -> Group:
    """A link with its carriers last; one carrier stands in the link itself."""
    rest = {name: value for name, value in link.items() if name != "carriers"}
    carriers = [
        {"carrier": c.get("carrier", 1), **{n: c[n] for n in ("polarisation", "a", "b") if n in c}}
        for c in link["carriers"]
    ]
    if len(carriers) == 1 and carriers[0]["carrier"] == 1:
        return rest | {name: value for name, value in carriers[0].items() if name != "carrier"}
    return rest | {"carriers": carriers}


def _block(group: Group, indent: str) -> Iterator[str]:
    """The lines of a group, one field a line where it does not fit into one."""
    for name, value in group.items():
        start = f"{indent}{name}:"
        line = _flow(value, _WIDTH - len(start))
        if line is not None:
            yield f"{start} {line}"
        elif isinstance(value, dict):
            yield start
            yield from _block(value, f"{indent}  ")
        else:
            yield start
            yield from _entries(value, f"{indent}  ")


def _entries(values: list[Any], indent: str) -> Iterator[str]:
    for value in values:
        line = _flow(value, _WIDTH - len(indent) - 1)
        if line is None:
            first, *rest = _block(value, f"{indent}  ")
            yield f"{indent}- {first[len(indent) + 2 :]}"
            yield from rest
        else:
            yield f"{indent}- {line}"


def _flow(value: Any, room: int) -> str | None:
    """A value, a list of values, or a group of those in one line if there is room; else None."""
    if isinstance(value, dict):
        if any(isinstance(v, dict) or _holds_groups(v) for v in value.values()):
            return None
        line = "{" + ", ".join(f"{name}: {_flow(v, room)}" for name, v in value.items()) + "}"
        return line if len(line) < room else None
    if isinstance(value, list):
        return None if _holds_groups(value) else "[" + ", ".join(map(_scalar, value)) + "]"
    return _scalar(value)


def _holds_groups(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and isinstance(value[0], dict)


def _scalar(value: Any) -> str:
    text = written(value)
    return text if isinstance(value, (int, float, dt.date)) else _quoted(text)


@functools.lru_cache(maxsize=4096)
def _quoted(text: str) -> str:
    """A text, in quotes where YAML 1.1 or 1.2 could take it for anything else."""
    if _PLAIN.fullmatch(text) and text.lower() not in _WORDS:
        return text
    return json.dumps(text, ensure_ascii=False)


def _form() -> Iterator[str]:
    """All fields with their hints: single values empty, one entry of every list as a comment."""
    single = sheets()["Network"].columns
    hosts_here = next(i for i, c in enumerate(single) if c.path[0] == "management") + 1
    yield from _fields("Network", single[:hosts_here], "")
    yield from _list("Hosts", "hosts", "  ")
    for name in ("Sites", "Devices", "Links"):
        yield from _list(name, name.lower(), "")
        if name == "Devices":
            yield from (f"#{line}" for line in _list("Addresses", "other_addresses", "    "))
            yield from (f"#{line}" for line in _list("Ports", "ports", "    "))
    yield from _fields("Network", single[hosts_here:], "")
    yield from _list("Maintenance", "maintenance", "")


def _list(sheet: str, field: str, indent: str) -> Iterator[str]:
    """A list without entries, and the fields of one as comments."""
    above = {"Addresses": ("device",), "Ports": ("device",), "Links": ("carrier",)}.get(sheet)
    columns = tuple(c for c in sheets()[sheet].columns if c.path != above)
    yield f"{indent}{field}:"
    first, *rest = _fields(sheet, columns, f"{indent}    ")
    yield f"#{indent}  - {first[len(indent) + 4 :]}"
    yield from (f"#{line}" for line in rest)


def _fields(sheet: str, columns: tuple[Column, ...], indent: str) -> Iterator[str]:
    """A line for every column; groups of fields get a line of their own."""
    group: Path = ()
    for column in columns:
        if column.path[:-1] != group:
            group = column.path[:-1]
            for depth, name in enumerate(group):
                yield f"{indent}{'  ' * depth}{name}:"
        start = f"{indent}{'  ' * len(group)}{column.path[-1]}:"
        said = "as a" if group == ("b",) else " | ".join(sentences(sheet, column))
        yield f"{start:<{_COMMENT_AT}}# {said}"
