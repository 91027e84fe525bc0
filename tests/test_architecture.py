"""Imports run one way, the rules stay pure, sessions ask their World, each check has its file."""

from __future__ import annotations

import ast
import dataclasses
import importlib
import inspect
import re
import typing
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from verifier.model.checks import CHECK_NAMES

PACKAGE = Path(__file__).parent.parent / "verifier"
ALLOWED = {
    "cli": {
        "session",
        "probes",
        "files",
        "report",
        "rules",
        "simulator",
        "model",
        "errors",
        "store",
    },
    "session": {"files", "probes", "store", "report", "rules", "model", "errors"},
    "files": {"model", "errors"},
    "probes": {"model", "errors"},
    "store": {"model", "errors"},
    "report": {"model", "errors", "rules"},
    "simulator": {"probes", "model", "errors"},
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
NO_CIRCLE = set(ALLOWED)
"""Rooms whose modules import each other in one direction only."""


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


def name_of(module: Path) -> str:
    """`verifier.report.style`; a package is named by its folder."""
    parts = module.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def circle(graph: dict[str, set[str]]) -> list[str]:
    """Modules that import each other in a circle, the first twice; empty where there is none."""
    done: set[str] = set()

    def search(path: list[str]) -> list[str]:
        for other in sorted(graph[path[-1]] - done):
            if other in path:
                return [*path[path.index(other) :], other]
            if way := search([*path, other]):
                return way
        done.add(path[-1])
        return []

    return next((way for start in sorted(graph) if (way := search([start]))), [])


@pytest.mark.parametrize("name", sorted(NO_CIRCLE))
def test_no_circle(name: str) -> None:
    """Imports for types alone, in functions, and of a package's face are counted as well."""
    modules = {name_of(m): m for m in MODULES if room(m) == name}
    graph = {name: (imports(m) & set(modules)) - {name} for name, m in modules.items()}
    assert not circle(graph)


@pytest.mark.parametrize(
    ("graph", "found"),
    [
        ({"a": {"b"}, "b": set()}, []),
        ({"a": {"b", "c"}, "b": {"c"}, "c": set()}, []),
        ({"a": {"b"}, "b": {"c"}, "c": {"b"}}, ["b", "c", "b"]),
    ],
    ids=["line", "diamond", "circle"],
)
def test_a_circle_is_seen(graph: dict[str, set[str]], found: list[str]) -> None:
    assert circle(graph) == found


def test_no_circle_among_the_folders_of_files() -> None:
    """A folder counts as one; a module beside them as itself."""
    modules = [m for m in MODULES if room(m) == "files"]
    own = {name_of(m) for m in modules}
    graph: dict[str, set[str]] = {}
    for module in modules:
        here = ".".join(name_of(module).split(".")[:3])
        there = {".".join(name.split(".")[:3]) for name in imports(module) & own}
        graph.setdefault(here, set()).update(there - {here})
    graph.pop("verifier.files")
    assert not circle(graph)


LONGEST_MODULE, LONGEST_FUNCTION = 350, 39
"""Lines; of a function without its docstring and decorators."""
LONGER = {
    "model/plan.py": (355, "every field of a plan stands in one place"),
}
"""Modules that are longer than that: by how much, and why."""
SIZED = {"cli", "files"}
"""Rooms whose functions are short."""


def functions(module: Path) -> Iterator[tuple[str, int]]:
    """Each function of a module, and its lines."""
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            first, end = node.body[0], node.end_lineno or node.lineno
            documented = ast.get_docstring(node) is not None
            about = (first.end_lineno or 0) - first.lineno + 1 if documented else 0
            yield node.name, end - node.lineno + 1 - about


@pytest.mark.parametrize("module", MODULES, ids=lambda m: str(m.relative_to(PACKAGE)))
def test_modules_are_short(module: Path) -> None:
    """A module is read at a sitting."""
    most, _ = LONGER.get(module.relative_to(PACKAGE).as_posix(), (LONGEST_MODULE, ""))
    assert len(module.read_text(encoding="utf-8").splitlines()) <= most


def test_longer_modules_are_named_while_they_are_longer() -> None:
    for name, (most, why) in LONGER.items():
        lines = len((PACKAGE / name).read_text(encoding="utf-8").splitlines())
        assert LONGEST_MODULE < lines == most, name
        assert why


def test_no_two_classes_have_one_name() -> None:
    """One word, one concept: a class is found by its name alone."""
    places: dict[str, list[str]] = {}
    for module in MODULES:
        for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                places.setdefault(node.name, []).append(name_of(module))
    assert {name: where for name, where in places.items() if len(where) > 1} == {}


@pytest.mark.parametrize("module", [m for m in MODULES if room(m) in SIZED],
                         ids=lambda m: str(m.relative_to(PACKAGE)))  # fmt: skip
def test_functions_are_short(module: Path) -> None:
    """A function is read without scrolling."""
    assert {name: lines for name, lines in functions(module) if lines > LONGEST_FUNCTION} == {}


@pytest.mark.parametrize(
    "module",
    [m for m in MODULES if room(m) == "cli" and m.name != "later.py"],  # it stands for anything
    ids=lambda m: m.name,
)
def test_options_have_types(module: Path) -> None:
    """No command takes its options as `Any` by name: each is a field of a frozen dataclass."""
    tree = ast.parse(module.read_text(encoding="utf-8"))
    assert not [n for n in ast.walk(tree) if isinstance(n, ast.Name) and n.id == "Any"]
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef) and module.name != "command.py":
            assert node.args.kwarg is None, f"{module}:{node.lineno}"
        if isinstance(node, ast.ClassDef) and node.name.endswith("Options"):
            (made,) = [ast.unparse(d) for d in node.decorator_list] or [""]
            protocol = [ast.unparse(base) for base in node.bases] == ["Protocol"]
            assert protocol or "frozen=True" in made, f"{module}: {node.name}"


