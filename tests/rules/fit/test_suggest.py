"""What to set at the laptop: which address, and how on each operating system."""

from __future__ import annotations

import ipaddress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.model.address import Address, Interface
from verifier.model.laptop import UNNAMED, Fit, Laptop, LaptopInterface, System
from verifier.model.plan import Device, Host, Management, OtherAddress, Plan
from verifier.model.profile import Factory, Profile
from verifier.rules.fit.suggest import Advisor, candidates, present, taken_addresses
from verifier.rules.fit.verdict import assumed_route, fit

FAR = "203.0.113.9/24"


def at(text: str) -> Interface:
    return Interface.parse(text)


def advised(
    plan: Plan,
    *own: str,
    profile: Profile | None = None,
    system: System = "linux",
    name: str = "eth0",
) -> list[Fit]:
    laptop = Laptop(
        interfaces=tuple(LaptopInterface(name=name, addresses=(at(a),)) for a in own), assumed=True
    )
    profiles = {profile.id: profile} if profile else {}
    held = [a.address for i in laptop.interfaces for a in i.addresses]
    advisor = Advisor(
        laptop=laptop,
        taken=taken_addresses(plan, profiles, held),
        wanted=plan.management.laptop,
        interface=name if name != UNNAMED else None,
        system=system,
    )
    return [
        advisor.advise(fit(d, laptop, assumed_route(laptop, d.address.address)), d)
        for d in plan.devices
    ]


def plan_of(*several: str, wanted: str | None = None, **more: object) -> Plan:
    devices = tuple(Device(name=f"device-{n}", address=at(a)) for n, a in enumerate(several))
    management = Management(laptop=at(wanted) if wanted else None)
    return Plan(devices=devices, management=management, **more)  # type: ignore[arg-type]


CASES = [
    # devices, the plan's laptop, the laptop, suggested for the first device
    (["198.18.20.11/24"], None, FAR, "198.18.20.254/24"),
    (["198.18.20.11/24"], "198.18.20.250/24", FAR, "198.18.20.250/24"),
    (["198.18.20.254/24", "198.18.20.253/24"], None, FAR, "198.18.20.252/24"),
    (["198.18.20.11/24"], "198.18.30.250/24", FAR, "198.18.20.254/24"),  # another subnet
    (["198.18.20.11/24"], "198.18.20.11/24", FAR, "198.18.20.254/24"),  # a device's
    (["198.18.20.11/24"], "198.18.20.255/24", FAR, "198.18.20.254/24"),  # the broadcast address
    (["198.18.20.200/24"], "198.18.20.250/25", FAR, "198.18.20.254/24"),  # fits not all of it
    (["198.18.20.11/24"], "198.18.20.250/16", FAR, "198.18.20.250/16"),
    (["198.18.20.1/30", "198.18.20.2/30"], None, FAR, None),
    (["198.18.20.1/30"], None, FAR, "198.18.20.2/30"),
    (["192.0.2.0/31"], None, FAR, "192.0.2.1/31"),
    (["192.0.2.0/31", "192.0.2.1/31"], None, FAR, None),
    (["192.0.2.7/32"], None, FAR, None),
    (["198.18.20.0/24"], None, FAR, None),  # unusable itself
    (["198.18.20.11/24"], None, "198.18.20.9/24", None),  # direct
    (["198.18.20.11/24"], None, "198.18.20.11/24", "198.18.20.254/24"),  # clash
    (["198.18.20.11/24"], None, "198.18.20.254/26", "198.18.20.253/24"),  # not the laptop's own
    (["2001:db8::11/64"], None, FAR, "2001:db8::ffff:ffff:ffff:ffff/64"),
    (["2001:db8::1/127"], None, FAR, "2001:db8::/127"),
    (["2001:db8::1/127", "2001:db8::/127"], None, FAR, None),
]


@pytest.mark.parametrize(("devices", "wanted", "own", "suggested"), CASES)
def test_suggested(devices: list[str], wanted: str | None, own: str, suggested: str | None) -> None:
    """The plan's own if it fits the whole subnet, else the highest that nobody has."""
    found = advised(plan_of(*devices, wanted=wanted), own)[0]
    assert found.suggested == (at(suggested) if suggested else None)
    assert bool(found.commands) == (suggested is not None)


