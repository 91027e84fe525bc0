"""Offline rules of addresses and subnets, and every computation against the standard library."""

from __future__ import annotations

import ipaddress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.conftest import Changes, Expected, changed, problems_of, told
from verifier.model.address import Address, Interface, prefix_of_mask
from verifier.model.plan import Device, Host, Management, Network, Plan
from verifier.rules.fit.hosts import not_a_host, unusable
from verifier.rules.plan import check
from verifier.rules.plan.subnets import nested

A, B, C, D = 36, 37, 38, 39
"""Lines of the four devices: 198.18.20.11 to .14."""
NAMES = {A: "lighthouse-quarry", B: "quarry-lighthouse", C: "quarry-harbour", D: "harbour-quarry"}
GATEWAY = "gateway: 198.18.20.1,"


def address(new: str, line: int = A) -> Changes:
    """A device at another address and without a gateway."""
    return {line: (f"198.18.20.{line - 25}/24", new)}


def lone(new: str) -> Changes:
    """A further device of its own, at this address."""
    return {99: ("", f"  - {{name: ferry, {new}}}")}


def one(rule: str, subject: str = NAMES[A], line: int = A) -> Expected:
    return {(line, rule, subject)}


FAULTY: list[tuple[str, Changes, Expected]] = [
    ("network address", address("198.18.20.0/24"), one("address-not-a-host")),
    ("broadcast address", address("198.18.20.255/24"), one("address-not-a-host")),
    ("broadcast of a /30", lone("address: 198.18.30.3/30, gateway: 198.18.30.1"),
     {(40, "address-not-a-host", "ferry")}),
    ("multicast address", lone("address: 224.0.0.9/24, gateway: 224.0.0.1"),
     {(40, "address-not-a-host", "ferry"), (40, "gateway-not-a-host", "ferry")}),
    ("reserved address", {6: ("198.18.9.10", "240.0.0.1")},
     {(6, "address-not-a-host", "manager-1")}),
    ("limited broadcast", {6: ("198.18.9.10", "255.255.255.255")},
     {(6, "address-not-a-host", "manager-1")}),
    ("unspecified address", {6: ("198.18.9.10", "0.0.0.0")},
     {(6, "address-not-a-host", "manager-1")}),
    ("laptop at the network address", {5: ("198.18.20.250", "198.18.20.0")},
     {(5, "address-not-a-host", "laptop")}),
    ("present address is a broadcast",
     {A: ("uplink:", "present_address: 198.18.9.255/24, uplink:")}, one("address-not-a-host")),
    ("subnet-router anycast", lone("address: 'fd00:20::/64', gateway: 'fd00:20::1'"),
     {(40, "address-not-a-host", "ferry")}),
    ("IPv6 multicast", lone("address: 'ff02::9/64', gateway: 'fe80::1'"),
     {(40, "address-not-a-host", "ferry")}),
    ("IPv4-mapped", lone("address: '::ffff:198.18.20.15/120', gateway: 'fe80::1'"),
     {(40, "address-of-no-interface", "ferry")}),
    ("translated IPv4", {6: ("198.18.9.10", "'64:ff9b::c612:90a'")},
     {(6, "address-of-no-interface", "manager-1")}),
    ("site-local", lone("address: 'fec0::15/64', gateway: 'fec0::1'"),
     {(40, "address-of-retired-range", "ferry")}),
    ("6to4 relay", {6: ("198.18.9.10", "192.88.99.1")},
     {(6, "address-of-retired-range", "manager-1")}),
    ("documentation range", lone("address: 203.0.113.11/24, gateway: 203.0.113.1"),
     {(40, "address-for-documentation", "ferry")}),
    ("IPv6 documentation range", lone("address: '2001:db8::11/64', gateway: '2001:db8::1'"),
     {(40, "address-for-documentation", "ferry")}),
    ("documentation host", {6: ("198.18.9.10", "192.0.2.10")},
     {(6, "address-for-documentation", "manager-1")}),
    ("loopback", lone("address: 127.0.0.11/8, gateway: 127.0.0.1"),
     {(40, "address-stays-local", "ferry")}),
    ("link-local", lone("address: 169.254.1.11/16, gateway: 169.254.1.1"),
     {(40, "address-stays-local", "ferry")}),
    ("IPv6 link-local", lone("address: 'fe80::11/64'"), {(40, "address-stays-local", "ferry")}),
    ("prefix too short", lone("address: 11.0.0.5/7, gateway: 11.0.0.1"),
     {(40, "prefix-too-short", "ferry")}),
    ("all addresses for a prefix", lone("address: 11.0.0.5/0, gateway: 11.0.0.1"),
     {(40, "prefix-too-short", "ferry"), (40, "subnets-overlap", "ferry")}),
    ("loopback prefix too short", lone("address: 127.0.0.11/7, gateway: 127.0.0.1"),
     {(40, "address-stays-local", "ferry"), (40, "prefix-too-short", "ferry")}),
    ("present prefix too short", lone(
        "address: 11.0.0.5/24, gateway: 11.0.0.1, present_address: 12.0.0.5/7"),
     {(40, "prefix-too-short", "ferry")}),
    ("further prefix too short", lone(
        "address: 11.0.0.5/24, gateway: 11.0.0.1, other_addresses: [{address: 12.0.0.5/7}]"),
     {(40, "prefix-too-short", "ferry")}),
    ("IPv6 prefix too short", lone("address: 'fd00::5/15', gateway: 'fd00::1'"),
     {(40, "prefix-too-short", "ferry")}),
    ("IPv6 prefix improbable", lone("address: 'fd00::5/16', gateway: 'fd00::1'"),
     {(40, "prefix-improbable", "ferry")}),
    ("laptop's prefix too short", {5: ("198.18.20.250/24", "198.18.20.250/7")},
     {(5, "prefix-improbable", "laptop")}),
    ("/32", lone("address: 198.18.30.5/32"),
     {(40, "address-without-subnet", "ferry"), (40, "host-unanswerable", "ferry")}),
    ("/32 with a gateway", lone("address: 198.18.30.5/32, gateway: 198.18.30.1"),
     {(40, "gateway-outside-subnet", "ferry")}),
    ("address twice", address("198.18.20.12/24"), one("address-doubled", NAMES[B], B)),
    ("further address twice",
     {A: ("uplink:", "other_addresses: [{address: 198.18.20.12/24}], uplink:")},
     one("address-doubled", NAMES[B], B)),
    ("IPv6 written in two ways", {
        A: ("uplink:", "other_addresses: [{address: 'fd00:20::b/64'}], uplink:"),
        B: ("tx_band:", "other_addresses: [{address: 'fd00:0020:0::000b/64'}], tx_band:")},
     one("address-doubled", NAMES[B], B)),
    ("laptop has a device's address", {5: (".250/", ".11/")},
     {(5, "address-doubled", "laptop")}),
    ("host has a device's address", {6: ("198.18.9.10", "198.18.20.11")},
     {(6, "address-doubled", "manager-1")}),
    ("host has the laptop's address", {6: ("198.18.9.10", "198.18.20.250")},
     {(6, "address-doubled", "manager-1")}),
    ("where another is now", {A: ("uplink:", "present_address: 198.18.20.13/24, uplink:")},
     one("address-still-taken", NAMES[C], C)),
    ("laptop where a device is now",
     {A: ("uplink:", "present_address: 198.18.20.250/24, uplink:")},
     {(5, "address-still-taken", "laptop")}),
    ("another's factory address", {6: ("198.18.9.10", "192.0.2.21"), 1: ("date:", "example: true, date:")},
     {(6, "address-is-factory-address", "manager-1")}),
    ("laptop is the gateway", {5: ("198.18.20.250", "198.18.20.1")},
     {(5, "laptop-is-gateway", "laptop")}),
    ("gateway outside", {A: (GATEWAY, "gateway: 198.18.21.1,")}, one("gateway-outside-subnet")),
    ("gateway outside by a too long prefix", {A: ("198.18.20.11/24", "198.18.20.11/29")},
     one("gateway-outside-subnet")),
    ("gateway is itself", {A: (GATEWAY, "gateway: 198.18.20.11,")}, one("gateway-is-itself")),
    ("gateway is the broadcast", {A: (GATEWAY, "gateway: 198.18.20.255,")},
     one("gateway-not-a-host")),
    ("gateway of the other family", {A: (GATEWAY, "gateway: 'fd00::1',")},
     one("gateway-of-other-family")),
    ("link-local gateway of the other family", {A: (GATEWAY, "gateway: 'fe80::1',")},
     one("gateway-of-other-family")),
    ("IPv6 gateway outside", lone("address: 'fd00:20::5/64', gateway: 'fd00:21::1'"),
     {(40, "gateway-outside-subnet", "ferry")}),
    ("present gateway outside", {A: (
        "uplink:", "present_address: 198.18.9.5/24, present_gateway: 198.18.8.1, uplink:")},
     one("gateway-outside-subnet")),
    ("another gateway than the others", {A: (GATEWAY, "gateway: 198.18.20.2,")},
     one("gateway-differs-in-subnet")),
    ("prefix of one device too long", address("198.18.20.11/25"), one("subnets-overlap")),
    ("prefix of one device too short", address("198.18.20.11/23"), one("subnets-overlap")),
    ("third octet wrong", address("198.18.21.11/24"), one("gateway-outside-subnet")),
    ("ends of a hop in two subnets",
     {A: ("198.18.20.11/24", "198.18.21.11/24", GATEWAY, "gateway: 198.18.21.1,")},
     one("hop-in-two-subnets", "Hop 1", 12)),
    ("no gateway to the manager", {A: (GATEWAY, "")}, one("host-unanswerable")),
    ("leading zero", address("198.18.20.011/24"), one("unreadable-value")),
    ("not an address", address("198.18.20/24"), one("unreadable-value")),
    ("octet of 256", address("198.18.20.256/24"), one("unreadable-value")),
    ("mask not contiguous", address("198.18.20.11, mask: 255.0.255.0"), one("unreadable-value")),
    ("mask against prefix", address("198.18.20.11/24, mask: 255.255.0.0"),
     one("mask-and-prefix-differ")),
    ("prefix of 33", address("198.18.20.11/33"), one("unreadable-value")),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "expected"), [f[1:] for f in FAULTY], ids=[f[0] for f in FAULTY]
)
def test_faulty_plan(tmp_path: Path, changes: Changes, expected: Expected) -> None:
    """Exactly these rules, about exactly these subjects, at exactly these lines."""
    assert told(problems_of(changed(changes), tmp_path)) == expected


