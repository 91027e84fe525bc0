"""A plan as YAML with the place of each value in a comment beside it: one value a line."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from verifier.files.plan.columns import Path
from verifier.files.plan.value_origins import shown_origin
from verifier.model.plan import Plan

Group = dict[str, Any]
Scalar = Any

_OF_CARRIER = ("polarisation", "a", "b")


def with_origins(plan: Plan, tree: Group, scalar: Any) -> Iterator[str]:
    """The lines of a plan's tree; `scalar` writes a value, or a list of values, in one line."""
    yield from _Lines(plan, scalar).block(tree, "", ())


class _Lines:
    """Writes groups, each value with the origin that the plan knows for its path."""

    def __init__(self, plan: Plan, scalar: Any) -> None:
        self._plan = plan
        self._scalar = scalar

    def block(self, group: Group, indent: str, path: Path) -> Iterator[str]:
        for name, value in group.items():
            if isinstance(value, dict):
                yield f"{indent}{name}:"
                yield from self.block(value, f"{indent}  ", _inside(path, name))
            elif isinstance(value, list) and value and isinstance(value[0], dict):
                yield f"{indent}{name}:"
                yield from self._entries(value, f"{indent}  ", path, name)
            else:
                origin = shown_origin(self._plan.origin(*_inside(path, name)))
                comment = f"  # {origin}" if origin else ""
                yield f"{indent}{name}: {self._scalar(value)}{comment}"

    def _entries(self, values: list[Group], indent: str, path: Path, name: str) -> Iterator[str]:
        for value in values:
            first, *rest = self.block(value, f"{indent}  ", _entry(path, name, value))
            yield f"{indent}- {first[len(indent) + 2 :]}"
            yield from rest


def _inside(path: Path, name: str) -> Path:
    """The path of a field; that of a link's only carrier lies in the carrier."""
    if len(path) == 2 and path[0] == "links" and name in _OF_CARRIER:  # noqa: PLR2004
        return (*path, "1", name)
    return (*path, name)


def _entry(path: Path, name: str, value: Group) -> Path:
    """The path of one of several entries: by its name, or the number of its carrier."""
    if name == "carriers":
        return (*path, str(value.get("carrier", 1)))
    if name == "hosts":
        return "hosts", str(value.get("name", ""))
    return (*path, name, str(value.get("name", "")))