def test_taken_are_all_that_the_plan_knows() -> None:
    """Planned, present and factory addresses, gateways and management hosts."""
    profile = Profile(
        id="p", factory=Factory(low=at("198.18.20.254/24"), high=at("198.18.20.253/24"))
    )
    devices = (
        Device(name="a", address=at("198.18.20.11/24"), profile="p", tx_band="low"),
        Device(
            name="b", address=at("198.18.20.252/24"), gateway=Address.parse("198.18.20.251"),
            present_address=at("198.18.20.250/24"), present_gateway=Address.parse("198.18.20.249"),
            other_addresses=(OtherAddress(address=at("198.18.20.248/24")),),
        ),
    )  # fmt: skip
    hosts = (Host(name="m", address=Address.parse("198.18.20.247")),)
    plan = Plan(devices=devices, management=Management(hosts=hosts))
    first = advised(plan, FAR, profile=profile)[0]
    assert str(first.suggested) == "198.18.20.253/24", (
        "nobody is at the other half's factory address"
    )
    full = Plan(
        devices=(Device(name="c", address=at("198.18.20.12/24"), profile="p"), *devices),
        management=plan.management,
    )
    assert str(advised(full, FAR, profile=profile)[0].suggested) == "198.18.20.246/24"


@given(st.sets(st.integers(1, 30), min_size=1, max_size=30), st.integers(0, 31))
def test_suggestion_is_free_fits_and_is_one_for_all(devices: set[int], own: int) -> None:
    """Whatever is taken: a free host address of the subnet, direct with every device of it."""
    network = ipaddress.ip_network("198.18.20.0/27")
    plan = plan_of(*(f"{network[u]}/27" for u in sorted(devices)))
    fits = advised(plan, f"{network[own]}/32")
    suggested = {f.suggested for f in fits if f.relation != "direct"}
    free = (
        {str(h) for h in network.hosts()} - {str(network[u]) for u in devices} - {str(network[own])}
    )
    if not free:
        assert suggested == {None}
        assert all("taken" in f.explanation for f in fits)
        return
    highest = max(free, key=lambda text: int(ipaddress.ip_address(text)))
    assert {str(s) for s in suggested} == {f"{highest}/27"}
    assert {f.relation for f in advised(plan, f"{highest}/27")} == {"direct"}


NETSH_BOTH = 'netsh interface ipv4 set interface interface="eth0" dhcpstaticipcoexistence='
COMMANDS: list[tuple[System, str, list[str], str]] = [
    (
        "linux", "198.18.20.11/24", ["ip address add 198.18.20.254/24 dev eth0"],
        "ip address del 198.18.20.254/24 dev eth0",
    ),
    (
        "macos", "198.18.20.11/24", ["ifconfig eth0 inet 198.18.20.254 netmask 255.255.255.0 alias"],
        "ifconfig eth0 inet 198.18.20.254 -alias",
    ),
    (
        "windows", "198.18.20.11/24",
        [NETSH_BOTH + "enabled",
         'netsh interface ipv4 add address name="eth0" address=198.18.20.254 mask=255.255.255.0 store=active'],
        'netsh interface ipv4 delete address name="eth0" address=198.18.20.254 store=active; '
        + NETSH_BOTH + "disabled",
    ),
    (
        "linux", "2001:db8::1/127", ["ip address add 2001:db8::/127 dev eth0"],
        "ip address del 2001:db8::/127 dev eth0",
    ),
    (
        "macos", "2001:db8::1/127", ["ifconfig eth0 inet6 2001:db8:: prefixlen 127 alias"],
        "ifconfig eth0 inet6 2001:db8:: -alias",
    ),
    (
        "windows", "2001:db8::1/127",
        ['netsh interface ipv6 add address interface="eth0" address=2001:db8::/127 store=active'],
        'netsh interface ipv6 delete address interface="eth0" address=2001:db8:: store=active',
    ),
]  # fmt: skip


