"""One sweep of simulated networks of growing size: wall time, processor time, memory.

Usage: python -m tests.bench.sweep_scale_bench [UNITS ...]      (default: 100 1000 5000)

Each unit has an identity and two ports, three echoes, SNMP v2c. The peak is that of the largest process;
the sweep, its measurement and two workers are four.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.bench.sweep_soak_bench import plan
from tests.cli.conftest import clean_environment
from tests.cli.sweeping import desk


def main() -> None:
    print(f"{'units':>6} {'wall s':>8} {'cpu s':>8} {'ms/unit':>8} {'peak MB':>8} {'store MB':>9}")
    for units in [int(word) for word in sys.argv[1:]] or [100, 1000, 5000]:
        with tempfile.TemporaryDirectory() as name, desk(Path(name), plan(units)) as at:
            argv = [sys.executable, __file__, "--alone", *at.argv("--quiet", "--out", "s.json")]
            began_s = time.monotonic()
            done = subprocess.run(
                argv, cwd=name, env=clean_environment(), capture_output=True, text=True, check=False
            )
            took_s = time.monotonic() - began_s
            cpu_s, peak_mb = map(float, done.stdout.split())
            summary = json.loads((Path(name) / "s.json").read_text())["summary"]
            assert summary["sound"] == units, summary
            size_mb = at.store.stat().st_size / 1e6
        print(
            f"{units:6} {took_s:8.2f} {cpu_s:8.2f} {1000 * took_s / units:8.2f} {peak_mb:8.0f} {size_mb:9.1f}"
        )


def alone(argv: list[str]) -> None:
    """Runs the command and prints what it and its children used."""
    subprocess.run(argv, check=False)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--alone"]:
        alone(sys.argv[2:])
    else:
        main()