@pytest.mark.parametrize("module", [m for m in MODULES if room(m) in {"rules", "model"}],
                         ids=lambda m: str(m.relative_to(PACKAGE)))  # fmt: skip
def test_rules_and_model_are_pure(module: Path) -> None:
    """No rule and no value opens a socket or file, reads a clock, prints or draws lots."""
    assert not {name.split(".")[0] for name in imports(module)} & WORLD
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            name = getattr(node.func, "id", None) or getattr(node.func, "attr", "")
            assert name not in WORLDLY_CALLS | NOW, f"{module}:{node.lineno} calls {name}"


OUTSIDE = {"time", "socket", "secrets", "random", "psutil", "icmplib", "pysnmp", "ssl", "http"}
"""What no session imports: clocks, sockets, chance."""
OUTSIDE_CALLS = {
    "asyncio.sleep", "asyncio.run", "asyncio.to_thread", "asyncio.open_connection",
    "datetime.now", "dt.datetime.now", "dt.datetime.utcnow", "dt.date.today", "os.urandom",
    "uuid.uuid1", "uuid.uuid4",
}  # fmt: skip
SESSION = [m for m in MODULES if room(m) == "session"]


@pytest.mark.parametrize("module", SESSION, ids=lambda m: str(m.relative_to(PACKAGE)))
def test_a_session_asks_its_world(module: Path) -> None:
    """It reads no clock, does not sleep, opens no socket, draws no lots; of probes it has types."""
    told = {name.split(".")[0] for name in imports(module)} & OUTSIDE
    assert told <= ({"random"} if module.name == "world.py" else set())  # a type of the seam
    tree = ast.parse(module.read_text(encoding="utf-8"))
    calls = {ast.unparse(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)}
    assert not calls & OUTSIDE_CALLS
    for node in ast.walk(tree):
        assert not isinstance(node, ast.Import) or all(
            not alias.name.startswith("verifier.probes") for alias in node.names
        )
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("verifier.probes"):
            probe = importlib.import_module(node.module or "")
            for alias in node.names:
                assert plain(getattr(probe, alias.name)), f"{node.module}.{alias.name}"


