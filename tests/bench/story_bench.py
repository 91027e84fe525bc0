"""Tells stories in simulated time: `story_bench.py KIND COUNT SEED`.

Prints the seed of each story in which something was said that was not so, and how long a story
takes in processor time. `story_bench.py KIND 1 SEED` tells that one again.
"""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

from tests.stories import KINDS


def main(kind: str, count: int, seed: int) -> int:
    """How many stories went wrong."""
    wrong, took_s = 0, []
    for n in range(seed, seed + count):
        began_s = time.process_time()
        try:
            KINDS[kind](random.Random(n))
        except AssertionError as fault:
            wrong += 1
            print(f"seed {n}: {fault}")
        took_s.append(time.process_time() - began_s)
    took_s.sort()
    mean, high, most = (
        1000 * t for t in (sum(took_s) / count, took_s[int(0.95 * count)], took_s[-1])
    )
    print(
        f"{kind}: {count} stories from seed {seed}, {wrong} wrong; "
        f"{mean:.1f} ms each, 95 % below {high:.1f} ms, at most {most:.1f} ms"
    )
    return wrong


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3])) > 0)