CLEAN: list[tuple[str, Changes]] = [
    ("both ends of a /31", lone("address: 198.18.30.0/31, gateway: 198.18.30.1")),
    ("other end of a /31", lone("address: 198.18.30.1/31, gateway: 198.18.30.0")),
    ("/127", lone("address: 'fd00:20::/127', gateway: 'fd00:20::1'")),
    ("private", lone("address: 10.0.0.5/8, gateway: 10.0.0.1")),
    ("private, all ones in the middle", lone("address: 172.16.0.255/12, gateway: 172.16.0.1")),
    ("shared", lone("address: 100.64.0.5/10, gateway: 100.64.0.1")),
    ("unique local", lone("address: 'fd00:20::5/64', gateway: 'fd00:20::1'")),
    ("link-local gateway", lone("address: 'fd00:20::5/64', gateway: 'fe80::1'")),
    ("a router at a /32", lone("profile: router, address: 198.18.30.5/32")),
    ("a /32 inside a subnet", lone(
        "address: 198.18.31.5/24, gateway: 198.18.31.1, "
        "other_addresses: [{address: 198.18.20.77/32}]")),
    ("gateway behind a further address", lone(
        "address: 198.18.31.5/24, gateway: 198.18.32.1, "
        "other_addresses: [{address: 198.18.32.5/24}]")),
    ("documentation in an example", {
        1: ("date:", "example: true, date:"), 6: ("198.18.9.10", "203.0.113.10")}),
    ("a router with another gateway", lone(
        "profile: router, address: 198.18.20.1/24, gateway: 198.18.20.2")),
    ("a host inside needs no gateway", {
        6: ("198.18.9.10", "198.18.20.9"), A: (GATEWAY, ""), B: (GATEWAY, "")}),
    ("a gateway that could not be read is not missing", {A: (GATEWAY, "gateway: 'router',")}),
]  # fmt: skip