@pytest.mark.parametrize(("system", "device", "lines", "back"), COMMANDS)
def test_commands(system: System, device: str, lines: list[str], back: str) -> None:
    """As a second address; the last note takes it back."""
    (found,) = advised(plan_of(device), FAR, system=system)
    assert list(found.commands) == lines
    assert found.notes[-1] == f"to take it back: {back}"


def test_clash_takes_the_clashing_address_off_first() -> None:
    """Beside it the new address would be of no use; taking back puts it there again."""
    (found,) = advised(plan_of("198.18.20.11/24"), "198.18.20.11/24")
    assert found.commands == (
        "ip address del 198.18.20.11/24 dev eth0",
        "ip address add 198.18.20.254/24 dev eth0",
    )
    assert found.notes[-1].endswith("ip address add 198.18.20.11/24 dev eth0")


def test_interface_without_a_name_is_a_placeholder() -> None:
    """`--laptop` without @INTERFACE."""
    (found,) = advised(plan_of("198.18.20.11/24"), FAR, name=UNNAMED)
    assert found.commands == ("ip address add 198.18.20.254/24 dev INTERFACE",)
    assert found.interface is None


def test_interface_that_tags_is_offered() -> None:
    """Where the device wants tagged management; Windows has no command for it."""
    device = Device(
        name="u", address=at("198.18.20.11/24"), management_vlan=20, management_tagged=True
    )
    for system, said in (("linux", "type vlan id 20"), ("macos", "vlandev eth0"), ("windows", "")):
        (found,) = advised(Plan(devices=(device,)), FAR, system=system)  # type: ignore[arg-type]
        assert any(said in note for note in found.notes if "tags: " in note) == bool(said)


PRESENT = [
    # the device's own fields, its present address and gateway
    ({}, "198.18.20.11/24", "198.18.20.1"),
    ({"present_address": "192.0.2.21/24"}, "192.0.2.21/24", None),
    ({"present_address": "198.18.20.99/24"}, "198.18.20.99/24", "198.18.20.1"),
    ({"present_address": "192.0.2.21/24", "present_gateway": "192.0.2.1"}, "192.0.2.21/24", "192.0.2.1"),
    ({"profile": "p", "tx_band": "high"}, "192.0.2.41/24", None),
    ({"profile": "p", "tx_band": "low"}, "192.0.2.40/24", None),
    ({"profile": "p"}, "198.18.20.11/24", "198.18.20.1"),  # which half is not known
    ({"profile": "p", "tx_band": "low", "present_address": "192.0.2.9/24"}, "192.0.2.9/24", None),
]  # fmt: skip


@pytest.mark.parametrize(("fields", "address", "gateway"), PRESENT)
def test_present(fields: dict[str, str], address: str, gateway: str | None) -> None:
    """present_address, else the factory address of its band, else the planned one."""
    parsed: dict[str, Any] = dict(fields)
    if "present_address" in fields:
        parsed["present_address"] = at(fields["present_address"])
    if "present_gateway" in fields:
        parsed["present_gateway"] = Address.parse(fields["present_gateway"])
    planned: dict[str, Any] = {
        "address": at("198.18.20.11/24"),
        "gateway": Address.parse("198.18.20.1"),
    }
    device = Device(name="u", **planned, **parsed)
    profile = Profile(id="p", factory=Factory(low=at("192.0.2.40/24"), high=at("192.0.2.41/24")))
    found, via = present(device, profile if "profile" in fields else None)
    assert (str(found), str(via) if via else None) == (address, gateway)


def test_candidates() -> None:
    """By hand: those named. Of this machine: those with a cable, no Wi-Fi, no tunnel."""
    machine = (
        LaptopInterface(name="eth0", medium="cable"),
        LaptopInterface(name="eth1", up=False, medium="cable"),
        LaptopInterface(name="wlan0", medium="wifi"),
        LaptopInterface(name="tun0", medium="tunnel"),
        LaptopInterface(name="lo", medium="loopback"),
    )
    assert candidates(Laptop(interfaces=machine)) == ("eth0",)
    named = (
        LaptopInterface(name="eth9"),
        LaptopInterface(name="eth9"),
        LaptopInterface(name=UNNAMED),
    )
    assert candidates(Laptop(interfaces=named, assumed=True)) == ("eth9",)
