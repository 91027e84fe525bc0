"""Does any test hang on what ran before it, or on an idle machine?

    python -m tests.bench.independence order [SEED]     the suite in random order
    python -m tests.bench.independence busy             beside processes that keep every core busy
    python -m tests.bench.independence alone [FOLDER]   each file in a process of its own, one by one

Ends with 1 if anything failed. Further words go to pytest; as root, with what .ci/run installs.
"""

from __future__ import annotations

import multiprocessing
import os
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
PYTEST = (sys.executable, "-m", "pytest", "-q")
TOGETHER = ("-n", "2", "--dist", "loadfile")


def burn() -> None:
    """Wants a processor, for ever."""
    while True:
        pass


def suite(*words: str) -> int:
    """One run; its exit code."""
    return subprocess.run([*PYTEST, *words], cwd=ROOT, check=False).returncode


def busy(*words: str) -> int:
    """The suite while every core has somebody else to serve."""
    burners = [
        multiprocessing.Process(target=burn, daemon=True) for _ in range(os.cpu_count() or 1)
    ]
    for burner in burners:
        burner.start()
    try:
        return suite(*TOGETHER, *words)
    finally:
        for burner in burners:
            burner.kill()


def alone(folder: str = "tests", *words: str) -> int:
    """Each file by itself; what failed is said at once."""
    failed = 0
    for file in sorted((ROOT / folder).rglob("test_*.py")):
        done = subprocess.run(
            [*PYTEST, str(file), *words], cwd=ROOT, check=False, capture_output=True, text=True
        )
        if done.returncode:
            failed += 1
            print(file.relative_to(ROOT), done.stdout, sep="\n", flush=True)
    print(f"{failed} files failed", flush=True)
    return 1 if failed else 0


def main() -> int:
    """See the module."""
    how, *words = sys.argv[1:] or ["order"]
    began_s = time.monotonic()
    if how == "order":
        seed = words.pop(0) if words else str(int(time.time()))
        code = suite(*TOGETHER, f"--shuffle={seed}", *words)
        print(f"order {seed}")
    else:
        code = {"busy": busy, "alone": alone}[how](*words)
    print(f"{how}: exit {code} after {time.monotonic() - began_s:.0f} s")
    return code


if __name__ == "__main__":
    sys.exit(main())
