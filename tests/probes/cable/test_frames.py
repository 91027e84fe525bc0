"""Frames are decoded as scapy builds them, asked as it would ask, and garbage does no harm."""

from __future__ import annotations

from typing import Any

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings
from scapy.contrib import lldp
from scapy.layers.inet import ICMP, IP
from scapy.layers.inet6 import (
    ICMPv6EchoRequest,
    ICMPv6ND_NA,
    ICMPv6ND_NS,
    ICMPv6ND_RA,
    ICMPv6ND_RS,
    ICMPv6NDOptDstLLAddr,
    ICMPv6NDOptMTU,
    ICMPv6NDOptSrcLLAddr,
    IPv6,
)
from scapy.layers.l2 import ARP, LLC, STP, Dot1AD, Dot1Q, Dot3, Ether
from scapy.packet import Packet, Raw

from verifier.model.address import Address, Mac
from verifier.probes.cable import arp, frames
from verifier.probes.cable.frames import Lldpdu, lldpdu

DEVICE, BRIDGE, ALL = "02:00:5e:10:00:01", "02:00:5e:10:00:99", "ff:ff:ff:ff:ff:ff"
V4, V6, LOCAL = "198.18.20.11", "2001:db8:20::11", "fe80::11"
Said = tuple[str, str, tuple[str, ...]] | None


def said(packet: Packet | bytes) -> Said:
    """Kind, sender, addresses of a frame."""
    frame = frames.decode(bytes(packet))
    if frame is None:
        return None
    return frame.what, str(frame.mac), tuple(str(a) for a in frame.addresses)


def ether(mac: str = DEVICE, to: str = ALL) -> Packet:
    return Ether(src=mac, dst=to)


def from_arp(**fields: Any) -> Packet:
    return ether() / ARP(**{"hwsrc": DEVICE, "hwdst": "00:00:00:00:00:00", **fields})


def v6(message: Packet, source: str = LOCAL, hops: int = 255) -> Packet:
    return ether(to="33:33:00:00:00:01") / IPv6(src=source, dst="ff02::1", hlim=hops) / message


ARP_FRAMES: dict[str, tuple[Packet, Said]] = {
    "request (RFC 826)": (from_arp(op=1, psrc=V4, pdst="198.18.20.1"), ("arp-request", DEVICE, (V4,))),
    "reply (RFC 826)": (from_arp(op=2, psrc=V4, pdst="198.18.20.250", hwdst=BRIDGE), ("arp-reply", DEVICE, (V4,))),
    "probe (RFC 5227 2.1.1)": (from_arp(op=1, psrc="0.0.0.0", pdst=V4), ("arp-probe", DEVICE, (V4,))),
    "announcement (RFC 5227 2.3)": (from_arp(op=1, psrc=V4, pdst=V4), ("arp-announcement", DEVICE, (V4,))),
    "announced by a reply": (from_arp(op=2, psrc=V4, pdst=V4), ("arp-announcement", DEVICE, (V4,))),
    "relayed by a bridge": (ether(BRIDGE) / ARP(op=2, hwsrc=DEVICE, psrc=V4, pdst="198.18.20.1"), ("arp-reply", DEVICE, (V4,))),
    "reply of nobody": (from_arp(op=2, psrc="0.0.0.0", pdst=V4), None),
    "from a broadcast address": (from_arp(op=1, psrc="255.255.255.255", pdst=V4), None),
    "from a group's hardware address": (from_arp(op=1, psrc=V4, pdst=V4, hwsrc="01:00:5e:00:00:01"), None),
    "reverse ARP": (from_arp(op=3, psrc=V4, pdst=V4), None),
    "not of IPv4": (from_arp(op=1, ptype=0x86DD, psrc=V4, pdst=V4), None),
}  # fmt: skip
ND_FRAMES: dict[str, tuple[Packet, Said]] = {
    "advertisement": (v6(ICMPv6ND_NA(tgt=V6) / ICMPv6NDOptDstLLAddr(lladdr=DEVICE)), ("nd-advertisement", DEVICE, (V6,))),
    "advertisement without an option": (v6(ICMPv6ND_NA(tgt=V6)), ("nd-advertisement", DEVICE, (V6,))),
    "proxied advertisement": (ether(BRIDGE) / IPv6(src=LOCAL, hlim=255) / ICMPv6ND_NA(tgt=V6) / ICMPv6NDOptDstLLAddr(lladdr=DEVICE), ("nd-advertisement", DEVICE, (V6,))),
    "solicitation": (v6(ICMPv6ND_NS(tgt="2001:db8:20::1") / ICMPv6NDOptSrcLLAddr(lladdr=DEVICE), V6), ("nd-solicitation", DEVICE, (V6,))),
    "duplicate address detection (RFC 4862)": (v6(ICMPv6ND_NS(tgt=V6), "::"), ("nd-probe", DEVICE, (V6,))),
    "router solicitation": (v6(ICMPv6ND_RS() / ICMPv6NDOptSrcLLAddr(lladdr=DEVICE)), ("nd-router", DEVICE, (LOCAL,))),
    "router advertisement": (v6(ICMPv6ND_RA() / ICMPv6NDOptMTU(mtu=1500) / ICMPv6NDOptSrcLLAddr(lladdr=DEVICE)), ("nd-router", DEVICE, (LOCAL,))),
    "of an unspecified router": (v6(ICMPv6ND_RS(), "::"), None),
    "of a group": (v6(ICMPv6ND_NA(tgt="ff02::1")), None),
    "forwarded, so not valid (RFC 4861 7.1)": (v6(ICMPv6ND_NA(tgt=V6), V6, hops=254), ("packet", DEVICE, ())),
}  # fmt: skip
OTHER_FRAMES: dict[str, tuple[Packet, Said]] = {
    "IPv4, not forwarded": (ether() / IP(src=V4, dst="203.0.113.1", ttl=64) / ICMP(), ("packet", DEVICE, (V4,))),
    "IPv4, forwarded": (ether() / IP(src="203.0.113.9", ttl=63) / ICMP(), ("packet", DEVICE, ())),
    "IPv6, not forwarded": (v6(ICMPv6EchoRequest(), V6, hops=64), ("packet", DEVICE, (V6,))),
    "no protocol that is known": (Ether(src=DEVICE, dst=ALL, type=0x88B5) / Raw(b"x"), ("packet", DEVICE, ())),
    "spanning tree, with a length": (Dot3(src=DEVICE, dst="01:80:c2:00:00:00") / LLC() / STP(), ("packet", DEVICE, ())),
    "from a group": (ether("01:00:5e:00:00:01") / IP(src=V4), None),
}  # fmt: skip
ALL_FRAMES = {**ARP_FRAMES, **ND_FRAMES, **OTHER_FRAMES}


