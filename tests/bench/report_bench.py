"""Documents of many devices: page, workbook and others; evidence written and judged again.

Usage: python tests/bench/report_bench.py [UNITS]      (default: 1000)

The devices are on the loopback range in another process; `verify` asks each by SNMP v2c, with two
ports and two devices a link. What is measured afterwards works on what that run saw, as the commands
do it; the last two lines are the commands as a person runs them, with their own start.
"""

from __future__ import annotations

import functools
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from verifier.files.credentials import load_credentials
from verifier.files.evidence import document as files
from verifier.files.evidence.observations import result_of
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.report.result import FORMATS
from verifier.report.style import ReportStyle
from verifier.session.run import annex
from verifier.simulator.running import running_process

PORT = 16281
CREDENTIALS = f'[snmp.bench]\nversion = "2c"\ncommunity = "coastal-read"\nport = {PORT}\n'
DEVICE = (
    "  - {{name: device-{n}, site: Quarry, address: 127.91.{high}.{low}/16, gateway: 127.91.0.1,"
    " snmp: bench, ports: [{{name: eth1, status: up, speed_mbps: 1000, duplex: full, mtu: 1500}},"
    " {{name: eth2, status: up, speed_mbps: 10000}}]}}\n"
)
LINK = "  - {{name: Hop {n}, a: {{device: device-{a}}}, b: {{device: device-{b}}}}}\n"


def write(folder: Path, devices: int) -> None:
    rows = (DEVICE.format(n=n, high=n // 250 + 1, low=n % 250 + 2) for n in range(devices))
    links = (LINK.format(n=n, a=n, b=n + 1) for n in range(0, devices - 1, 2))
    head = "network: {name: Scale, example: true}\nsites: [{name: Quarry}]\ndevices:\n"
    (folder / "plan.yaml").write_text(f"{head}{''.join(rows)}links:\n{''.join(links)}")
    (folder / "credentials.toml").write_text(CREDENTIALS)
    (folder / "credentials.toml").chmod(0o600)


def command(folder: Path, *words: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "verifier", *words], cwd=folder, check=False, capture_output=True
    )
    if done.returncode:
        raise SystemExit(f"{words[0]} ended with {done.returncode}: {done.stderr.decode()}")


def processor_s() -> float:
    """Seconds of processor that this process and its finished children have had."""
    used = [resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in used)


def timed(what: str, job: Callable[[], Any]) -> Any:
    start, used = time.perf_counter(), processor_s()
    made = job()
    took_s, used = time.perf_counter() - start, processor_s() - used
    size = f"{len(made) / 1e6:8.2f} MB" if isinstance(made, (str, bytes)) else ""
    print(f"{what:24} {took_s:7.2f} s {used:7.2f} s {size}")
    return made


def measure(folder: Path) -> None:
    path = folder / "evidence.json"
    document = timed("evidence: JSON read", lambda: files.read_document(path))
    evidence = timed("evidence: proved", lambda: files.parse(document, path))
    result = timed("result: read", lambda: result_of(evidence.parts["result"], "x"))
    plan = timed("plan: read", lambda: files.plan_of(evidence, path))
    profiles = files.profiles_of(evidence, path)
    print(f"{len(result.findings)} findings, {len(result.observations)} observations")
    part = evidence.parts["result"]
    again = timed("evidence: sealed", lambda: files.seal(part, plan, profiles))
    timed("evidence: written", lambda: files.to_bytes(again))
    look = ReportStyle(annex=annex(plan, evidence, sheets=True))
    for name, draw in FORMATS.items():
        timed(name, functools.partial(draw, result, look))
    timed("report --judge-again", lambda: command(folder, "report", path.name, "--judge-again"))
    timed("report --out x.html", lambda: command(folder, "report", path.name, "--out", "x.html"))
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"peak of the largest command {peak:.0f} MB")


def main() -> None:
    devices = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    print(f"{'':24} {'wall':>9} {'processor':>9}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write(folder, devices)
        plan, _ = read_plan(folder / "plan.yaml")
        credentials = load_credentials({"bench"}, folder / "credentials.toml", {})
        words = ("verify", "plan.yaml", "--credentials", "credentials.toml", "--echoes", "1")
        with running_process(plan, load_profiles({"mib2"}), credentials):
            timed("verify", lambda: command(folder, *words, "--quiet"))
            timed("verify --evidence",
                  lambda: command(folder, *words, "--quiet", "--evidence", "evidence.json"))  # fmt: skip
        assert json.loads((folder / "evidence.json").read_text())["parts"]["result"]["findings"]
        measure(folder)


if __name__ == "__main__":
    main()