@pytest.mark.parametrize("changes", [c[1] for c in CLEAN], ids=[c[0] for c in CLEAN])
def test_clean_plan(tmp_path: Path, changes: Changes) -> None:
    """What can be meant makes no problem of a rule."""
    found = problems_of(changed(changes), tmp_path)
    assert [p for p in found if p.rule != "unreadable-value"] == []


# --- against the standard library and published tables ----------------------------------------

V4 = st.builds(lambda v, p: f"{ipaddress.IPv4Address(v)}/{p}",
               st.integers(0, 2**32 - 1), st.integers(0, 32))  # fmt: skip
V6 = st.builds(lambda v, p: f"{ipaddress.IPv6Address(v)}/{p}",
               st.integers(0, 2**128 - 1), st.integers(0, 128))  # fmt: skip
ANY = V4 | V6
NEAR = st.builds(lambda v, p: f"10.0.{v >> 8}.{v & 255}/{p}",
                 st.integers(0, 1023), st.integers(20, 32))  # fmt: skip
"""Addresses near each other, so that subnets overlap."""


@given(ANY)
def test_subnet_is_that_of_the_standard_library(text: str) -> None:
    """Network, first, last, mask, prefix."""
    ours, theirs = Interface.parse(text), ipaddress.ip_interface(text)
    assert ipaddress.ip_network(ours.subnet) == theirs.network
    assert ours.first == int(theirs.network.network_address)
    assert ours.last == int(theirs.network.broadcast_address)
    if theirs.version == 4:
        assert ours.mask == str(theirs.netmask)
        assert prefix_of_mask(str(theirs.netmask)) == theirs.network.prefixlen


