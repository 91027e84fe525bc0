"""Imports run one way, the rules stay pure, and each check stands in the file of its prefix."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

from verifier.model.checks import CHECK_NAMES

PACKAGE = Path(__file__).parent.parent / "verifier"
ALLOWED = {
    "cli": {"session", "files", "report", "rules", "simulator", "model", "errors", "store"},
    "session": {"files", "probes", "store", "report", "rules", "model", "errors"},
    "files": {"model", "errors"},
    "probes": {"model", "errors"},
    "store": {"model", "errors"},
    "report": {"model", "errors", "rules"},
    "simulator": {"model", "errors"},
    "rules": {"model", "errors"},
    "model": {"errors"},
    "errors": {"model"},
}
"""What each room may import of the others."""
WORLD = {
    "asyncio", "click", "icmplib", "jinja2", "logging", "openpyxl", "os", "pathlib", "psutil",
    "pysnmp", "random", "secrets", "select", "shutil", "signal", "socket", "sqlalchemy",
    "subprocess", "sys", "threading", "time", "urllib", "yaml",
}  # fmt: skip
"""What a rule may not touch: network, disk, clock, chance, process."""
WORLDLY_CALLS = {"open", "print", "input"}
NOW = {"now", "utcnow", "today"}
MODULES = sorted(PACKAGE.rglob("*.py"))


def room(module: Path) -> str:
    return module.relative_to(PACKAGE).with_suffix("").parts[0]


def imports(module: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: imports are written out in full"
            found.add(node.module or "")
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


@pytest.mark.parametrize("module", MODULES, ids=lambda m: str(m.relative_to(PACKAGE)))
def test_imports_run_one_way(module: Path) -> None:
    """A room imports only the rooms below it."""
    here = room(module)
    if here not in ALLOWED:
        assert here in {"__init__", "__main__"}
        return
    parts = [name.split(".") for name in imports(module) if name.startswith("verifier.")]
    rooms = {p[1] for p in parts} & set(ALLOWED)
    assert rooms - {here} <= ALLOWED[here]


@pytest.mark.parametrize("module", [m for m in MODULES if room(m) in {"rules", "model"}],
                         ids=lambda m: str(m.relative_to(PACKAGE)))  # fmt: skip
def test_rules_and_model_are_pure(module: Path) -> None:
    """No rule and no value opens a socket or file, reads a clock, prints or draws lots."""
    assert not {name.split(".")[0] for name in imports(module)} & WORLD
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            name = getattr(node.func, "id", None) or getattr(node.func, "attr", "")
            assert name not in WORLDLY_CALLS | NOW, f"{module}:{node.lineno} calls {name}"


def test_model_values_are_frozen() -> None:
    """Every dataclass of the vocabulary is frozen."""
    for module in MODULES:
        if room(module) not in {"model", "rules"}:
            continue
        for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                for decorator in node.decorator_list:
                    text = ast.unparse(decorator)
                    if text.startswith("dataclass"):
                        assert "frozen=True" in text, f"{module}: {node.name}"


NO_CIRCLE_IN = ("verifier.model", "verifier.rules")
"""Rooms in which modules stand on floors."""


def dotted(module: Path) -> str:
    parts = module.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def arrows() -> Mapping[str, set[str]]:
    """What each module imports, wherever in it; a package's own face counts where it is another's.

    Importing `a.b.c` runs `a` and `a.b` first: they count, except for who lives under them.
    """
    names = {dotted(m): m for m in MODULES}
    found = {}
    for name, module in names.items():
        direct = {i if i in names else i.rpartition(".")[0] for i in imports(module)} & set(names)
        parts = [i.split(".") for i in direct]
        faces = {".".join(p[:n]) for p in parts for n in range(1, len(p))}
        found[name] = direct | {f for f in faces & set(names) if not name.startswith(f"{f}.")}
    return found


def circle(graph: Mapping[str, set[str]], start: str) -> list[str] | None:
    """A way from a module back to itself; None where there is none."""
    ways, seen = [[start]], set()
    while ways:
        way = ways.pop()
        for following in graph.get(way[-1], set()) - {way[-1]}:
            if following == start:
                return [*way, start]
            if following not in seen:
                seen.add(following)
                ways.append([*way, following])
    return None


@pytest.mark.parametrize("room_", NO_CIRCLE_IN)
def test_no_module_imports_itself_over_others(room_: str) -> None:
    """No circle of imports, those under `TYPE_CHECKING` and inside functions counted."""
    graph = {m: found for m, found in arrows().items() if f"{m}.".startswith(f"{room_}.")}
    assert [c for m in graph if (c := circle(graph, m)) is not None] == []


COMPARE = PACKAGE / "rules" / "compare"
PREFIXES = {name.partition(".")[0] for name in CHECK_NAMES}


def prefix_of(module: Path) -> str:
    """The prefix of the checks that may be made in a module of `compare/`."""
    parts = module.relative_to(COMPARE).with_suffix("").parts
    return parts[0] if parts[0] in PREFIXES else parts[-1]


def made_in(module: Path) -> Iterator[str]:
    """Names of the checks whose findings a module makes: in calls, and at the head of a table row."""
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        heads: list[ast.expr] = []
        if isinstance(node, ast.Call) and getattr(node.func, "attr", "") not in {"all", "entries"}:
            heads = [*node.args[:1], *(k.value for k in node.keywords if k.arg == "check")]
        elif isinstance(node, ast.Tuple):
            heads = node.elts[:1]
        for head in heads:
            if isinstance(head, ast.Constant) and head.value in CHECK_NAMES:
                yield str(head.value)


@pytest.mark.parametrize("module", [m for m in MODULES if m.is_relative_to(COMPARE)],
                         ids=lambda m: str(m.relative_to(COMPARE)))  # fmt: skip
def test_a_check_is_made_in_the_file_of_its_prefix(module: Path) -> None:
    """`port.py` and `soak/port.py` make `port.*` and nothing else; no other file makes them."""
    names = set(made_in(module))
    assert {n for n in names if n.partition(".")[0] != prefix_of(module)} == set()


@pytest.mark.parametrize("prefix", sorted(PREFIXES - {"traffic", "plan"}))
def test_each_prefix_has_its_file(prefix: str) -> None:
    """A check is found by its name: `compare/PREFIX.py` or the folder `compare/PREFIX/`."""
    assert (COMPARE / f"{prefix}.py").is_file() or (COMPARE / prefix / "__init__.py").is_file()
