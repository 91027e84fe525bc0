"""`verify` of simulated networks of growing size: wall time, processor time, memory.

Usage: python tests/bench/scale_bench.py [--radio] [UNITS ...]      (default: 100 1000 5000)

The devices are on the loopback range in another process; each has an identity, an address, a default
route and two ports, and is asked by SNMP v2c. With --radio they are the ends of links, with the
readings of the shipped radio profile, and both ends of each link are sampled together. The plan is written to a file and `verify` runs as a
person runs it, with its own start, reading and report.
"""

from __future__ import annotations

import json
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

SIZES = (100, 1000, 5000)
PORT = 16261
CREDENTIALS = f'[snmp.bench]\nversion = "2c"\ncommunity = "coastal-read"\nport = {PORT}\n'
DEVICE = (
    "  - {{name: device-{n}, site: Quarry, address: 127.90.{high}.{low}/16, gateway: 127.90.0.1,"
    " snmp: bench, profile: {profile}, services: {{closed: [443/tcp]}}, ports: [{{name: eth1, status: up, speed_mbps: 1000, duplex: full, mtu: 1500}},"
    " {{name: eth2, status: up, speed_mbps: 10000}}]}}\n"
)
LINK = (
    "  - {{name: Hop {n}, bandwidth_mhz: 28, modulation: 256qam, path_km: 11.42, polarisation: V,"
    " {a}, {b}}}\n"
)
END = (
    "{end}: {{device: unit-{n}, tx_mhz: {mhz}, tx_power_dbm: 18, antenna_dbi: 36.1,"
    " rx_level_dbm: {level}}}"
)


def write(folder: Path, devices: int, profile: str) -> None:
    """The plan and the credentials of a network of so many devices."""
    rows = [
        DEVICE.format(n=n, high=n // 250 + 1, low=n % 250 + 2, profile=profile)
        for n in range(devices)
    ]
    head = "network: {name: Scale, example: true}\nsites: [{name: Quarry}]\ndevices:\n"
    if profile != "mib2":
        rows.append("links:\n")
        for n in range(0, devices - 1, 2):
            a = END.format(end="a", n=n, mhz=13143, level=-45.6)
            b = END.format(end="b", n=n + 1, mhz=12877, level=-45.8)
            rows.append(LINK.format(n=n, a=a, b=b))
    (folder / "plan.yaml").write_text(head + "".join(rows))
    (folder / "credentials.toml").write_text(CREDENTIALS)
    (folder / "credentials.toml").chmod(0o600)


def measure(folder: Path) -> tuple[float, float, float, dict[str, int]]:
    """Wall seconds, processor seconds and peak MB of one run, and its summary."""
    code = (
        "import resource, runpy, sys\n"
        "sys.argv = ['plan-verifier', 'verify', 'plan.yaml', '--credentials', 'credentials.toml',"
        " '--quiet', '--out', 'result.json']\n"
        "try:\n    runpy.run_module('verifier', run_name='__main__')\n"
        "finally:\n"
        "    used = [resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]\n"
        "    print(sum(u.ru_utime + u.ru_stime for u in used), sum(u.ru_maxrss for u in used) / 1024)\n"
    )
    started = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=folder, capture_output=True, text=True, check=False
    )
    took_s = time.perf_counter() - started
    if done.returncode not in {0, 3}:
        raise SystemExit(f"verify ended with {done.returncode}: {done.stdout}{done.stderr}")
    processor_s, peak_mb = map(float, done.stdout.splitlines()[-1].split())
    summary: dict[str, int] = json.loads((folder / "result.json").read_text())["summary"]
    return took_s, processor_s, peak_mb, summary


def main() -> None:
    words = sys.argv[1:]
    profile = "hop-radio" if "--radio" in words else "mib2"
    sizes = [int(word) for word in words if word.isdigit()] or list(SIZES)
    print(
        f"{'devices':>7} {'findings':>9} {'wall s':>8} {'cpu s':>8} {'ms/device':>8} {'peak MB':>8}"
    )
    for devices in sizes:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            write(folder, devices, profile)
            plan, _ = read_plan(folder / "plan.yaml")
            profiles = load_profiles({profile})
            credentials = load_credentials({"bench"}, folder / "credentials.toml", {})
            with running_process(plan, profiles, credentials):
                took_s, processor_s, peak_mb, summary = measure(folder)
        assert not summary["fail"], summary
        print(
            f"{devices:7} {sum(summary.values()):9} {took_s:8.2f} {processor_s:8.2f} "
            f"{1000 * took_s / devices:8.2f} {peak_mb:8.0f}"
        )


if __name__ == "__main__":
    resource.setrlimit(
        resource.RLIMIT_NOFILE, (min(4096, resource.getrlimit(resource.RLIMIT_NOFILE)[1]),) * 2
    )
    main()
