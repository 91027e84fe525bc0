"""Offline rules of what stands on a unit, of figures and dates."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rules.conftest import Changes, Expected, changed, problems_of, told
from verifier.model.address import Mac
from verifier.rules.plan.devices import is_group

A, B, C, D = 36, 37, 38, 39
ONE = "lighthouse-quarry"
PORT = "lighthouse-quarry eth1"


def one(rule: str, subject: str = ONE, line: int = A) -> Expected:
    return {(line, rule, subject)}


WINDOW = """\
maintenance:
  - {name: mast, from: 2026-12-01T16:00Z, to: 2026-12-01T08:00Z}
management:"""
FAULTY: list[tuple[str, Changes, Expected]] = [
    ("group MAC", {A: ("02:00:5e:10:00:11", "03:00:5e:10:00:11")}, one("mac-not-a-devices")),
    ("broadcast MAC", {A: ("02:00:5e:10:00:11", "ff:ff:ff:ff:ff:ff")}, one("mac-not-a-devices")),
    ("no MAC", {A: ("02:00:5e:10:00:11", "00:00:00:00:00:00")}, one("mac-not-a-devices")),
    ("MAC of five octets", {A: ("02:00:5e:10:00:11", "02:00:5e:10:00")}, one("unreadable-value")),
    ("MAC twice, in two writings", {B: ("02:00:5e:10:00:12", "02-00-5E-10-00-11")},
     one("mac-doubled", "quarry-lighthouse", B)),
    ("serial twice", {B: ("000112", "000111")}, one("serial-doubled", "quarry-lighthouse", B)),
    ("serial made a number", {A: ("000111", "1.23457E+11")}, one("serial-mangled")),
    ("label twice", {B: ("QUARRY > LIGHTHOUSE", "Lighthouse >  Quarry")},
     one("label-doubled", "quarry-lighthouse", B)),
    ("unknown part", {A: ("PTP-13-H", "PTP-15-H")}, one("part-unknown")),
    ("VLAN 0", {A: ("management_vlan: 20", "management_vlan: 0")}, one("vlan-out-of-range")),
    ("VLAN 4095", {A: ("management_vlan: 20", "management_vlan: 4095")}, one("vlan-out-of-range")),
    ("VLAN below none", {A: ("management_vlan: 20", "management_vlan: -1")},
     one("vlan-out-of-range")),
    ("another VLAN than the others", {A: ("management_vlan: 20", "management_vlan: 21")},
     one("vlan-differs-in-subnet")),
    ("tagged with what", {A: ("management_vlan: 20, management_tagged: false",
                              "management_tagged: true")}, one("vlan-tagged-without-number")),
    ("port twice", {A: ("ports: [", "ports: [{name: eth1}, ")}, one("port-doubled", PORT)),
    ("half duplex at a gigabit", {A: ("duplex: full", "duplex: half")},
     one("duplex-impossible", PORT)),
    ("long copper", {A: ("cable_m: 35", "cable_m: 101")}, one("copper-too-long", PORT)),
    ("long cable of category 6", {A: ("media: copper, cable_m: 35", "media: Cat. 6, cable_m: 120")},
     one("copper-too-long", PORT)),
    ("small MTU", {2: ("mtu_bytes: 1500", "mtu_bytes: 1600"), B: ("mtu: 1500", "mtu: 9000"),
                   C: ("mtu: 1500", "mtu: 9000"), D: ("mtu: 1500", "mtu: 9000")},
     one("mtu-below-acceptance")),
    ("open and closed", {A: ("uplink:", "services: {open: [443/tcp, 22/tcp], closed: [22/TCP]}, uplink:")},
     one("service-open-and-closed")),
    ("port 0", {A: ("uplink:", "services: {open: [0/tcp]}, uplink:")}, one("unreadable-value")),
    ("GHz for MHz", {26: ("13143", "13.143")},
     {(26, "number-improbable", "Hop 1 carrier 1 end a"),
      (27, "rx-level-off-budget", "Hop 1 carrier 1 end b")}),
    ("kHz for MHz", {16: ("28", "28000")}, {(16, "number-improbable", "Hop 1")}),
    ("level without its sign", {26: ("rx_level_dbm: -46.6", "rx_level_dbm: 46.6")},
     {(26, "number-improbable", "Hop 1 carrier 1 end a"),
      (26, "rx-level-over-limit", "Hop 1 carrier 1 end a")}),
    ("metres for kilometres", {23: ("11.42", "11420")}, {(23, "number-improbable", "Hop 1")}),
    ("a loss as a gain", {26: ("line_loss_db: 0.5", "line_loss_db: -0.5")},
     {(26, "number-improbable", "Hop 1 carrier 1 end a")}),
    ("more than everything lost", {2: ("mtu_bytes: 1500", "max_loss_pct: 110")},
     {(2, "number-improbable", "Coast")}),
    ("site in space", {8: ("}", ", ground_amsl_m: 12000}")},
     {(8, "number-improbable", "Lighthouse")}),
    ("MTU of 20", {A: ("mtu: 1500", "mtu: 20")},
     one("number-improbable", PORT) | one("mtu-below-acceptance")),
    ("beyond the pole", {10: ("47.2011", "147.2011")},
     {(10, "coordinate-out-of-range", "Harbour")}),
    ("date of another century", {1: ("2026", "1926")}, {(1, "date-improbable", "Coast")}),
    ("date far ahead", {1: ("2026", "2062")}, {(1, "date-improbable", "Coast")}),
    ("no day of the calendar", {1: ("2026-11-20", "2026-11-31")},
     {(1, "unreadable-value", "Coast")}),
    ("revision made a date", {1: ('"1"', '"2026-02-01 00:00:00"')},
     {(1, "revision-mangled", "Coast")}),
    ("licence ended yesterday", {13: ("2031-06-30", "2026-11-24")},
     {(13, "licence-expired", "Hop 1")}),
    ("window backwards", {4: ("management:", WINDOW)}, {(5, "maintenance-backwards", "Coast")}),
    ("ATPC backwards", {26: ("azimuth_deg", "atpc_min_dbm: 18, atpc_max_dbm: 2, azimuth_deg")},
     {(26, "atpc-range-backwards", "Hop 1 carrier 1 end a")}),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "expected"), [f[1:] for f in FAULTY], ids=[f[0] for f in FAULTY]
)
def test_faulty_plan(tmp_path: Path, changes: Changes, expected: Expected) -> None:
    """Exactly these rules, about exactly these subjects, at exactly these lines."""
    assert told(problems_of(changed(changes), tmp_path)) == expected


CLEAN: list[tuple[str, Changes]] = [
    ("VLAN 1", dict.fromkeys((A, B, C, D), ("management_vlan: 20", "management_vlan: 1"))),
    ("VLAN 4094", dict.fromkeys((A, B, C, D), ("management_vlan: 20", "management_vlan: 4094"))),
    ("100 m of copper", {A: ("cable_m: 35", "cable_m: 100")}),
    ("2 km of fibre", {A: ("media: copper, cable_m: 35", "media: single-mode fibre, cable_m: 2000")}),
    ("half duplex at 100", {A: ("speed_mbps: 1000, duplex: full", "speed_mbps: 100, duplex: half")}),
    ("licence ends today", {13: ("2031-06-30", "2026-11-25")}),
    ("no licence date", {13: (", valid_until: 2031-06-30", "")}),
    ("plan of next year", {1: ("2026-11-20", "2027-11-20")}),
    ("locally administered and universal MAC", {A: ("02:00:5e:10:00:11", "00:00:5e:00:53:11")}),
    ("one serial in two families", {D: ("profile: hop-radio", "profile: mib2", "000114", "000111")}),
    ("azimuth to the west", {27: ("azimuth_deg: 238.08", "azimuth_deg: -121.92")}),
]  # fmt: skip


@pytest.mark.parametrize("changes", [c[1] for c in CLEAN], ids=[c[0] for c in CLEAN])
def test_clean_plan(tmp_path: Path, changes: Changes) -> None:
    assert problems_of(changed(changes), tmp_path) == ()


MACS = [
    ("00:00:00:00:00:00", False), ("02:00:5e:10:00:11", False), ("00:00:5e:00:53:00", False),
    ("01:80:c2:00:00:00", True), ("01:00:5e:00:00:01", True), ("33:33:00:00:00:01", True),
    ("03:00:00:00:00:01", True), ("ff:ff:ff:ff:ff:ff", True), ("fe:ff:ff:ff:ff:ff", False),
]  # fmt: skip
"""IEEE 802 8.2.2 (I/G bit): the reserved group address of bridges 01-80-C2-00-00-00 (IEEE 802.1D
7.12), IPv4 and IPv6 multicast (RFC 1112 6.4, RFC 2464 7), broadcast, unicast (from memory)."""


@pytest.mark.parametrize(("text", "group"), MACS)
def test_group_bit(text: str, *, group: bool) -> None:
    assert is_group(Mac.parse(text)) == group


@given(st.binary(min_size=6, max_size=6))
def test_group_bit_is_the_first_one_sent(octets: bytes) -> None:
    """Octets are sent least significant bit first: the group bit is bit 0 of the first."""
    mac = Mac.parse(":".join(f"{o:02X}" for o in octets))
    assert is_group(mac) == bool(octets[0] & 1)
    assert bytes.fromhex(str(mac).replace(":", "")) == octets
