"""Random small cases without end: each runbook replayed, and compared with trying everything.

Usage: python tests/bench/readdress_campaign.py [CASES [FIRST_SEED]]      (default: 10,000 from 0)

Prints every case that is wrong with its seed; ends with 1 if there was one.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.rules.readdress.test_random import complaints


def main() -> int:
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    started, bad = time.monotonic(), 0
    for seed in range(first, first + cases):
        if wrong := complaints(seed, compare=True):
            bad += 1
            print(f"seed {seed}: {wrong}")
    print(f"{cases} cases, {bad} wrong, {time.monotonic() - started:.0f} s")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