@given(ANY, ANY)
def test_inside_is_that_of_the_standard_library(one: str, other: str) -> None:
    ours = Interface.parse(one).holds(Interface.parse(other).address)
    assert ours == (ipaddress.ip_interface(other).ip in ipaddress.ip_interface(one).network)


@given(V4)
def test_hosts_are_those_of_the_standard_library(text: str) -> None:
    """An IPv4 address is a host's of its subnet exactly where `hosts()` would give it."""
    theirs = ipaddress.ip_interface(text)
    special = (
        theirs.ip.is_multicast or theirs.ip.is_reserved
        or theirs.ip in ipaddress.ip_network("0.0.0.0/8")
    )  # fmt: skip
    ends = {theirs.network.network_address, theirs.network.broadcast_address}
    host = theirs.network.prefixlen >= 31 or theirs.ip not in ends
    assert (unusable(Interface.parse(text)) is None) == (host and not special)


@given(V6)
def test_ipv6_hosts_are_those_of_the_standard_library(text: str) -> None:
    theirs = ipaddress.ip_interface(text)
    anycast = theirs.network.prefixlen < 127 and theirs.ip == theirs.network.network_address
    usable = not (anycast or theirs.ip.is_multicast or theirs.ip.is_unspecified)
    assert (unusable(Interface.parse(text)) is None) == usable


@given(st.lists(NEAR | V4 | V6, max_size=12))
def test_overlaps_are_those_of_the_standard_library(texts: list[str]) -> None:
    """Every subnet with the smallest other one that holds it, by trying all pairs."""
    networks = {ipaddress.ip_interface(t).network for t in texts}
    expected = set()
    for inner in networks:
        around = [n for n in networks if n != inner and n.version == inner.version
                  and inner.network_address in n and n.prefixlen < inner.prefixlen]  # fmt: skip
        if around:
            expected.add((inner, max(around, key=lambda n: n.prefixlen)))
    found = nested(Interface.parse(t) for t in texts)
    pairs = {tuple(ipaddress.ip_network(i.subnet) for i in pair) for pair in found}
    assert pairs == expected
    assert len(found) == len(expected)


@given(st.lists(NEAR, min_size=1, max_size=12))
def test_doubled_addresses_are_those_of_the_standard_library(texts: list[str]) -> None:
    devices = [Device(name=f"device-{n}", address=Interface.parse(t)) for n, t in enumerate(texts)]
    found = check(Plan(network=Network(example=True), devices=tuple(devices)))
    seen: set[object] = set()
    expected = set()
    for n, text in enumerate(texts):
        ip = ipaddress.ip_interface(text).ip
        expected |= {f"device-{n}"} if ip in seen else set()
        seen.add(ip)
    assert {p.subject.name for p in found if p.rule == "address-doubled"} == expected


@given(NEAR, NEAR)
def test_gateways_are_judged_as_by_the_standard_library(text: str, gateway: str) -> None:
    """Itself, outside, network or broadcast address, or nothing."""
    ours, ip = ipaddress.ip_interface(text), ipaddress.ip_interface(gateway).ip
    device = Device(name="one", address=Interface.parse(text), gateway=Address.parse(str(ip)))
    found = {p.rule for p in check(Plan(devices=(device,))) if p.rule.startswith("gateway-")}
    ends = {ours.network.network_address, ours.network.broadcast_address}
    if ip == ours.ip:
        expected = {"gateway-is-itself"}
    elif ip not in ours.network:
        expected = {"gateway-outside-subnet"}
    else:
        bad = ip in ends and ours.network.prefixlen < 31
        expected = {"gateway-not-a-host"} if bad else set()
    assert found == expected


