"""One contract, two agents: the simulator and net-snmp's snmpd answer our client alike."""

from __future__ import annotations

import asyncio
import contextlib
import dataclasses
import json
import os
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.command import command
from tests.ports import free_port
from verifier.model import mib
from verifier.model.address import Address, Interface
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.plan import Device, Plan, Port
from verifier.model.profile import Profile
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.values import SnmpReply, SnmpTarget
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running

pytestmark = [pytest.mark.snmpd, pytest.mark.icmp]

NAME, PLACE = "lighthouse-quarry", "Lighthouse, 2nd floor"
KEY, OTHER = "maplesyrup", "newsyrup-newsyrup"
LO_MTU = int(Path("/sys/class/net/lo/mtu").read_text())
SNMPD = f"""\
sysName {NAME}
sysLocation {PLACE}
rocommunity harbour
createUser ferry SHA-256 {KEY} AES {OTHER}
rouser ferry priv
"""
DEVICE = Device(
    name=NAME, location=PLACE, address=Interface.parse("127.0.0.1/8"), snmp="x",
    ports=(Port(name="lo", status="up", mtu=LO_MTU),),
)  # fmt: skip
PLAN = f"""\
network: {{name: Contract, example: true}}
devices:
  - {{name: {NAME}, location: Lighthouse, address: 127.0.0.1/8, snmp: x, ports: [{{name: lo, status: up, mtu: {LO_MTU}}}]}}
"""
V1 = SnmpEntry(name="x", version="1", community=Secret("harbour"))
V2C = SnmpEntry(name="x", version="2c", community=Secret("harbour"))
V3 = SnmpEntry(name="x", version="3", user="ferry", auth_key=Secret(KEY), priv_key=Secret(OTHER))
ENTRIES = [V1, V2C, V3]
CREDENTIALS = {
    "1": 'version = "1"\ncommunity = "harbour"',
    "2c": 'version = "2c"\ncommunity = "harbour"',
    "3": f'version = "3"\nuser = "ferry"\nauth_key = "{KEY}"\npriv_key = "{OTHER}"',
}


