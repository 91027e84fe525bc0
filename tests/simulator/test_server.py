"""The server: which addresses are served, faults from another process, many devices, its end."""

from __future__ import annotations

import dataclasses
import multiprocessing
import random
import socket
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from tests.simulator.conftest import ENTRIES
from tests.stopwatch import Stopwatch
from verifier.errors import UsageError
from verifier.files.read_profile import load_profiles
from verifier.model.address import Interface
from verifier.model.mib import SYSTEM
from verifier.model.plan import Device, Plan, Port, Service, Services
from verifier.model.profile import Profile
from verifier.simulator.faults import PlantedFault
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running, running_process
from verifier.simulator.server import Server

RADIO, SWITCH = "lighthouse-quarry", "lighthouse-switch"
NAME = SYSTEM["sysName"]
SYS_NAME = bytes.fromhex("2b06010201010500")


def profiles(plan):
    return load_profiles({d.profile for d in plan.devices})


@pytest.mark.parametrize("at", ["127.80.0.14", "127.0.0.1", "127.255.255.254"])
@pytest.mark.usefixtures("network")
def test_addresses_of_no_device_are_silent(datagrams, get_request, at):
    assert datagrams(at, get_request(SYS_NAME)) is None


INSIDE = """
import socket, subprocess, sys
for words in ("ip link set lo up", "ip addr add 192.0.2.1/32 dev lo"):
    subprocess.run(words.split(), check=True)
from verifier.model.address import Interface
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.simulator.network import SimulatedNetwork; from verifier.simulator.running import running
entry = SnmpEntry(name="bench", version="2c", community=Secret("harbour"), port=16161)
device = Device(name="device", address=Interface.parse("127.80.0.11/24"), snmp="bench")
request = bytes.fromhex(sys.argv[1])
with running(SimulatedNetwork(Plan(devices=(device,)), {"mib2": Profile(id="mib2")}, {"bench": entry})):
    for origin, to in (("127.0.0.1", "127.80.0.11"), ("192.0.2.1", "127.80.0.11"),
                       ("127.0.0.1", "192.0.2.1"), ("192.0.2.1", "192.0.2.1")):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
            asking.bind((origin, 0))
            asking.settimeout(0.5)
            try:
                asking.sendto(request, (to, 16161))
                print(origin, to, asking.recvfrom(2048)[1][0])
            except (TimeoutError, OSError):
                print(origin, to, "silent")
"""


@pytest.mark.lab
def test_only_loopback_is_served(get_request):
    """In a namespace with an address besides the loopback range: not from it, and not at it."""
    done = subprocess.run(
        ["unshare", "--net", sys.executable, "-c", INSIDE, get_request(SYS_NAME).hex()],
        capture_output=True, text=True, check=True, timeout=30,
    )  # fmt: skip
    assert done.stdout.splitlines() == [
        "127.0.0.1 127.80.0.11 127.80.0.11",
        "192.0.2.1 127.80.0.11 silent",
        "127.0.0.1 192.0.2.1 silent",
        "192.0.2.1 192.0.2.1 silent",
    ]


@pytest.mark.parametrize(
    ("address", "message"),
    [("::1/128", "IPv6 has one loopback address"), ("2001:db8::5/64", "IPv6 has one loopback"),
     ("192.0.2.7/24", "must lie in 127.0.0.0/8")],
)  # fmt: skip
def test_what_cannot_be_simulated(address, message):
    device = Device(name="device", address=Interface.parse(address))
    with pytest.raises(UsageError, match=message):
        SimulatedNetwork(Plan(devices=(device,)), {"mib2": Profile(id="mib2")}, {})


def test_missing_profile_and_entry_are_named():
    device = Device(name="device", address=Interface.parse("127.80.0.1/8"), snmp="bench")
    with pytest.raises(UsageError, match="device: profile 'mib2'"):
        SimulatedNetwork(Plan(devices=(device,)), {}, ENTRIES)
    with pytest.raises(UsageError, match="device: SNMP credentials 'bench'"):
        SimulatedNetwork(Plan(devices=(device,)), {"mib2": Profile(id="mib2")}, {})


def test_two_devices_at_one_address():
    devices = [Device(name=n, address=Interface.parse("127.80.0.1/8"), snmp="bench") for n in "ab"]
    network = SimulatedNetwork(Plan(devices=tuple(devices)), {"mib2": Profile(id="mib2")}, ENTRIES)
    with pytest.raises(UsageError, match="two devices at"):
        network.agents()


def test_a_taken_port_is_told(plan, port):
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.bind(("127.0.0.1", port))
        with pytest.raises(UsageError, match=f"UDP port {port} cannot be listened on: Address"):
            Server(SimulatedNetwork(plan, profiles(plan), ENTRIES, port=port))


def test_ports_of_the_entries(plan, ask):
    """Without a port for all, each agent listens at its entry's."""
    ports = {"bench": 16171, "field": 16172}
    entries = {n: dataclasses.replace(e, port=ports[n]) for n, e in ENTRIES.items()}
    with running(SimulatedNetwork(plan, profiles(plan), entries)):
        for name, entry in ((RADIO, "bench"), (SWITCH, "field")):
            asked = dataclasses.replace(ask.target(name), port=ports[entry])
            reply = ask.run(lambda client, asked=asked: client.get(asked, [NAME]))
            assert reply.outcome == "answered"


