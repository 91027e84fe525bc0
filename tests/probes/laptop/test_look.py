"""This machine as the kernel sees it, compared with iproute2 in a namespace of the test's own."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import verifier
from verifier.model.address import Address
from verifier.probes.laptop import look

pytestmark = pytest.mark.lab

SETUP = """
ip link set lo up
ip link add eth0 type veth peer name far0
ip link add eth1 type veth peer name far1
ip link set eth0 up; ip link set far0 up; ip link set eth1 up
ip addr add 198.18.20.250/24 dev eth0
ip addr add 2001:db8:20::250/64 dev eth0 nodad
ip link add eth2 type veth peer name far2
ip link set eth2 up; ip link set far2 up
ip addr add 198.18.30.250/25 dev eth2
ip route add default via 198.18.20.1
ip route add 198.18.40.0/24 via 198.18.30.129
ip route add unreachable 198.18.50.0/24
ip route add 203.0.113.0/24 dev eth0 src 198.18.20.250
ip neigh add 198.18.20.11 lladdr 02:00:5e:10:00:11 dev eth0
ip neigh add 2001:db8:20::11 lladdr 02:00:5e:10:00:12 dev eth0
"""
TARGETS = [
    "198.18.20.11", "198.18.20.250", "198.18.30.7", "198.18.30.200", "198.18.40.9", "198.18.50.1",
    "203.0.113.5", "192.0.2.77", "127.0.0.9", "2001:db8:20::11", "2001:db8:99::1", "::1",
]  # fmt: skip
ASK = """
import json, sys
from verifier.model.address import Address
from verifier.model.observations import as_json
from verifier.probes.laptop import look as laptop
found = laptop.routes(Address.parse(a) for a in sys.argv[1:])
print(json.dumps({
    "laptop": as_json(laptop.look()),
    "routes": {str(a): as_json(r) for a, r in found.items()},
    "neighbours": {str(a): str(m) for a, m in laptop.neighbours().items()},
}))
"""
THEIRS = "; ".join(f"ip -j route get {a} 2>/dev/null || echo null; echo ,," for a in TARGETS)


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    """What we see and what iproute2 sees, in one namespace that ends with the process."""
    ask = tmp_path_factory.mktemp("ask") / "ask.py"
    ask.write_text(ASK)
    root = Path(verifier.__file__).parent.parent
    script = (
        f"set -e\n{SETUP}\nset +e\n{sys.executable} {ask} {' '.join(TARGETS)}\necho ====\n{THEIRS}"
    )
    done = subprocess.run(
        ["unshare", "--net", "sh", "-c", script], cwd=root, capture_output=True, text=True, check=True,
        env={"PATH": "/usr/sbin:/sbin:/usr/bin:/bin", "PYTHONPATH": str(root)},
    )  # fmt: skip
    ours, theirs = done.stdout.split("====\n")
    answers = [json.loads(part) for part in theirs.split(",,") if part.strip()]
    routes = {t: a[0] if a else None for t, a in zip(TARGETS, answers, strict=True)}
    return {**json.loads(ours), "theirs": routes}


@pytest.mark.parametrize("target", TARGETS)
def test_route_is_the_kernels(seen: dict[str, dict[str, Any]], target: str) -> None:
    """Interface, source address and next hop are what `ip route get` says."""
    ours, theirs = seen["routes"][target], seen["theirs"][target]
    if theirs is None or theirs.get("type") == "unreachable":
        assert ours is None
        return
    assert ours["interface"] == theirs["dev"]
    assert ours["next_hop"] == theirs.get("gateway")
    assert ours["source"] == theirs.get("prefsrc")


def test_interfaces_with_addresses_and_state(seen: dict[str, dict[str, Any]]) -> None:
    """A cable without an address is there; an interface without a carrier is not up."""
    found = {i["name"]: i for i in seen["laptop"]["interfaces"]}
    assert {"lo", "eth0", "eth1", "eth2", "far0", "far1"} <= set(found)
    assert "198.18.20.250/24" in found["eth0"]["addresses"]
    assert "2001:db8:20::250/64" in found["eth0"]["addresses"]
    assert found["eth2"]["addresses"][0] == "198.18.30.250/25"
    assert found["eth0"]["vlan"] is None
    assert found["eth0"]["up"]
    assert not found["far1"]["up"]


def test_neighbours_are_the_kernels(seen: dict[str, dict[str, Any]]) -> None:
    """Both families; what was never resolved is not listed."""
    assert seen["neighbours"]["198.18.20.11"] == "02:00:5e:10:00:11"
    assert seen["neighbours"]["2001:db8:20::11"] == "02:00:5e:10:00:12"


def test_vlans_of_the_kernels_list(tmp_path: Path) -> None:
    """The two lines of heading are no interfaces; an odd line is passed over."""
    listed = tmp_path / "config"
    listed.write_text(
        "VLAN Dev name    | VLAN ID\nName-Type: VLAN_NAME_TYPE_RAW_PLUS_VID_NO_PAD\n"
        "eth0.20        | 20  | eth0\nmanagement     | 4094  | eth1\nodd | line\n"
    )
    assert look.vlans(listed) == {"eth0.20": 20, "management": 4094}
    assert look.vlans(tmp_path / "none") == {}


def test_ten_thousand_routes_are_asked_quickly() -> None:
    """One netlink socket for all; loopback addresses all lead to lo."""
    addresses = [Address.parse(f"127.{n >> 8 & 255}.{n & 255}.9") for n in range(10_000)]
    found = look.routes(addresses)
    assert len(found) == 10_000
    assert {r.interface for r in found.values() if r} == {"lo"}
