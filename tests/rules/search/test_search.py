"""Where to look for a lost device, who is at an address, and what that means."""

from __future__ import annotations

import dataclasses
import ipaddress
from collections.abc import Iterable
from typing import Any

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from verifier.model.address import Address, Interface, Mac
from verifier.model.plan import Device, Host, Management, Network, OtherAddress, Plan
from verifier.model.profile import Factory, Profile
from verifier.model.search import Answer, Candidate, CandidateKind, HeardFrames, SearchedPlace, What
from verifier.rules.search import (
    MAX_CANDIDATES,
    Sought,
    candidates,
    heard,
    identify,
    judge,
    reaching,
)
from verifier.rules.search.candidates import slips
from verifier.rules.search.identity import engine_mac

DEVICE, OTHER, STRANGER = (Mac.parse(f"02:00:5e:10:00:0{n}") for n in (1, 2, 9))
RADIO = Profile(
    id="radio",
    object_id="1.3.6.1.4.1.32473.1",
    factory=Factory(
        low=Interface.parse("192.0.2.20/24"), high=Interface.parse("192.0.2.21/24"), snmp="factory"
    ),
)


def device(name: str, address: str, **more: Any) -> Device:
    return Device(name=name, address=Interface.parse(address), profile="radio", **more)


def plan(*devices: Device, **more: Any) -> Plan:
    return Plan(network=Network(name="Harbour ring"), devices=devices, **more)


# -- slips ----------------------------------------------------------------------------------------

SLIPS = [
    ("198.18.20.11", "198.18.20.111", "digit doubled"),
    ("198.18.20.11", "198.18.220.11", "digit doubled"),
    ("198.18.20.11", "198.18.20.1", "digit dropped"),
    ("198.18.20.105", "198.18.20.15", "digit dropped"),
    ("198.18.20.12", "198.18.20.21", "digits transposed"),
    ("198.18.20.12", "198.81.20.12", "digits transposed"),
    ("198.18.20.11", "198.18.20.12", "one too high"),
    ("198.18.20.11", "198.18.19.11", "one too low"),
    ("198.18.20.11", "198.18.11.20", "exchanged"),
    ("2001:db8:20::11", "2001:db8:20::111", "digit doubled"),
    ("2001:db8:20::1f", "2001:db8:20::f1", "digits transposed"),
    ("2001:db8:20::11", "2001:db8:20::11:0", "exchanged"),
]


@pytest.mark.parametrize(("right", "wrong", "how"), SLIPS)
def test_slips_of_a_hand(right: str, wrong: str, how: str) -> None:
    """Each kind of slip is made, in words, for both families."""
    made = {str(a): words for a, words in slips(Address.parse(right))}
    assert how in made[wrong]


ADDRESSES = st.one_of(st.ip_addresses(v=4), st.ip_addresses(v=6)).map(str)


@given(ADDRESSES)
def test_slips_are_addresses_once_and_not_the_right_one(text: str) -> None:
    """Whatever the address is, each slip is another address of its family, and there once."""
    address = Address.parse(text)
    made = [str(a) for a, _ in slips(address)]
    assert len(made) == len(set(made))
    assert text not in made
    assert {ipaddress.ip_address(m).version for m in made} <= {address.version}


@given(st.ip_addresses(v=4))
def test_a_slip_is_near(right: ipaddress.IPv4Address) -> None:
    """One octet differs, or two neighbouring ones are exchanged: judged apart from the code."""
    old = str(right).split(".")
    for address, _ in slips(Address.parse(str(right))):
        new = str(address).split(".")
        differ = [i for i in range(4) if new[i] != old[i]]
        swapped = len(differ) == 2 and differ[1] - differ[0] == 1
        assert len(differ) == 1 or (
            swapped and [new[i] for i in differ] == [old[i] for i in differ[::-1]]
        )


# -- candidates -----------------------------------------------------------------------------------

