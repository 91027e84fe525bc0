"""How long `verify` takes when nobody answers: 200 devices behind a router that drops everything.

    sudo .venv/bin/python tests/bench/silent_bench.py [UNITS]

Builds the lab of tests/lab, routes a subnet of silent addresses to its router, and verifies a plan
of devices that all are there. Must end within SNMP timeout_s x (retries + 1) + 2 s, else exit code 1.
"""

from __future__ import annotations

import ipaddress
import sys
import tempfile
from pathlib import Path

import yaml

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.lab.network import Network  # noqa: E402  # found only now
from tests.lab.shell import command  # noqa: E402
from tests.lab.tool import HERE, Tool  # noqa: E402

SILENT = ipaddress.ip_network("198.18.40.0/22")
SNMP_TIMEOUT_S, SNMP_RETRIES = 2, 1
LIMIT_S = SNMP_TIMEOUT_S * (SNMP_RETRIES + 1) + 2


def silent_plan(several: int) -> str:
    """A plan of devices nobody answers for; half of them are asked by SNMPv3, half by v2c."""
    gateway, *hosts = (
        str(host) for _, host in zip(range(several + 1), SILENT.hosts(), strict=False)
    )
    devices = [
        {
            "name": f"silent-{number}",
            "site": "Ferry",
            "address": f"{host}/{SILENT.prefixlen}",
            "gateway": gateway,
            "snmp": ("field", "bench")[number % 2],
        }
        for number, host in enumerate(hosts, start=1)
    ]
    plan = {
        "network": {"name": "Silent coast", "example": True},
        "sites": [{"name": "Ferry"}],
        "devices": devices,
    }
    return yaml.safe_dump(plan, sort_keys=False)


def main(devices: int) -> int:
    """Prints the time and returns the exit code."""
    with (
        Network(HERE / "plan.yaml", HERE / "credentials.toml") as network,
        tempfile.TemporaryDirectory() as scratch,
    ):
        route = ("route", "add", "blackhole", str(SILENT))
        command("ip", "-n", network.namespace("router"), *route)
        plan = Path(scratch) / "plan.yaml"
        plan.write_text(silent_plan(devices), encoding="utf-8")
        seen = Tool(network, Path(scratch)).verify(plan=plan)
    dead = sum(v == "fail" for (check, _), v in seen.verdicts.items() if check == "echo.reply")
    within = dead == devices and seen.took_s < LIMIT_S
    print(
        f"{devices} silent devices, {dead} found dead: {seen.took_s:.2f} s"
        f" (limit {LIMIT_S} s): {'within' if within else 'NOT within'} the limit"
    )
    return 0 if within else 1


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 200))
