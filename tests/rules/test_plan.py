"""Offline rules: each small faulty plan has exactly the problems expected."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from verifier.model.address import Address, Interface
from verifier.model.plan import (
    Carrier,
    Device,
    End,
    Host,
    Link,
    Maintenance,
    Management,
    Network,
    OtherAddress,
    Plan,
    Port,
    Service,
    Services,
    Site,
)
from verifier.rules.plan import RULES, check


def device(
    name: str = "lighthouse-quarry", address: str = "198.18.20.11/24", **more: Any
) -> Device:
    return Device(name=name, address=Interface.parse(address), **more)


def link(a: str, b: str, name: str = "Hop 1") -> Link:
    return Link(name=name, carriers=(Carrier(a=End(device=a), b=End(device=b)),))


GOOD = Plan(
    network=Network(name="Harbour ring"),
    management=Management(
        laptop=Interface.parse("198.18.20.250/24"),
        hosts=(Host(name="manager-1", address=Address.parse("198.18.9.10")),),
    ),
    sites=(Site(name="Lighthouse"), Site(name="Quarry")),
    devices=(
        device(site="Lighthouse", gateway=Address.parse("198.18.20.1")),
        device("quarry-lighthouse", "198.18.20.12/24", site="Quarry"),
    ),
    links=(link("lighthouse-quarry", "quarry-lighthouse"),),
)


def with_device(**more: Any) -> Plan:
    """The good plan with its first device changed."""
    first, *others = GOOD.devices
    return dataclasses.replace(GOOD, devices=(dataclasses.replace(first, **more), *others))


def with_(**more: Any) -> Plan:
    return dataclasses.replace(GOOD, **more)


def a(text: str) -> Address:
    return Address.parse(text)


def i(text: str) -> Interface:
    return Interface.parse(text)


HOURS: Any = {"start": None, "to": None}
SAME = (Service(port=443),)
FAULTY: list[tuple[str, Plan, set[tuple[str, str]]]] = [
    ("no devices", with_(devices=(), links=()), {("nothing-planned", "Harbour ring")}),
    (
        "name twice",
        with_(devices=(*GOOD.devices, device(address="198.18.20.13/24"))),
        {("name-doubled", "lighthouse-quarry")},
    ),
    (
        "site twice",
        with_(sites=(*GOOD.sites, Site(name="Quarry"))),
        {("name-doubled", "Quarry")},
    ),
    (
        "equal but for case",
        with_(devices=(*GOOD.devices, device("Quarry-lighthouse", "198.18.20.13/24"))),
        {("name-differs-by-case", "quarry-lighthouse")},
    ),
    ("unknown site", with_device(site="Ferry"), {("site-unknown", "lighthouse-quarry")}),
    (
        "unknown site of a window",
        with_(maintenance=(Maintenance(name="mast work", sites=("Ferry",), **HOURS),)),
        {("site-unknown", "Harbour ring")},
    ),
    (
        "unknown end",
        with_(links=(link("lighthouse-quarry", "ferry"),)),
        {("link-end-unknown", "Hop 1 carrier 1 end b")},
    ),
    (
        "link to itself",
        with_(links=(link("lighthouse-quarry", "lighthouse-quarry"),)),
        {("link-to-itself", "Hop 1")},
    ),
    ("unknown uplink", with_device(uplink=("ferry",)), {("uplink-unknown", "lighthouse-quarry")}),
    (
        "own uplink",
        with_device(uplink=("lighthouse-quarry",)),
        {("uplink-unknown", "lighthouse-quarry")},
    ),
    (
        "network address",
        with_device(address=i("198.18.20.0/24")),
        {("address-not-a-host", "lighthouse-quarry")},
    ),
    (
        "broadcast address",
        with_device(address=i("198.18.20.255/24")),
        {("address-not-a-host", "lighthouse-quarry")},
    ),
    (
        "multicast address",
        with_device(address=i("224.0.0.9/24"), gateway=None),
        {("address-not-a-host", "lighthouse-quarry")},
    ),
    (
        "host that is no host",
        with_(management=Management(hosts=(Host(name="manager-1", address=a("0.0.0.0")),))),
        {("address-not-a-host", "manager-1")},
    ),
    (
        "present address is a broadcast",
        with_device(present_address=i("198.18.9.255/24")),
        {("address-not-a-host", "lighthouse-quarry")},
    ),
    (
        "address twice",
        with_device(address=i("198.18.20.12/24")),
        {("address-doubled", "quarry-lighthouse")},
    ),
    (
        "laptop's address",
        with_device(address=i("198.18.20.250/24")),
        {("address-doubled", "laptop")},
    ),
    (
        "host's address",
        with_device(address=i("198.18.9.10/24"), gateway=None),
        {("address-doubled", "manager-1")},
    ),
    (
        "gateway outside",
        with_device(gateway=a("198.18.21.1")),
        {("gateway-outside-subnet", "lighthouse-quarry")},
    ),
    (
        "gateway is itself",
        with_device(gateway=a("198.18.20.11")),
        {("gateway-is-itself", "lighthouse-quarry")},
    ),
    (
        "gateway is the broadcast",
        with_device(gateway=a("198.18.20.255")),
        {("gateway-not-a-host", "lighthouse-quarry")},
    ),
    (
        "IPv6 gateway outside",
        with_device(address=i("2001:db8::11/64"), gateway=a("2001:db8:1::1")),
        {
            ("gateway-outside-subnet", "lighthouse-quarry"),
            ("address-for-documentation", "lighthouse-quarry"),
        },
    ),
    (
        "documentation range",
        with_device(address=i("203.0.113.11/24"), gateway=None),
        {("address-for-documentation", "lighthouse-quarry")},
    ),
    (
        "loopback",
        with_device(address=i("127.0.0.11/8"), gateway=None),
        {("address-stays-local", "lighthouse-quarry")},
    ),
    (
        "link-local",
        with_device(address=i("169.254.1.11/16"), gateway=None),
        {("address-stays-local", "lighthouse-quarry")},
    ),
    ("VLAN 0", with_device(management_vlan=0), {("vlan-out-of-range", "lighthouse-quarry")}),
    ("VLAN 4095", with_device(management_vlan=4095), {("vlan-out-of-range", "lighthouse-quarry")}),
    (
        "port twice",
        with_device(ports=(Port(name="eth1"), Port(name="eth1"))),
        {("port-doubled", "lighthouse-quarry eth1")},
    ),
    (
        "open and closed",
        with_device(services=Services(open=SAME, closed=SAME)),
        {("service-open-and-closed", "lighthouse-quarry")},
    ),
]


@pytest.mark.parametrize(("plan", "expected"), [f[1:] for f in FAULTY], ids=[f[0] for f in FAULTY])
def test_faulty_plan(plan: Plan, expected: set[tuple[str, str]]) -> None:
    """Exactly these rules, about exactly these subjects."""
    assert {(p.rule, str(p.subject)) for p in check(plan)} == expected


CLEAN = [
    ("good", GOOD),
    ("IPv6 link-local gateway", with_device(address=i("fd00::11/64"), gateway=a("fe80::1"))),
    ("both ends of a /31", with_device(address=i("198.18.30.0/31"), gateway=a("198.18.30.1"))),
    ("private", with_device(address=i("10.0.0.5/8"), gateway=None)),
    ("shared", with_device(address=i("100.64.0.5/10"), gateway=None)),
    (
        "gateway behind a second address",
        with_device(
            gateway=a("198.18.40.1"),
            other_addresses=(OtherAddress(address=i("198.18.40.11/24"), role="second"),),
        ),
    ),
    (
        "example may use documentation addresses",
        dataclasses.replace(
            with_device(address=i("203.0.113.11/24"), gateway=None),
            network=Network(name="Harbour ring", example=True),
        ),
    ),
    ("VLAN 1", with_device(management_vlan=1)),
    ("VLAN 4094", with_device(management_vlan=4094)),
]


@pytest.mark.parametrize("plan", [c[1] for c in CLEAN], ids=[c[0] for c in CLEAN])
def test_clean_plan(plan: Plan) -> None:
    """A plan that can be meant has no problem."""
    assert check(plan) == ()


def test_every_rule_has_a_faulty_plan() -> None:
    """No rule stands in the table without a plan that shows it."""
    assert {name for name, _, _ in RULES} == {r for _, _, rules in FAULTY for r, _ in rules}


def test_all_faults_at_once() -> None:
    """Three faults of one plan come together."""
    plan = with_device(site="Ferry", address=i("198.18.20.0/24"), management_vlan=5000)
    assert len(check(plan)) == 3


@pytest.mark.parametrize(
    "plan",
    [
        with_(devices=(), links=()),
        with_device(site="Ferry"),
        with_(links=(link("lighthouse-quarry", "Ferry"),)),
        with_device(uplink=("Ferry",)),
    ],
)
def test_what_could_not_be_read_is_not_missing(plan: Plan) -> None:
    """A name that was written in a row with a reading fault is no second fault."""
    assert check(plan)
    assert check(plan, unread={"Ferry"}) == ()
