"""`here` on a real cable: nothing typed but the command, in the folder of the job."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from typing import Any

import jsonschema
import pytest
from scapy.layers.l2 import ARP, Ether

from tests.lab.bench import DEVICE_MAC, FACTORY, NAMES, OTHER, Bench
from verifier.files.schema import schema

pytestmark = pytest.mark.lab
PLANNED = "198.18.20.11/24"
DEVICE = NAMES[DEVICE_MAC]
ORDINARY = ("setpriv", "--securebits=+noroot,+noroot_locked", "--inh-caps=-all")
"""No capability, as an ordinary user has none; a program's own are granted (ping has one)."""


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


def looked(bench: Bench, *words: str, before: tuple[str, ...] = ()) -> tuple[int, dict[str, Any]]:
    """Exit code and document; the laptop has its own addresses again."""
    held = bench.addresses("laptop")
    done = bench.run("here", *words, "--format", "json", before=before)
    assert done.stdout.startswith("{"), f"exit {done.returncode}: {done.stdout}{done.stderr}"
    assert bench.addresses("laptop") == held
    document = json.loads(done.stdout)
    jsonschema.validate(document, schema("here"), cls=jsonschema.Draft202012Validator)
    return done.returncode, document


def states(document: dict[str, Any]) -> dict[str, str]:
    return {d["who"]: d["state"] for d in document["devices"]}


def test_where_it_should_be(bench: Bench) -> None:
    """Ten lines at most, the verdict last, what was taken from the folder said in one."""
    bench.prepare(device=[PLANNED])
    done = bench.run("here")
    lines = done.stdout.splitlines()
    assert done.returncode == 0, done.stdout
    assert lines[-1] == "PASS  right device, reachable, settings right"
    assert len(lines) <= 10
    assert "identity, address, mask" in done.stdout
    assert done.stderr == "plan-verifier: taken: plan.yaml, credentials.toml, profiles\n"


def test_both_on_one_switch(bench: Bench) -> None:
    """A line each; the one whose mask is wrong first."""
    bench.prepare(device=["198.18.20.11/16"], other=["198.18.20.12/24"])
    done = bench.run("here")
    lines = done.stdout.splitlines()
    assert done.returncode == 1
    assert lines[0].startswith(f"{DEVICE}  198.18.20.11/")
    assert "WRONG  mask: planned 255.255.255.0" in lines[0]
    assert lines[1].startswith("quarry-lighthouse  198.18.20.12/24")
    assert lines[-1] == "FAIL  2 devices on this cable: 1 wrong, 1 right"


def test_never_set_and_the_laptop_without_an_address(bench: Bench) -> None:
    """Known by ARP alone; with --set-laptop an address is borrowed, and given back."""
    bench.prepare(device=["192.0.2.20/24"], laptop=[])
    bench.agent("device", "radio", FACTORY)
    code, seen = looked(bench)
    assert (code, states(seen)) == (1, {DEVICE: "factory"})
    assert seen["borrowed"] == []
    code, seen = looked(bench, "--set-laptop")
    (device,) = seen["devices"]
    assert (code, device["state"], device["reached"]) == (1, "factory", True)
    assert len(seen["borrowed"]) == 1
    assert seen["borrowed"][0].startswith("192.0.2.")
    assert "set 198.18.20.11/24" in device["do"]


def test_two_at_one_address(bench: Bench) -> None:
    bench.prepare(device=[PLANNED], other=[PLANNED])
    code, seen = looked(bench)
    assert (code, set(states(seen).values())) == (1, {"shared"})


def test_another_device_of_the_plan(bench: Bench) -> None:
    """It holds the other one's address; its name tells who it is."""
    bench.prepare(other=[PLANNED], mac_planned=False)
    bench.agent("device", None)
    code, seen = looked(bench)
    (device,) = seen["devices"]
    assert (code, device["state"], device["asked"]) == (1, "another", DEVICE)
    assert device["who"] == "quarry-lighthouse"
    assert "exchange the two devices" in device["do"]