@contextlib.contextmanager
def snmpd(port: int, folder: Path) -> Iterator[None]:
    (folder / "snmpd.conf").write_text(SNMPD)
    process = subprocess.Popen(
        ["snmpd", "-f", "-C", "-c", str(folder / "snmpd.conf"), "-Lf", str(folder / "log"),
         f"udp:127.0.0.1:{port}"],
        env={**os.environ, "SNMP_PERSISTENT_DIR": str(folder), "MIBS": ""},
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        until_s = time.monotonic() + 60
        while get("snmpd", V2C, port, mib.SYSTEM["sysName"]).outcome != "answered":
            assert process.poll() is None, (folder / "log").read_text()
            assert time.monotonic() < until_s, "snmpd does not start"
        yield
    finally:
        process.terminate()
        process.wait(timeout=60)


@pytest.fixture(scope="module")
def ports(tmp_path_factory) -> Iterator[dict[tuple[str, str], int]]:
    """UDP port by agent and version; the simulator has a device for each kind of credentials."""
    free = [free_port() for _ in range(3)]
    profiles = {"mib2": Profile(id="mib2")}
    plan = Plan(devices=(DEVICE,))
    with (
        snmpd(free[0], tmp_path_factory.mktemp("snmpd")),
        running(SimulatedNetwork(plan, profiles, {"x": V2C}, port=free[1])),
        running(SimulatedNetwork(plan, profiles, {"x": V3}, port=free[2])),
    ):
        yield {
            **{("snmpd", e.version): free[0] for e in ENTRIES},
            ("simulator", "1"): free[1], ("simulator", "2c"): free[1], ("simulator", "3"): free[2],
        }  # fmt: skip


@pytest.fixture(params=["snmpd", "simulator"])
def agent(request) -> Any:
    return request.param


@pytest.fixture(params=ENTRIES, ids=lambda e: f"v{e.version}")
def entry(request) -> Any:
    return request.param


@pytest.fixture
def port(ports, agent, entry) -> Any:
    return ports[agent, entry.version]


def _run(entry: SnmpEntry, port: int, ask) -> Any:
    target = SnmpTarget(
        address=Address.parse("127.0.0.1"), entry=entry, port=port, timeout_s=1.5, retries=0
    )

    async def run():
        async with SnmpClient() as client:
            return await ask(client, target)

    return asyncio.run(run())


def get(_agent: str, entry: SnmpEntry, port: int, *oids: str) -> SnmpReply:
    reply: SnmpReply = _run(entry, port, lambda client, target: client.get(target, oids))
    return reply


def test_the_system_group(agent, entry, port):
    """Values and types of what verify asks first; the address asked is the one that answers."""
    reply = get(agent, entry, port, *mib.SYSTEM.values())
    bindings = {b.oid: b for b in reply.bindings}
    types = [
        bindings[mib.SYSTEM[n]].type for n in ("sysDescr", "sysObjectID", "sysUpTime", "sysName")
    ]
    assert types == ["OctetString", "ObjectIdentifier", "TimeTicks", "OctetString"]
    assert bindings[mib.SYSTEM["sysName"]].text == NAME
    assert bindings[mib.SYSTEM["sysLocation"]].text == PLACE
    assert (reply.outcome, reply.responder) == ("answered", "127.0.0.1")
    assert (reply.engine_id is not None) is (entry.version == "3")


@pytest.mark.parametrize(
    "oid", ["1.3.6.1.2.1.1.99.0", "1.3.6.1.2.1.2.2.1.2.999999", "1.3.6.1.4.1.32473.9.0"]
)
def test_a_missing_object(agent, entry, port, oid):
    """It is missing, and does not spoil what is asked with it."""
    reply = get(agent, entry, port, mib.SYSTEM["sysName"], oid)
    assert reply.outcome == "answered"
    assert [b.missing for b in reply.bindings] == [False, True]


def test_the_end_of_the_mib(entry, port):
    reply = _run(entry, port, lambda client, target: client.get_next(target, ["2.999.1"]))
    assert [b.type for b in reply.bindings] == ["endOfMibView"]


def test_a_table(entry, port):
    """ifDescr, ifMtu and ifName together; every row has its three cells."""
    columns = [mib.IF_TABLE["ifDescr"], mib.IF_TABLE["ifMtu"], mib.IF_X_TABLE["ifName"]]
    table = _run(entry, port, lambda client, target: client.walk(target, columns))
    assert (table.outcome, table.complete) == ("answered", True)
    assert all(set(row) == set(columns) for row in table.rows.values())
    (lo,) = [r for r in table.rows.values() if r[columns[0]].text == "lo"]
    assert (lo[columns[1]].value, lo[columns[2]].text) == (LO_MTU, "lo")


def test_the_address_table(entry, port):
    columns = list(mib.IP_ADDR_TABLE.values())
    table = _run(entry, port, lambda client, target: client.walk(target, columns))
    assert table.rows["127.0.0.1"][mib.IP_ADDR_TABLE["ipAdEntNetMask"]].value == "255.0.0.0"


def test_an_empty_table(entry, port):
    table = _run(entry, port, lambda client, target: client.walk(target, ["1.3.6.1.2.1.99.1"]))
    assert (table.outcome, table.complete, dict(table.rows)) == ("answered", True, {})


@pytest.mark.parametrize(
    ("changes", "outcome"),
    [
        ({"user": "nobody"}, "unknown-user"),
        ({"auth_key": Secret(OTHER)}, "wrong-digest"),
        ({"auth": "SHA"}, "wrong-digest"),
        ({"priv_key": Secret(KEY)}, "silent"),
        ({"priv_key": None}, "error-status"),
    ],
)
def test_refusals_of_v3(ports, agent, changes, outcome):
    """A wrong cipher key is met with silence, too low a level with authorizationError (16)."""
    reply = get(agent, dataclasses.replace(V3, **changes), ports[agent, "3"], mib.SYSTEM["sysName"])
    assert reply.outcome == outcome
    assert reply.error_status == (16 if outcome == "error-status" else 0)


@pytest.mark.parametrize("version", ["1", "2c"])
def test_another_community_is_met_with_silence(ports, agent, version):
    other = SnmpEntry(name="x", version=version, community=Secret("public"))
    assert get(agent, other, ports[agent, version], mib.SYSTEM["sysName"]).outcome == "silent"


@pytest.mark.parametrize("version", CREDENTIALS)
def test_verify_finds_the_same(ports, version, tmp_path):
    """The same plan against both: every check that is right at one is right at the other."""
    found = {}
    for agent in ("snmpd", "simulator"):
        (tmp_path / "plan.yaml").write_text(PLAN)
        path = tmp_path / "credentials.toml"
        path.write_text(f"[snmp.x]\n{CREDENTIALS[version]}\nport = {ports[agent, version]}\n")
        path.chmod(0o600)
        done = command(tmp_path, "verify", "plan.yaml", "--credentials", str(path),
                       "--format", "json", "--interval", "10ms", "--echoes", "2")  # fmt: skip
        findings = json.loads(done.stdout)["findings"]
        found[agent] = {f["check"]: f["verdict"] for f in findings if f["check"] != "address.extra"}
    assert found["simulator"] == found["snmpd"]
    assert found["snmpd"] | dict.fromkeys(
        ("identity.name", "identity.location", "address.mask", "port.status", "port.mtu"), "pass"
    ) == found["snmpd"]  # fmt: skip
