"""How laptop and device stand to each other."""

from __future__ import annotations

import ipaddress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.model.address import Address, Interface
from verifier.model.laptop import Laptop, LaptopInterface, Route
from verifier.model.plan import Device, OtherAddress
from verifier.rules.fit.verdict import Fit, assumed_route, fit


def laptop(*addresses: str, gateway: str | None = None) -> Laptop:
    """A laptop with each address on an interface of its own: eth0, eth1, ..."""
    return Laptop(
        interfaces=tuple(
            LaptopInterface(name=f"eth{n}", addresses=(Interface.parse(a),))
            for n, a in enumerate(addresses)
        ),
        gateways=(Address.parse(gateway),) if gateway else (),
        assumed=True,
    )


def judged(machine: Laptop, address: str, gateway: str | None = None, **more: object) -> Fit:
    device = Device(
        name="device",
        address=Interface.parse(address),
        gateway=Address.parse(gateway) if gateway else None,
        **more,  # type: ignore[arg-type]
    )
    return fit(device, machine, assumed_route(machine, device.address.address))


CASES = [
    # laptop, its gateway, device, its gateway, relation, verdict
    ("198.18.20.250/24", None, "198.18.20.11/24", None, "direct", "pass"),
    ("198.18.20.250/24", None, "198.18.20.0/24", None, "unusable", "fail"),
    ("198.18.20.250/24", None, "198.18.20.255/24", None, "unusable", "fail"),
    ("198.18.20.0/24", None, "198.18.20.11/24", None, "unusable", "fail"),
    ("169.254.7.7/16", None, "198.18.20.11/24", None, "unusable", "fail"),
    ("169.254.7.7/16", None, "169.254.9.9/16", None, "direct", "pass"),
    ("198.18.20.11/24", None, "198.18.20.11/24", None, "clash", "fail"),
    ("198.18.20.1/24", None, "198.18.20.11/24", "198.18.20.1", "clash", "fail"),
    ("203.0.113.9/24", "203.0.113.1", "198.18.20.11/24", "198.18.20.1", "routed", "pass"),
    ("198.18.20.250/16", None, "198.18.30.11/24", "198.18.30.1", "routed", "warn"),
    ("198.18.30.250/24", "198.18.30.1", "198.18.20.11/16", None, "routed", "warn"),
    ("203.0.113.9/24", "203.0.113.1", "198.18.20.11/24", None, "one-way", "fail"),
    ("198.18.20.250/25", None, "198.18.20.11/24", None, "one-way", "fail"),
    ("198.18.21.250/16", None, "198.18.20.11/24", None, "one-way", "fail"),
    ("203.0.113.9/24", None, "198.18.20.11/24", "198.18.20.1", "one-way", "fail"),
    ("203.0.113.9/24", None, "198.18.20.11/24", None, "off-subnet", "fail"),
    ("192.0.2.0/31", None, "192.0.2.1/31", None, "direct", "pass"),
    ("2001:db8::250/64", None, "2001:db8::11/64", None, "direct", "pass"),
    ("2001:db8::250/64", None, "2001:db8:1::11/64", None, "off-subnet", "fail"),
    ("198.18.20.250/24", None, "2001:db8::11/64", None, "off-subnet", "fail"),
    ("2001:db8::250/64", None, "2001:db8::/64", None, "unusable", "fail"),
    ("198.18.20.250/24", None, "127.0.20.11/8", None, "direct", "pass"),
]


@pytest.mark.parametrize(("own", "via", "device", "gateway", "relation", "verdict"), CASES)
def test_relations(
    own: str, via: str | None, device: str, gateway: str | None, relation: str, verdict: str
) -> None:
    """The first relation that applies, with its verdict."""
    found = judged(laptop(own, gateway=via), device, gateway)
    if device.startswith("127."):
        route = Route(interface="lo", source=Address.parse("127.0.0.1"))
        one = Device(name="device", address=Interface.parse(device))
        found = fit(one, laptop(own), route)
    assert (found.relation, found.verdict) == (relation, verdict)


def test_routed_says_that_forwarding_is_unseen() -> None:
    """Nothing between two gateways is known from the laptop."""
    found = judged(
        laptop("203.0.113.9/24", gateway="203.0.113.1"), "198.18.20.11/24", "198.18.20.1"
    )
    assert "not seen" in found.explanation


def test_two_interfaces_in_one_subnet_shadow() -> None:
    """Packets may leave by the wrong one: a warning that names both."""
    found = judged(laptop("198.18.20.250/24", "198.18.20.251/24"), "198.18.20.11/24")
    assert (found.relation, found.verdict) == ("shadowed", "warn")
    assert "eth0" in found.explanation
    assert "eth1" in found.explanation


def test_interface_that_is_down_holds_nothing() -> None:
    """An address on an interface without a cable is none."""
    machine = Laptop(
        interfaces=(
            LaptopInterface(name="eth0", up=False, addresses=(Interface.parse("198.18.20.9/24"),)),
        ),
        assumed=True,
    )
    assert judged(machine, "198.18.20.11/24").relation == "off-subnet"


def test_tagged_management_is_a_note_and_a_warning() -> None:
    """A device that wants tagged management is reached only through a port that tags."""
    found = judged(
        laptop("198.18.20.250/24"), "198.18.20.11/24", management_vlan=20, management_tagged=True
    )
    assert (found.relation, found.verdict) == ("direct", "warn")
    assert "VLAN 20" in found.notes[0]


def test_second_address_of_the_device_counts() -> None:
    """A device that also stands in the laptop's subnet answers directly."""
    other = OtherAddress(address=Interface.parse("203.0.113.11/24"), role="second")
    machine = laptop("203.0.113.9/24", gateway="203.0.113.1")
    found = judged(machine, "198.18.20.11/24", other_addresses=(other,))
    assert (found.relation, found.verdict) == ("routed", "warn")


@given(
    st.ip_addresses(v=4, network="198.18.0.0/16"),
    st.integers(16, 30),
    st.ip_addresses(v=4, network="198.18.0.0/16"),
    st.integers(16, 30),
)
def test_direct_is_what_the_standard_library_says(
    own: ipaddress.IPv4Address, own_prefix: int, device: ipaddress.IPv4Address, unit_prefix: int
) -> None:
    """Without gateways: direct if and only if each lies in the other's network, as hosts."""
    ours = ipaddress.ip_interface(f"{own}/{own_prefix}")
    theirs = ipaddress.ip_interface(f"{device}/{unit_prefix}")
    hosts = all(
        i.ip not in {i.network.network_address, i.network.broadcast_address} for i in (ours, theirs)
    )
    expected = hosts and own != device and own in theirs.network and device in ours.network
    found = judged(laptop(f"{own}/{own_prefix}"), f"{device}/{unit_prefix}")
    assert (found.relation == "direct") == expected