PRIVATE = [
    *("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "fc00::/7"),
    *("192.0.2.0/24", "198.51.100.0/24", "203.0.113.0/24", "2001:db8::/32", "3fff::/20"),
]
"""RFC 1918, RFC 4193, RFC 5737, RFC 3849, RFC 9637."""
OF_THE_PLAN = ["198.18.0.0/15", "100.64.0.0/10", "127.0.0.0/8"]
"""RFC 2544, RFC 6598, RFC 1122: allowed where the plan has an address there."""
HOSTS = st.one_of(st.sampled_from([*PRIVATE, "198.18.0.0/15", "100.64.0.0/10"])).flatmap(
    lambda net: st.ip_addresses(network=net)
)
LENGTHS = {4: st.integers(8, 30), 6: st.integers(32, 126)}


@st.composite
def interfaces(draw: st.DrawFn) -> Interface:
    host = draw(HOSTS)
    return Interface(Address.parse(str(host)), draw(LENGTHS[host.version]))


@st.composite
def cases(draw: st.DrawFn) -> tuple[Plan, Device, list[Address]]:
    places = draw(st.lists(interfaces(), min_size=1, max_size=5))
    present = draw(st.none() | interfaces())
    devices = [
        Device(
            name=f"device-{n}",
            address=at,
            profile="radio",
            present_address=present if not n else None,
        )
        for n, at in enumerate(places)
    ]
    own = [a.address for a in draw(st.lists(st.sampled_from(places), max_size=1))]
    return plan(*devices), devices[0], own


def inside(address: str, networks: Iterable[str]) -> bool:
    ip = ipaddress.ip_address(address)
    return any(
        ip in ipaddress.ip_network(n, strict=False)
        for n in networks
        if (":" in n) == (ip.version == 6)
    )


@settings(max_examples=300)
@given(cases())
def test_candidates_stay_inside_what_is_allowed(case: tuple[Plan, Device, list[Address]]) -> None:
    """At most 64, each once, never the laptop's own, and only inside ranges that are allowed.

    Those are judged by the standard library: the plan's subnets and the factory's, private and
    documentation ranges, and the special ranges in which the plan has an address.
    """
    of, device, own = case
    found = candidates(of, device, {"radio": RADIO}, own=own)
    texts = [str(c.address.address) for c in found]
    assert len(texts) == len(set(texts)) <= MAX_CANDIDATES == 64
    assert not set(texts) & {str(a) for a in own}
    used = [str(d.address) for d in of.devices] + ["192.0.2.20/24"]
    used += [str(d.present_address) for d in of.devices if d.present_address]
    special = [n for n in OF_THE_PLAN if any(inside(u.split("/")[0], [n]) for u in used)]
    assert all(inside(t, [*used, *PRIVATE, *special]) for t in texts)


@settings(max_examples=200)
@given(cases())
def test_addresses_of_other_devices_are_marked(case: tuple[Plan, Device, list[Address]]) -> None:
    """A candidate that the plan gives to another device says whose it is."""
    of, device, own = case
    owners: dict[str, str] = {}
    for other in of.devices[1:]:
        owners.setdefault(str(other.address.address), other.name)
    for c in candidates(of, device, {"radio": RADIO}, own=own):
        if (owner := owners.get(str(c.address.address))) is not None:
            assert c.owner == owner


@settings(max_examples=200)
@given(cases(), interfaces())
def test_named_addresses_come_first(
    case: tuple[Plan, Device, list[Address]], temporary: Interface
) -> None:
    """Planned, present, factory and temporary addresses are never crowded out by slips."""
    of, device, _ = case
    found = candidates(of, device, {"radio": RADIO}, temporary=[temporary])
    kinds = [c.kind for c in found]
    wanted = {str(device.address.address), str(temporary.address), "192.0.2.20", "192.0.2.21"}
    wanted |= {str(device.present_address.address)} if device.present_address else set()
    assert wanted <= {str(c.address.address) for c in found}
    assert kinds == sorted(kinds, key=lambda k: k == "slip")
    assert kinds[0] == "planned"


def test_owners_of_every_kind() -> None:
    """Devices, their further addresses, hosts, gateways, and where others are now."""
    of = plan(
        device("a", "198.18.20.11/24", gateway=Address.parse("198.18.20.1")),
        device("b", "198.18.20.12/24"),
        device("c", "198.18.30.5/24", present_address=Interface.parse("198.18.20.10/24")),
        device(
            "d",
            "198.18.30.6/24",
            other_addresses=(OtherAddress(address=Interface.parse("198.18.21.11/24")),),
        ),
        management=Management(hosts=(Host(name="desk", address=Address.parse("198.18.20.111")),)),
    )
    owners = {str(c.address.address): c.owner for c in candidates(of, of.devices[0], {})}
    assert {k: v for k, v in owners.items() if v} == {
        "198.18.20.1": "gateway of a",
        "198.18.20.12": "b",
        "198.18.20.10": "c now",
        "198.18.21.11": "d",
        "198.18.20.111": "host desk",
    }


def test_half_of_the_band_first() -> None:
    """The factory address of the device's own half of the band is asked before the other's."""
    of = plan(device("a", "198.18.20.11/24", tx_band="high"))
    found = candidates(of, of.devices[0], {"radio": RADIO})
    kinds = [str(c.address.address) for c in found if c.kind == "factory"]
    assert kinds == ["192.0.2.21", "192.0.2.20"]


@pytest.mark.parametrize(
    ("address", "sure", "prefix"),
    [
        ("10.1.20.77", False, 24),
        ("192.168.2.3", False, 24),
        ("198.18.20.77", False, None),
        ("198.18.20.77", True, 24),
        ("10.1.20.255", True, None),
        ("fe80::1", True, None),
        ("2001:db8::1", False, 128),
    ],
)
def test_what_is_heard_is_asked_where_allowed(address: str, sure: bool, prefix: int | None) -> None:  # noqa: FBT001
    """A stranger only inside the ranges, the device anywhere; link-local is no place to be at.

    198.18.0.0/15 stands for what is neither the plan's nor private.
    """
    of = plan(device("a", "10.1.20.11/24"))
    found = heard(of, of.devices[0], {}, Address.parse(address), sure=sure)
    assert (found and found.address.prefix) == prefix


# -- identity -------------------------------------------------------------------------------------

NET = plan(
    device("lighthouse-quarry", "198.18.20.11/24", mac=DEVICE, serial="000111"),
    device("quarry-lighthouse", "198.18.20.12/24", mac=OTHER, serial="000112"),
)
SOUGHT = Sought(plan=NET, device=NET.devices[0], profile=RADIO, macs=frozenset({DEVICE}))
PLAIN = plan(
    device("lighthouse-quarry", "198.18.20.11/24"), device("quarry-lighthouse", "198.18.20.12/24")
)
NAMED = Sought(plan=PLAIN, device=PLAIN.devices[0], profile=RADIO)
PLANNED = "198.18.20.11"


def candidate(address: str = PLANNED, kind: CandidateKind = "planned") -> Candidate:
    return Candidate(address=Interface.parse(f"{address}/24"), kind=kind, why=f"{kind} address")


def snmp(name: str | None = None, **more: Any) -> Answer:
    return Answer(
        asked=("echo", "snmp"), echo=True, snmp="answered", credentials="field", name=name, **more
    )


def frame(
    address: str | None, mac: Mac = DEVICE, what: What = "arp-announcement", **more: Any
) -> HeardFrames:
    at = "2026-11-25T10:00:00.000Z"
    known = {"name": "", "port": "", "vlan": None, **more}
    return HeardFrames(
        interface="eth0", mac=mac, what=what, first=at, last=at, count=1,
        address=Address.parse(address) if address else None, **known,
    )  # fmt: skip


IDENTITIES: dict[str, tuple[Sought, Candidate, Answer, tuple[HeardFrames, ...], tuple[str, str]]] = {
    "an echo is nobody": (NAMED, candidate(), Answer(echo=True), (), ("unknown", "")),
    "its name": (NAMED, candidate(), snmp("lighthouse-quarry"), (), ("device", "")),
    "its name with a space": (NAMED, candidate(), snmp("lighthouse-quarry "), (), ("device", "")),
    "its name with a domain": (NAMED, candidate(), snmp("Lighthouse-Quarry.example"), (), ("device", "")),
    "another's name": (NAMED, candidate(), snmp("quarry-lighthouse"), (), ("another", "quarry-lighthouse")),
    "a strange name": (NAMED, candidate(), snmp("printer"), (), ("another", "printer")),
    "no name where one is due": (NAMED, candidate(), snmp(""), (), ("unknown", "")),
    "its hardware": (SOUGHT, candidate(), Answer(macs=(DEVICE,)), (), ("device", "")),
    "its hardware under another's name": (SOUGHT, candidate(), snmp("quarry-lighthouse", macs=(DEVICE,)), (), ("device", "")),
    "another's hardware under its name": (SOUGHT, candidate(), snmp("lighthouse-quarry", macs=(OTHER,)), (), ("another", "quarry-lighthouse")),
    "its name on new hardware": (SOUGHT, candidate(), snmp("lighthouse-quarry", macs=(STRANGER,)), (), ("device", "")),
    "strange hardware": (SOUGHT, candidate(), Answer(macs=(STRANGER,)), (), ("another", f"hardware address {STRANGER}")),
    "hardware by SNMP": (SOUGHT, candidate(), snmp("", port_mac=DEVICE), (), ("device", "")),
    "hardware in the engine id": (SOUGHT, candidate(), Answer(snmp="unknown-user", engine_id="80007ed90302005e100001"), (), ("device", "")),
    "an engine id seen before": (dataclasses.replace(NAMED, engine_ids=frozenset({"8000aa"})), candidate(), Answer(snmp="unknown-user", engine_id="8000aa"), (), ("device", "")),
    "its serial number": (SOUGHT, candidate(), snmp("", serial="000111"), (), ("device", "")),
    "another's serial number": (SOUGHT, candidate(), snmp("", serial="000112"), (), ("another", "quarry-lighthouse")),
    "a strange serial number": (SOUGHT, candidate(), snmp("", serial="000999"), (), ("another", "serial number 000999")),
    "as delivered": (NAMED, candidate("192.0.2.20", "factory"), snmp("radio", object_id="1.3.6.1.4.1.32473.1.7"), (), ("likely", "")),
    "as delivered, another kind": (NAMED, candidate("192.0.2.20", "factory"), snmp("router", object_id="1.3.6.1.4.1.32473.12"), (), ("another", "router")),
    "as delivered, other hardware": (SOUGHT, candidate("192.0.2.20", "factory"), snmp("radio", object_id="1.3.6.1.4.1.32473.1", macs=(STRANGER,)), (), ("another", "radio")),
    "heard by LLDP": (NAMED, candidate("10.9.8.7", "heard"), Answer(), (frame("10.9.8.7", STRANGER, "lldp", name="lighthouse-quarry"),), ("device", "")),
    "heard by ARP": (SOUGHT, candidate("10.9.8.7", "heard"), Answer(), (frame("10.9.8.7"),), ("device", "")),
    "it is about to take it": (SOUGHT, candidate(), Answer(), (frame(PLANNED, DEVICE, "arp-probe"),), ("device", "")),
    "another only probes": (SOUGHT, candidate(), Answer(), (frame(PLANNED, STRANGER, "arp-probe"),), ("unknown", "")),
    "heard elsewhere": (SOUGHT, candidate(), Answer(), (frame("10.9.8.7"),), ("unknown", "")),
}  # fmt: skip


@pytest.mark.parametrize("name", IDENTITIES)
def test_identity(name: str) -> None:
    """Who is at an address: hardware outranks a name, a name outranks a kind, an echo is nobody."""
    sought, where, answer, heard_, expected = IDENTITIES[name]
    (place,) = identify(sought, [(where, answer)], heard_)
    assert (place.identity, place.who) == expected
    assert bool(place.by) == (place.identity != "unknown")


def test_a_router_that_answers_for_others_is_no_device() -> None:
    """One hardware address at five candidates (proxy ARP, RFC 1027) is at none of them."""
    asked = [(candidate(f"198.18.20.{n}", "slip"), Answer(macs=(STRANGER,))) for n in range(20, 25)]
    assert {p.identity for p in identify(SOUGHT, asked, ())} == {"unknown"}
    assert not any(p.answer.somebody for p in identify(SOUGHT, asked, ()))
    (one,) = identify(SOUGHT, asked[:1], ())
    assert one.identity == "another"


@pytest.mark.parametrize(
    ("engine_id", "mac"),
    [
        ("80007ed90302005e100001", DEVICE),
        ("80007ed90402005e100001", None),
        ("00007ed90302005e100001", None),
        ("80007ed903", None),
        (None, None),
    ],
)
def test_engine_id_made_of_a_hardware_address(engine_id: str | None, mac: Mac | None) -> None:
    """RFC 3411 section 5, SnmpEngineID: bit 1 set, octet 5 is 3, then six octets."""
    assert engine_mac(engine_id) == mac


# -- verdict --------------------------------------------------------------------------------------


def judged(
    sought: Sought, *asked: tuple[Candidate, Answer], heard_: tuple[HeardFrames, ...] = ()
) -> Any:
    return judge(sought, identify(sought, asked, heard_), heard_, None)


WIDE = Interface.parse(f"{PLANNED}/16")
SLIP = candidate("198.18.20.111", "slip")
MUTE = Answer(asked=("arp", "echo", "snmp"), echo=False, snmp="silent", macs=(DEVICE,))
STATES: dict[str, tuple[tuple[tuple[Candidate, Answer], ...], tuple[HeardFrames, ...], tuple[str, str]]] = {
    "right": (((candidate(), snmp("lighthouse-quarry", macs=(DEVICE,))),), (), ("as-planned", "pass")),
    "too wide a mask": (((candidate(), snmp("lighthouse-quarry", held=WIDE)),), (), ("wrong-mask", "fail")),
    "a mask with holes": (((candidate(), snmp("lighthouse-quarry", odd_mask="255.0.255.0")),), (), ("wrong-mask", "fail")),
    "two at one address": (((candidate(), snmp("lighthouse-quarry", macs=(DEVICE, STRANGER))),), (), ("shared", "fail")),
    "holds it, answers nothing": (((candidate(), MUTE),), (), ("mute", "fail")),
    "off the laptop's subnet": (((candidate(), Answer(asked=("arp",), macs=(DEVICE,))),), (), ("as-planned", "pass")),
    "a slip": (((candidate(), Answer()), (SLIP, snmp("lighthouse-quarry"))), (), ("elsewhere", "fail")),
    "planned and left behind": (((candidate(), snmp("lighthouse-quarry")), (SLIP, snmp("lighthouse-quarry"))), (), ("as-planned", "pass")),
    "another at its address": (((candidate(), snmp("quarry-lighthouse")),), (), ("stranger", "fail")),
    "another there, it elsewhere": (((candidate(), snmp("quarry-lighthouse")), (SLIP, snmp("lighthouse-quarry"))), (), ("elsewhere", "fail")),
    "somebody there": (((candidate(), Answer(echo=True, snmp="silent")),), (), ("unidentified", "not-tested")),
    "on the cable": (((candidate(), Answer()),), (frame(None, DEVICE, "packet"),), ("no-address", "fail")),
    "nobody": (((candidate(), Answer()),), (), ("not-found", "not-tested")),
    "nothing was asked": ((), (), ("not-found", "not-tested")),
}  # fmt: skip


@pytest.mark.parametrize("name", STATES)
def test_verdict(name: str) -> None:
    """Pass at its planned address with nothing wrong, fail elsewhere, not tested where unknown."""
    asked, heard_, expected = STATES[name]
    found = judged(SOUGHT, *asked, heard_=heard_)
    assert (found.state, found.verdict) == expected
    assert "lighthouse-quarry" in found.explanation or "somebody is at" in found.explanation
    assert bool(found.advice) == (found.state != "as-planned")


@pytest.mark.parametrize(
    ("answer", "listened", "what", "to_do"),
    [
        (Answer(asked=("arp",)), False, "at any of the addresses that were asked", "--listen"),
        (Answer(asked=("arp",)), True, "at any of the addresses that were asked", "listen again"),
        (Answer(not_asked="no way"), False, "no address was asked", "the cable is in at both ends"),
        (Answer(not_asked="no way"), True, "no address was asked", "listen again"),
    ],
)
def test_advice_is_what_was_not_done_yet(
    answer: Answer,
    listened: bool,  # noqa: FBT001
    what: str,
    to_do: str,
) -> None:
    """Nobody is told to listen who has listened, or of addresses asked where none was."""
    places = identify(SOUGHT, [(candidate(), answer)], ())
    found = judge(SOUGHT, places, (), None, listened=listened)
    assert what in found.explanation
    assert to_do in found.advice
    assert ("again" in found.advice) == (listened or not answer.asked)


NOTES: dict[str, tuple[tuple[tuple[Candidate, Answer], ...], tuple[HeardFrames, ...], str]] = {
    "left behind": (STATES["planned and left behind"][0], (), "it answers at 198.18.20.111 too"),
    "another there": (STATES["another there, it elsewhere"][0], (), "at its planned address 198.18.20.11 is another: quarry-lighthouse"),
    "wrong name": (((candidate(), snmp("quarry-lighthouse", macs=(DEVICE,))),), (), "it reports 'quarry-lighthouse': set lighthouse-quarry"),
    "exchanged": (((candidate(), snmp("lighthouse-quarry", macs=(STRANGER,))),), (), "is not the planned 02:00:5e:10:00:01: the device was exchanged"),
    "tagged": (((candidate(), MUTE),), (frame(PLANNED, vlan=20),), "the tag of VLAN 20; the plan has untagged management"),
    "link-local": (((candidate(), Answer()),), (frame("fe80::1", DEVICE, "nd-router"),), "link-local address fe80::1%eth0"),
}  # fmt: skip


@pytest.mark.parametrize("name", NOTES)
def test_notes(name: str) -> None:
    """What else is to be known."""
    asked, heard_, words = NOTES[name]
    assert any(words in note for note in judged(SOUGHT, *asked, heard_=heard_).notes)


@pytest.mark.parametrize(
    ("at", "taken", "expected"),
    [
        ("198.18.20.10/24", [], 30),
        ("198.18.20.11/24", [], 29),  # of .8/30 it would be the broadcast address
        ("198.18.20.10/24", ["198.18.20.9"], 29),
        ("198.18.20.10/30", ["198.18.20.9"], 30),
        ("2001:db8::2/64", [], 126),
    ],
)
def test_smallest_subnet_that_leaves_a_host(at: str, taken: list[str], expected: int) -> None:
    """The device is a host of it and another host address is free: it lies inside every wider one."""
    keys = {(a.version, a.value) for a in map(Address.parse, taken)}
    assert reaching(Interface.parse(at), keys).prefix == expected


def test_place_keeps_what_was_seen() -> None:
    """A place holds candidate and answer as they were."""
    (place,) = identify(SOUGHT, [(candidate(), MUTE)], ())
    assert place == SearchedPlace(
        candidate=candidate(), answer=MUTE, identity="device", by=place.by
    )
