"""A tree of text becomes the model, driven by the model's own type hints.

What cannot be read is told and left out; the rest goes on, so that all faults come at once.

The reader is our own and not pydantic's, which reads profiles, credentials and schemas. Text comes
first, because a serial 000123, a site called No and software 4.20 must survive. The result is
partial, with every fault at once and the place of each, because that is what a person mends a plan
with.
"""

from __future__ import annotations

import dataclasses
import functools
import re
import typing
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from verifier.files.faults import Faults
from verifier.files.plan.columns import FILE_NAMES, is_group, without_none
from verifier.files.plan.joined_texts import parted
from verifier.files.plan.scalars import Parser, parser
from verifier.files.plan.shorthand import SHORT_FIELDS, written_out
from verifier.files.plan.tree import Mapping, Node, Scalar, Sequence, is_empty, kind_of
from verifier.files.trade_words import looks_secret
from verifier.model import plan as model
from verifier.model.address import Interface
from verifier.model.plan import Plan
from verifier.model.problem import Origin, Subject, SubjectKind

Path = tuple[str, ...]
Reader = Callable[["_PlanBuilder", Node, Path, Subject], Any]

_TOKENS = re.compile(r"[\s,;]+")


def to_plan(tree: Mapping, faults: Faults, file_sha256: str) -> Plan:
    """The plan that can be read from `tree`, with the origin of every value.

    Faults go to `faults`. Raises InputError only where there are too many of them.
    """
    builder = _PlanBuilder(faults)
    name = tree.items.get("network")
    name = name.items.get("name") if isinstance(name, Mapping) else None
    title = (name.text or "").strip() if isinstance(name, Scalar) else ""
    plan = _record(Plan, builder, tree, (), Subject("network", title))
    assert isinstance(plan, Plan)  # it has no field that must be there
    return replace(plan, origins=builder.origins, file_sha256=file_sha256)


class _PlanBuilder:
    """What is gathered while reading."""

    def __init__(self, faults: Faults) -> None:
        self.faults = faults
        self.origins: dict[Path, Origin] = {}
        self._told: set[tuple[Any, str]] = set()

    def unknown(self, cls: Any, name: str, node: Node, subject: Subject) -> None:
        """Tells of a field that `cls` has not: once for each name. Its value is never looked at."""
        self.secrets(node, subject)
        if (cls, name) in self._told:
            return
        self._told.add((cls, name))
        known = (*_shape(cls), *SHORT_FIELDS.get(cls, ()))
        self.faults.unknown(name, node.origin, known, subject)

    def misplaced(self, wanted: str, node: Node, subject: Subject) -> None:
        """Tells that a list, a group or one value stands where another is wanted."""
        self.faults.error(
            "unreadable-value", node.origin, f"is {kind_of(node)}: {wanted} is wanted", subject
        )
        self.secrets(node, subject)

    def secrets(self, dropped: Node, subject: Subject) -> None:
        """Tells of every field in a dropped part that looks like a secret."""
        nodes = [dropped]
        while nodes:
            node = nodes.pop()
            if isinstance(node, Sequence):
                nodes += node.items
            elif isinstance(node, Mapping):
                for name, child in node.items.items():
                    if looks_secret(name) and not is_empty(child):
                        self.faults.unknown(name, child.origin, (), subject)
                    nodes.append(child)


@dataclass(frozen=True, slots=True)
class _ModelField:
    name: str
    read: Reader
    required: bool


@functools.cache
def _shape(cls: Any) -> dict[str, _ModelField]:
    """The fields of a dataclass by their name in a file."""
    hints = typing.get_type_hints(cls)
    missing = dataclasses.MISSING
    return {
        FILE_NAMES.get((cls, f.name), f.name): _ModelField(
            f.name,
            _reader(without_none(hints[f.name])),
            f.default is missing and f.default_factory is missing,
        )
        for f in dataclasses.fields(cls)
        if f.compare
    }


def _reader(hint: Any) -> Reader:
    """How the values of a field are read."""
    if typing.get_origin(hint) is tuple:
        inner = typing.get_args(hint)[0]
        if is_group(inner):
            return functools.partial(_records, inner)
        return functools.partial(
            _values, (parser(inner), parted if inner is str else _TOKENS.split)
        )
    if is_group(hint):
        return functools.partial(_record, hint)
    return functools.partial(_value, parser(hint))


def _value(parse: Parser, builder: _PlanBuilder, node: Node, _: Path, subject: Subject) -> Any:
    """One value, or None."""
    if not isinstance(node, Scalar):
        builder.misplaced("one value", node, subject)
        return None
    try:
        return parse(node.text or "")
    except ValueError as error:
        builder.faults.error("unreadable-value", node.origin, str(error), subject)
        return None


