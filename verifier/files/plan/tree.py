"""A plan as text: what stands where, before anything is given a meaning.

YAML, CSV and workbooks all become this tree; `files/plan/to_model.py` types it.
"""

from __future__ import annotations

from dataclasses import dataclass

from verifier.model.problem import Origin


@dataclass(frozen=True, slots=True)
class Scalar:
    """One value as its source text; `text` is None where nothing is written."""

    text: str | None
    quoted: bool
    origin: Origin


@dataclass(frozen=True, slots=True)
class Sequence:
    """A list."""

    items: tuple[Node, ...]
    origin: Origin


@dataclass(frozen=True, slots=True)
class Mapping:
    """Named values, in the order of the file."""

    items: dict[str, Node]
    origin: Origin


Node = Scalar | Sequence | Mapping


def is_empty(node: Node | None) -> bool:
    """Whether nothing is written there: absent, null, a blank cell or text, an empty list."""
    if isinstance(node, Scalar):
        return not node.text or node.text.isspace()
    return node is None or (isinstance(node, Sequence) and not node.items)


def kind_of(node: Node) -> str:
    """What the node is, in a person's words."""
    if isinstance(node, Scalar):
        return "one value"
    return "a list" if isinstance(node, Sequence) else "a group of fields"