@pytest.mark.parametrize("name", ALL_FRAMES)
def test_decoded_as_scapy_builds_it(name: str) -> None:
    """What a frame says, and that it says nothing where it must not be believed."""
    packet, expected = ALL_FRAMES[name]
    assert said(packet) == expected


@pytest.mark.parametrize(
    ("tags", "vlan"),
    [
        ((Dot1Q(vlan=20),), 20),
        ((Dot1AD(vlan=30), Dot1Q(vlan=20)), 30),
        ((Dot1Q(vlan=0, prio=7),), None),
        ((), None),
    ],
)
def test_tags_of_vlans(tags: tuple[Packet, ...], vlan: int | None) -> None:
    """IEEE 802.1Q and 802.1ad: the outer tag counts; VLAN 0 is a priority only."""
    packet = ether()
    for tag in tags:
        packet /= tag
    frame = frames.decode(bytes(packet / ARP(op=1, hwsrc=DEVICE, psrc=V4, pdst=V4)))
    assert frame is not None
    assert (frame.what, frame.vlan) == ("arp-announcement", vlan)


def test_tag_that_the_kernel_took_off() -> None:
    """What the kernel says of the tag counts as if it still stood in the frame."""
    frame = frames.decode(bytes(from_arp(op=1, psrc=V4, pdst=V4)), 20)
    assert frame is not None
    assert frame.vlan == 20


# -- LLDP -----------------------------------------------------------------------------------------


def lldp_frame(*tlvs: Packet, chassis: Packet | None = None, ttl: int = 120) -> Packet:
    packet = ether(to="01:80:c2:00:00:0e")
    packet /= chassis or lldp.LLDPDUChassisID(subtype=4, id=DEVICE)
    packet /= lldp.LLDPDUPortID(subtype=5, id=b"eth1") / lldp.LLDPDUTimeToLive(ttl=ttl)
    for tlv in tlvs:
        packet /= tlv
    return packet / lldp.LLDPDUEndOfLLDPDU()


def managed(address: str) -> Packet:
    packed = Address.parse(address).ip.packed
    return lldp.LLDPDUManagementAddress(
        management_address_subtype=1 if len(packed) == 4 else 2,
        management_address=packed,
        interface_numbering_subtype=2,
        interface_number=3,
        object_id=b"\x2b\x06",
    )


NAME = lldp.LLDPDUSystemName(system_name=b"lighthouse-quarry")


def test_lldp_with_everything() -> None:
    """Chassis, port, name and both management addresses among other TLVs (IEEE 802.1AB 8.5)."""
    packet = lldp_frame(
        lldp.LLDPDUPortDescription(description=b"management"),
        NAME,
        lldp.LLDPDUSystemDescription(description=b"invented"),
        managed(V4),
        managed(V6),
        managed(V4),
        lldp.LLDPDUGenericOrganisationSpecific(org_code=0x0080C2, subtype=1, data=b"\0\x14"),
    )
    frame = frames.decode(bytes(packet))
    assert frame == frames.Frame(
        what="lldp",
        mac=Mac.parse(DEVICE),
        addresses=(Address.parse(V4), Address.parse(V6)),
        name="lighthouse-quarry",
        port="eth1",
        chassis=Mac.parse(DEVICE),
    )


