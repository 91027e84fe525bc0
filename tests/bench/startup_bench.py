"""How long the command takes to start, as a multiple of an empty Python, in processor time.

Usage: python tests/bench/startup_bench.py
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile

ROUNDS = 15
COMMANDS = {
    "--help": ["-m", "verifier", "--help"],
    **{
        f"{name} --help": ["-m", "verifier", name, "--help"]
        for name in ("verify", "here", "sweep", "readdress", "explain")
    },
}
LIMIT = 10.0
FIRST_LINE_MS = 500.0
"""So soon `here` says its first line (requirement)."""


def least_ms(words: list[str]) -> float:
    """Processor time of one start, user and system: the least of some, undisturbed by others."""
    times = []
    for _ in range(ROUNDS):
        pid = os.posix_spawn(
            sys.executable, [sys.executable, *words], os.environ,
            file_actions=[(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)],
        )  # fmt: skip
        _, _, used = os.wait4(pid, 0)
        times.append((used.ru_utime + used.ru_stime) * 1000)
    return min(times)


def first_line_ms() -> float:
    """Processor time to the first line of `here` in a folder with one plan; the least of some."""
    times = []
    with tempfile.TemporaryDirectory() as folder:
        new = [sys.executable, "-m", "verifier", "new", "plan.yaml", "--example"]
        subprocess.run(new, cwd=folder, stdout=subprocess.DEVNULL, check=True)
        for _ in range(ROUNDS):
            here = subprocess.Popen(
                [sys.executable, "-m", "verifier", "here"], cwd=folder,
                stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
            )  # fmt: skip
            assert here.stderr is not None
            assert here.stderr.readline().startswith(b"plan-verifier: taken: plan.yaml")
            here.kill()
            _, _, used = os.wait4(here.pid, 0)
            here.returncode = 0
            here.stderr.close()
            times.append((used.ru_utime + used.ru_stime) * 1000)
    return min(times)


def main() -> None:
    """Prints each, and the limit."""
    empty = least_ms(["-c", "pass"])
    print(f"python -c pass   {empty:7.1f} ms")
    for name, words in COMMANDS.items():
        took = least_ms(words)
        print(f"{name:16} {took:7.1f} ms  {took / empty:5.1f} x")
    print(f"limit for each --help: {LIMIT:g} x")
    print(f"here, first line {first_line_ms():6.1f} ms (limit {FIRST_LINE_MS:g} ms)")


if __name__ == "__main__":
    main()
