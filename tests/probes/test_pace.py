"""One pace for all: threads of a process, and processes forked from it, wherever they may write."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
from typing import Any

import pytest

from verifier.probes.pace import Pace

EACH = 500


def take(pace: Pace, pipe: Any) -> None:
    pipe.send([pace.slot(0.0) for _ in range(EACH)])


def test_no_slot_is_given_twice_between_processes() -> None:
    """Four forked processes at once: as many slots as were taken, one gap apart."""
    pace, context = Pace(1000.0, shared=True), multiprocessing.get_context("fork")
    start = pace.slot(0.0)
    pipes = []
    for _ in range(4):
        ours, theirs = context.Pipe()
        process = context.Process(target=take, args=(pace, theirs))
        process.start()
        pipes.append((ours, process))
    slots = sorted(slot for ours, _ in pipes for slot in ours.recv())
    for _, process in pipes:
        process.join()
    assert slots == pytest.approx([start + n / 1000.0 for n in range(1, 4 * EACH + 1)])


def test_a_process_that_dies_with_the_lock_holds_nobody_up() -> None:
    """The kernel takes it back."""
    pace, context = Pace(1000.0, shared=True), multiprocessing.get_context("fork")
    ours, theirs = context.Pipe()

    def die() -> None:
        with pace._next:
            theirs.send("held")
            os.kill(os.getpid(), signal.SIGKILL)

    process = context.Process(target=die)
    process.start()
    assert ours.recv() == "held"
    process.join()
    assert process.exitcode == -signal.SIGKILL
    next_one = context.Process(target=take, args=(pace, theirs), daemon=True)
    next_one.start()
    assert ours.poll(60), "it waits for the one that died"
    next_one.join()


@pytest.mark.lab
def test_where_nobody_may_write_into_shared_memory() -> None:
    """/dev/shm read only, as on some machines for an ordinary user: processes share a pace all the same."""
    code = "from verifier.probes.pace import Pace; print(Pace(10.0, shared=True).slot(0.0))"
    script = f"mount -t tmpfs -o ro none /dev/shm && exec {sys.executable} -c '{code}'"
    done = subprocess.run(
        ["unshare", "--mount", "sh", "-c", script], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
