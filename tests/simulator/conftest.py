"""A plan of two radios and a switch on the loopback range, and what asks the agents."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import pytest

from tests.ports import free_port
from tests.stopwatch import patience
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.plan import Plan
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.values import ColumnTable, SnmpReply, SnmpTarget
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running

PLAN = """\
network: {name: Harbour, example: true}
management: {hosts: [{name: desk, address: 203.0.113.10, uses: [trap, syslog, ntp]}]}
sites:
  - {name: Lighthouse, latitude: 47.1000, longitude: -20.2000}
  - {name: Quarry, latitude: 47.1544, longitude: -20.0723}
devices:
  - name: lighthouse-quarry
    site: Lighthouse
    profile: hop-radio
    address: 127.80.0.11/24
    gateway: 127.80.0.1
    mac: 02:00:5e:10:00:01
    serial: "000123"
    part_number: PTP-13-H
    software: "4.2.1"
    snmp: bench
    ports:
      - {name: eth1, status: up, speed_mbps: 1000, duplex: full, mtu: 1500, neighbour: lighthouse-switch}
      - {name: eth2, status: up, speed_mbps: 10000}
      - {name: eth3, status: down}
  - {name: quarry-lighthouse, site: Quarry, profile: hop-radio, address: 127.80.0.12/24, gateway: 127.80.0.1, serial: "000124", snmp: bench}
  - name: lighthouse-switch
    site: Lighthouse
    profile: switch
    address: 127.80.0.13/24
    other_addresses: [{address: 127.80.1.13/25}, {address: 2001:db8::13/64}]
    snmp: field
    ports: [{name: p1, neighbour: lighthouse-quarry}]
links:
  - name: Hop 1
    bandwidth_mhz: 28
    modulation_max: 256qam
    modulation_min: 4qam
    modulation_reference: 64qam
    adaptive: true
    capacity_mbps: 190
    key_capacity_mbps: 190
    polarisation: V
    a: {device: lighthouse-quarry, tx_mhz: 13143.0, tx_power_dbm: 18, max_eirp_dbm: 62.1, antenna_dbi: 36.1, rx_level_dbm: -45.6, atpc: false, link_id: "7"}
    b: {device: quarry-lighthouse, tx_mhz: 12877.0, tx_power_dbm: 18, max_eirp_dbm: 62.1, antenna_dbi: 36.1, rx_level_dbm: -45.8, atpc: false, link_id: "7"}
"""
ENTRIES = {
    "bench": SnmpEntry(name="bench", version="2c", community=Secret("harbour")),
    "field": SnmpEntry(
        name="field", version="3", user="ferry", auth_key=Secret("maplesyrup"),
        priv_key=Secret("newsyrup-newsyrup"),
    ),
}  # fmt: skip


@pytest.fixture
def plan(tmp_path) -> Plan:
    """Two radios with a link, and a switch that speaks v3."""
    path = tmp_path / "plan.yaml"
    path.write_text(PLAN, encoding="utf-8")
    found, problems = read_plan(path)
    assert not [p for p in problems if p.severity == "error"]
    return found


@pytest.fixture
def port() -> Any:
    """A UDP port that nobody has."""
    return free_port()


@pytest.fixture
def network(plan, port) -> Iterator[SimulatedNetwork]:
    """The plan's network, running."""
    built = SimulatedNetwork(
        plan, load_profiles({d.profile for d in plan.devices}), ENTRIES, port=port
    )
    with running(built):
        yield built


class Asker:
    """Asks the devices of a plan with the project's own client."""

    def __init__(self, plan: Plan, port: int) -> None:
        self._devices = {d.name: d for d in plan.devices}
        self._port = port

    def target(self, name: str, **changes) -> SnmpTarget:
        device = self._devices[name]
        usual: dict[str, Any] = {
            "entry": ENTRIES[device.snmp or ""],
            "timeout_s": 0.4 * patience(),
            "retries": 0,
        }
        settled = usual | changes
        return SnmpTarget(address=device.address.address, port=self._port, **settled)

    def get(self, name: str, *oids: str, **changes) -> SnmpReply:
        asked = self.target(name, **changes)
        reply: SnmpReply = self.run(lambda client: client.get(asked, oids))
        return reply

    def values(self, name: str, *oids: str) -> list[Any]:
        """Values of these objects; None where there is none."""
        reply = self.get(name, *oids)
        assert reply.outcome == "answered", reply
        return [b.text if isinstance(b.value, bytes) else b.value for b in reply.bindings]

    def walk(self, name: str, *columns: str, max_rows: int = 2000, **changes) -> ColumnTable:
        asked = self.target(name, **changes)
        table: ColumnTable = self.run(lambda client: client.walk(asked, columns, max_rows=max_rows))
        return table

    @staticmethod
    def run(ask: Callable[[SnmpClient], Any]) -> Any:
        """What comes of a question to the client."""

        async def run():
            async with SnmpClient() as client:
                return await ask(client)

        return asyncio.run(run())


@pytest.fixture
def ask(plan, port) -> Asker:
    """Asks the running network's devices."""
    return Asker(plan, port)


@pytest.fixture
def datagrams(port) -> Iterator[Callable[[str, bytes], bytes | None]]:
    """Sends octets to an address and returns what comes back; None: nothing within 0.3 s."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        asking.bind(("127.0.0.1", 0))
        asking.settimeout(0.3)

        def send(address: str, data: bytes) -> bytes | None:
            asking.sendto(data, (address, port))
            try:
                reply, (responder, _) = asking.recvfrom(65535)
            except TimeoutError:
                return None
            assert responder == address
            return reply

        yield send


@pytest.fixture
def get_request() -> Callable[..., bytes]:
    """Makes the octets of a request by hand, apart from the code under test."""

    def tlv(tag: int, *parts: bytes) -> bytes:
        content = b"".join(parts)
        size = len(content)
        head = bytes((tag, size)) if size < 128 else bytes((tag, 0x82, size >> 8, size & 255))
        return head + content

    def make(
        *names: bytes, version: int = 1, community: bytes = b"harbour", kind: int = 0xA0,
        request_id: bytes = b"\x12\x34\x56\x78", numbers: Sequence[int] = (0, 0),
    ) -> bytes:  # fmt: skip
        bindings = tlv(0x30, *(tlv(0x30, tlv(6, name), b"\x05\x00") for name in names))
        fields = [tlv(2, bytes((n,))) for n in numbers]
        pdu = tlv(kind, tlv(2, request_id), *fields, bindings)
        return tlv(0x30, tlv(2, bytes((version,))), tlv(4, community), pdu)

    return make