CHASSIS_V4 = lldp.LLDPDUChassisID(subtype=5, family=1, id=V4)
LLDP_FRAMES: dict[str, tuple[Packet, tuple[str, ...]]] = {
    "no management address": (lldp_frame(NAME), ()),
    "known by its network address": (lldp_frame(chassis=CHASSIS_V4), (V4,)),
    "a management address outranks it": (lldp_frame(managed(V6), chassis=CHASSIS_V4), (V6,)),
    "it says goodbye (TTL 0)": (lldp_frame(managed(V4), ttl=0), ()),
    "a MAC for a management address": (
        lldp_frame(
            lldp.LLDPDUManagementAddress(
                management_address_subtype=6, management_address=bytes.fromhex("02005e100001")
            )
        ),
        (),
    ),
}


@pytest.mark.parametrize("name", LLDP_FRAMES)
def test_addresses_of_lldp(name: str) -> None:
    """Where a device says it is managed."""
    packet, addresses = LLDP_FRAMES[name]
    assert said(packet) == ("lldp", DEVICE, addresses)


def test_lldp_in_a_wrong_order_is_none() -> None:
    """Chassis, port and TTL come first in this order, or nothing is believed (8.2)."""
    whole = bytes(lldp_frame(NAME))[14:]
    chassis, port = whole[:9], whole[9:16]
    assert lldpdu(whole) is not None
    assert lldpdu(port + chassis + whole[16:]) is None
    assert lldpdu(chassis + port) is None
    assert lldpdu(b"") is None


# -- asking ---------------------------------------------------------------------------------------


def test_arp_probe_is_that_of_rfc_5227() -> None:
    """2.1.1: an ARP request to all, its sender's address zero, its target's hardware zero."""
    ours = frames.arp_request(bytes.fromhex("02005e100001"), Address.parse(V4))
    assert ours == bytes(from_arp(op=1, psrc="0.0.0.0", pdst=V4))


@pytest.mark.parametrize("wanted", [V6, "2001:db8::ffff:abcd", "fe80::1"])
def test_solicitation_is_that_of_rfc_4861(wanted: str) -> None:
    """4.3, 7.2.2: to the solicited-node group, hop limit 255, with the sender's hardware address."""
    ours = frames.nd_solicitation(
        bytes.fromhex("02005e100001"), Address.parse(LOCAL), Address.parse(wanted)
    )
    low = Address.parse(wanted).ip.packed[13:]
    group = f"ff02::1:ff{low[0]:02x}:{low[1]:02x}{low[2]:02x}"
    theirs = (
        ether(to=f"33:33:ff:{low.hex(':')}")
        / IPv6(src=LOCAL, dst=group, hlim=255)
        / ICMPv6ND_NS(tgt=wanted)
        / ICMPv6NDOptSrcLLAddr(lladdr=DEVICE)
    )
    assert ours == bytes(theirs)


def test_constants_of_rfc_5227() -> None:
    """1.1: PROBE_NUM 3, PROBE_MIN 1 second."""
    assert (arp.PROBE_NUM, arp.PROBE_MIN_S) == (3, 1.0)


# -- garbage --------------------------------------------------------------------------------------

ETHER_BYTES = 14
"""Two addresses and a type (IEEE 802.3, 3.1.1)."""
SEEDS = [bytes(p) for p, _ in ALL_FRAMES.values()] + [bytes(p) for p, _ in LLDP_FRAMES.values()]


@given(st.binary(max_size=200))
def test_any_octets_do_no_harm(data: bytes) -> None:
    """Whatever comes is decoded or is nothing."""
    frame, told = frames.decode(data), lldpdu(data)
    assert frame is None or (len(data) >= ETHER_BYTES and isinstance(frame, frames.Frame))
    assert told is None or isinstance(told, Lldpdu)


@settings(max_examples=300)
@given(st.sampled_from(SEEDS), st.data())
def test_damaged_frames_do_no_harm(seed: bytes, data: st.DataObject) -> None:
    """Cut anywhere, one octet changed: what is said still names a station and hosts."""
    cut = data.draw(st.integers(0, len(seed)))
    at = data.draw(st.integers(0, len(seed) - 1))
    changed = bytearray(seed)
    changed[at] = data.draw(st.integers(0, 255))
    for octets in (seed[:cut], bytes(changed), bytes(changed[:cut])):
        frame = frames.decode(octets)
        if frame is not None:
            assert not int(str(frame.mac)[:2], 16) & 1
            assert all(not a.ip.is_multicast() and a.value for a in frame.addresses)
