"""Kills a series of sweeps 200 times at random moments; then the store and all that was told are right.

Usage: python -m tests.bench.sweep_kill_bench [KILLS [SEED]]
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from tests.cli.sweeping import PLAN_OF_MANY, desk, kill_again_and_again


def main() -> None:
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else int(time.time())
    began_s = time.monotonic()
    with tempfile.TemporaryDirectory() as name, desk(Path(name), PLAN_OF_MANY) as at:
        counted = kill_again_and_again(at, kills, seed)
    print(f"seed {seed}: {counted}; {time.monotonic() - began_s:.0f} s")


if __name__ == "__main__":
    main()
