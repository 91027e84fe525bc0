"""How long `fit` takes for many devices: the whole answer, with the kernel's routes, and the report.

    python tests/bench/fit_bench.py [devices]

Half of the devices fit, half are in other subnets of 254 hosts each. The plan is made in memory, so
that reading a file is no part of it. In a network namespace of its own, where it needs root.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
from pathlib import Path

from verifier.model.address import Interface
from verifier.model.plan import Device, Plan
from verifier.probes.world import ThisMachine
from verifier.report.fit import json, text
from verifier.report.style import ReportStyle
from verifier.session.laptop import FitQuestion, answer

SETUP = """ip link set lo up; ip link add eth0 type veth peer name far
ip link set eth0 up; ip link set far up; ip address add 198.18.0.1/17 dev eth0
ip route add default via 198.18.0.2"""


def device(number: int, count: int) -> Device:
    if number < count // 2:
        value, prefix = 0xC6120000 + 10 + number, 17
    else:
        value, prefix = 0xC6128000 + (number // 250 << 8) % 0x8000 + number % 250 + 1, 24
    ip = ".".join(str(value >> shift & 0xFF) for shift in (24, 16, 8, 0))
    return Device(name=f"device-{number}", address=Interface.parse(f"{ip}/{prefix}"))


def main(count: int) -> None:
    devices = tuple(device(n, count) for n in range(count))
    plan = Plan(devices=devices)
    began_s, processor_s = time.perf_counter(), time.process_time()
    report = answer(FitQuestion(plan=plan, profiles={}, devices=devices), ThisMachine().laptop)
    answered_s, processor_s = time.perf_counter(), time.process_time() - processor_s
    look = ReportStyle()
    sizes = [len(draw(report, look)) for draw in (json, text)]
    drawn_s = time.perf_counter()
    relations = {f.relation for f in report.devices}
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{count} devices ({', '.join(sorted(relations))}): answer {answered_s - began_s:.2f} s "
        f"({processor_s:.2f} s of processor), both reports {drawn_s - answered_s:.2f} s ({sizes[0] / 1e6:.1f} MB JSON), "
        f"peak {peak_mb:.0f} MB"
    )


if __name__ == "__main__":
    if "--inside" not in sys.argv:
        words = " ".join([sys.executable, __file__, "--inside", *sys.argv[1:]])
        env = {**os.environ, "PYTHONPATH": str(Path(__file__).parent.parent.parent)}
        script = f"{SETUP}; exec {words}"
        sys.exit(
            subprocess.run(
                ["unshare", "--net", "sh", "-c", script], env=env, check=False
            ).returncode
        )
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    main(numbers[0] if numbers else 10_000)
