"""Tries a mutant: in a copy of a process that has read the tests, or with its module read anew."""

from __future__ import annotations

import ast
import contextlib
import functools
import gc
import importlib
import importlib.abc
import importlib.machinery
import importlib.util
import json
import os
import sys
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Any

import pytest

from tests.bench.mutant_tests import (
    LIMIT_FACTOR,
    LIMIT_S,
    PACKAGE,
    QUIET,
    Careful,
    Reach,
    apart,
    chosen,
    imports,
)
from tests.bench.mutants import Mutant


@dataclass
class Job:
    """A mutant to try."""

    path: Path
    tree: ast.Module
    mutant: Mutant


@dataclass
class Log:
    """What is known of each mutant, by its key: [outcome, by what, line, change]."""

    path: Path
    known: dict[str, list[Any]] = field(default_factory=dict)
    said: float = 0

    def load(self) -> None:
        """What earlier runs wrote; a line that was not finished is left out."""
        if self.path.exists():
            for line in self.path.read_text(encoding="utf-8").splitlines():
                with contextlib.suppress(json.JSONDecodeError):
                    key, *rest = json.loads(line)
                    self.known[key] = rest

    def note(self, job: Job, outcome: str, by: str) -> None:
        """One more is known."""
        told = [job.mutant.key, outcome, by, job.mutant.line, job.mutant.change]
        with self.path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(told) + "\n")


class Verdicts:
    """Counts what failed."""

    def __init__(self) -> None:
        self.failed = ""

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.failed = self.failed or report.nodeid


def codes(code: CodeType) -> Iterator[CodeType]:
    """A code object and all that stand in it."""
    yield code
    for inner in code.co_consts:
        if isinstance(inner, CodeType):
            yield from codes(inner)


def put(before: CodeType, after: CodeType, live: dict[tuple[str, int], list[FunctionType]]) -> None:
    """Gives every function of a module that was made from changed code the changed code."""
    old, new = list(codes(before))[1:], list(codes(after))[1:]
    named = {(c.co_qualname, c.co_firstlineno): c for c in new}
    for i, code in enumerate(old):
        same = (
            new[i] if len(old) == len(new) else named.get((code.co_qualname, code.co_firstlineno))
        )
        if same is None or same == code:
            continue
        for function in live.get((code.co_qualname, code.co_firstlineno), ()):
            if function.__code__ == code:
                function.__code__ = same


class InFunctions:
    """Takes the place of pytest's loop: the tests stand ready, a copy runs some for each mutant."""

    def __init__(self, area: str, jobs: Sequence[Job], reached: Reach, log: Log) -> None:
        self.area, self.jobs, self.reached, self.log = area, jobs, reached, log
        self.killers: dict[str, list[str]] = defaultdict(list)

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        self.items = {item.nodeid: item for item in session.items}
        self.verdicts = Verdicts()
        session.config.pluginmanager.register(self.verdicts)
        self.live: dict[str, dict[tuple[str, int], list[FunctionType]]] = {}
        for thing in gc.get_objects():
            if isinstance(thing, FunctionType) and "/verifier/" in thing.__code__.co_filename:
                code = thing.__code__
                by = self.live.setdefault(code.co_filename, {})
                by.setdefault((code.co_qualname, code.co_firstlineno), []).append(thing)
        gc.freeze()
        for job in self.jobs:
            self.try_one(job)
        return True

    def try_one(self, job: Job) -> None:
        names = self.reached.tests([(str(job.path), job.mutant.line)]) & self.items.keys()
        first = self.killers[job.mutant.scope]
        tests = chosen(names, str(job.path), self.reached, first)
        if not tests:
            self.log.note(job, "survived", "no test reaches the line")
            return
        limit = sum(self.reached.took[t] for t in tests) * LIMIT_FACTOR + LIMIT_S
        told_r, told_w = os.pipe()
        code = apart(lambda: self.child(job, tests, told_w), limit)
        os.close(told_w)
        with os.fdopen(told_r, encoding="utf-8") as told:
            by = told.read()
        if code == 0:
            self.log.note(job, "survived", f"{len(tests)} of {len(names)} tests")
        else:
            self.log.note(job, "killed", by or f"ended with {code}")
            if by:
                first[:] = [by, *(f for f in first if f != by)][:6]

    def child(self, job: Job, tests: Sequence[str], told: int) -> int:
        before = compile(job.tree, str(job.path.absolute()), "exec", dont_inherit=True)
        job.mutant.apply()
        after = compile(
            ast.fix_missing_locations(job.tree), str(job.path.absolute()), "exec", dont_inherit=True
        )
        put(before, after, self.live.get(str(job.path.absolute()), {}))
        items = [self.items[t] for t in tests]
        for item, following in zip(items, [*items[1:], None], strict=True):
            item.ihook.pytest_runtest_protocol(item=item, nextitem=following)
            if self.verdicts.failed:
                os.write(told, self.verdicts.failed.encode())
                return 1
        return 0


class Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Reads one module from a changed tree."""

    def __init__(self, name: str, path: Path, tree: ast.Module) -> None:
        self.name, self.path, self.tree = name, path, tree

    def find_spec(
        self, fullname: str, path: object = None, target: object = None
    ) -> importlib.machinery.ModuleSpec | None:
        del path, target
        if fullname != self.name:
            return None
        folder = [str(self.path.parent)] if self.path.name == "__init__.py" else None
        return importlib.util.spec_from_file_location(
            fullname, self.path, loader=self, submodule_search_locations=folder
        )

    def create_module(self, spec: importlib.machinery.ModuleSpec) -> ModuleType | None:
        del spec
        return None

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self.tree, str(self.path), "exec", dont_inherit=True), module.__dict__)


class Only:
    """Leaves the chosen tests of what was collected, in their order; all, where their names moved."""

    def __init__(self, names: Sequence[str]) -> None:
        self.place = {name: i for i, name in enumerate(names)}

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        if wanted := [item for item in items if item.nodeid in self.place]:
            items[:] = sorted(wanted, key=lambda item: self.place[item.nodeid])


def dotted(path: Path) -> str:
    """The name of a module."""
    parts = path.with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@functools.cache
def reads(path: Path) -> dict[str, list[int]]:
    """The lines of a module that name something."""
    found: dict[str, list[int]] = defaultdict(list)
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        name = (
            getattr(node, "id", None) or getattr(node, "attr", None) or getattr(node, "arg", None)
        )
        if isinstance(name, str) and hasattr(node, "lineno"):
            found[name].append(node.lineno)
    return found


def _touches(names: Iterable[str], stale: Collection[str]) -> bool:
    """Whether importing these reads one of the stale ones; a package is read before what is in it."""
    return any(n in stale or any(n.startswith(f"{s}.") for s in stale) for n in names)


def at_import(jobs: Sequence[Job], reached: Reach, log: Log) -> None:
    """Mutants of constants and defaults of one module: what imports it is read anew."""
    path = jobs[0].path
    graph = {dotted(p): imports(p) for p in PACKAGE.rglob("*.py")}
    stale = {dotted(path)}
    while more := {
        n for n, known in graph.items() if n not in stale and _touches(known | {n}, stale)
    }:
        stale |= more
    for name in sorted(graph.keys() - stale):
        if not name.endswith("__main__"):
            importlib.import_module(name)
    assert not stale & sys.modules.keys(), "nothing that is read anew has been read before"
    gc.freeze()
    for job in jobs:
        words = {w for w in job.mutant.scope.replace("(", " ").split(".") if w}
        places = [
            (str(p), n) for p in PACKAGE.rglob("*.py") for w in words for n in reads(p).get(w, ())
        ]
        own = ((str(path), n) for n in reached.lines.get(str(path), ()))
        near = reached.tests(places) or reached.tests(own) or set(reached.took)
        tests = chosen(near, str(path), reached)
        if not tests:
            log.note(job, "survived", "no test reaches the line")
            continue
        limit = sum(reached.took[t] for t in tests) * LIMIT_FACTOR + LIMIT_S

        def child(job: Job = job, tests: Sequence[str] = tests) -> int:
            job.mutant.apply()
            finder = Changed(dotted(path), path.absolute(), ast.fix_missing_locations(job.tree))
            sys.meta_path.insert(0, finder)
            files = dict.fromkeys(t.partition("::")[0] for t in tests)
            return int(pytest.main([*QUIET, "-x", *files], plugins=[Only(tests), Careful()]))

        code = apart(child, limit)
        log.note(job, "killed" if code else "survived", f"{len(tests)} of {len(near)} tests")
