"""`plan-verifier verify` as a process of its own against a simulated network, from end to end."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.command import command
from verifier.files.credentials import load_credentials
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.simulator.faults import PlantedFault
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running

pytestmark = pytest.mark.icmp

PLAN = """\
network: {name: Harbour, example: true}
sites: [{name: Lighthouse}, {name: Quarry}]
devices:
  - name: lighthouse-quarry
    site: Lighthouse
    profile: hop-radio
    address: 127.80.0.11/24
    gateway: 127.80.0.1
    mac: 02:00:5e:10:00:01
    serial: "000123"
    software: "4.2.1"
    snmp: bench
    services: {closed: [443/tcp]}
    ports:
      - {name: eth1, status: up, speed_mbps: 1000, duplex: full, mtu: 1500}
      - {name: eth2, status: down}
  - name: quarry-lighthouse
    site: Quarry
    profile: hop-radio
    address: 127.80.0.12/24
    gateway: 127.80.0.1
    serial: "000124"
    snmp: field
    services: {closed: [443/tcp]}
    ports: [{name: eth1, status: up, speed_mbps: 10000}]
links:
  - {name: Hop 1, a: {device: lighthouse-quarry, rx_level_dbm: -50}, b: {device: quarry-lighthouse, rx_level_dbm: -50}}
