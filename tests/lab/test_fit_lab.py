"""What `fit` says is what the kernels of a laptop, a device and a router do with those settings."""

from __future__ import annotations

import json
import shlex
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.lab.fit_cases import Case, chosen, expected
from tests.lab.fit_network import FitNetwork, judged
from tests.lab.shell import command

pytestmark = pytest.mark.lab
SEED = 20
CASES = list(chosen(70, SEED))
MENDED = [c for c in CASES if expected(c) in {"one-way", "off-subnet", "clash"}]


@pytest.fixture(scope="module")
def network() -> Iterator[FitNetwork]:
    with FitNetwork() as built:
        yield built


@pytest.mark.parametrize("case", CASES, ids=str)
def test_relation_is_the_kernels(network: FitNetwork, case: Case) -> None:
    """Asked of the machine, or of the same settings given by hand: what the echoes show."""
    network.arrange(case)
    of_machine, given = network.said(case)
    seen = network.seen(case)
    for said in (of_machine, given):
        half = said["relation"] == "routed" and said["verdict"] == "warn"
        assert said["relation"] + ("?" if half else "") == judged(seen), (said, seen)
    if seen.route.get("prefsrc") and of_machine["relation"] != "clash":
        assert of_machine["interface"] == seen.route["dev"]
        assert of_machine["laptop_address"].split("/")[0] == seen.route["prefsrc"]


def run(network: FitNetwork, lines: list[str]) -> None:
    for line in lines:
        argv = shlex.split(line.replace("INTERFACE", "eth0"))
        command("ip", "netns", "exec", network.name("laptop"), *argv)


def addresses(network: FitNetwork) -> set[str]:
    lines = command("ip", "-n", network.name("laptop"), "-o", "addr").splitlines()
    return {" ".join(line.split()[1:4]) for line in lines}


@pytest.mark.parametrize("case", MENDED, ids=str)
def test_what_it_says_to_set_helps_and_can_be_taken_back(network: FitNetwork, case: Case) -> None:
    """After its commands the device answers without the router; after the others all is as before."""
    network.arrange(case)
    said, _ = network.said(case)
    if said["suggested"] is None:
        assert case.device.endswith(("/32", "/31", "/30", "/128", "/127"))
        return
    before = addresses(network)
    run(network, said["commands"])
    now, _ = network.said(case)
    seen = network.seen(case, hopeful=True)
    (back,) = (n for n in said["notes"] if n.startswith("to take it back: "))
    run(network, back.removeprefix("to take it back: ").split("; "))
    assert (seen.laptop_answered, seen.forwarded) == (True, 0), (said, seen)
    assert now["relation"] in {"direct", "shadowed"}
    assert now["suggested"] is None
    assert addresses(network) == before


UNUSABLE = [
    # one side's host address is a broadcast address by the other side's mask
    Case(laptop=(("eth0", "198.18.20.5/25"),), device="198.18.20.127/24"),
    Case(laptop=(("eth0", "198.18.20.127/24"),), device="198.18.20.5/25"),
    # RFC 3927: no DHCP answer came
    Case(laptop=(("eth0", "169.254.7.7/16"),), device="198.18.20.11/24", gateway="198.18.20.1"),
]


@pytest.mark.parametrize("case", UNUSABLE, ids=str)
def test_unusable_is_not_answered(network: FitNetwork, case: Case) -> None:
    """Not both can call the other, although each address can be a host's by its own mask."""
    network.arrange(case)
    said, _ = network.said(case)
    assert said["relation"] == expected(case) == "unusable"
    seen = network.seen(case)
    assert not (seen.laptop_answered and seen.device_answered)


@pytest.mark.parametrize(
    ("given", "relation"),
    [
        ("198.18.20.251/24@eth1", "shadowed"),  # the route of eth0 is there first
        ("198.18.20.251/22@eth1", "shadowed"),  # eth0 has the longer prefix
        ("198.18.20.5/28@eth1", "direct"),  # as soon as it is set, eth1 has the longer prefix
        ("198.18.20.251/24@eth0", "direct"),
        ("198.18.20.251/24@eth7", "direct"),  # no interface of this machine: it is not asked
    ],
)
def test_named_interface_that_the_kernel_would_not_use(
    network: FitNetwork, tmp_path: Path, given: str, relation: str
) -> None:
    """`--laptop ADDRESS@INTERFACE`, where eth0 has the device's subnet: the kernel decides."""
    network.arrange(Case(laptop=(("eth0", "198.18.20.250/24"),), device="198.18.20.11/24"))
    plan = tmp_path / "plan.yaml"
    plan.write_text("devices: [{name: device, address: 198.18.20.11/24}]")
    words = ("-m", "verifier", "fit", str(plan), "--laptop", given, "--format", "json")
    text = command("ip", "netns", "exec", network.name("laptop"), sys.executable, *words)
    (device,) = json.loads(text)["devices"]
    assert device["relation"] == relation
    if relation == "shadowed":
        assert "by eth0, not by eth1" in device["explanation"]
