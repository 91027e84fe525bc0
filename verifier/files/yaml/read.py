"""YAML to a tree of text, by the parser's events.

Nothing is interpreted but null: `No` stays a name and 000123 a serial number. The events are put
together on a stack of our own, so that no depth of nesting exhausts the interpreter's.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from verifier.errors import InputError
from verifier.files.disk import decode
from verifier.files.faults import Faults, shown
from verifier.files.plan.tree import Mapping, Node, Scalar, Sequence, is_empty
from verifier.model.problem import Origin

MAX_DEPTH = 20
MAX_VALUES = 3_000_000
"""Values and names after aliases are expanded; a plan of 10,000 devices has about 1.2 million."""

_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_NULL = frozenset(("", "~", "null", "Null", "NULL"))
_NO_KEY = "\0"  # the next value belongs to no field: it is read and dropped

_PLAIN_WORDS = (
    ("mapping values are not allowed", "no colon belongs here: quote a text that holds one"),
    ("could not find expected ':'", "a colon is missing after a field's name"),
    ("expected <block end>", "the indentation does not fit the lines above"),
    ("did not find expected key", "the indentation does not fit the lines above"),
    ("did not find expected '-' indicator", "the indentation does not fit the list above"),
    ("',' or ']'", "a list opened by [ has no comma or ] here"),
    ("',' or '}'", "a group opened by { has no comma or } here"),
    ("quoted scalar", "a quoted text is not closed, or holds an escape that YAML does not know"),
    ("undefined alias", "this alias (*name) has no anchor (&name) before it"),
    ("cannot start any token", "no value begins with this character; put the text in quotes"),
    ("special characters are not allowed", "holds a control character"),
    ("control characters are not allowed", "holds a control character"),
)  # fmt: skip


def read_yaml(data: bytes, path: Path, faults: Faults) -> Mapping:
    """The tree of a YAML document; faults that allow going on are added to `faults`.

    Raises:
        InputError: not UTF-8, empty, not YAML, not a mapping, too deep or too large.
    """
    text = decode(data, path)
    builder = _TreeBuilder(path.name, faults)
    try:
        for event in yaml.parse(text, Loader=_LOADER):
            builder.take(event)
    except yaml.YAMLError as error:
        line, message = _plainly(error, text)
        raise faults.fatal("yaml-syntax", Origin(path.name, line), message) from None
    root = builder.root
    if root is None or is_empty(root):
        raise InputError(f"{path}: is empty")
    if not isinstance(root, Mapping):
        message = "is not a plan: named fields such as `devices:` are expected at the left margin"
        raise faults.fatal("yaml-syntax", Origin(path.name, root.origin.line), message)
    return root


def _plainly(error: yaml.YAMLError, text: str) -> tuple[int | None, str]:
    """Line and plain words of the parser's complaint."""
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    problem = str(getattr(error, "problem", None) or getattr(error, "reason", "") or error)
    if mark is None:
        position = getattr(error, "position", None)  # of a character that is not allowed
        line = None if position is None else text.count("\n", 0, position) + 1
    else:
        line = mark.line + 1
        lines = text.split("\n", line)
        if line <= len(lines) and re.match(r" *\t", lines[line - 1]):
            return line, "is indented by a tab: YAML wants spaces"
    context = str(getattr(error, "context", "") or "")
    for fragment, words in _PLAIN_WORDS:
        if fragment in problem or fragment in context:
            return line, f"not YAML: {words}"
    return line, f"not YAML: {problem}"


@dataclass(slots=True)
class _Open:
    """A list or mapping that is being read. `key`: the name whose value comes next."""

    path: str
    line: int
    anchor: str | None
    values_before: int
    names: dict[str, Node] | None
    items: list[Node] = field(default_factory=list)
    key: str | None = None
    key_lines: dict[str, int] = field(default_factory=dict)

    def next_path(self) -> str:
        """Field path of the node that comes next."""
        if self.names is None:
            return f"{self.path}[{len(self.items)}]"
        if self.key is None or self.key == _NO_KEY:
            return self.path
        return f"{self.path}.{self.key}" if self.path else self.key


