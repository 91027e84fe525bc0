"""Requests a second of the SNMP client: 6 objects of a local snmpd, 50 questions under way.

python tests/bench/snmp_bench.py [SECONDS]
"""

from __future__ import annotations

import asyncio
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from verifier.model.address import Address
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.mib import SYSTEM
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.values import SnmpTarget

PORT = 20161
CONCURRENCY = 50
ENTRIES = {
    "v1": SnmpEntry(name="v1", version="1", community=Secret("harbour")),
    "v2c": SnmpEntry(name="v2c", version="2c", community=Secret("harbour")),
    "v3 SHA-256 AES-128": SnmpEntry(
        name="v3",
        version="3",
        user="ferry",
        auth_key=Secret("maplesyrup"),
        priv_key=Secret("maplesyrup"),
    ),
}
CONFIG = """rocommunity harbour
createUser ferry SHA-256 maplesyrup AES maplesyrup
rouser ferry priv
"""


async def measure(entry: SnmpEntry, seconds: float) -> tuple[float, float]:
    """Answers a second, and processor milliseconds for one."""
    answers = 0
    target = SnmpTarget(address=Address.parse("127.0.0.1"), entry=entry, port=PORT)
    async with SnmpClient() as client:
        await client.get(target, list(SYSTEM.values()))
        started_s, processor_s = time.monotonic(), time.process_time()

        async def ask() -> None:
            nonlocal answers
            while time.monotonic() - started_s < seconds:
                reply = await client.get(target, list(SYSTEM.values()))
                assert reply.outcome == "answered", reply
                answers += 1

        await asyncio.gather(*(ask() for _ in range(CONCURRENCY)))
        took_s = time.monotonic() - started_s
        return answers / took_s, 1000 * (time.process_time() - processor_s) / answers


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 5.0
    with tempfile.TemporaryDirectory() as folder:
        config = Path(folder) / "snmpd.conf"
        config.write_text(CONFIG)
        agent = subprocess.Popen(
            ["snmpd", "-f", "-C", "-c", str(config), "-Lf", "/dev/null", f"127.0.0.1:{PORT}"],
            env=os.environ | {"SNMP_PERSISTENT_DIR": folder, "MIBS": ""},
        )
        try:
            time.sleep(1)
            for name, entry in ENTRIES.items():
                per_s, cpu_ms = asyncio.run(measure(entry, seconds))
                print(f"{name:20} {per_s:7.0f} answers/s {cpu_ms:6.2f} ms of processor each")
            peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            print(f"peak memory {peak_mib:.0f} MiB")
        finally:
            agent.terminate()
            agent.wait()


if __name__ == "__main__":
    main()