def test_everything_is_closed_in_the_end(plan, port, ask):
    """No thread and no descriptor stays, and the port is free again."""
    before = len(list(Path("/proc/self/fd").iterdir()))
    threads = threading.active_count()
    for _ in range(3):
        with running(SimulatedNetwork(plan, profiles(plan), ENTRIES, port=port), services=True):
            assert ask.get(RADIO, NAME).outcome == "answered"
    assert len(list(Path("/proc/self/fd").iterdir())) == before
    assert threading.active_count() == threads
    assert ask.get(RADIO, NAME).outcome == "port-unreachable"


@pytest.mark.usefixtures("network")
def test_a_flood_of_rubbish_does_not_stop_it(port, ask):
    """2,000 datagrams of chance octets to every device, then an answer."""
    chance = random.Random(32473)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        asking.bind(("127.0.0.1", 0))
        for n in range(2000):
            octets = chance.randbytes(chance.randrange(0, 1400))
            asking.sendto(octets, (f"127.80.0.{11 + n % 3}", port))
    assert ask.get(RADIO, NAME, timeout_s=3.0).outcome == "answered"
    assert ask.get(SWITCH, NAME, timeout_s=3.0).outcome == "answered"


@pytest.mark.usefixtures("network")
def test_an_asker_that_is_gone_does_not_stop_it(port, ask, get_request):
    """A reply to a closed socket comes back as an ICMP error; the next question is answered."""
    for _ in range(20):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
            asking.bind(("127.0.0.1", 0))
            asking.sendto(get_request(SYS_NAME), ("127.80.0.11", port))
    assert ask.get(RADIO, NAME).outcome == "answered"


def test_services(plan, port):
    """Planned services take connections at the device's own address; what cannot be opened is told."""
    free = socket.create_server(("127.80.0.12", 0))
    taken = free.getsockname()[1]
    open_ = Services(open=(Service(port=taken),))
    devices = [
        dataclasses.replace(d, services=open_) if d.name != SWITCH else d for d in plan.devices
    ]
    plan = dataclasses.replace(plan, devices=tuple(devices))
    found = {i: dataclasses.replace(p, services=Services()) for i, p in profiles(plan).items()}
    with free, running(SimulatedNetwork(plan, found, ENTRIES, port=port), services=True) as server:
        for _ in range(2):
            socket.create_connection(("127.80.0.11", taken), timeout=1).close()
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.80.0.13", taken), timeout=1)
        (told,) = server.not_listening
        assert told == (f"quarry-lighthouse: 127.80.0.12, TCP port {taken}: Address already in use")


def test_profile_services_that_the_plan_closes_stay_closed(plan, port):
    profile = {
        i: dataclasses.replace(p, services=Services(open=(Service(port=18443),)))
        for i, p in profiles(plan).items()
    }
    closed = Services(closed=(Service(port=18443),))
    devices = [
        dataclasses.replace(d, services=closed) if d.name == RADIO else d for d in plan.devices
    ]
    plan = dataclasses.replace(plan, devices=tuple(devices))
    with running(SimulatedNetwork(plan, profile, ENTRIES, port=port), services=True):
        socket.create_connection(("127.80.0.12", 18443), timeout=1).close()
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.80.0.11", 18443), timeout=1)


def test_in_a_process_of_its_own(plan, port, ask):
    """Faults go on and off there, a wrong one is told here; no secret is in the process list."""
    start = PlantedFault(kind="wrong-name", device=RADIO)
    with running_process(plan, profiles(plan), ENTRIES, port=port, faults=[start]) as remote:
        (process,) = multiprocessing.active_children()
        assert ask.values(RADIO, NAME) == ["lighthouse-quarry-spare"]
        assert ask.values(SWITCH, NAME) == [SWITCH]
        remote.take_off(start)
        assert ask.values(RADIO, NAME) == [RADIO]
        remote.put(PlantedFault(kind="no-answer", device=RADIO))
        assert ask.get(RADIO, NAME).outcome == "silent"
        with pytest.raises(UsageError, match="is not on"):
            remote.take_off(start)
        words = Path(f"/proc/{process.pid}/cmdline").read_bytes()
        words += Path(f"/proc/{process.pid}/environ").read_bytes()
        assert not any(w in words for w in (b"harbour", b"maplesyrup", b"newsyrup"))
    assert not multiprocessing.active_children()


def test_a_process_that_cannot_start_is_told(plan, port):
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.bind(("127.0.0.1", port))
        with (
            pytest.raises(UsageError, match="cannot be listened on"),
            running_process(plan, profiles(plan), ENTRIES, port=port),
        ):
            pass
    assert not multiprocessing.active_children()


def test_ten_thousand_devices(port, get_request):
    """Built in seconds; each asked once, they take less than 300 MB of memory in all."""
    ports = (Port(name="eth1", status="up"), Port(name="eth2", status="up"))
    devices = tuple(
        Device(
            name=f"device-{n}", address=Interface.parse(f"127.64.{n >> 8}.{n & 255}/10"),
            snmp="bench", ports=ports,
        )
        for n in range(1, 10_001)
    )  # fmt: skip
    plan, found = Plan(devices=devices), {"mib2": Profile(id="mib2")}
    stopwatch = Stopwatch()
    SimulatedNetwork(plan, found, ENTRIES, port=port)
    assert stopwatch.alone_s < 5
    request = get_request(SYS_NAME)
    with (
        running_process(plan, found, ENTRIES, port=port),
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking,
    ):
        asking.bind(("127.0.0.1", 0))
        asking.settimeout(5)
        for device in devices:
            asking.sendto(request, (str(device.address.address), port))
            assert device.name.encode() in asking.recv(2048)
        (process,) = multiprocessing.active_children()
        status = Path(f"/proc/{process.pid}/status").read_text()
    (kib,) = [int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM")]
    assert kib * 1024 < 300e6
