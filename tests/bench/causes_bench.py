"""Causes of a large run, in seconds of processor.

Usage: python tests/bench/causes_bench.py [UNITS]      (default: 10000)

Chains of radio hops behind switches, 15 findings a device; each tenth chain has a dead first device, each
fiftieth device a wrong mask, each hundredth a silent agent, each hop of a seventh a low level.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from typing import Any

from verifier.model.address import Address, Interface
from verifier.model.plan import Carrier, Device, End, Link, Plan
from verifier.model.problem import Subject
from verifier.model.result import Finding, Verdict
from verifier.rules.diagnose import explain

CHAIN = 20
CHECKS = ("snmp.answer", "identity.name", "identity.serial", "identity.location", "identity.object-id",
          "address.mask", "address.gateway", "neighbour.mac", "echo.loss", "echo.round-trip")  # fmt: skip


def plan_of(devices: int) -> Plan:
    def device(n: int) -> Device:
        subnet = f"198.18.{n // 200}" if n < 51_000 else "198.19.0"
        return Device(
            name=f"device-{n}", address=Interface.parse(f"{subnet}.{n % 200 + 10}/24"), snmp="field",
            gateway=Address.parse(f"{subnet}.1"), uplink=(f"device-{n - 1}",) if n % CHAIN else (),
        )  # fmt: skip

    return Plan(
        devices=tuple(device(n) for n in range(devices)),
        links=tuple(
            Link(name=f"Hop {n}", carriers=(Carrier(a=End(device=f"device-{n}"), b=End(device=f"device-{n + 1}")),))
            for n in range(0, devices - 1, 2)
        ),
    )  # fmt: skip


def findings_of(devices: int) -> list[Finding]:
    found: list[Finding] = []

    def add(check: str, subject: Subject, verdict: Verdict, **more: Any) -> None:
        found.append(Finding(id=f"f{len(found)}", check=check, subject=subject, verdict=verdict,
                             reason="x", **more))  # fmt: skip

    for n in range(devices):
        dead, mute = n // CHAIN % 10 == 3, n % 100 == 7
        device = Subject("device", f"device-{n}")
        add("laptop.fit", device, "pass")
        add("echo.reply", device, "fail" if dead else "pass")
        for check in CHECKS:
            verdict: Verdict = "not-tested" if dead or (mute and "echo" not in check) else "pass"
            if check == "snmp.answer" and mute and not dead:
                add(check, device, "fail", observed="silent")
            elif check == "address.mask" and n % 50 == 0 and verdict == "pass":
                add(check, device, "fail", expected="255.255.255.0", observed="255.255.0.0")
            else:
                add(check, device, verdict)
        end = Subject("link", f"Hop {n // 2 * 2}", carrier=1, end="ab"[n % 2])  # type: ignore[arg-type]
        low = n // 2 % 7 == 0 and not dead
        add("radio.rx-level", end, "fail" if low else "pass", expected=-45.0, observed=-65.0 if low else -45.0)  # fmt: skip
        add("radio.tx-power", end, "pass")
        add("radio.lock", end, "pass")
    return found


def main() -> None:
    devices = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    plan, findings = plan_of(devices), findings_of(devices)
    start_s = time.process_time()
    _, causes = explain(plan, findings)
    used_s = time.process_time() - start_s
    print(f"{devices} devices, {len(findings)} findings: {len(causes)} causes, {used_s:.2f} s")
    print(", ".join(f"{kind} {n}" for kind, n in Counter(c.kind for c in causes).most_common()))


if __name__ == "__main__":
    main()
