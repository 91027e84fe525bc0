"""What is said: each trap of a laptop with several interfaces, in words."""

from __future__ import annotations

import pytest

from verifier.model.address import Address, Interface
from verifier.model.laptop import Fit, Laptop, LaptopInterface, Medium, Route
from verifier.model.plan import Device
from verifier.rules.fit.verdict import assumed_route, fit
from verifier.rules.fit.words import laptop_notes


def port(name: str, *addresses: str, medium: Medium = "cable", up: bool = True) -> LaptopInterface:
    return LaptopInterface(
        name=name, up=up, medium=medium, addresses=tuple(Interface.parse(a) for a in addresses)
    )


def route(interface: str, source: str | None = None, via: str | None = None) -> Route:
    return Route(
        interface=interface,
        source=Address.parse(source) if source else None,
        next_hop=Address.parse(via) if via else None,
    )


def judged(one: str, way: Route | None, *ports: LaptopInterface, **more: object) -> Fit:
    device = Device(name="device", address=Interface.parse(one), **more)  # type: ignore[arg-type]
    return fit(device, Laptop(interfaces=ports), way)


def said(found: Fit) -> str:
    return " | ".join([found.explanation, *found.notes])


DEVICE = "198.18.20.11/24"
ETH0 = port("eth0", "198.18.20.250/24")
WORDS = [
    # what is the case, relation, words that must be there
    (
        "two interfaces in one subnet",
        judged(DEVICE, route("eth0", "198.18.20.250"), ETH0, port("eth1", "198.18.20.9/24")),
        "shadowed", ["eth1 (198.18.20.9/24) covers 198.18.20.11", "packets leave there"],
    ),
    (
        "a longer prefix elsewhere",
        judged(DEVICE, route("eth1", "198.18.20.9"), ETH0, port("eth1", "198.18.20.9/25")),
        "shadowed", ["eth1 (198.18.20.9/25) has the longer prefix"],
    ),
    (
        "the Wi-Fi in the way",
        judged(DEVICE, route("eth0", "198.18.20.250"), ETH0, port("wlan0", "198.18.20.9/24", medium="wifi")),
        "shadowed", ["switch the Wi-Fi (wlan0) off"],
    ),
    (
        "packets leave by Wi-Fi",
        judged(DEVICE, route("wlan0", "203.0.113.9", "203.0.113.1"), port("eth0"), port("wlan0", "203.0.113.9/24", medium="wifi")),
        "one-way", ["leave by the Wi-Fi wlan0, although eth0 has a cable"],
    ),
    (
        "a VPN that swallows the subnet",
        judged(DEVICE, route("tun0", "203.0.113.77"), ETH0, port("tun0", "203.0.113.77/32", medium="tunnel")),
        "one-way", ["eth0 (198.18.20.250/24) covers", "tun0 (a tunnel, VPN): end the VPN"],
    ),
    (
        "link-local only",
        judged(DEVICE, None, port("eth0", "169.254.7.7/16")),
        "unusable", ["only link-local", "no DHCP answer came"],
    ),
    (
        "IPv6 link-local only",
        judged("2001:db8::11/64", None, port("eth0", "fe80::7%eth0/64")),
        "unusable", ["only link-local", "no router announced a prefix"],
    ),
    (
        "the laptop's mask too narrow",
        judged(DEVICE, None, port("eth0", "198.18.20.250/25")),
        "one-way", ["mask /25 is narrower than the device's /24", "device hears nothing on-link"],
    ),
    (
        "the laptop's mask too wide",
        judged(DEVICE, route("eth0", "198.18.21.250"), port("eth0", "198.18.21.250/16")),
        "one-way", ["mask /16 takes it for on-link", "the device hears, its answers do not arrive"],
    ),
    (
        "masks that differ without harm",
        judged(DEVICE, route("eth0", "198.18.20.250"), port("eth0", "198.18.20.250/16")),
        "direct", ["the laptop has /16, the device /24", "laptop's is the wider"],
    ),
    (
        "cable in, no address",
        judged(DEVICE, None, port("eth0")),
        "off-subnet", ["eth0 is up without an address"],
    ),
    (
        "the right address, but no cable",
        judged(DEVICE, route("eth0", "198.18.20.250"), port("eth0", "198.18.20.250/24", up=False)),
        "off-subnet", ["the cable is out: no link on eth0"],
    ),
    (
        "a /31",
        judged("192.0.2.0/31", route("eth0", "192.0.2.1"), port("eth0", "192.0.2.1/31")),
        "direct", ["two hosts and no broadcast address (RFC 3021)"],
    ),
    (
        "a zone that is not there",
        judged("fe80::11%eth9/64", None, port("eth0", "fe80::7%eth0/64")),
        "one-way", ["no interface 'eth9'"],
    ),
    (
        "a link-local address without a zone",
        judged("fe80::11/64", route("eth0", "fe80::7"), port("eth0", "fe80::7%eth0/64")),
        "direct", ["fe80::11%eth0"],
    ),
    (
        "the kernel holds the device's address on an interface that is down",
        judged(DEVICE, route("lo", "198.18.20.11"), port("eth0", up=False)),
        "clash", ["this laptop itself answers"],
    ),
    (
        "the device's second address",
        judged(DEVICE, route("eth0", "198.18.20.250"), ETH0, gateway=Address.parse("198.18.20.250")),
        "clash", ["address of the device's gateway"],
    ),
    (
        "the network address by the laptop's mask",
        judged("198.18.20.128/24", route("eth0", "198.18.20.250"), port("eth0", "198.18.20.250/25")),
        "direct", ["198.18.20.128 is the network address of 198.18.20.128/25"],
    ),
    (
        "the kernel prefers another interface",
        judged(DEVICE, Route(interface="eth0", source=Address.parse("198.18.20.250"), elsewhere="eth1"), ETH0),
        "shadowed", ["by eth1, not by eth0"],
    ),
    (
        "tagged management",
        judged(DEVICE, route("eth0", "198.18.20.250"), ETH0, management_vlan=20, management_tagged=True),
        "direct", ["works only behind a switch port that tags"],
    ),
]  # fmt: skip