def test_heard_at_an_address_of_no_plan(bench: Bench) -> None:
    """Its hardware address is the plan's: it is somewhere else, and where is said."""
    bench.prepare(device=["198.18.20.77/24"])
    frame = bytes(
        Ether(src=DEVICE_MAC, dst="ff:ff:ff:ff:ff:ff")
        / ARP(op=1, hwsrc=DEVICE_MAC, psrc="198.18.20.77", pdst="198.18.20.77")
    )
    sending = bench.sending("device", frame)
    try:
        code, seen = looked(bench)
    finally:
        sending.terminate()
        sending.wait()
    (device,) = seen["devices"]
    assert (code, device["state"], device["address"]) == (1, "elsewhere", "198.18.20.77/24")


def test_nobody_and_no_link(bench: Bench) -> None:
    """After eight seconds nobody; at once no link."""
    bench.agent("device", None)
    code, seen = looked(bench)
    assert (code, seen["state"]) == (3, "nobody")
    assert 7.0 < seen["sought_s"] < 12.0
    bench.ip("laptop", "link set eth0 down")
    try:
        done = bench.run("here")
    finally:
        bench.ip("laptop", "link set eth0 up")
        bench.prepare()
    assert done.returncode == 3
    assert "eth0 switched off" in done.stdout


def test_as_an_ordinary_user(bench: Bench) -> None:
    """No ARP, no listening, no echo of its own: the system's ping and SNMP say who it is."""
    bench.prepare(device=[PLANNED])
    code, seen = looked(bench, before=ORDINARY)
    (device,) = seen["devices"]
    assert (code, device["state"], device["verdict"]) == (0, "planned", "pass")
    assert any("CAP_NET_RAW" in note for note in seen["notes"])


def test_watch_until_it_is_right(bench: Bench) -> None:
    """It ends by itself when the mask is set right; nothing is left behind."""
    bench.prepare(device=["198.18.20.11/16"])
    argv = bench.inside("laptop", sys.executable, "-m", "verifier", "here", "--watch")
    watching = subprocess.Popen(argv, cwd=bench.folder, stdout=subprocess.PIPE, text=True)
    assert watching.stdout is not None
    while (line := watching.stdout.readline()) and "mask wrong" not in line:
        pass
    bench.ip("device", "address flush dev eth0 scope global", f"address add {PLANNED} dev eth0")
    rest, _ = watching.communicate(timeout=40)
    assert watching.returncode == 0
    assert rest.splitlines()[-2].startswith("PASS  right device, reachable")


def test_interrupted_it_takes_back_what_it_borrowed(bench: Bench) -> None:
    """A terminal that goes away: exit 130, the laptop as before."""
    bench.prepare(device=["192.0.2.20/24"], laptop=[])
    held = bench.addresses("laptop")
    words = [sys.executable, "-m", "verifier", "here", "--watch", "--set-laptop"]
    before = signal.signal(signal.SIGHUP, signal.SIG_DFL)  # a suite under nohup ignores it
    watching = subprocess.Popen(
        bench.inside("laptop", *words), cwd=bench.folder,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    signal.signal(signal.SIGHUP, before)
    ends_s = time.monotonic() + 40
    while bench.addresses("laptop") == held and time.monotonic() < ends_s:
        time.sleep(0.2)
    assert bench.addresses("laptop") != held
    watching.send_signal(signal.SIGHUP)
    _, said = watching.communicate(timeout=40)
    assert watching.returncode == 130, said
    assert bench.addresses("laptop") == held


def test_the_same_option_elsewhere(bench: Bench) -> None:
    """`--set-laptop` borrows, asks, and gives back, whatever asks."""
    bench.prepare(device=[PLANNED], laptop=[])
    held = bench.addresses("laptop")
    done = bench.run("reach", "--device", DEVICE, "--echoes", "1", "--set-laptop")
    assert "adding 198.18.20.250/24 to eth0; taken back at the end" in done.stderr
    assert done.returncode == 0, done.stdout
    assert bench.addresses("laptop") == held


def test_find_with_an_address_of_its_own(bench: Bench) -> None:
    bench.prepare(device=["192.0.2.20/24"], laptop=[])
    done = bench.run("find", DEVICE, "--set-laptop", "--format", "json", "--timeout", "0.2s",
                     "--max-packets-per-s", "400")  # fmt: skip
    found = json.loads(done.stdout)
    assert (done.returncode, found["state"]) == (1, "elsewhere")
    assert "its name (SNMP)" in found["by"]