RFC_1878 = [
    (25, 0, 126), (25, 128, 126), (26, 0, 62), (26, 64, 62), (26, 128, 62), (26, 192, 62),
    (27, 0, 30), (27, 96, 30), (27, 160, 30), (27, 224, 30), (28, 0, 14), (28, 80, 14),
    (28, 208, 14), (28, 240, 14), (29, 0, 6), (29, 8, 6), (29, 120, 6), (29, 200, 6), (29, 248, 6),
    (30, 0, 2), (30, 4, 2), (30, 8, 2), (30, 244, 2), (30, 252, 2),
]  # fmt: skip
"""Table 1-2, pages 5 and 6: prefix, network, hosts; the broadcast is the octet after the hosts."""


@pytest.mark.parametrize(("prefix", "net", "hosts"), RFC_1878)
def test_hosts_and_broadcast_of_rfc_1878(prefix: int, net: int, hosts: int) -> None:
    """RFC 1878, table 1-2: exactly the hosts between network and broadcast address are usable."""
    usable = [
        last for last in range(net, net + hosts + 2)
        if unusable(Interface.parse(f"198.18.7.{last}/{prefix}")) is None
    ]  # fmt: skip
    assert usable == list(range(net + 1, net + 1 + hosts))
    broadcast = Interface.parse(f"198.18.7.{net + hosts + 1}/{prefix}")
    assert "broadcast" in (unusable(broadcast) or "")


MASKS = {
    8: "255.0.0.0", 12: "255.240.0.0", 16: "255.255.0.0", 20: "255.255.240.0",
    22: "255.255.252.0", 23: "255.255.254.0", 24: "255.255.255.0", 25: "255.255.255.128",
    26: "255.255.255.192", 27: "255.255.255.224", 28: "255.255.255.240", 29: "255.255.255.248",
    30: "255.255.255.252", 31: "255.255.255.254", 32: "255.255.255.255",
}  # fmt: skip
"""RFC 1878, table of page 2."""


@pytest.mark.parametrize(("prefix", "mask"), MASKS.items())
def test_masks_of_rfc_1878(prefix: int, mask: str) -> None:
    assert prefix_of_mask(mask) == prefix
    assert Interface.parse(f"198.18.7.1/{mask}").prefix == prefix


RFC_1519 = [
    ("192.24.0.0/255.255.248.0", "192.24.7.255"), ("192.24.16.0/255.255.240.0", "192.24.31.255"),
    ("192.24.8.0/255.255.252.0", "192.24.11.255"), ("192.24.12.0/255.255.252.0", "192.24.15.255"),
    ("192.24.32.0/255.255.254.0", "192.24.33.255"), ("192.24.34.0/255.255.254.0", "192.24.35.255"),
]  # fmt: skip
"""Section 5.1: the six clients' blocks and their last addresses."""


def test_blocks_of_rfc_1519() -> None:
    """Section 5.1: all six lie in the provider's block, none overlaps another."""
    provider = Interface.parse("192.24.0.0/255.248.0.0")
    blocks = [Interface.parse(text) for text, _ in RFC_1519]
    assert [str(ipaddress.ip_address(b.last)) for b in blocks] == [last for _, last in RFC_1519]
    assert nested(blocks) == []
    assert {(i.subnet, o.subnet) for i, o in nested([*blocks, provider])} == {
        (b.subnet, provider.subnet) for b in blocks
    }


