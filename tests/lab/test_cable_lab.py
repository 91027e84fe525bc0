"""This laptop's cable is out: a real interface without a carrier, and what each command says."""

from __future__ import annotations

import json
import os
import secrets
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.lab.runs import claimed
from tests.lab.shell import command, ip_batch

pytestmark = pytest.mark.lab

PLAN = """\
network: {name: Harbour ring, revision: "3", example: true}
management: {laptop: 198.18.20.250/24}
devices:
  - {name: lighthouse-quarry, address: 198.18.20.11/24, present_address: 198.18.20.21/24, gateway: 198.18.20.1, snmp: field, profile: level}
  - {name: quarry-lighthouse, address: 198.18.20.12/24, gateway: 198.18.20.1, snmp: field, profile: level}
links:
  - {name: Hop 1, a: {device: lighthouse-quarry}, b: {device: quarry-lighthouse}}
"""
PROFILE = """\
id = "level"
boot_s = 1
[[reading]]
field = "rx_level_dbm"
oid = "1.3.6.1.4.1.32473.1.1.1.0"
type = "integer"
source = "invented"
"""
CREDENTIALS = '[snmp.field]\nversion = "2c"\ncommunity = "coastal-read"\n'
OUT = "the cable is out: no link on eth0"
FILES = ("--profiles", "profiles", "--credentials", "credentials.toml")
COMMANDS = {
    "fit": ("fit", "plan.yaml", *FILES[:2]),
    "reach": ("reach", "plan.yaml", *FILES[:2], "--echoes", "1"),
    "verify": ("verify", "plan.yaml", "--echoes", "1", *FILES),
    "guide": ("readdress", "plan.yaml", "--guide", *FILES),
    "guide that watches": ("readdress", "plan.yaml", "--guide", "--auto", "--wait", "2s", *FILES),
    "guide that sets the laptop": (
        "readdress", "plan.yaml", "--guide", "--auto", "--wait", "2s", "--set-laptop", *FILES,
    ),
    "powercycle": ("powercycle", "plan.yaml", "lighthouse-quarry", "--accept-outage", *FILES),
    "peak": ("align", "plan.yaml", "Hop 1", "--for", "2s", *FILES),
}  # fmt: skip
CODES = {"fit": 1, "guide": 3, "guide that watches": 1}
"""All others: 3, not tested."""
OTHER_ADVICE = (
    "ip address", "check power", "set the laptop", "set at the laptop", "restart", "community",
    "a gateway", "the gateway", "switch its supply", "another address", "is it on",
)  # fmt: skip


class Laptop:
    """A namespace with one interface, whose far end is switched off: no carrier."""

    def __init__(self, name: str, folder: Path) -> None:
        self.name, self.folder = name, folder

    def ip(self, *lines: str) -> None:
        ip_batch(self.name, lines)

    def run(self, *argv: str, typed: str = "") -> subprocess.CompletedProcess[str]:
        for journal in self.folder.glob("*.jsonl"):
            journal.unlink()
        return subprocess.run(
            ["ip", "netns", "exec", self.name, sys.executable, "-m", "verifier", *argv],
            cwd=self.folder, env={**os.environ, "XDG_STATE_HOME": str(self.folder / "state")},
            input=typed, capture_output=True, text=True, timeout=90, check=False,
        )  # fmt: skip


@pytest.fixture(scope="module")
def laptop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Laptop]:
    prefix = f"pc{secrets.token_hex(2)}"
    folder = tmp_path_factory.mktemp("cable")
    (folder / "plan.yaml").write_text(PLAN)
    (folder / "profiles").mkdir()
    (folder / "profiles" / "level.toml").write_text(PROFILE)
    (folder / "credentials.toml").write_text(CREDENTIALS)
    (folder / "credentials.toml").chmod(0o600)
    with ExitStack() as built:
        built.enter_context(claimed(prefix))
        for name in ("laptop", "far"):
            ip_batch(None, [f"netns add {prefix}-{name}"])
        ip_batch(f"{prefix}-laptop", [
            "link set lo up", f"link add eth0 type veth peer name eth0 netns {prefix}-far",
            "link set eth0 up",
        ])  # fmt: skip
        yield Laptop(f"{prefix}-laptop", folder)


@pytest.fixture(params=["with its address", "without an address"])
def unplugged(laptop: Laptop, request: pytest.FixtureRequest) -> Laptop:
    """No carrier, as the kernel itself says; a network manager may take the address away then."""
    laptop.ip("address flush dev eth0", "link set eth0 up")
    if request.param == "with its address":
        laptop.ip("address add 198.18.20.250/24 dev eth0")
    shown = json.loads(command("ip", "-n", laptop.name, "-j", "link", "show", "eth0"))[0]
    assert "NO-CARRIER" in shown["flags"]
    return laptop


@pytest.mark.parametrize("name", COMMANDS)
def test_the_cable_is_the_headline_and_the_only_advice(unplugged: Laptop, name: str) -> None:
    """It is said first, once for all, with what to do; nothing of any device is advised."""
    done = unplugged.run(*COMMANDS[name])
    told = done.stdout + done.stderr
    flat = " ".join(told.split())
    assert OUT in flat, told
    assert done.returncode == CODES.get(name, 3), told
    if not name.startswith("guide"):
        assert OUT in " ".join(" ".join(told.splitlines()[:6]).split()), told
        assert not [words for words in OTHER_ADVICE if words in flat], told
    else:
        # What the runbook itself asks for stands before it.
        after = flat[flat.index(OUT) :]
        assert not [words for words in OTHER_ADVICE if words in after], told


def test_results_hold_it_as_a_cause(unplugged: Laptop) -> None:
    """One certain cause, of the laptop, for all that could not be tested."""
    done = unplugged.run("verify", "plan.yaml", "--echoes", "1", "--format", "json", *FILES)
    document = json.loads(done.stdout)
    (cause,) = document["causes"]
    assert (cause["kind"], cause["certainty"]) == ("cable-out", "certain")
    assert cause["subject"]["kind"] == "laptop"
    assert cause["text"] == OUT
    untested = {f["id"] for f in document["findings"] if f["subject"]["kind"] == "device"
                and f["verdict"] == "not-tested"}  # fmt: skip
    assert untested <= set(cause["for"])
    assert not [f for f in document["findings"] if f["verdict"] == "fail"]
    assert {f["advice"] for f in document["findings"] if f["advice"]} == {
        "plug this laptop's cable in at both ends, and see that the far port is on"
    }


def test_fit_suggests_nothing(unplugged: Laptop) -> None:
    done = unplugged.run("fit", "plan.yaml", *FILES[:2], "--format", "json")
    for device in json.loads(done.stdout)["devices"]:
        assert (device["suggested"], device["commands"], device["notes"]) == (None, [], [])
        assert device["explanation"] == OUT
        assert device["verdict"] == "fail"


def test_an_interface_that_is_switched_off_is_not_a_cable(laptop: Laptop) -> None:
    """No link either, but nobody has to look for a cable."""
    laptop.ip(
        "address flush dev eth0", "address add 198.18.20.250/24 dev eth0", "link set eth0 down"
    )
    try:
        told = laptop.run("fit", "plan.yaml", *FILES[:2]).stdout
    finally:
        laptop.ip("link set eth0 up")
    assert "eth0 is switched off at this laptop: no link on eth0" in told
    assert "the cable is out" not in told
