"""One run of the lab and the next: no two clash, and none leaves anything behind."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from tests.lab.shell import command

LOCKS = Path("/run/plan-verifier-lab")


@contextmanager
def claimed(prefix: str) -> Iterator[None]:
    """Owns the namespaces of a prefix: holds a lock that ends with this process, however it ends.

    First removes what runs left whose process is gone; at the end removes its own.
    """
    LOCKS.mkdir(mode=0o700, exist_ok=True)
    remove_leftovers()
    path = LOCKS / prefix
    with path.open("w", encoding="utf-8") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        try:
            yield
        finally:
            remove_namespaces(prefix)
            path.unlink(missing_ok=True)


def remove_leftovers() -> None:
    """Removes the namespaces and processes of runs whose lock nobody holds any more."""
    for path in LOCKS.iterdir():
        with suppress(FileNotFoundError), path.open(encoding="utf-8") as file:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                continue
            remove_namespaces(path.name)
            path.unlink(missing_ok=True)


def remove_namespaces(prefix: str) -> None:
    """Ends what still runs inside the namespaces of one lab, and removes them."""
    listed = [line.split()[0] for line in command("ip", "netns", "list").splitlines()]
    for name in (n for n in listed if n.startswith(f"{prefix}-")):
        for pid in command("ip", "netns", "pids", name).split():
            with suppress(ProcessLookupError):
                os.kill(int(pid), 9)
        command("ip", "netns", "delete", name)
