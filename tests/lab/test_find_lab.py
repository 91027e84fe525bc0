"""Lost devices on a real cable: each way to get lost, found by what a kernel and an agent answer."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import select
import signal
import struct
import subprocess
import termios
import time
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import jsonschema
import pytest
from scapy.contrib import lldp
from scapy.layers.inet import ICMP, IP
from scapy.layers.l2 import ARP, Dot1Q, Ether
from scapy.packet import Packet

from tests.lab.bench import DEVICE_MAC, FACTORY, NAMES, OTHER, Bench, Looked
from verifier.files.schema import schema

pytestmark = pytest.mark.lab
PLANNED, SLIP = "198.18.20.11", "198.18.20.111"
DEVICE = NAMES[DEVICE_MAC]
LISTEN = ("--listen", "--wait", "8s")


@pytest.fixture(scope="module")
def built() -> Iterator[Bench]:
    with Bench() as built:
        built.agent("other", NAMES[OTHER])
        yield built


@pytest.fixture
def bench(built: Bench) -> Bench:
    """The bench with the device's agent, nobody having an address."""
    built.prepare()
    built.agent("device", DEVICE)
    return built


def state(looked: Looked) -> tuple[int, str, str | None]:
    """Exit code, state, address."""
    found = looked.document
    return looked.code, found["state"], found["address"]


def reaches(bench: Bench, looked: Looked) -> bool:
    """Whether the device answers the laptop once the suggested address is set."""
    fit = looked.document["fit"]
    bench.ip("laptop", f"address add {fit['suggested']} dev eth0")
    return bench.answers(looked.document["address"].split("/")[0])


def from_device(message: Packet, to: str = "ff:ff:ff:ff:ff:ff") -> bytes:
    return bytes(Ether(src=DEVICE_MAC, dst=to) / message)


def announced(address: str) -> Packet:
    return ARP(op=1, hwsrc=DEVICE_MAC, psrc=address, pdst=address)


def lldp_of(name: str, address: str) -> bytes:
    packed = bytes(int(octet) for octet in address.split("."))
    return from_device(
        lldp.LLDPDUChassisID(subtype=7, id=b"invented")
        / lldp.LLDPDUPortID(subtype=5, id=b"eth1")
        / lldp.LLDPDUTimeToLive(ttl=120)
        / lldp.LLDPDUSystemName(system_name=name.encode())
        / lldp.LLDPDUManagementAddress(management_address_subtype=1, management_address=packed)
        / lldp.LLDPDUEndOfLLDPDU(),
        to="01:80:c2:00:00:0e",
    )


# -- answers --------------------------------------------------------------------------------------


def test_where_it_should_be(bench: Bench) -> None:
    """Found at once, nothing but named addresses asked, and the document fits its schema."""
    bench.prepare(device=[f"{PLANNED}/24"])
    looked = bench.find()
    assert state(looked) == (0, "as-planned", f"{PLANNED}/24")
    assert looked.document["fit"]["relation"] == "direct"
    assert not any(
        p["answer"]["asked"] for p in looked.document["places"] if p["candidate"]["kind"] == "slip"
    )
    jsonschema.validate(looked.document, schema("find"), cls=jsonschema.Draft202012Validator)


def test_slipped_address(bench: Bench) -> None:
    """Known by name and hardware; an echo elsewhere does not count as the device."""
    bench.prepare(device=[f"{SLIP}/24"], other=["198.18.20.12/24"])
    looked = bench.find()
    assert state(looked) == (1, "elsewhere", f"{SLIP}/24")
    assert {"its name (SNMP)", f"its hardware address {DEVICE_MAC} (ARP, SNMP)"} == set(
        looked.document["by"]
    )
    assert "digit doubled" in looked.document["explanation"]
    other = looked.place("198.18.20.12")
    assert (other["identity"], other["who"], other["answer"]["echo"]) == (
        "another",
        NAMES[OTHER],
        True,
    )
    assert looked.said.index(SLIP)  # it was shown before it was asked


