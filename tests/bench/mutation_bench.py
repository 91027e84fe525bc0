"""Do the tests notice when a figure or a decision moves? One figure of the program is moved at a time.

    python -m tests.bench.mutation_bench [AREA...] [--share N] [--seed S] [--out FILE] [--only TEXT]
    python -m tests.bench.mutation_bench [AREA...] --table       what FILE knows, nothing is run

Areas are the keys of `AREAS`: modules that decide, and the tests that mirror them. `--share 10` takes
every tenth mutant (another tenth with another seed), `--only TEXT` those of modules whose path has TEXT
in it. FILE (mutants.jsonl) gets a line for each mutant when it is known; a run that was stopped is taken
up where it was; a mutant that was killed is not tried again while its function stays as it is, one
that survived is. One process, for one core; nothing is installed.

No library drives this: mutmut moves nothing that stands outside a function, cosmic-ray starts Python
and pytest anew for each mutant, and has eleven of them for each comparison. Here a process reads the
tests once and copies itself for each mutant (`fork`); the copy gets the function's changed code and runs
tests that reach the changed line, quick ones first, until one fails. A constant or a default is moved
by reading its module, and what imports it, anew. What has not failed within `BUDGET_S` of tests has
survived: none is counted as killed that was not seen to be.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import functools
import gc
import hashlib
import importlib
import importlib.abc
import importlib.machinery
import importlib.util
import json
import os
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import defaultdict
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Any

import coverage
import pytest
from hypothesis import Phase, settings
from tabulate import tabulate

from tests.bench.equivalent_mutants import EQUIVALENT
from tests.bench.mutants import Mutant, read

PACKAGE = Path("verifier")
AREAS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "compare": (
        ("rules/compare",),
        ("rules/compare", "rules/test_echo.py", "rules/test_stages.py", "rules/test_compare_radio_silencing.py"),
    ),
    "diagnose": (("rules/diagnose",), ("rules/diagnose",)),
    "readdress": (("rules/readdress",), ("rules/readdress",)),
    "health": (("rules/health",), ("rules/health", "rules/history", "rules/status")),
    "echo": (
        ("probes/echo/packet", "probes/echo/exchange", "probes/echo/series", "probes/echo/watch", "probes/echo/burst"),
        ("probes/echo/test_packet.py", "probes/echo/test_loopback.py", "probes/echo/test_watch.py"),
    ),
    "snmp": (
        ("probes/snmp/wire", "probes/snmp/walk", "probes/snmp/conversation", "probes/snmp/transport",
         "probes/snmp/fast", "probes/snmp/values", "probes/snmp/smi"),
        ("probes/snmp",),
    ),
    "files": (
        ("files/plan", "files/sheets/cell", "files/sheets/find_headings", "files/mapping/guess",
         "files/mapping/words", "files/mapping/apply"),
        ("files/plan", "files/sheets", "files/mapping"),
    ),
}  # fmt: skip
"""Modules by the beginning of their path in `verifier/`, and the tests by their path in `tests/`."""
BUDGET_S = 2.0
"""Of tests, for each mutant."""
LIMIT_FACTOR, LIMIT_S = 4, 10
"""A mutant that takes so many times longer, and so many seconds more, runs for ever: killed."""
QUIET = ("-q", "-s", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning")


# ------------------------------------------------------------------ processes


def apart(work: Callable[[], object], limit_s: float = 0) -> int:
    """What a copy of this process that does some work ends with; -9 if it had to be ended."""
    sys.stdout.flush()
    if (pid := os.fork()) == 0:
        os.setsid()
        code = 99
        try:
            if limit_s:
                quiet = os.open(os.devnull, os.O_RDWR)
                os.dup2(quiet, 1)
                os.dup2(quiet, 2)
                resource.setrlimit(resource.RLIMIT_CPU, (int(limit_s) + 1, int(limit_s) + 2))
                signal.alarm(int(limit_s) * 6 + 1)  # an idle one; other work may hold the cores
            result = work()
            code = result if isinstance(result, int) else 0
        except Exception:  # noqa: BLE001 - the copy ends here
            traceback.print_exc()
        finally:
            sys.stdout.flush()
            os._exit(code)
    _, status = os.waitpid(pid, 0)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(pid, signal.SIGKILL)
    return os.waitstatus_to_exitcode(status)


def warm() -> None:
    """Imports every library that the package and its tests import, and nothing of ours."""
    for path in [*PACKAGE.rglob("*.py"), *Path("tests").rglob("*.py")]:
        for name in imports(path):
            if not name.startswith(("verifier", "tests", "__")):
                with contextlib.suppress(Exception):
                    importlib.import_module(name)


@functools.cache
def imports(path: Path) -> frozenset[str]:
    """Modules that a module imports, by name; names in them too."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{a.name}" for a in node.names)}
    return frozenset(names)


# ------------------------------------------------------------------ which tests reach a line