"""
CREDENTIALS = """\
[snmp.bench]
version = "2c"
community = "coastal-read"
port = {port}
[snmp.field]
version = "3"
user = "ferry"
auth_key = "maplesyrup"
priv_key = "newsyrup-newsyrup"
port = {port}
"""
A, B = "lighthouse-quarry", "quarry-lighthouse"
WORSE = ("pass", "warn", "not-tested", "fail")
Findings = dict[tuple[str, str, str | None], str]


@pytest.fixture
def folder(tmp_path: Path, port: int) -> Path:
    """A folder with plan and credentials."""
    (tmp_path / "plan.yaml").write_text(PLAN)
    (tmp_path / "credentials.toml").write_text(CREDENTIALS.format(port=port))
    (tmp_path / "credentials.toml").chmod(0o600)
    return tmp_path


@pytest.fixture
def network(folder: Path) -> SimulatedNetwork:
    """The network of the plan, not yet running."""
    plan, _ = read_plan(folder / "plan.yaml")
    entries = load_credentials({"bench", "field"}, folder / "credentials.toml", {}, None)
    return SimulatedNetwork(plan, load_profiles({"hop-radio"}), entries)


def verify(folder: Path, plan: str = "plan.yaml") -> tuple[int, Findings]:
    """Exit code, and the worst verdict of each check by subject and port."""
    done = command(folder, "verify", plan, "--credentials", "credentials.toml",
                   "--format", "json", "--interval", "10ms", "--echoes", "2")  # fmt: skip
    assert done.stderr == ""
    findings = json.loads(done.stdout)["findings"]
    found: Findings = {}
    for f in findings:
        key = (f["check"], f["subject"]["name"], f["subject"]["port"])
        found[key] = max(found.get(key, "pass"), f["verdict"], key=WORSE.index)
    return done.returncode, found


def test_a_right_network_passes(folder, network):
    """Exit code 0, every finding passes, and what should be checked is."""
    with running(network):
        code, found = verify(folder)
    assert set(found.values()) == {"pass"}
    assert code == 0
    assert {check for check, *_ in found} >= {
        "echo.reply", "tcp.closed", "snmp.answer", "identity.name", "identity.location",
        "identity.object-id", "identity.serial", "identity.software", "address.mask", "address.gateway",
        "neighbour.mac", "port.status", "port.speed", "port.duplex", "port.mtu", "link.ends-swapped",
    }  # fmt: skip
    assert ("port.speed", B, "eth1") in found


OF_A_SILENT_AGENT = {
    "snmp.answer": "fail",
    **dict.fromkeys(
        ("identity.name", "identity.location", "identity.object-id", "identity.serial", "identity.software",
         "address.mask", "address.gateway", "neighbour.mac", "settings.saved", "state.alarm"),
        "not-tested",
    ),
}  # fmt: skip
PORTS_UNREAD: Findings = {
    **{(f"port.{what}", A, "eth1"): "not-tested" for what in ("status", "speed", "duplex", "mtu")},
    ("port.status", A, "eth2"): "not-tested",
}
OF_ITS_LINK: Findings = {
    (check, "Hop 1", None): "not-tested"
    for check in (
        "radio.lock",
        "radio.transmitter",
        "radio.test-mode",
        "radio.rx-level",
        "link.far-end",
    )
}
SILENT_A: Findings = {
    **{(check, A, None): v for check, v in OF_A_SILENT_AGENT.items()},
    **PORTS_UNREAD,
    **OF_ITS_LINK,
}
SWAPPED: Findings = {
    ("link.ends-swapped", "Hop 1", None): "fail",
    ("link.far-end", "Hop 1", None): "fail",
    **{(check, n, None): "fail" for check in ("identity.name", "identity.serial") for n in (A, B)},
    **{("identity.location", n, None): "warn" for n in (A, B)},
    ("identity.software", A, None): "fail",
    ("neighbour.mac", A, None): "fail",
    **{("port.speed", n, "eth1"): "fail" for n in (A, B)},
    ("port.status", A, "eth2"): "not-tested",
}


@pytest.mark.parametrize(
    ("fault", "wrong"),
    [
        (PlantedFault(kind="wrong-name", device=A), {("identity.name", A, None): "fail", ("link.far-end", "Hop 1", None): "fail"}),
        (PlantedFault(kind="wrong-name", device=B), {("identity.name", B, None): "fail", ("link.far-end", "Hop 1", None): "fail"}),
        (PlantedFault(kind="wrong-name", device=A, value="LIGHTHOUSE-QUARRY"),
         {("identity.name", A, None): "warn", ("link.far-end", "Hop 1", None): "warn"}),
        (PlantedFault(kind="wrong-mask", device=A), {("address.mask", A, None): "fail"}),
        (PlantedFault(kind="wrong-mask", device=B, value=25), {("address.mask", B, None): "fail"}),
        (PlantedFault(kind="wrong-gateway", device=A), {("address.gateway", A, None): "fail"}),
        (PlantedFault(kind="port-down", device=A, port="eth1"), {("port.status", A, "eth1"): "fail"}),
        (PlantedFault(kind="port-slow", device=A, port="eth1"), {("port.speed", A, "eth1"): "fail"}),
        (PlantedFault(kind="port-slow", device=B, port="eth1"), {("port.speed", B, "eth1"): "fail"}),
        (PlantedFault(kind="other-address", device=A), {**SILENT_A, ("snmp.responder", A, None): "warn"}),
        (PlantedFault(kind="other-address", device=A, value="127.80.0.12"), SILENT_A),
        (PlantedFault(kind="no-answer", device=A), SILENT_A),
        (PlantedFault(kind="wrong-community", device=A), SILENT_A),
        (PlantedFault(kind="slow", device=A, value=0.1), {}),
        (PlantedFault(kind="too-big", device=A), {}),
    ],
    ids=lambda x: f"{x.kind}-{x.device}-{x.value}" if isinstance(x, PlantedFault) else "",
)  # fmt: skip
def test_a_fault_gives_its_findings_and_no_others(folder, network, fault, wrong):
    """Everything else passes; what an end that cannot be read would tell of its link is untested."""
    network.put(fault)
    with running(network):
        code, found = verify(folder)
    assert {k: v for k, v in found.items() if v != "pass"} == wrong
    assert code == (1 if "fail" in wrong.values() else 0)
    assert len(found) > 20


def test_swapped_ends(folder, network):
    """The devices stand at each other's place: names, serials, locations and ports went with them."""
    network.put(PlantedFault(kind="swapped-ends", link="Hop 1"))
    with running(network):
        code, found = verify(folder)
    assert {k: v for k, v in found.items() if v != "pass"} == SWAPPED
    assert code == 1
