"""What can be moved in a module: each mutant is the module with one figure or one decision changed.

A number goes one up, one down or a tenth up; `<` becomes `<=`, `==` becomes `!=`, `and` becomes `or`,
`+` becomes `-`, `min` becomes `max`, `True` becomes `False`, a `not` goes away, and a function returns
None. Constants of a module and defaults of a dataclass are moved like everything else: figures stand there.
Left alone are annotations (but not calls in them, which are ranges), assertions, `strict` of zip and
what only says how a dataclass is made: these trip over faults of our own.
"""

from __future__ import annotations

import ast
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

Function = ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda
COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
COMPUTED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.Mod: ast.FloorDiv, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
    ast.LShift: ast.RShift, ast.RShift: ast.LShift,
}  # fmt: skip
CALLED = {"min": "max", "max": "min", "any": "all", "all": "any"}
SLACK = 1e-4
NOT_MOVED = {"strict", "slots", "frozen", "kw_only", "repr"}
"""Keywords whose value decides nothing that a user could see."""


@dataclass(frozen=True)
class Mutant:
    """One change: a field of a node of the module's tree, and what it becomes."""

    owner: ast.AST
    field: str
    index: int | None
    new: object
    line: int
    change: str
    scope: str
    """Name of the function or of what is assigned; with it a mutant keeps its key when lines move."""
    at_import: bool
    """The line runs when the module is imported: a constant, a default, a decorator."""
    key: str = ""

    def apply(self) -> None:
        """Changes the tree."""
        if self.index is None:
            setattr(self.owner, self.field, self.new)
        else:
            getattr(self.owner, self.field)[self.index] = self.new


def read(path: Path) -> tuple[ast.Module, list[Mutant]]:
    """A module's tree and every mutant of it, in the order of its lines."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    every: list[Mutant] = []
    for top in tree.body:
        for scope, node in _scopes(top):
            text = hashlib.sha256(ast.dump(node).encode()).hexdigest()[:12]
            for m in _mutants(node, at_import=True):
                place = (
                    f"{m.line - node.lineno}:{getattr(m.owner, 'col_offset', 0)}:{m.field}{m.index}"
                )
                key = f"{path}:{scope}:{text}:{place}:{m.change}"
                every.append(replace(m, scope=scope, key=key))
    return tree, every


def _scopes(top: ast.stmt) -> Iterator[tuple[str, ast.stmt]]:
    """The functions, the statements of classes and of the module, each with its name."""
    if isinstance(top, ast.ClassDef):
        for inner in top.body:
            for scope, node in _scopes(inner):
                yield f"{top.name}.{scope}", node
    elif not (isinstance(top, ast.If) and ast.unparse(top.test) == "TYPE_CHECKING"):
        named = [top.targets[0]] if isinstance(top, ast.Assign) else [getattr(top, "target", None)]
        yield (
            getattr(top, "name", "") or (ast.unparse(named[0]) if named[0] else "(statement)"),
            top,
        )


def _mutants(node: ast.AST, *, at_import: bool) -> Iterator[Mutant]:
    """Those of a node and of all below it."""
    if isinstance(node, ast.Assert | ast.Import | ast.ImportFrom):
        return
    for owner, field, index, new, change in _changes(node):
        yield Mutant(owner, field, index, new, getattr(node, "lineno", 0), change, "", at_import)
    for field, value in ast.iter_fields(node):
        inside = at_import and not (isinstance(node, Function) and field == "body")
        for child in value if isinstance(value, list) else [value]:
            if not isinstance(child, ast.AST):
                continue
            if field in {"annotation", "returns"}:
                calls = (n for n in ast.walk(child) if isinstance(n, ast.Call))
                for call in calls:
                    yield from _mutants(call, at_import=inside)
            elif not (isinstance(child, ast.keyword) and child.arg in NOT_MOVED):
                yield from _mutants(child, at_import=inside)


Change = tuple[ast.AST, str, int | None, object, str]


def _changes(node: ast.AST) -> Iterator[Change]:
    """What can be changed in a node itself."""
    if isinstance(node, ast.Constant):
        yield from _constant(node)
    elif isinstance(node, ast.Compare):
        for i, op in enumerate(node.ops):
            yield node, "ops", i, COMPARED[type(op)](), _words(op, COMPARED[type(op)]())
    elif isinstance(node, ast.BoolOp):
        new = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield node, "op", None, new, _words(node.op, new)
    elif isinstance(node, ast.BinOp | ast.AugAssign) and type(node.op) in COMPUTED:
        if not isinstance(getattr(node, "left", None), ast.JoinedStr):
            other = COMPUTED[type(node.op)]()
            yield node, "op", None, other, _words(node.op, other)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        twice = ast.UnaryOp(ast.Not(), node.operand)
        yield node, "operand", None, ast.copy_location(twice, node), "without not"
    elif isinstance(node, ast.Name) and node.id in CALLED and isinstance(node.ctx, ast.Load):
        yield node, "id", None, CALLED[node.id], f"{node.id} -> {CALLED[node.id]}"
    elif isinstance(node, ast.Return) and not isinstance(node.value, ast.Constant | None):
        nothing = ast.copy_location(ast.Constant(None), node)
        yield node, "value", None, nothing, f"return {ast.unparse(node.value)[:40]} -> None"


def _constant(node: ast.Constant) -> Iterator[Change]:
    value = node.value
    if isinstance(value, bool):
        yield node, "value", None, not value, f"{value} -> {not value}"
    elif isinstance(value, int | float):
        nudged = (
            (value + 1, value - 1) if isinstance(value, int) else (value * 1.1 or 0.1, value - 1)
        )
        for new in nudged:
            yield node, "value", None, new, f"{value} -> {new:.12g}"


def _words(old: ast.AST, new: ast.AST) -> str:
    return f"{type(old).__name__} -> {type(new).__name__}"
