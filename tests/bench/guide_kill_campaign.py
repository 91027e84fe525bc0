"""Kills guides at random moments and resumes them: `python -m tests.bench.guide_kill_campaign RUNS`.

As root: it builds its own namespaces. A device that does what it is told is re-addressed; the guide is
killed (SIGKILL, SIGINT or SIGTERM by turns) after a random time, again and again, until one run comes
to its end. Then the device must be at its new address, the laptop must have none of the guide's, and
every line of the journal must be whole.
"""

from __future__ import annotations

import contextlib
import random
import signal
import sys
import threading

from tests.lab.bench import Bench
from tests.lab.guided import NEW, Guided, change, ready, records

KILLS = (signal.SIGKILL, signal.SIGINT, signal.SIGTERM)


def obey(bench: Bench, guided: Guided) -> None:
    """Makes the change once it is asked for."""
    with contextlib.suppress(AssertionError):
        guided.wait_for("not changed yet")
        change(bench, NEW)


def once(bench: Bench, chance: random.Random) -> tuple[int, str]:
    """How often one guide was killed, and what was wrong in the end."""
    ready(bench, boot_s=4)
    kills, resume = 0, False
    while True:
        options = ("--auto", "--set-laptop", "--wait", "20s", *(("--resume",) if resume else ()))
        with Guided(bench, *options) as guided:
            person = threading.Thread(target=obey, args=(bench, guided))
            person.start()
            with contextlib.suppress(Exception):
                guided.process.wait(chance.uniform(0.2, 9.0))
            if guided.process.poll() is None:
                guided.kill(KILLS[kills % len(KILLS)])
                kills += 1
            code = guided.end()
        person.join()
        if code == 0 or "Done: all" in guided.shown:  # killed while it was already going
            break
        started = bool(guided.shown)  # before, Python itself takes the signal
        if code not in ({-9, 130} if started else {-9, 130, -2, -15}):
            return kills, f"exit {code}: {guided.shown}"
        journal = bench.folder / "guide.readdress.jsonl"
        resume = journal.exists() and journal.read_bytes().count(b"\n") > 0
    held = [a for a in bench.addresses("laptop").split() if a.startswith(("192.0.2.", "198.18."))]
    at = [a for a in bench.addresses("device").split() if a.startswith(("192.0.2.", "198.18."))]
    ends = records(bench)[-1]
    right = (held, at, ends.get("result")) == ([], [NEW], "done")
    return kills, "" if right else f"laptop {held}, device {at}, journal {ends}"


def main(runs: int) -> None:
    """Prints how often guides were killed, and what was wrong."""
    chance = random.Random(7)
    kills, wrong = 0, []
    with Bench() as bench:
        bench.agent("device", "lighthouse-quarry")
        for _ in range(runs):
            more, fault = once(bench, chance)
            kills += more
            wrong += [fault] if fault else []
    print(f"{runs} guides, killed {kills} times, {len(wrong)} wrong")
    for fault in wrong:
        print(fault)
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