def _values(
    form: tuple[Parser, Callable[[str], list[str]]],
    builder: _PlanBuilder,
    node: Node,
    path: Path,
    subject: Subject,
) -> Any:
    """A list of values, or one text that holds several. What cannot be read is left out."""
    parse, split = form
    if isinstance(node, Scalar):
        nodes: typing.Iterable[Node] = _parts(node, split)
    elif isinstance(node, Sequence):
        nodes = (n for n in node.items if not is_empty(n))
        if split is not parted:
            nodes = (part for n in nodes for part in _parts(n, split))
    else:
        builder.misplaced("a list", node, subject)
        return None
    found = (_value(parse, builder, n, path, subject) for n in nodes)
    return tuple(value for value in found if value is not None)


def _parts(node: Node, split: Callable[[str], list[str]]) -> typing.Iterable[Node]:
    """The values that stand in one text."""
    if not isinstance(node, Scalar):
        return (node,)
    return (Scalar(p, node.quoted, node.origin) for p in split(node.text or "") if p)


def _records(cls: Any, builder: _PlanBuilder, node: Node, path: Path, subject: Subject) -> Any:
    """A list of groups. What cannot be read is left out."""
    if not isinstance(node, Sequence):
        builder.misplaced("a list (each entry begins with -)", node, subject)
        return None
    place = {model.Carrier: path[:-1], model.Host: path[-1:]}.get(cls, path)
    found = []
    for item in node.items:
        key = _key(cls, item)
        builder.origins.setdefault((*place, key), item.origin)
        found.append(_record(cls, builder, item, (*place, key), _subject(cls, subject, key)))
    return tuple(record for record in found if record is not None)


def _record(cls: Any, builder: _PlanBuilder, node: Node, path: Path, subject: Subject) -> Any:
    """One group of fields as a `cls`, or None where a field that must be there is not."""
    if not isinstance(node, Mapping):
        builder.misplaced("a group of fields", node, subject)
        return None
    shape = _shape(cls)
    for short in SHORT_FIELDS.get(cls, ()):
        if (short_node := node.items.get(short)) is not None and not is_empty(short_node):
            builder.origins.setdefault((*path, short), short_node.origin)
    values: dict[str, Any] = {}
    attempted = set()
    for name, child in written_out(cls, node, builder.faults, subject).items():
        field = shape.get(name)
        if field is None:
            builder.unknown(cls, name, child, subject)
        elif not is_empty(child):
            attempted.add(field.name)
            here = (*path, field.name)
            builder.origins.setdefault(here, child.origin)
            inner = _end_of(subject, field.name) if cls is model.Carrier else subject
            if (value := field.read(builder, child, here, inner)) is not None:
                values[field.name] = value
    if cls is model.Device and "address" in values:
        builder.origins.setdefault((*path, "mask"), builder.origins[*path, "address"])
    required = {field.name for field in shape.values() if field.required}
    for name in sorted(required - attempted):
        message = f"{_MISSING.get((cls, name), name)} is missing"
        builder.faults.missing(name, node.origin, message, subject)
    nothing_written = path and not values
    return cls(**values) if required <= values.keys() and not nothing_written else None


def _end_of(subject: Subject, name: str) -> Subject:
    ends: dict[str, model.EndName] = {"a": "a", "b": "b"}
    return replace(subject, end=ends.get(name))


_MISSING = {
    (model.Link, "carriers"): "a and b (or carriers)",
    (model.Maintenance, "start"): "from",
    (model.NotTestedOk, "check"): "the name of the check (CHECK or CHECK@DEVICE)",
    (model.NotTestedOk, "reason"): "the reason why it may stay untested (CHECK=REASON in a sheet)",
}


_KEYS = {model.OtherAddress: "address", model.Carrier: "carrier", model.NotTestedOk: "check"}
"""The field that tells the entries of a list apart, where it is not their name."""


def _key(cls: Any, node: Node) -> str:
    """The part of a path that stands for an entry of a list."""
    name = _KEYS.get(cls, "name")
    value = node.items.get(name) if isinstance(node, Mapping) else None
    text = (value.text or "").strip() if isinstance(value, Scalar) else ""
    if cls is model.OtherAddress:
        try:
            return str(Interface.parse(text[:100]))
        except ValueError:
            return text
    return text or ("1" if cls is model.Carrier else "")


def _subject(cls: Any, parent: Subject, key: str) -> Subject:
    """What a fault of an entry is about."""
    kinds: dict[Any, SubjectKind] = {
        model.Device: "device", model.Site: "site", model.Host: "host", model.Link: "link",
    }  # fmt: skip
    if cls is model.Port:
        return Subject("port", parent.name, port=key)
    if cls is model.Carrier:
        number = int(key) if key.isascii() and key.isdigit() and len(key) <= 3 else None  # noqa: PLR2004
        return replace(parent, carrier=number)
    return Subject(kinds[cls], key) if cls in kinds else parent