SILENT, DOCUMENTED, LOCAL = None, "address-for-documentation", "address-stays-local"
RETIRED, NO_HOST, NO_INTERFACE = (
    "address-of-retired-range", "address-not-a-host", "address-of-no-interface",
)  # fmt: skip
BOUNDARIES = [
    ("0.255.255.255", NO_HOST), ("1.0.0.0", SILENT), ("9.255.255.255", SILENT),
    ("10.0.0.0", SILENT), ("10.255.255.255", SILENT), ("100.63.255.255", SILENT),
    ("100.64.0.0", SILENT), ("100.127.255.255", SILENT), ("100.128.0.0", SILENT),
    ("126.255.255.255", SILENT), ("127.0.0.0", LOCAL), ("127.255.255.255", LOCAL),
    ("128.0.0.0", SILENT), ("169.253.255.255", SILENT), ("169.254.0.0", LOCAL),
    ("169.254.255.255", LOCAL), ("169.255.0.0", SILENT), ("172.15.255.255", SILENT),
    ("172.16.0.0", SILENT), ("172.31.255.255", SILENT), ("172.32.0.0", SILENT),
    ("191.255.255.255", SILENT), ("192.0.0.0", RETIRED), ("192.0.0.255", RETIRED),
    ("192.0.1.0", SILENT), ("192.0.1.255", SILENT), ("192.0.2.0", DOCUMENTED),
    ("192.0.2.255", DOCUMENTED), ("192.0.3.0", SILENT), ("192.88.98.255", SILENT),
    ("192.88.99.0", RETIRED), ("192.88.99.255", RETIRED), ("192.88.100.0", SILENT),
    ("192.167.255.255", SILENT), ("192.168.0.0", SILENT), ("192.168.255.255", SILENT),
    ("198.17.255.255", SILENT), ("198.18.0.0", SILENT), ("198.19.255.255", SILENT),
    ("198.20.0.0", SILENT), ("198.51.99.255", SILENT), ("198.51.100.0", DOCUMENTED),
    ("198.51.100.255", DOCUMENTED), ("198.51.101.0", SILENT), ("203.0.112.255", SILENT),
    ("203.0.113.0", DOCUMENTED), ("203.0.113.255", DOCUMENTED), ("203.0.114.0", SILENT),
    ("223.255.255.255", SILENT), ("224.0.0.0", NO_HOST), ("239.255.255.255", NO_HOST),
    ("240.0.0.0", NO_HOST), ("255.255.255.254", NO_HOST), ("255.255.255.255", NO_HOST),
    ("::", NO_HOST), ("::1", LOCAL), ("::2", NO_INTERFACE), ("::ffff:ffff", NO_INTERFACE),
    ("::1:0:0", SILENT), ("::fffe:ffff:ffff", SILENT), ("::ffff:0:0", NO_INTERFACE),
    ("::ffff:ffff:ffff", NO_INTERFACE), ("::1:0:0:0", SILENT), ("64:ff9b::", NO_INTERFACE),
    ("64:ff9b::ffff:ffff", NO_INTERFACE), ("64:ff9b::1:0:0", SILENT), ("100::", NO_INTERFACE),
    ("100::ffff:ffff:ffff:ffff", NO_INTERFACE), ("100:0:0:1::", SILENT), ("2000:ffff::", SILENT),
    ("2001::", RETIRED), ("2001:1ff:ffff::", RETIRED), ("2001:200::", SILENT),
    ("2001:db7:ffff::", SILENT), ("2001:db8::", DOCUMENTED),
    ("2001:db8:ffff:ffff:ffff:ffff:ffff:ffff", DOCUMENTED), ("2001:db9::", SILENT),
    ("2002::", RETIRED), ("2002:ffff::", RETIRED), ("2003::", SILENT), ("3ffe:ffff::", SILENT),
    ("3fff::", DOCUMENTED), ("3fff:fff:ffff::", DOCUMENTED), ("3fff:1000::", SILENT),
    ("fbff::", SILENT), ("fc00::", SILENT), ("fdff::", SILENT), ("fe7f::", SILENT),
    ("fe80::", LOCAL), ("febf::", LOCAL), ("fec0::", RETIRED), ("feff::", RETIRED),
    ("ff00::", NO_HOST), ("ffff::", NO_HOST),
]  # fmt: skip
"""Both sides of the boundaries of RFC 6890 2.2.2 and 2.2.3 and its updates (from memory)."""


@pytest.mark.parametrize(("text", "rule"), BOUNDARIES)
def test_boundaries_of_rfc_6890(text: str, rule: str | None) -> None:
    """Private, shared and benchmarking ranges are silent; the others are told by their kind.

    As a management host's address, so that only the range counts, not the subnet.
    """
    host = Host(name="manager-1", address=Address.parse(text))
    found = [
        p.rule
        for p in check(Plan(management=Management(hosts=(host,))))
        if p.subject.kind == "host"
    ]
    assert found == ([] if rule is None else [rule])
    assert (not_a_host(host.address) is None) == (rule != NO_HOST)
