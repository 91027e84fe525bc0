"""How long the command takes to start, as a multiple of an empty Python, in processor time.

Usage: python tests/bench/startup_bench.py
"""

from __future__ import annotations

import os
import sys

ROUNDS = 15
COMMANDS = {
    "--help": ["-m", "verifier", "--help"],
    **{
        f"{name} --help": ["-m", "verifier", name, "--help"]
        for name in ("verify", "here", "sweep", "readdress", "explain")
    },
}
LIMIT = 10.0


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


def main() -> None:
    """Prints each, and the limit."""
    empty = least_ms(["-c", "pass"])
    print(f"python -c pass   {empty:7.1f} ms")
    for name, words in COMMANDS.items():
        took = least_ms(words)
        print(f"{name:16} {took:7.1f} ms  {took / empty:5.1f} x")
    print(f"limit for each --help: {LIMIT:g} x")


if __name__ == "__main__":
    main()
