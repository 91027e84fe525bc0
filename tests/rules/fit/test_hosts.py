"""Which addresses can be a host's, against published tables and the standard library."""

from __future__ import annotations

import ipaddress
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.model.address import Address, Interface, prefix_of_mask
from verifier.rules.fit.hosts import highest_free, not_a_host, unusable

# RFC 1878 table 1-2, pages 5-6: subnet, first host, last host, broadcast (last octet).
RFC_1878 = [
    (25, 0, 1, 126, 127), (25, 128, 129, 254, 255),
    (26, 64, 65, 126, 127), (26, 192, 193, 254, 255),
    (27, 96, 97, 126, 127), (27, 160, 161, 190, 191),
    (28, 80, 81, 94, 95), (28, 208, 209, 222, 223),
    (29, 8, 9, 14, 15), (29, 200, 201, 206, 207),
    (30, 4, 5, 6, 7), (30, 244, 245, 246, 247),
]  # fmt: skip
# RFC 1878 page 2: decimal mask by prefix length.
RFC_1878_MASKS = [
    (8, "255.0.0.0"), (12, "255.240.0.0"), (16, "255.255.0.0"), (20, "255.255.240.0"),
    (22, "255.255.252.0"), (23, "255.255.254.0"), (24, "255.255.255.0"), (25, "255.255.255.128"),
    (26, "255.255.255.192"), (27, "255.255.255.224"), (28, "255.255.255.240"),
    (29, "255.255.255.248"), (30, "255.255.255.252"), (31, "255.255.255.254"),
    (32, "255.255.255.255"),
]  # fmt: skip


@pytest.mark.parametrize(("prefix", "network", "first", "last", "broadcast"), RFC_1878)
def test_rfc_1878_rows(prefix: int, network: int, first: int, last: int, broadcast: int) -> None:
    """Hosts of a row are usable; its network and broadcast address are not."""
    usable = {
        octet: unusable(Interface.parse(f"192.0.2.{octet}/{prefix}")) is None
        for octet in (network, first, last, broadcast)
    }
    assert usable == {network: False, first: True, last: True, broadcast: False}


@pytest.mark.parametrize(("prefix", "mask"), RFC_1878_MASKS)
def test_rfc_1878_masks(prefix: int, mask: str) -> None:
    """A mask and its prefix length are the same thing, both ways."""
    assert prefix_of_mask(mask) == prefix
    assert Interface.parse(f"192.0.2.1/{prefix}").mask == mask


@pytest.mark.parametrize("mask", ["255.0.255.0", "0.255.255.255", "255.255.255.1", "1.2.3.4"])
def test_mask_must_be_one_run(mask: str) -> None:
    """RFC 4632 section 5.1: the ones come first and stand together."""
    with pytest.raises(ValueError, match="not a mask"):
        prefix_of_mask(mask)


def test_both_ends_of_a_31_are_hosts() -> None:
    """RFC 3021 section 2.1 (from memory): a /31 has two hosts and no broadcast."""
    assert unusable(Interface.parse("192.0.2.0/31")) is None
    assert unusable(Interface.parse("192.0.2.1/31")) is None


@pytest.mark.parametrize(
    ("address", "word"),
    [
        ("0.0.0.0", "unspecified"),
        ("0.1.2.3", "0.0.0.0/8"),
        ("224.0.0.1", "multicast"),
        ("239.255.255.255", "multicast"),
        ("240.0.0.1", "reserved"),
        ("255.255.255.255", "limited broadcast"),
        ("::", "unspecified"),
        ("ff02::1", "multicast"),
    ],
)
def test_never_a_host(address: str, word: str) -> None:
    """RFC 1122 3.2.1.3, RFC 1112 4, RFC 4291 2.5.2 and 2.7: no subnet makes these a host."""
    assert word in (not_a_host(Address.parse(address)) or "")


@pytest.mark.parametrize(
    ("interface", "fits"),
    [
        ("2001:db8::/64", False),
        ("2001:db8::1/64", True),
        ("2001:db8::ffff:ffff:ffff:ffff/64", True),
        ("2001:db8::/127", True),
    ],
)
def test_ipv6_subnet_router_anycast(interface: str, fits: bool) -> None:  # noqa: FBT001
    """RFC 4291 2.6.1: all zeros is the routers' address, but not at /127 (RFC 6164)."""
    assert (unusable(Interface.parse(interface)) is None) == fits


@given(
    st.one_of(
        st.tuples(st.ip_addresses(v=4), st.integers(0, 32)),
        st.tuples(st.ip_addresses(v=6), st.integers(0, 128)),
    )
)
def test_agrees_with_the_standard_library(case: tuple[ipaddress.IPv4Address, int]) -> None:
    """Subnet, mask, first and last address are those that `ipaddress` computes."""
    address, prefix = case
    ours = Interface.of(Address.parse(str(address)), prefix)
    theirs = ipaddress.ip_interface(f"{address}/{prefix}")
    assert ipaddress.ip_network(ours.subnet) == theirs.network
    assert ipaddress.ip_address(ours.mask) == theirs.netmask
    assert (ours.first, ours.last) == (
        int(theirs.network.network_address),
        int(theirs.network.broadcast_address),
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("198.18.020.11", "198.18.20.11 if meant as decimal, 198.18.16.11 if read as octal"),
        ("198.18.089.11", "198.18.89.11 if meant as decimal"),
        ("198.18.20", "not an IPv4 or IPv6 address"),
        ("198.18.20.256", "not an IPv4 or IPv6 address"),
        ("0xc0.1.1.1", "not an IPv4 or IPv6 address"),
        ("198.18.20.1%eth0", "no zone"),
        ("", "not an IPv4 or IPv6 address"),
    ],
)
def test_doubtful_addresses_are_refused(text: str, message: str) -> None:
    """Nothing is guessed; a leading zero is shown in both readings."""
    with pytest.raises(ValueError, match=re.escape(message)):
        Address.parse(text)