class _TreeBuilder:
    """Puts events together; `root` is the first document."""

    def __init__(self, file: str, faults: Faults) -> None:
        self.root: Node | None = None
        self._file = file
        self._faults = faults
        self._stack: list[_Open] = []
        self._values = 0
        self._anchors: dict[str, tuple[Node, int]] = {}
        self._open_anchors: set[str] = set()
        self._documents = 0
        self._handlers = {
            yaml.ScalarEvent: self._scalar,
            yaml.MappingStartEvent: self._start,
            yaml.SequenceStartEvent: self._start,
            yaml.MappingEndEvent: self._end,
            yaml.SequenceEndEvent: self._end,
            yaml.AliasEvent: self._alias,
            yaml.DocumentStartEvent: self._document,
        }

    def take(self, event: Any) -> None:
        """Takes the next event. Raises InputError where reading must stop."""
        if (handler := self._handlers.get(type(event))) is not None:
            handler(event)

    def _document(self, event: Any) -> None:
        self._documents += 1
        if self._documents > 1:
            message = "a second document begins (---): one file holds one plan"
            raise self._faults.fatal("yaml-syntax", self._origin(event), message)

    def _scalar(self, event: Any) -> None:
        self._count(event, 1)
        quoted = event.style in ("'", '"', "|", ">")
        text = None if not quoted and event.value in _NULL else event.value
        top = self._stack[-1] if self._stack else None
        self._refuse_tag(event)
        if top is not None and top.names is not None and top.key is None and not event.anchor:
            self._key(top, text, quoted=quoted, line=event.start_mark.line + 1)
            return
        node = Scalar(text, quoted, self._origin(event))
        if event.anchor:
            self._anchors[event.anchor] = (node, 1)
        self._place(node)

    def _start(self, event: Any) -> None:
        self._count(event, 1)
        self._refuse_tag(event)
        if len(self._stack) >= MAX_DEPTH:
            message = f"nested more than {MAX_DEPTH} deep: no plan is"
            raise self._faults.fatal("yaml-syntax", self._origin(event), message)
        if event.anchor:
            self._open_anchors.add(event.anchor)
        path = self._stack[-1].next_path() if self._stack else ""
        names: dict[str, Node] | None = {} if type(event) is yaml.MappingStartEvent else None
        line = event.start_mark.line + 1
        self._stack.append(_Open(path, line, event.anchor, self._values - 1, names))

    def _end(self, _: Any) -> None:
        done = self._stack.pop()
        origin = Origin(self._file, done.line, done.path)
        node: Node
        if done.names is None:
            node = Sequence(tuple(done.items), origin)
        else:
            node = Mapping(done.names, origin)
        if done.anchor:
            self._open_anchors.discard(done.anchor)
            self._anchors[done.anchor] = (node, self._values - done.values_before)
        self._place(node)

    def _alias(self, event: Any) -> None:
        if event.anchor in self._open_anchors or event.anchor not in self._anchors:
            message = f"alias *{event.anchor} has no finished anchor &{event.anchor} before it"
            raise self._faults.fatal("yaml-syntax", self._origin(event), message)
        node, values = self._anchors[event.anchor]
        self._count(event, values)
        self._place(node)

    def _place(self, node: Node) -> None:
        if not self._stack:
            self.root = node
            return
        top = self._stack[-1]
        if top.names is None:
            top.items.append(node)
        elif top.key is None:
            text = node.text if isinstance(node, Scalar) else None
            quoted = isinstance(node, Scalar) and node.quoted
            self._key(top, text, quoted=quoted, line=node.origin.line or 0)
        else:
            if top.key != _NO_KEY:
                top.names[top.key] = node
            top.key = None

    def _key(self, top: _Open, text: str | None, *, quoted: bool, line: int) -> None:
        """Takes the name of a field, or says why its value is dropped."""
        top.key = _NO_KEY
        if text is None or "\0" in text:
            self._fault(line, top.path, "a field's name must be one plain word")
        elif text == "<<" and not quoted:
            self._fault(line, top.path, "merging by << is not read: write the fields out")
        elif text in top.key_lines:
            first = top.key_lines[text]
            self._fault(line, top.path, f"{shown(text)} is written twice: lines {first} and {line}")
        else:
            top.key = text
            top.key_lines[text] = line

    def _fault(self, line: int, path: str, message: str) -> None:
        self._faults.error("yaml-field", Origin(self._file, line, path), message)

    def _refuse_tag(self, event: Any) -> None:
        if event.tag is not None:
            message = f"tag {shown(event.tag)} is not read: write the value without it"
            self._faults.error("yaml-tag", self._origin(event), message)

    def _count(self, event: Any, values: int) -> None:
        self._values += values
        if self._values > MAX_VALUES:
            message = f"holds more than {MAX_VALUES} values, aliases (*name) expanded: no plan does"
            raise self._faults.fatal("yaml-syntax", self._origin(event), message)

    def _origin(self, event: Any) -> Origin:
        path = self._stack[-1].next_path() if self._stack else ""
        return Origin(self._file, event.start_mark.line + 1, path)
