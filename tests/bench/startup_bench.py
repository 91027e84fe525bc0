"""How long the command takes to start, as a multiple of an empty Python.

Usage: python tests/bench/startup_bench.py
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

ROUNDS = 15
COMMANDS = {
    "python -c pass": ["-c", "pass"],
    "--help": ["-m", "verifier", "--help"],
    "verify --help": ["-m", "verifier", "verify", "--help"],
}
LIMIT = 8.0


def median_ms(words: list[str]) -> float:
    """Median wall time of one start."""
    times = []
    for _ in range(ROUNDS):
        started = time.perf_counter()
        subprocess.run([sys.executable, *words], stdout=subprocess.DEVNULL, check=True)
        times.append((time.perf_counter() - started) * 1000)
    return statistics.median(times)


def main() -> None:
    empty = median_ms(COMMANDS["python -c pass"])
    for name, words in COMMANDS.items():
        took = median_ms(words)
        print(f"{name:16} {took:7.1f} ms  {took / empty:5.1f} x")
    print(f"limit for --help: {LIMIT:g} x")


if __name__ == "__main__":
    main()
