"""What a soak costs: simulated devices in another process, the command as a person runs it.

    python tests/bench/soak_bench.py [UNITS [MINUTES]]

Prints the processor's share of one core and the resident memory while it soaks, the growth of the
journal an hour, and what the end costs. The machine may be busy: only the command's own time counts.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from verifier.files.credentials import load_credentials
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.simulator.running import running_process

PORT = 16391
_TICKS = os.sysconf("SC_CLK_TCK")


def plan_of(devices: int) -> str:
    """Radios in pairs, each with two ports, a level to sample, a size to prove."""
    rows, links = [], []
    for n in range(devices):
        rows.append(
            f"  - {{name: device-{n}, profile: hop-radio, address: 127.87.{n // 200}.{n % 200 + 1}/8,"
            " snmp: bench, services: {closed: [443/tcp]},"
            " ports: [{name: eth1, speed_mbps: 1000}, {name: eth2, speed_mbps: 1000}]}"
        )
        if n % 2:
            links.append(
                f"  - {{name: Hop {n}, bandwidth_mhz: 28, modulation_max: 256qam,"
                f" a: {{device: unit-{n - 1}, tx_mhz: 13143.0, tx_power_dbm: 18, rx_level_dbm: -45}},"
                f" b: {{device: unit-{n}, tx_mhz: 12877.0, tx_power_dbm: 18, rx_level_dbm: -45}}}}"
            )
    return (
        "network: {name: Bench, example: true}\ndevices:\n" + "\n".join(rows) + "\nlinks:\n"
        + "\n".join(links) + "\nacceptance: {echo_per_s: 1, mtu_bytes: 1500}\n"
    )  # fmt: skip


def usage(pid: int) -> tuple[float, float]:
    """Processor seconds of a process so far, and its resident memory in MB."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    cpu_s = (int(fields[11]) + int(fields[12])) / _TICKS
    return cpu_s, int(fields[21]) * resource.getpagesize() / 1e6


def main() -> None:
    devices = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    minutes = float(sys.argv[2]) if len(sys.argv) > 2 else 4.0
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        (place / "plan.yaml").write_text(plan_of(devices))
        secret = place / "credentials.toml"
        secret.write_text(
            f'[snmp.bench]\nversion = "2c"\ncommunity = "bench-read"\nport = {PORT}\n'
        )
        secret.chmod(0o600)
        plan, _ = read_plan(place / "plan.yaml")
        with running_process(
            plan, load_profiles({"hop-radio"}), load_credentials({"bench"}, secret, {})
        ):
            measure(place, devices, minutes)


def measure(place: Path, devices: int, minutes: float) -> None:
    argv = [sys.executable, "-m", "verifier", "verify", "plan.yaml", "--credentials",
            "credentials.toml", "--echoes", "1", "--evidence", "ev.json", f"--soak={minutes}m",
            "--quiet"]  # fmt: skip
    process = subprocess.Popen(argv, cwd=place)
    journal = place / "ev.json.journal"
    while not (journal.exists() and b'"kind":"echo"' in journal.read_bytes()[-2_000_000:]):
        time.sleep(0.2)
    began_s, (before_s, _), size = time.monotonic(), usage(process.pid), journal.stat().st_size
    most_mb, took_s, cpu_s, grown = 0.0, 1.0, 0.0, 0
    end_s = began_s + (minutes - 1.5) * 60
    while time.monotonic() < end_s and process.poll() is None:
        time.sleep(1.0)
        now_s, mb = usage(process.pid)
        most_mb = max(most_mb, mb)
        took_s, cpu_s = time.monotonic() - began_s, now_s - before_s
        grown = journal.stat().st_size - size
    process.wait()
    peak_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e3
    result = json.loads((place / "ev.json").read_text())["parts"]["result"]
    lost = sorted({f["observed"] for f in result["findings"] if f["check"] == "echo.loss"})
    packed = journal.with_name("ev.json.journal.gz").stat().st_size
    print(f"{devices} devices, {minutes:g} min, over {took_s:.0f} s of it:")
    print(f"  processor {100 * cpu_s / took_s:.1f} % of one core, resident {most_mb:.0f} MB")
    print(
        f"  journal {grown / took_s * 3600 / 1e6:.1f} MB an hour; compressed in all {packed / 1e6:.2f} MB"
    )
    print(f"  with the end: peak {peak_mb:.0f} MB (of the command or the simulator)")
    print(f"  verdicts {result['summary']}, loss {lost} %")


if __name__ == "__main__":
    main()