class Recorder:
    """Runs the tests once and notes how long each takes and which lines it reaches."""

    def __init__(self, cover: coverage.Coverage) -> None:
        self.cover = cover
        self.took: dict[str, float] = {}
        self.failed: set[str] = set()

    @pytest.hookimpl(wrapper=True, tryfirst=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Generator[None, object, object]:
        self.cover.switch_context(item.nodeid)
        start = time.process_time()
        done = yield
        self.took[item.nodeid] = time.process_time() - start
        self.cover.switch_context("")
        return done

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if not report.passed:
            self.failed.add(report.nodeid)


class Careful:
    """Examples of hypothesis are the same each time, and nothing is sought once one has failed."""

    def pytest_collection(self) -> None:
        settings.register_profile(
            "bench", settings.get_profile("ours"), derandomize=True, database=None,
            phases=[Phase.explicit, Phase.generate],
        )  # fmt: skip
        settings.load_profile("bench")


@dataclass
class Reach:
    """What the tests of an area reach."""

    took: dict[str, float]
    """Seconds of each test that passes."""
    lines: dict[str, dict[int, list[str]]]
    """File, line, tests; a test named "" is the import."""

    kept: dict[str, tuple[dict[frozenset[int], float], dict[str, frozenset[int]]]] = field(
        default_factory=dict
    )

    def rare(self, file: str) -> tuple[dict[frozenset[int], float], dict[str, frozenset[int]]]:
        """How rare each set of lines of a module is that a test reaches, and the set of each test."""
        if file not in self.kept:
            of: dict[str, set[int]] = defaultdict(set)
            for line, tests in self.lines.get(file, {}).items():
                for test in tests:
                    of[test].add(line)
            lines = {test: frozenset(found) for test, found in of.items()}
            times = {n: len(tests) for n, tests in self.lines.get(file, {}).items()}
            rarity = {s: sum(1 / times[n] for n in s) for s in {*lines.values(), frozenset[int]()}}
            self.kept[file] = rarity, lines
        return self.kept[file]

    def tests(self, places: Iterable[tuple[str, int]]) -> set[str]:
        """The tests that reach one of some lines."""
        return {t for file, line in places for t in self.lines.get(file, {}).get(line, ())} - {""}


def reach(area: str, tests: Sequence[str]) -> Reach:
    """Asked by a run of the tests under coverage; kept while neither they nor the modules change."""
    files = [f for t in tests for f in ([Path(t)] if t.endswith(".py") else Path(t).rglob("*.py"))]
    state = hashlib.sha256(b"".join(p.read_bytes() for p in sorted([*files, *modules(area)])))
    kept = Path(tempfile.gettempdir()) / f"pv-mutants-{state.hexdigest()[:16]}.json"
    if not kept.exists():

        def work() -> None:
            cover = coverage.Coverage(
                data_file=None,
                config_file=False,
                include=[str(p.absolute()) for p in modules(area)],
            )
            cover.start()
            recorder = Recorder(cover)
            pytest.main([*QUIET, *tests], plugins=[recorder, Careful()])
            cover.stop()
            data, root = cover.get_data(), str(Path.cwd()) + "/"
            lines = {
                f.removeprefix(root): data.contexts_by_lineno(f) for f in data.measured_files()
            }
            took = {t: s for t, s in recorder.took.items() if t not in recorder.failed}
            kept.write_text(json.dumps([took, lines]), encoding="utf-8")

        apart(work)
    took, lines = json.loads(kept.read_text(encoding="utf-8"))
    known = {f: {int(n): t for n, t in by.items()} for f, by in lines.items()}
    return Reach(took, known)


def chosen(names: set[str], file: str, reached: Reach, first: Sequence[str] = ()) -> list[str]:
    """Tests to run, within the budget: some first, then those for which the module does what is rare.

    A second test that reaches the very same lines of it counts half as much, a third a third.
    """
    known = names & reached.took.keys()
    rarity, lines = reached.rare(file)
    groups: dict[frozenset[int], list[str]] = defaultdict(list)
    for name in sorted(known, key=lambda n: (reached.took[n], n)):
        groups[lines.get(name, frozenset())].append(name)
    turns = sorted(
        (-rarity[of] / (turn + 1) / (0.01 + reached.took[n]), n)
        for of, group in groups.items() for turn, n in enumerate(group)
    )  # fmt: skip
    every = [*(n for n in first if n in known), *(n for _, n in turns)]
    result: list[str] = []
    spent = 0.0
    for name in dict.fromkeys(every):
        spent += reached.took[name] + 0.002
        if result and spent > BUDGET_S:
            break
        result.append(name)
    return result


# ------------------------------------------------------------------ a mutant in a function


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


# ------------------------------------------------------------------ a mutant of the import


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


def at_import(jobs: Sequence[Job], reached: Reach, log: Log) -> None:
    """Mutants of constants and defaults of one module: what imports it is read anew."""
    path = jobs[0].path
    graph = {dotted(p): imports(p) for p in PACKAGE.rglob("*.py")}
    stale = {dotted(path)}
    while more := {n for n, known in graph.items() if n not in stale and known & stale}:
        stale |= more
    stale |= {
        name
        for name in graph
        if any(s.startswith(f"{name}.") for s in stale) and graph[name] & stale
    }
    for name in sorted(graph.keys() - stale):
        if not name.endswith("__main__") and not any(name.startswith(f"{s}.") for s in stale):
            importlib.import_module(name)
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


# ------------------------------------------------------------------ the run


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


def modules(area: str) -> list[Path]:
    """The modules of an area."""
    starts = tuple(str(PACKAGE / start) for start in AREAS[area][0])
    return sorted(p for p in PACKAGE.rglob("*.py") if str(p).startswith(starts))


def jobs_of(area: str, *, share: int, seed: int, only: str) -> list[Job]:
    """The mutants of an area in random order."""
    every = []
    for path in modules(area):
        if only in str(path):
            tree, mutants = read(path)
            every += [Job(path, tree, m) for m in mutants if share_of(m.key, share) == seed % share]
    random.Random(seed).shuffle(every)
    return every


def share_of(key: str, share: int) -> int:
    """Which share a mutant belongs to."""
    return int(hashlib.sha256(key.encode()).hexdigest()[:8], 16) % share


def run(area: str, jobs: Sequence[Job], log: Log) -> None:
    """Tries those that are not known to be killed, or to be equivalent."""
    jobs = [j for j in jobs if log.known.get(j.mutant.key, [""])[0] != "killed" and not reason(j)]
    if not jobs:
        return
    tests = [f"tests/{t}" for t in AREAS[area][1]]
    reached = reach(area, tests)

    def imported(job: Job) -> bool:
        line = reached.lines.get(str(job.path), {}).get(job.mutant.line, [])
        return job.mutant.at_import or "" in line

    inner = [j for j in jobs if not imported(j)]
    if inner:
        plugin = InFunctions(area, inner, reached, log)
        apart(lambda: int(pytest.main([*QUIET, *tests], plugins=[plugin, Careful()])))
    outer: dict[Path, list[Job]] = defaultdict(list)
    for job in jobs:
        if imported(job):
            outer[job.path].append(job)
    for of_module in outer.values():
        apart(functools.partial(at_import, of_module, reached, log))


def reason(job: Job) -> str:
    """Why a mutant is the same program; empty if it is not known to be."""
    text = job.path.read_text(encoding="utf-8").splitlines()[job.mutant.line - 1].strip()
    known = EQUIVALENT.get(str(job.path.relative_to(PACKAGE)), {})
    return known.get((text, job.mutant.change), "") or known.get((text, "*"), "")


def table(jobs: Sequence[Job], log: Log) -> None:
    """Prints what is known: modules with their figures, then the survivors."""
    rows, lines = [], []
    total = [0, 0, 0, 0]
    by: dict[Path, list[Job]] = defaultdict(list)
    for job in jobs:
        by[job.path].append(job)
    for path, of_module in sorted(by.items()):
        left = [j for j in of_module if not reason(j)]
        tried = [j for j in left if j.mutant.key in log.known]
        lived = [j for j in tried if log.known[j.mutant.key][0] == "survived"]
        figures = [len(of_module), len(of_module) - len(left), len(tried) - len(lived), len(lived)]
        total = [a + b for a, b in zip(total, figures, strict=True)]
        rows.append([str(path), *figures, percent(figures)])
        lines += [
            f"{path}:{j.mutant.line}: {j.mutant.change}  ({j.mutant.scope}; {log.known[j.mutant.key][1]})"
            for j in sorted(lived, key=lambda j: j.mutant.line)
        ]
    rows.append(["all", *total, percent(total)])
    print(tabulate(rows, headers=["module", "mutants", "equivalent", "killed", "survived", "%"]))
    print("", *lines, sep="\n")


def percent(figures: Sequence[int]) -> str:
    """Killed of those tried."""
    tried = figures[2] + figures[3]
    return f"{100 * figures[2] / tried:.1f}" if tried else ""


def main() -> None:
    """See above."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("areas", nargs="*", default=list(AREAS), metavar="AREA")
    parser.add_argument("--share", type=int, default=1)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--out", type=Path, default=Path("mutants.jsonl"))
    parser.add_argument("--only", default="")
    parser.add_argument("--table", action="store_true")
    words = parser.parse_args()
    jobs = {a: jobs_of(a, share=words.share, seed=words.seed, only=words.only) for a in words.areas}
    log = Log(words.out.absolute())
    log.load()
    if not words.table:
        warm()
        for area, of_area in jobs.items():
            run(area, of_area, log)
            log.load()
    table([job for of_area in jobs.values() for job in of_area], log)


if __name__ == "__main__":
    main()