def test_factory_address_outside_the_laptops_subnet(bench: Bench) -> None:
    """Asked by ARP probe on the wire; the laptop is as it was, and the suggested address reaches it."""
    bench.prepare(device=["192.0.2.20/24"])
    before = bench.addresses("laptop")
    looked = bench.find()
    assert bench.addresses("laptop") == before
    assert state(looked) == (1, "elsewhere", "192.0.2.20/24")
    assert looked.place("192.0.2.20")["answer"]["asked"] == ["arp"]
    assert looked.document["fit"]["relation"] == "off-subnet"
    assert not bench.answers("192.0.2.20")
    assert reaches(bench, looked)


def test_as_delivered_without_a_name(bench: Bench) -> None:
    """It answers the factory's credentials and is of the profile's family: likely the device."""
    bench.prepare(device=["192.0.2.20/24"], laptop=["192.0.2.9/24"], mac_planned=False)
    bench.agent("device", "radio", FACTORY)
    looked = bench.find()
    assert state(looked) == (1, "elsewhere", "192.0.2.20/24")
    place = looked.place("192.0.2.20")
    assert (place["identity"], place["answer"]["credentials"]) == ("likely", "factory")


def test_too_wide_a_mask(bench: Bench) -> None:
    """It answers, and its own table of addresses gives the mask away."""
    bench.prepare(device=[f"{PLANNED}/16"])
    assert state(bench.find()) == (1, "wrong-mask", f"{PLANNED}/16")


def test_too_narrow_a_mask(bench: Bench) -> None:
    """It holds the address and cannot answer; from the suggested address it does."""
    bench.prepare(device=[f"{PLANNED}/28"])
    looked = bench.find()
    assert state(looked) == (1, "mute", f"{PLANNED}/24")
    assert not bench.answers(PLANNED)
    assert reaches(bench, looked)


def test_another_device_at_its_address(bench: Bench) -> None:
    """The stranger is named; the device is not found."""
    bench.prepare(other=[f"{PLANNED}/24"])
    looked = bench.find()
    assert state(looked) == (1, "stranger", None)
    assert f"is another: {NAMES[OTHER]}" in looked.document["explanation"]


def test_it_never_comes_back(bench: Bench) -> None:
    """Nobody anywhere: not found is no failure of the device, and what to try next is said."""
    bench.prepare(mac_planned=False)
    looked = bench.find("--listen", "--wait", "0.5s")
    assert state(looked) == (3, "not-found", None)
    assert "power" in looked.document["advice"]
    assert all(p["answer"]["asked"] for p in looked.document["places"])


def test_address_left_behind(bench: Bench) -> None:
    """It holds its planned and its factory address: found where it should be, the other is said."""
    bench.prepare(device=[f"{PLANNED}/24", "192.0.2.20/24"])
    looked = bench.find()
    assert state(looked) == (0, "as-planned", f"{PLANNED}/24")
    assert any("it answers at 192.0.2.20 too" in note for note in looked.document["notes"])


def test_two_at_one_address(bench: Bench) -> None:
    """Both answer the ARP probe, whichever answers the echo."""
    bench.prepare(device=[f"{PLANNED}/24"], other=[f"{PLANNED}/24"])
    looked = bench.find()
    assert set(looked.place(PLANNED)["answer"]["macs"]) == {DEVICE_MAC, OTHER}
    assert looked.document["state"] == "shared"


def test_ipv6_outside_the_laptops_subnet(bench: Bench) -> None:
    """Asked by neighbour solicitation from the link-local address."""
    text = (bench.folder / "plan.yaml").read_text(encoding="utf-8")
    text = text.replace(f"{PLANNED}/24", "2001:db8:20::11/64")
    (bench.folder / "plan.yaml").write_text(text, encoding="utf-8")
    bench.ip("device", "address add 2001:db8:20::111/64 dev eth0 nodad")
    looked = bench.find()
    assert state(looked) == (1, "elsewhere", "2001:db8:20::111/64")
    assert looked.place("2001:db8:20::111")["answer"]["asked"] == ["nd"]


