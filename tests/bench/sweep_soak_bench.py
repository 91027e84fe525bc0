"""Many sweeps of one process: its memory, descriptors and time per sweep must not grow.

Usage: python -m tests.bench.sweep_soak_bench [SWEEPS [UNITS]]      (default: 2000 200)

The devices are simulated; each has an identity and two ports and is asked by SNMP v2c. The sweeps follow
one another at once, each writes metrics and the status page. Every 25th sweep a port of one device changes, so
that there is something to tell.
"""

from __future__ import annotations

import collections
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path

import psutil

from tests.cli.sweeping import desk, line_of
from verifier.simulator.faults import PlantedFault

DEVICE = (
    "  - {{name: device-{n}, site: Quarry, address: 127.91.{high}.{low}/16, snmp: bench,"
    " ports: [{{name: eth1, status: up, speed_mbps: 1000}}, {{name: eth2, status: up}}]}}\n"
)
FAULT = PlantedFault(kind="port-slow", device="device-1", port="eth1", value=10)


def plan(devices: int) -> str:
    rows = (DEVICE.format(n=n, high=n // 250 + 1, low=n % 250 + 2) for n in range(devices))
    head = "network: {name: Scale, example: true}\nsites: [{name: Quarry}]\ndevices:\n"
    return head + "".join(rows)


def main() -> None:
    sweeps = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    devices = int(sys.argv[2]) if len(sys.argv) > 2 else 200
    seen: list[tuple[float, int, int, float]] = []
    with tempfile.TemporaryDirectory() as name, desk(Path(name), plan(devices)) as at:
        process = at.start(
            "--every", "0.01s", "--lines", str(at.lines),
            "--metrics", str(at.folder / "m.txt"), "--page", str(at.folder / "page"),
        )  # fmt: skip
        assert process.stderr is not None
        said: collections.deque[str] = collections.deque(maxlen=5)
        threading.Thread(target=said.extend, args=(process.stderr,), daemon=True).start()
        watched, slow = psutil.Process(process.pid), False
        for n in range(sweeps):
            line = line_of(process)
            while line and " sweep " not in line:
                line = line_of(process)
            if not line:
                raise SystemExit(f"ended after {n} sweeps: {list(said)}")
            took_s = float(line.rsplit("(", 1)[1].split(" s)")[0])
            used = watched.cpu_times()
            cpu_s = used.user + used.system + used.children_user + used.children_system
            seen.append((took_s, watched.memory_info().rss, watched.num_fds(), cpu_s))
            if n % 25 == 24:
                (at.network.take_off if slow else at.network.put)(FAULT)
                slow = not slow
        process.terminate()
        process.wait(60)
        assert process.returncode == 0
        told, size = len(at.told()), at.store.stat().st_size
        assert at.rows("PRAGMA integrity_check") == [("ok",)]
    print(f"{sweeps} sweeps of {devices} devices; {told} messages; store {size / 1e6:.1f} MB")
    print(f"{'sweeps':>12} {'median s':>9} {'cpu s':>7} {'RSS MB':>7} {'fds':>4}")
    part = max(1, sweeps // 8)
    for at_ in range(0, sweeps - part + 1, part):
        chunk = seen[at_ : at_ + part]
        cpu_s = (chunk[-1][3] - chunk[0][3]) / max(1, len(chunk) - 1)
        print(
            f"{at_ + 1:>5}-{at_ + part:<6} {statistics.median(c[0] for c in chunk):9.2f} {cpu_s:7.3f} "
            f"{statistics.median(c[1] for c in chunk) / 2**20:7.1f} {max(c[2] for c in chunk):4}"
        )


if __name__ == "__main__":
    began_s = time.monotonic()
    main()
    print(f"{time.monotonic() - began_s:.0f} s")