def test_zone_is_kept() -> None:
    """RFC 4007: the zone is no part of the address but belongs to it."""
    address = Address.parse("fe80::1%eth0")
    assert (str(address.ip), address.zone, str(address)) == ("fe80::1", "eth0", "fe80::1%eth0")


SPECIAL = [
    ipaddress.ip_network(n)
    for n in ("0.0.0.0/8", "127.0.0.0/8", "169.254.0.0/16", "224.0.0.0/3", "::1/128", "fe80::/10",
              "ff00::/8")
]  # fmt: skip
NO_HOST = [ipaddress.ip_network(n) for n in ("0.0.0.0/8", "224.0.0.0/3", "ff00::/8")]
"""Nobody can have an address of these (RFC 1122 3.2.1.3, RFC 1112 section 4, RFC 4291 2.7)."""
_V6_END = 1 << 16


def oracle(
    subnet: ipaddress.IPv4Interface | ipaddress.IPv6Interface, taken: set[int]
) -> str | None:
    """The highest free host by the standard library: special networks taken out of the subnet's."""
    net = subnet.network
    parts: list[object] = [net]
    for special in SPECIAL:
        if special.version != net.version or (subnet.ip in special and special not in NO_HOST):
            continue
        kept: list[object] = []
        for part in parts:
            if special.supernet_of(part):  # type: ignore[arg-type]
                continue
            inside = special.subnet_of(part)  # type: ignore[arg-type]
            kept += part.address_exclude(special) if inside else [part]  # type: ignore[attr-defined]
        parts = kept
    small = net.max_prefixlen - net.prefixlen <= 1
    left = _V6_END
    never = set() if small else {int(net.network_address)}
    if net.version == 4 and not small:
        never.add(int(net.broadcast_address))
    for part in sorted(parts, key=lambda p: int(p.network_address), reverse=True):  # type: ignore[attr-defined]
        value = int(part.broadcast_address)  # type: ignore[attr-defined]
        while value >= int(part.network_address) and (net.version == 4 or left):  # type: ignore[attr-defined]
            left -= 1
            if value not in taken | never:
                return str(
                    ipaddress.ip_address(value)
                    if net.version == 4
                    else ipaddress.IPv6Address(value)
                )
            value -= 1
    return None


@given(st.data())
def test_free_addresses_against_the_standard_library(data: st.DataObject) -> None:
    """Of every subnet, however wide: never one of a special range unless it is the plan's own."""
    version = data.draw(st.sampled_from((4, 6)))
    bits = 32 if version == 4 else 128
    heads = ["0.0.0.5", "10.1.2.3", "127.3.0.9", "169.254.7.7", "198.18.20.11", "192.0.2.1",
             "223.255.255.250", "255.255.255.3", "::5", "2001:db8::11", "fe80::11", "ff02::5",
             "fec0::1", "ffff::1"]  # fmt: skip
    known = st.sampled_from([h for h in heads if (":" in h) == (version == 6)])
    drawn = known | st.integers(1, 2**bits - 1).map(
        lambda n: str(ipaddress.IPv4Address(n) if version == 4 else ipaddress.IPv6Address(n))
    )
    subnet = Interface.parse(f"{data.draw(drawn)}/{data.draw(st.integers(0, bits))}")
    near = st.integers(0, 20).map(lambda n: subnet.last - n)
    taken = data.draw(st.sets(near | st.integers(0, 2**bits - 1), max_size=12))
    found = highest_free(subnet, {(version, n) for n in taken})
    expected = oracle(ipaddress.ip_interface(str(subnet)), taken)
    told = None if found is None else str(ipaddress.ip_address(str(found.address)))
    assert told == expected


@pytest.mark.parametrize(
    ("subnet", "free"),
    [
        ("198.18.20.11/0", "223.255.255.255/0"),
        ("198.18.20.11/1", "223.255.255.255/1"),
        ("11.0.0.5/1", "126.255.255.255/1"),
        ("126.0.0.5/7", "126.255.255.255/7"),
        ("127.0.0.11/8", "127.255.255.254/8"),
        ("169.0.0.5/8", "169.255.255.254/8"),
        ("169.254.1.11/16", "169.254.255.254/16"),
        ("fe80::11/64", "fe80::ffff:ffff:ffff:ffff/64"),
        ("ff00::1/8", None),
        ("fd00::1/0", "feff:ffff:ffff:ffff:ffff:ffff:ffff:ffff/0"),
        ("::5/126", "::7/126"),
    ],
)
def test_no_search_is_endless(subnet: str, free: str | None) -> None:
    """A /0 is answered at once; loopback and link-local only where the plan's own address lies."""
    found = highest_free(Interface.parse(subnet), {(4, 0)})
    assert (None if found is None else str(found)) == free
