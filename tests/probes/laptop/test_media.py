"""What kind of interface it is, and whether it tags, by what the kernel says of it."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from verifier.model.laptop import Medium
from verifier.probes.laptop.look import medium
from verifier.probes.laptop.netlink import vlan_of

KINDS: list[tuple[str, str, Medium]] = [
    # ARPHRD number (linux/if_arp.h), what else is there, medium
    ("1", "", "cable"),
    ("1", "wireless", "wifi"),
    ("1", "phy80211", "wifi"),
    ("772", "", "loopback"),
    ("65534", "", "tunnel"),
    ("512", "", "tunnel"),
    ("32", "", "unknown"),
]


@pytest.mark.parametrize(("number", "beside", "kind"), KINDS)
def test_medium(tmp_path: Path, number: str, beside: str, kind: Medium) -> None:
    """The name has no say."""
    place = tmp_path / "eth0"
    place.mkdir()
    (place / "type").write_text(f"{number}\n")
    if beside:
        (place / beside).mkdir()
    assert medium("eth0", tmp_path) == kind


def test_medium_of_an_interface_that_went_away(tmp_path: Path) -> None:
    """Between two looks it may be gone."""
    assert medium("eth0", tmp_path) == "unknown"


def attribute(kind: int, value: bytes) -> bytes:
    return struct.pack("=HH", 4 + len(value), kind) + value + b"\0" * (-len(value) % 4)


def link(kind: bytes, data: bytes) -> bytes:
    """A link's description as rtnetlink(7) lays it out: IFLA_IFNAME 3, IFLA_LINKINFO 18."""
    info = attribute(1, kind) + attribute(2, data)
    return bytes(16) + attribute(3, b"eth0.20\0") + attribute(18, info)


def test_vlan_out_of_a_links_description() -> None:
    """IFLA_VLAN_ID counts for a link of kind `vlan` only; anything else does not tag."""
    number = attribute(1, struct.pack("=H", 20))
    assert vlan_of(link(b"vlan\0", number)) == ("eth0.20", 20)
    assert vlan_of(link(b"veth\0", number)) is None
    assert vlan_of(link(b"vlan\0", b"")) is None
    assert vlan_of(bytes(16)) is None
