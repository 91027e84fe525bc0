"""Runbooks of large plans: time of the planner alone and of the whole command, and memory.

Usage: python tests/bench/readdress_bench.py

Limits: 1,000 devices over 20 subnets under 2 s, 10,000 devices in one renumbering under 10 s, both under
300 MB, for the command as a person runs it.
"""

from __future__ import annotations

import json
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HEAD = "network: {name: Scale, example: true}\ndevices:\n"
RUN = (
    "import resource, runpy, sys\n"
    "sys.argv = ['plan-verifier', 'readdress', *sys.argv[1:], '--quiet', '--out', 'runbook.json']\n"
    "try:\n    runpy.run_module('verifier', run_name='__main__')\n"
    "finally:\n    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)\n"
)


def shuffled(devices: int, subnets: int) -> str:
    """Devices whose planned addresses are their present ones in another order: chains and rings."""
    present = [f"198.18.{s}.{h + 1}/24" for s in range(subnets) for h in range(devices // subnets)]
    planned = random.Random(1).sample(present, len(present))
    rows = zip(present, planned, strict=True)
    return "".join(
        f"  - {{name: device-{n}, address: {new}, present_address: {old}}}\n"
        for n, (old, new) in enumerate(rows)
    )


def moved(devices: int, subnets: int) -> str:
    """Devices that each go from their subnet to the next."""
    each = devices // subnets
    return "".join(
        f"  - {{name: device-{n}, address: 198.18.{(n // each + 1) % subnets}.{n % each + 101}/24,"
        f" present_address: 198.18.{n // each}.{n % each + 1}/24}}\n"
        for n in range(devices)
    )


def flat(devices: int) -> str:
    """Devices of one subnet with a gateway."""
    return "".join(
        f"  - {{name: device-{n}, address: 198.18.{n // 250}.{n % 250 + 2}/16, gateway: 198.18.0.1}}\n"
        for n in range(devices)
    )


CASES = [
    ("1,000 over 20 subnets, next subnet", moved(1000, 20), [], 2.0),
    ("1,000 over 20 subnets, shuffled", shuffled(1000, 20), [], 2.0),
    ("1,000 over 20, next, one address", moved(1000, 20), ["--laptop-addresses", "one"], 2.0),
    (
        "1,000 over 20, shuffled, one address",
        shuffled(1000, 20),
        ["--laptop-addresses", "one"],
        2.0,
    ),
    (
        "the same, one device at a time",
        shuffled(1000, 20),
        ["--laptop-addresses", "one", "--one-at-a-time"],
        2.0,
    ),
    (
        "10,000 in one renumbering",
        flat(10_000),
        ["--renumber", "198.18.0.0/16=198.19.0.0/16"],
        10.0,
    ),
]


def main() -> None:
    print(
        f"{'case':38} {'wall s':>7} {'limit':>6} {'peak MB':>8}  changes connects laptop steps proved"
    )
    for name, rows, words, limit_s in CASES:
        with tempfile.TemporaryDirectory() as folder:
            (Path(folder) / "plan.yaml").write_text(HEAD + rows, encoding="utf-8")
            started = time.perf_counter()
            argv = [sys.executable, "-c", RUN, "plan.yaml", *words]
            done = subprocess.run(argv, cwd=folder, capture_output=True, text=True, check=False)
            took_s = time.perf_counter() - started
            if done.returncode:
                raise SystemExit(f"{name}: exit {done.returncode}: {done.stderr}")
            book = json.loads((Path(folder) / "runbook.json").read_text(encoding="utf-8"))
        figures = [book[k] for k in ("device_changes", "connects", "laptop_changes")]
        told = " ".join(f"{n:>7}" for n in (*figures, len(book["steps"])))
        limit = f"{limit_s:g}" if limit_s else "-"
        peak_mb = float(done.stdout)
        print(f"{name:38} {took_s:7.2f} {limit:>6} {peak_mb:8.0f} {told} {book['proved_best']}")


if __name__ == "__main__":
    main()
