"""How long the command takes to start, as a multiple of an empty Python.

Usage: python tests/bench/startup_bench.py
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROUNDS = 15
COMMANDS = {
    "python -c pass": ["-c", "pass"],
    "--help": ["-m", "verifier", "--help"],
    "verify --help": ["-m", "verifier", "verify", "--help"],
}
LIMIT = 8.0
FIRST_LINE_S = 0.5
"""So soon `here` says its first line, in a folder whose plan is taken (requirement)."""


def median_ms(words: list[str]) -> float:
    """Median wall time of one start."""
    times = []
    for _ in range(ROUNDS):
        started = time.perf_counter()
        subprocess.run([sys.executable, *words], stdout=subprocess.DEVNULL, check=True)
        times.append((time.perf_counter() - started) * 1000)
    return statistics.median(times)


def first_line_ms(folder: Path) -> float:
    """Median time to the first line of `here` with nothing typed."""
    times = []
    for _ in range(ROUNDS):
        started = time.perf_counter()
        with subprocess.Popen(
            [sys.executable, "-m", "verifier", "here"], cwd=folder, text=True,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        ) as process:  # fmt: skip
            assert process.stderr is not None
            assert process.stderr.readline().startswith("plan-verifier: taken: plan.yaml")
            times.append((time.perf_counter() - started) * 1000)
            process.kill()
    return statistics.median(times)


def main() -> None:
    empty = median_ms(COMMANDS["python -c pass"])
    for name, words in COMMANDS.items():
        took = median_ms(words)
        print(f"{name:16} {took:7.1f} ms  {took / empty:5.1f} x")
    print(f"limit for --help: {LIMIT:g} x")
    with tempfile.TemporaryDirectory() as folder:
        words = ["-m", "verifier", "new", f"{folder}/plan.yaml", "--example"]
        subprocess.run([sys.executable, *words], stdout=subprocess.DEVNULL, check=True)
        took = first_line_ms(Path(folder))
    print(f"here, first line {took:6.1f} ms  (limit {FIRST_LINE_S * 1000:g} ms)")


if __name__ == "__main__":
    main()