def test_without_permission(bench: Bench) -> None:
    """What cannot be asked is said with the remedy; SNMP alone still finds it by its name."""
    bench.prepare(device=[f"{PLANNED}/24"])
    argv = bench.argv("--format", "json", "--listen")
    at = argv.index("-m") - 1
    argv[at:at] = ["setpriv", "--bounding-set=-net_raw"]
    done = subprocess.run(argv, cwd=bench.folder, capture_output=True, text=True, check=False)
    found = json.loads(done.stdout)
    assert (done.returncode, found["state"]) == (0, "as-planned")
    assert "its name (SNMP)" in found["by"]
    assert any("CAP_NET_RAW" in note for note in found["notes"])
    assert found["listened_on"] == []


# -- heard only -----------------------------------------------------------------------------------

HEARD: dict[str, tuple[tuple[str, ...], bytes, bool, tuple[str, str | None]]] = {
    "announcement (RFC 5227)": (("arp-announcement",), from_device(announced("10.9.8.7")), True, ("elsewhere", "10.9.8.7/24")),
    "probe (RFC 5227)": (("arp-probe",), from_device(ARP(op=1, hwsrc=DEVICE_MAC, psrc="0.0.0.0", pdst=SLIP)), True, ("elsewhere", f"{SLIP}/24")),
    "LLDP, by name": (("lldp",), lldp_of(DEVICE, "10.9.8.7"), False, ("elsewhere", "10.9.8.7/24")),
    "packet to another host": (("packet",), from_device(IP(src="10.9.8.7", dst="10.9.8.1") / ICMP(), to="02:00:5e:10:00:77"), True, ("elsewhere", "10.9.8.7/24")),
}  # fmt: skip


@pytest.mark.parametrize("name", HEARD)
def test_silent_device_is_heard(bench: Bench, name: str) -> None:
    """A device that answers nothing is found by what it sends, as scapy builds it."""
    kinds, frame, planned, expected = HEARD[name]
    bench.prepare(mac_planned=planned)
    sender = bench.sending("device", frame)
    try:
        looked = bench.find(*LISTEN)
    finally:
        sender.terminate()
        sender.wait()
    assert state(looked) == (1, *expected)
    mine = [
        h
        for h in looked.document["heard"]
        if h["mac"] == DEVICE_MAC and not h["what"].startswith("nd-")
    ]
    assert {h["what"] for h in mine if h["address"] is not None} == set(kinds)
    assert {h["mac"] for h in looked.document["heard"] if h["what"] == "packet"} <= {DEVICE_MAC}
    assert looked.document["since"] == min(h["first"] for h in mine)
    assert looked.document["interface"] == "eth0"
    assert looked.document["fit"]["suggested"] or expected[1] == f"{SLIP}/24"


def test_behind_a_tag(bench: Bench) -> None:
    """Its frames carry a tag that the kernel takes off; what hears them is said."""
    sender = bench.sending("device", from_device(Dot1Q(vlan=20) / announced("10.9.8.7")))
    try:
        looked = bench.find(*LISTEN)
    finally:
        sender.terminate()
        sender.wait()
    assert looked.document["vlan"] == 20
    assert any("name eth0.20 type vlan id 20" in note for note in looked.document["fit"]["notes"])


def test_it_comes_while_listening(bench: Bench) -> None:
    """What is heard of a stranger is asked; so a device is found whose hardware nobody planned."""
    bench.prepare(mac_planned=False)
    process = start(bench, "--format", "json", *LISTEN)
    said = told(process, "listening on")
    bench.ip("device", "address add 198.18.20.77/24 dev eth0")
    bench.ip("device", "link set eth0 arp on")
    echo = bench.inside("device", "ping", "-n", "-c", "1", "-W", "0.1", "198.18.20.99")
    subprocess.run(echo, check=False, capture_output=True)
    document = json.loads(process.communicate(timeout=60)[0])
    assert (process.returncode, document["state"]) == (1, "elsewhere")
    assert document["address"] == "198.18.20.77/24"
    assert "198.18.20.77" not in said
    assert document["by"] == ["its name (SNMP)"]


@pytest.mark.parametrize(
    ("number", "when"), [(signal.SIGINT, "listening on"), (signal.SIGTERM, "slip: ")]
)
def test_interrupted(bench: Bench, number: int, when: str) -> None:
    """Ctrl-C or SIGTERM, while it asks or listens: 130, and what was seen so far is written."""
    bench.prepare(mac_planned=False)
    process = start(bench, "--out", "found.json", *LISTEN)
    told(process, when)
    process.send_signal(number)  # `ip netns exec` has become the command itself
    said = process.communicate(timeout=60)[1]
    assert "Traceback" not in said
    document = json.loads((bench.folder / "found.json").read_text(encoding="utf-8"))
    assert (process.returncode, document["interrupted"]) == (130, True)
    assert document["state"] == "not-found"
    assert len(document["places"]) > 10


