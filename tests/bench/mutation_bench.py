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
by reading its module, and what imports it, anew. What has not failed within `mutant_tests.BUDGET_S` of tests
has survived: none is counted as killed that was not seen to be.
"""

from __future__ import annotations

import argparse
import functools
import hashlib
import random
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path

import pytest
from tabulate import tabulate

from tests.bench import equivalent_mutants
from tests.bench.mutant_tests import PACKAGE, QUIET, Careful, apart, reach, warm
from tests.bench.mutants import read
from tests.bench.try_mutants import InFunctions, Job, Log, at_import

AREAS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "compare": (
        ("rules/compare",),
        ("rules/compare", "rules/test_stages.py", "rules/test_compare_radio_silencing.py"),
    ),
    "diagnose": (("rules/diagnose",), ("rules/diagnose", "rules/test_powercycle.py")),
    "readdress": (("rules/readdress",), ("rules/readdress",)),
    "health": (("rules/health",), ("rules/health", "rules/history", "rules/status")),
    "echo": (
        ("probes/echo/packet", "probes/echo/exchange", "probes/echo/watch", "probes/echo/burst"),
        ("probes/echo/test_packet.py", "probes/echo/test_exchange.py", "probes/echo/test_loopback.py",
         "probes/echo/test_watch.py"),
    ),
    "snmp": (
        ("probes/snmp/wire", "probes/snmp/walk", "probes/snmp/conversation", "probes/snmp/transport",
         "probes/snmp/fast", "probes/snmp/values"),
        ("probes/snmp",),
    ),
    "files": (
        ("files/plan", "files/sheets/cell", "files/sheets/find_headings", "files/mapping/guess",
         "files/mapping/words", "files/mapping/evidence"),
        ("files/plan", "files/sheets", "files/mapping"),
    ),
}  # fmt: skip
"""Modules by the beginning of their path in `verifier/`, and the tests by their path in `tests/`."""


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
    reached = reach(modules(area), tests)

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
    text = job.path.read_text(encoding="utf-8").splitlines()[job.mutant.line - 1]
    module = job.path.relative_to(PACKAGE).as_posix()
    return equivalent_mutants.reason(module, text, job.mutant.change)


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