def plain(thing: object) -> bool:
    """Whether something is data, or a type of data: nothing that can do anything outside."""
    if inspect.isroutine(thing) or inspect.ismodule(thing):
        return False
    if not inspect.isclass(thing):
        return True
    frozen = dataclasses.is_dataclass(thing) and thing.__dataclass_params__.frozen  # type: ignore[attr-defined]
    return frozen or getattr(thing, "_is_protocol", False) or issubclass(thing, tuple)


@pytest.mark.parametrize(
    ("thing", "is_plain"),
    [
        (ast.parse, False), (ast, False), (Path, False), (3.0, True),
        (typing.NamedTuple("Pair", [("a", int)]), True), (typing.Literal["up"], True),
    ],
    ids=lambda v: getattr(v, "__name__", str(v)),
)  # fmt: skip
def test_what_is_plain(thing: object, is_plain: bool) -> None:  # noqa: FBT001
    assert plain(thing) is is_plain


PRIVILEGED = ("mark.icmp", "mark.raw", "mark.lab", "mark.snmpd", "needs(")
"""What a test that needs permissions or programs is marked with."""


def test_every_session_module_is_imported_by_a_test_that_needs_nothing() -> None:
    """By stories and other tests that run for anybody, without root."""
    tests = Path(__file__).parent
    free = [
        t for folder in ("stories", "session", "rules", "files") for t in (tests / folder).rglob("*.py")
        if not any(mark in t.read_text(encoding="utf-8") for mark in PRIVILEGED)
    ]  # fmt: skip
    graph = {name_of(m): imports(m) for m in MODULES}
    reached: set[str] = set()
    ahead = {name for t in free for name in imports(t)}
    while ahead:
        reached |= ahead
        ahead = {name for near in ahead for name in graph.get(near, ())} - reached
    assert {name_of(m) for m in SESSION if m.name != "__init__.py"} <= reached


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


@pytest.mark.parametrize("module", [m for m in MODULES if room(m) in {"rules", "model"}],
                         ids=lambda m: str(m.relative_to(PACKAGE)))  # fmt: skip
def test_every_value_of_rules_and_model_has_a_type(module: Path) -> None:
    """`Any` is no type."""
    assert "typing.Any" not in imports(module)


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
        if isinstance(node, ast.Call):
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


OF_THEIR_OWN = {"bench", "lab", "stories", "two_faults"}
"""Folders of tests that go through many rooms."""


def test_tests_stand_in_folders_like_the_modules_they_test() -> None:
    """A folder of tests has the name of the room whose modules it tests."""
    tests = Path(__file__).parent
    folders = {t.parent.relative_to(tests) for t in tests.rglob("test_*.py") if t.parent != tests}
    folders = {f for f in folders if f.parts[0] not in OF_THEIR_OWN}
    rooms = {m.parent.relative_to(PACKAGE) for m in MODULES}
    assert folders <= rooms
    assert {"rules/compare/radio", "session/ask", "files/sheets"} <= {f.as_posix() for f in folders}


def test_no_example_of_hypothesis_has_a_limit_of_time() -> None:
    """A busy machine draws and runs them slowly: the profile has none, and no test sets one."""
    assert settings().deadline is None
    tests = Path(__file__).parent
    for test in tests.rglob("test_*.py"):
        for node in ast.walk(ast.parse(test.read_text(encoding="utf-8"))):
            if isinstance(node, ast.keyword) and node.arg == "deadline":
                assert ast.unparse(node.value) == "None", f"{test}:{node.value.lineno}"


def test_no_test_of_a_command_looks_for_a_word_alone() -> None:
    """What was printed says nothing of how the command ended: its exit code, or what it gave, does."""
    alone = [
        f"{test.name}: {node.name}"
        for test in sorted((Path(__file__).parent / "cli").glob("test_*.py"))
        for node in ast.walk(ast.parse(test.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
        and not re.search(r"returncode|exit_code|\bcode\b", ast.unparse(node)) and "raises" not in ast.unparse(node)
        and (asserts := [ast.unparse(n.test) for n in ast.walk(node) if isinstance(n, ast.Assert)])
        and all(re.fullmatch(r"(?s).+ in .*\.(stdout|stderr|output)", text) for text in asserts)
    ]  # fmt: skip
    assert alone == []