def start(bench: Bench, *options: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        bench.argv(*options),
        cwd=bench.folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def told(process: subprocess.Popen[str], words: str) -> str:
    """Standard error up to the line that has these words."""
    said = ""
    assert process.stderr is not None
    for line in process.stderr:
        said += line
        if words in line:
            return said
    raise AssertionError(said)


# -- what is sent ---------------------------------------------------------------------------------


def test_only_candidates_are_asked_slowly_and_by_the_book(bench: Bench) -> None:
    """Seen from the cable: ARP probes of RFC 5227, three each, 1 s apart at least, few a second."""
    hearing = bench.hearing("device")
    try:
        looked = Looked(**run_slowly(bench))
    finally:
        hearing.terminate()
    lines = [line.split() for line in (hearing.communicate()[0] or "").splitlines()]
    frames = [(float(at), Ether(bytes.fromhex(octets))) for at, octets in lines]
    probes = [(at, f[ARP]) for at, f in frames if ARP in f and f[ARP].psrc == "0.0.0.0"]
    allowed = {p["candidate"]["address"].split("/")[0] for p in looked.document["places"]}
    times: dict[str, list[float]] = {}
    for at, probe in probes:
        assert (probe.op, probe.hwdst) == (1, "00:00:00:00:00:00")
        times.setdefault(probe.pdst, []).append(at)
    assert set(times) == allowed
    assert {len(t) for t in times.values()} == {3}
    gaps = [b - a for t in times.values() for a, b in pairwise(t)]
    assert min(gaps) > 0.9  # of PROBE_MIN, with what the machine's own timing costs
    ours = {f[IP].dst for _, f in frames if IP in f} | {f[ARP].pdst for _, f in frames if ARP in f}
    assert ours <= allowed
    sent = [at for at, _ in probes]
    tens = [later - first for first, later in zip(sent, sent[10:], strict=False)]
    assert min(tens) > 0.45  # ten at 20 a second, with what the machine's own timing costs


def run_slowly(bench: Bench) -> dict[str, Any]:
    """`find` with its own settings."""
    argv = [
        a
        for a in bench.argv("--format", "json")
        if a not in {"400", "0.1s", "--timeout", "--max-packets-per-s"}
    ]
    done = subprocess.run(
        argv, cwd=bench.folder, capture_output=True, text=True, check=False, timeout=60
    )
    return {"code": done.returncode, "document": json.loads(done.stdout), "said": done.stderr}


def test_on_a_terminal_of_100_columns(bench: Bench) -> None:
    """Coloured, no line longer than the terminal, the verdict first, then how to reach it."""
    bench.prepare(device=["192.0.2.20/24"])
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 30, 100, 0, 0))
    process = subprocess.Popen(
        bench.argv(), cwd=bench.folder, stdin=theirs, stdout=theirs, stderr=theirs
    )
    os.close(theirs)
    shown = read_all(ours)
    assert process.wait(10) == 1
    plain = shown.replace("\x1b[1;31m", "").replace("\x1b[0m", "")
    assert "\x1b[1;31mFAIL\x1b[0m: lighthouse-quarry is at 192.0.2.20" in shown
    assert max(len(line) for line in plain.splitlines()) <= 100
    assert plain.isascii()
    order = [
        "asking ",
        "where is lighthouse-quarry?",
        "FAIL",
        "known by",
        "ip address add",
        "do: ",
        "address  ",
    ]
    places = [plain.index(words) for words in order]
    assert places == sorted(places)


def read_all(descriptor: int) -> str:
    shown, ends_s = b"", time.monotonic() + 60
    while time.monotonic() < ends_s:
        if select.select([descriptor], [], [], 0.2)[0]:
            try:
                shown += os.read(descriptor, 4096)
            except OSError:  # Linux: the other end is closed
                break
    os.close(descriptor)
    return shown.decode()
