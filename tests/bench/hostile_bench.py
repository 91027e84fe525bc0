"""Rounds against neighbours that answer for others; as root they see every question too.

python -m tests.bench.hostile_bench [ROUNDS] (1,000): each is a `verify` and a `sweep` of seven other
devices. Ends with 1 where anything passed or failed through them, and says what.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

from tests.session.hostile_rounds import company

ABSENT_EVERY, SAID_EVERY = 20, 25
"""A round with the absent device waits for it."""


def main() -> int:
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    look, wrong, began_s = os.geteuid() == 0, 0, time.monotonic()
    with tempfile.TemporaryDirectory() as folder, company(Path(folder), look=look) as bad:
        for n in range(rounds):
            for command in ("verify", "sweep"):
                right, found = bad.round(command, with_absent=n % ABSENT_EVERY == 0)
                if differ := {
                    k for k in right.keys() | found.keys() if right.get(k) != found.get(k)
                }:
                    wrong += 1
                    said = {k: (right.get(k), found.get(k), bad.reasons.get(k)) for k in differ}
                    print(f"round {n}, {command}: {said}, {bad.faults}", flush=True)
            if n % SAID_EVERY == SAID_EVERY - 1:
                print(
                    f"{n + 1} rounds, {bad.forged} forged datagrams, {wrong} runs differ",
                    flush=True,
                )
        took_s, forged = time.monotonic() - began_s, bad.forged
    print(f"{rounds} rounds of each command, {forged} forged datagrams, "
          f"{'all on the wire seen' if look else 'ids guessed only'}: "
          f"{wrong} runs differ; {took_s:.0f} s")  # fmt: skip
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
