"""Which tests reach a line of a module, and copies of a process that try something."""

from __future__ import annotations

import ast
import contextlib
import functools
import hashlib
import importlib
import json
import os
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import defaultdict
from collections.abc import Callable, Generator, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import coverage
import pytest
from hypothesis import Phase, settings

PACKAGE = Path("verifier")
BUDGET_S = 2.0
"""Of tests, for each mutant."""
LIMIT_FACTOR, LIMIT_S = 4, 10
"""A mutant that takes so many times longer, and so many seconds more, runs for ever: killed."""
QUIET = ("-q", "-s", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning")


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


def reach(modules: Sequence[Path], tests: Sequence[str]) -> Reach:
    """Asked by a run of the tests under coverage; kept while neither they nor the modules change."""
    files = [f for t in tests for f in ([Path(t)] if t.endswith(".py") else Path(t).rglob("*.py"))]
    state = hashlib.sha256(b"".join(p.read_bytes() for p in sorted([*files, *modules])))
    kept = Path(tempfile.gettempdir()) / f"pv-mutants-{state.hexdigest()[:16]}.json"
    if not kept.exists():

        def work() -> None:
            cover = coverage.Coverage(
                data_file=None,
                config_file=False,
                include=[str(p.absolute()) for p in modules],
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
