"""Requests a second of the simulator: a v2c GET of five system objects, spread over many devices.

python tests/bench/simulator_bench.py [UNITS] [SECONDS]

The simulator has a process of its own; this one asks, with a fixed number of requests under way.
"""

from __future__ import annotations

import itertools
import multiprocessing
import socket
import sys
import time
from pathlib import Path

from verifier.model.address import Interface
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.mib import SYSTEM
from verifier.model.plan import Device, Network, Plan, Port
from verifier.model.profile import Profile
from verifier.simulator.agent import cells
from verifier.simulator.agent.cells import oid
from verifier.simulator.agent.pdu import GET, locate
from verifier.simulator.running import running_process

PORT = 20162
UNDER_WAY = 64
WANTED = ("sysName", "sysLocation", "sysObjectID", "sysUpTime", "sysDescr")
FIRST_ID = 1 << 24
"""Request ids of four octets each."""


def plan_of(several: int) -> Plan:
    """So many devices with two ports each, at 127.64.0.0 and on."""
    ports = (Port(name="eth1", status="up"), Port(name="eth2", status="up"))
    devices = tuple(
        Device(
            name=f"device-{n}",
            location="Lighthouse",
            address=Interface.parse(f"127.{64 + (n >> 16)}.{n >> 8 & 255}.{n & 255}/10"),
            snmp="bench",
            ports=ports,
        )
        for n in range(1, several + 1)
    )
    return Plan(network=Network(name="Bench", example=True), devices=devices)


def request() -> tuple[bytes, bytes]:
    """A request in two parts, between which the request id goes."""
    bindings = [cells.sequence(cells.object_id(oid(SYSTEM[w])), cells.NULL_VALUE) for w in WANTED]
    pdu = cells.sequence(
        cells.integer(FIRST_ID),
        cells.integer(0),
        cells.integer(0),
        cells.sequence(*bindings),
        tag=GET,
    )
    whole = cells.sequence(cells.integer(1), cells.octets(b"harbour"), pdu)
    at, end = locate(whole)
    return whole[:at], whole[end:]


class Load:
    """Asks devices in turn, `UNDER_WAY` requests at a time."""

    def __init__(self, addresses: list[str]) -> None:
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.bind(("127.0.0.1", 0))
        self.socket.settimeout(2)
        self._peers = itertools.cycle([(address, PORT) for address in addresses])
        self._ids = itertools.count(FIRST_ID)
        self._head, self._tail = request()
        self._under_way: set[bytes] = set()
        for _ in range(UNDER_WAY):
            self._ask()

    def _ask(self) -> None:
        number = next(self._ids).to_bytes(4, "big")
        self._under_way.add(number)
        self.socket.sendto(self._head + number + self._tail, next(self._peers))

    def answer(self) -> None:
        """Takes one reply, which must be to one of ours, and asks again."""
        reply = self.socket.recv(2048)
        at, end = locate(reply)
        self._under_way.remove(reply[at:end])
        self._ask()


def memory_mib() -> float:
    """Resident memory of the simulator's process, this process's only child."""
    (process,) = multiprocessing.active_children()
    status = Path(f"/proc/{process.pid}/status").read_text(encoding="ascii")
    (kib,) = [int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS")]
    return kib / 1024


def main() -> None:
    devices = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 5.0
    plan = plan_of(devices)
    entry = SnmpEntry(name="bench", version="2c", community=Secret("harbour"), port=PORT)
    started_s = time.monotonic()
    with running_process(plan, {"mib2": Profile(id="mib2")}, {"bench": entry}):
        print(f"{devices} devices ready after {time.monotonic() - started_s:.1f} s, "
              f"{memory_mib():.0f} MiB")  # fmt: skip
        load = Load([str(d.address.address) for d in plan.devices])
        started_s = time.monotonic()
        for _ in range(devices):
            load.answer()
        took_s = time.monotonic() - started_s
        print(f"each asked once: {devices / took_s:.0f} answers/s, {memory_mib():.0f} MiB")
        answers, started_s = 0, time.monotonic()
        while time.monotonic() - started_s < seconds:
            for _ in range(100):
                load.answer()
            answers += 100
        print(f"asked again and again: {answers / (time.monotonic() - started_s):.0f} answers/s, "
              f"{memory_mib():.0f} MiB")  # fmt: skip


if __name__ == "__main__":
    main()