@pytest.mark.parametrize(
    ("found", "relation", "words"), [w[1:] for w in WORDS], ids=[w[0] for w in WORDS]
)
def test_each_trap_has_its_words(found: Fit, relation: str, words: list[str]) -> None:
    """The relation, and what a technician must know about it."""
    assert found.relation == relation
    for part in words:
        assert part in said(found), said(found)


def test_zone_decides_among_interfaces() -> None:
    """With a zone no other interface's fe80::/10 is in the way (RFC 4007); without one it is."""
    ports = (port("eth0", "fe80::7%eth0/64"), port("eth1", "fe80::8%eth1/64"))
    assert judged("fe80::11%eth1/64", route("eth1", "fe80::8"), *ports).relation == "direct"
    assert judged("fe80::11/64", route("eth1", "fe80::8"), *ports).relation == "shadowed"
    chosen = assumed_route(Laptop(interfaces=ports, assumed=True), Address.parse("fe80::11%eth1"))
    assert chosen is not None
    assert chosen.interface == "eth1"


def test_only_a_wrong_vlan_turns_a_pass_into_a_warning() -> None:
    """On the right tagged interface there is nothing to say."""
    tagged = LaptopInterface(name="eth0.20", vlan=20, addresses=ETH0.addresses)
    way = route("eth0.20", "198.18.20.250")
    right = judged(DEVICE, way, tagged, management_vlan=20, management_tagged=True)
    wrong = judged(DEVICE, way, tagged, management_vlan=30, management_tagged=True)
    assert (right.verdict, right.notes, wrong.verdict) == ("pass", (), "warn")
    wide = judged(DEVICE, route("eth0", "198.18.20.250"), port("eth0", "198.18.20.250/16"))
    assert (wide.verdict, len(wide.notes)) == ("pass", 1)


LAPTOPS = [
    ([ETH0, port("eth1", "198.18.0.9/16")], "eth0 (198.18.20.250/24) and eth1 (198.18.0.9/16) are in one subnet"),
    ([ETH0, port("wlan0", "203.0.113.9/24", medium="wifi")], "Wi-Fi (wlan0) and cable (eth0) are both up"),
    ([port("eth0")], "eth0: cable in, no address"),
    ([port("eth0", "169.254.7.7/16")], "no DHCP answer came"),
    ([port("eth0", "198.18.20.255/24")], "broadcast address"),
]  # fmt: skip


@pytest.mark.parametrize(("ports", "words"), LAPTOPS)
def test_laptop_as_a_whole(ports: list[LaptopInterface], words: str) -> None:
    """Whatever device is asked about."""
    assert any(words in note for note in laptop_notes(Laptop(interfaces=tuple(ports))))


def test_sound_laptop_has_no_notes() -> None:
    """One cable with an address; what is down does not count."""
    ports = (
        ETH0,
        port("eth1", "198.18.20.9/24", up=False),
        port("lo", "127.0.0.1/8", medium="loopback"),
    )
    assert laptop_notes(Laptop(interfaces=ports)) == ()
