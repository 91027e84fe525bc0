"""Sweeps of devices that all answer SNMP late: counted, given up, and the sweep after; with both clients.

Usage: python -m tests.bench.sweep_late_bench [UNITS]      (default: 1000)

Late by 2.6 s an answer comes while the second request is out, and counts. Late by 5 s it comes when the
device was given up, asked again slowly, and given up again; the last ones arrive in the sweep that follows.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from pathlib import Path

from tests.cli.sweeping import Desk, desk, plan_of
from verifier.simulator.faults import PlantedFault

LATE = {2.6: "sound", 5.0: "impaired"}
"""Seconds, and the state that every device must be seen in."""


def sweep(at: Desk, without_fast: str | None) -> tuple[dict[str, int], set[str], float]:
    """What a sweep came to: states, checks that failed, seconds."""
    began_s = time.monotonic()
    env = {"PYTHONPATH": f"{without_fast}:{Path.cwd()}"} if without_fast else None
    done = at.sweep("--format", "json", env=env)
    assert done.stderr == "", done.stderr
    document = json.loads(done.stdout)
    failed = {
        r["check"] for u in document["subjects"] for r in u["reasons"] if r["verdict"] == "fail"
    }
    return document["summary"], failed, time.monotonic() - began_s


def main() -> None:
    devices = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    with tempfile.TemporaryDirectory() as hiding:
        (Path(hiding) / "gufo").mkdir()
        (Path(hiding) / "gufo" / "__init__.py").touch()  # hides the library
        for name, without in (("gufo-snmp", None), ("pysnmp alone", hiding)):
            with (
                tempfile.TemporaryDirectory() as folder,
                desk(Path(folder), plan_of(devices, ports_of_each=devices)) as at,
            ):
                at.network.put(
                    PlantedFault(kind="no-answer", device="device-0")
                )  # the only one with a port
                for late_s, state in LATE.items():
                    faults = [
                        PlantedFault(kind="slow", device=f"device-{n}", value=late_s)
                        for n in range(1, devices)
                    ]
                    for fault in faults:
                        at.network.put(fault)
                    summary, failed, took_s = sweep(at, without)
                    for fault in faults:
                        at.network.take_off(fault)
                    print(f"{name}: late by {late_s} s: {summary}, {failed}, {took_s:.1f} s")
                    assert summary[state] >= devices - 1
                    assert failed == {"snmp.answer"}
                    summary, _, took_s = sweep(at, without)
                    print(f"{name}: and the sweep after it: {summary}, {took_s:.1f} s")
                    assert summary == {
                        "sound": devices - 1,
                        "untested": 0,
                        "impaired": 1,
                        "silent": 0,
                    }


if __name__ == "__main__":
    main()
