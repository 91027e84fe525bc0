"""One sweep of simulated networks of growing size: wall time, processor time, memory.

Usage (root): python -m tests.bench.sweep_scale_bench [--v3] [--dead PERCENT] [UNITS ...]
              (default: 100 1000 10000)

Each device has an identity and two ports, three echoes; SNMP v2c unless --v3. Each network is swept by pysnmp
alone and with the extra `fast`. The wall time is that of the whole command: it reads the plan, sweeps,
stores, reports. Memory is the highest sum of all its processes at one moment, shared pages counted once (PSS).

The simulated devices share the cores with the sweep. What they work out only when they are asked for the
first time, a sweep into another store has asked before. Of the dead, echoes are dropped by the kernel of a
network namespace that this script makes, and the agents are silent.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import NamedTuple

import psutil

from tests.bench.sweep_soak_bench import plan
from tests.cli.sweeping import V2C, V3, Desk, desk
from tests.command import clean_environment
from tests.lab.shell import command
from verifier.simulator.faults import PlantedFault

WITHOUT_EXTRA = (
    "import runpy, sys; sys.modules['gufo'] = None; sys.argv[0] = 'verifier';"
    "runpy.run_module('verifier', run_name='__main__')"
)
"""What runs the command as if gufo-snmp were not installed."""


class Used(NamedTuple):
    wall_s: float
    cpu_s: float
    peak_mb: float


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("devices", nargs="*", type=int, default=[100, 1000, 10000])
    asked.add_argument("--v3", action="store_true")
    asked.add_argument("--dead", type=int, default=0)
    asked.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    options = asked.parse_args()
    if not options.inside:
        again = [
            "unshare",
            "--net",
            sys.executable,
            "-m",
            "tests.bench.sweep_scale_bench",
            "--inside",
        ]
        sys.exit(subprocess.run([*again, *sys.argv[1:]], check=False).returncode)
    command("ip", "link", "set", "lo", "up")
    print(
        f"{'units':>6} {'dead':>5} {'client':>7} {'wall s':>8} {'cpu s':>7} {'ms/device':>8} {'PSS MB':>7}"
    )
    for devices in options.devices:
        with (
            tempfile.TemporaryDirectory() as name,
            desk(Path(name), plan(devices), V3 if options.v3 else V2C) as at,
        ):
            dead = kill(at, devices, options.dead)
            for client in ("pysnmp", "fast"):
                measured(at, client)
                used = measured(at, client)
                summary = json.loads((at.folder / "s.json").read_text())["summary"]
                assert (summary["sound"], summary["silent"]) == (devices - dead, dead), summary
                print(
                    f"{devices:6} {dead:5} {client:>7} {used.wall_s:8.2f} {used.cpu_s:7.2f}"
                    f" {1000 * used.wall_s / devices:8.2f} {used.peak_mb:7.0f}",
                    flush=True,
                )


def kill(at: Desk, devices: int, percent: int) -> int:
    """Lets so many devices answer neither echoes nor SNMP; returns how many."""
    addresses = []
    for n in range(devices):
        if n * percent // 100 != (n + 1) * percent // 100:
            at.network.put(PlantedFault(kind="no-answer", device=f"device-{n}"))
            addresses.append(f"127.91.{n // 250 + 1}.{n % 250 + 2}")
    if addresses:
        table = (
            f"table ip dead {{\nset devices {{ type ipv4_addr; elements = {{ {', '.join(addresses)} }}; }}\n"
            "chain incoming {\ntype filter hook input priority 0;\n"
            "ip daddr @devices icmp type echo-request drop\n}\n}\n"
        )
        command("nft", "-f", "-", stdin=table)
    return len(addresses)


def measured(at: Desk, client: str) -> Used:
    """One sweep by the command into a new store."""
    at.store.unlink(missing_ok=True)
    words = at.argv("--quiet", "--out", "s.json", "--timeout", "1s")
    if client == "pysnmp":
        words = [sys.executable, "-c", WITHOUT_EXTRA, *words[3:]]
    began_s, before = time.monotonic(), os.times()
    process = subprocess.Popen(words, cwd=at.folder, env=clean_environment())
    peaks: list[float] = [0.0]
    watching = threading.Thread(target=watch, args=(process.pid, peaks))
    watching.start()
    code = process.wait()
    took_s, after = time.monotonic() - began_s, os.times()
    watching.join()
    assert code in {0, 1}
    cpu_s = (
        after.children_user + after.children_system - before.children_user - before.children_system
    )
    return Used(took_s, cpu_s, max(peaks))


def watch(pid: int, peaks: list[float]) -> None:
    """Adds the memory of a process and its descendants, again and again while it lives."""
    try:
        process = psutil.Process(pid)
        while process.status() != psutil.STATUS_ZOMBIE:
            own = [process, *process.children(recursive=True)]
            peaks.append(sum(map(pss_mb, own)))
            time.sleep(0.5)
    except psutil.NoSuchProcess:
        pass


def pss_mb(process: psutil.Process) -> float:
    """Its proportional set size: of pages that processes share, its part."""
    try:
        return float(process.memory_full_info().pss) / 1e6
    except psutil.Error:
        return 0.0


if __name__ == "__main__":
    main()
