"""Field cards: what stands on them, computed apart; the cautions; no item is forgotten."""

from __future__ import annotations

import dataclasses
import math
import re
from pathlib import Path
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic

import verifier.files
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model.cautions import CAUTIONS, CLOSING, cautions
from verifier.model.manual import ITEMS
from verifier.model.plan import Plan
from verifier.report.cards import cards_text as text
from verifier.report.cards import labels_text as labels
from verifier.rules.cards import Card, CardLine, cards, items
from verifier.rules.radio.path import beamwidth_deg, tilt_deg

PLAN, _ = read_plan(Path(verifier.files.__file__).parent / "example.yaml")
PROFILES = load_profiles({d.profile for d in PLAN.devices})
README = Path(__file__).parents[3] / "README.md"


def card(name: str, plan: Plan = PLAN) -> Card:
    device = next(d for d in plan.devices if d.name == name)
    return cards(plan, PROFILES, [device])[0]


def rows(made: Card) -> dict[str, CardLine]:
    return {r.what: r for s in made.sections for r in s.rows}


def without(plan: Plan = PLAN, **more: Any) -> Plan:
    """The plan with other values at both ends of its first link."""
    first, *others = plan.links
    changed = tuple(
        dataclasses.replace(
            c, a=dataclasses.replace(c.a, **more), b=dataclasses.replace(c.b, **more)
        )
        for c in first.carriers
    )
    return dataclasses.replace(plan, links=(dataclasses.replace(first, carriers=changed), *others))


def test_what_a_radio_card_says() -> None:
    """Label, site, far end, addresses present and planned, gateway, laptop, licence."""
    made = card("lighthouse-quarry")
    assert (made.label, made.site, made.plan) == (
        "LIGHTHOUSE > QUARRY", "Lighthouse", "Harbour ring, revision 3",
    )  # fmt: skip
    assert made.far == ("Hop 1: far end quarry-lighthouse at Quarry; licence EX-0001",)
    said = {r.what: (r.value, r.note) for r in made.sections[0].rows}
    assert said == {
        "Now": ("192.0.2.21/24", ""),
        "Laptop, now": ("192.0.2.254/24", "mask 255.255.255.0"),
        "Planned": ("198.18.20.11/24", "mask 255.255.255.0"),
        "Management gateway": ("198.18.20.1", ""),
        "Laptop, then": ("198.18.20.250/24", "mask 255.255.255.0"),
    }


def test_settings_in_order_of_entry() -> None:
    """Identity first, the transmitter off before the radio, the address last but for proof."""
    made = next(s for s in card("lighthouse-quarry").sections if s.title.startswith("Settings"))
    whats = [r.what for r in made.rows]
    wanted = [
        "Name", "Location", "Transmitter", "Bandwidth", "Tx frequency", "Rx frequency",
        "Polarisation", "Modulation", "Tx power", "ATPC", "Port eth1", "SNMP",
        "Traps, syslog, time", "Management VLAN", "Address", "Gateway", "Saved",
    ]  # fmt: skip
    assert [w for w in whats if w in wanted] == [*wanted, "Transmitter"]
    assert all(r.fill == "box" for r in made.rows)
    by = {r.what: r for r in made.rows}
    assert (by["Tx frequency"].value, by["Rx frequency"].value) == ("13143 MHz", "12877 MHz")
    assert by["Tx power"].note == "aligning 26 dBm, the most at 4qam"


def test_pointing() -> None:
    """As planned; the beam is 70 lambda / D, the side lobe near 1.5 times that."""
    said = rows(card("lighthouse-quarry"))
    beam = 70 * (299.792458 / 13143) / 0.6
    assert said["Azimuth, true"].value == "57.98 deg"
    assert said["Back azimuth, true"].value == "238.08 deg"
    assert said["Tilt"].value == "+0.30 deg"
    assert said["Beam at half power"].value == f"{beam:.1f} deg"
    assert f"first side lobe near {1.5 * beam:.1f} deg off" in said["Beam at half power"].note
    section = next(s for s in card("lighthouse-quarry").sections if s.title == "Pointing")
    assert " ".join(section.rules).lower() == (
        "true, not compass. one end moves, the other holds. one axis at a time through the peak "
        "and both nulls. tighten, read again: at most 1 db lost."
    )


def test_directions_by_the_coordinates() -> None:
    """Where no azimuth and no tilt is planned: by the sites, from either end."""
    plan = without(azimuth_deg=None, tilt_deg=None)
    line = Geodesic.WGS84.Inverse(47.1000, -20.2000, 47.1544, -20.0723)
    there, back = line["azi1"], (line["azi2"] + 180) % 360
    km = line["s12"] / 1000
    sagitta = math.degrees(km / (2 * 4 / 3 * 6371))
    slope = math.degrees(math.atan2((88 + 18) - (12 + 24), km * 1000))
    for name, own, other, sign in (
        ("lighthouse-quarry", there, back, 1), ("quarry-lighthouse", back, there, -1),
    ):  # fmt: skip
        said = rows(card(name, plan))
        assert said["Azimuth, true"].value == f"{own:.2f} deg"
        assert said["Back azimuth, true"].value == f"{other:.2f} deg"
        assert said["Azimuth, true"].note == "by the sites' coordinates"
        assert float(said["Tilt"].value.split()[0]) == pytest.approx(
            sign * slope - sagitta, abs=0.006
        )


def test_level_and_voltage_in_two_lines() -> None:
    """The far end's 26 dBm at the lowest mode are 8 dB more than its 18 dBm; 0.02 V a dB."""
    section = next(s for s in card("lighthouse-quarry").sections if s.title.startswith("Level"))
    assert [(r.what, r.value, r.note, r.fill) for r in section.rows] == [
        ("Aligning", "-37.6 dBm (-40.6 to -34.6), 1.25 V (1.19 to 1.31)", "far end 26 dBm", "room"),
        ("In service", "-45.6 dBm (-48.6 to -42.6), 1.09 V (1.03 to 1.15)", "far end 18 dBm",
         "room"),
    ]  # fmt: skip


def test_what_cannot_be_told_is_said() -> None:
    """Without powers there is no aligning level; without a level no section, and room for volts."""
    section = next(
        s for s in card("lighthouse-quarry", without(tx_power_dbm=None)).sections
        if s.title.startswith("Level")
    )  # fmt: skip
    assert section.rows[0].value == ""
    assert "power is not planned" in section.rows[0].note
    bare = card("lighthouse-quarry", without(rx_level_dbm=None))
    assert not any(s.title.startswith("Level") for s in bare.sections)
    assert rows(bare)["Alignment voltage"].fill == "room"


def test_two_carriers_of_one_device() -> None:
    """Each is named, with its own settings, pointing and level."""
    first, *others = PLAN.links
    second = dataclasses.replace(first.carriers[0], carrier=2, polarisation="H")
    link = dataclasses.replace(first, carriers=(first.carriers[0], second), protection="2+0-xpic")
    made = card("lighthouse-quarry", dataclasses.replace(PLAN, links=(link, *others)))
    assert [s.title for s in made.sections if s.title.startswith("Pointing")] == [
        "Pointing, Hop 1 carrier 1", "Pointing, Hop 1 carrier 2",
    ]  # fmt: skip
    assert rows(made)["Polarisation carrier 2"].value == "H"
    assert rows(made)["Capacity carrier 2"].note == "of the link, over 2 carriers together"
    assert rows(card("lighthouse-quarry"))["Capacity"].note == ""
    columns = {
        line.index(value)
        for line in text([made]).splitlines()
        for what, value in (("Tx frequency carrier 1", "13143"), ("Location", "Lighthouse"))
        if line.startswith(f"  [ ] {what}")
    }
    assert len(columns) == 1


@pytest.mark.parametrize("device", PLAN.devices, ids=lambda d: d.name)
def test_the_card_has_every_item_of_the_sheet(device) -> None:
    """What a person is asked on the sheet has a box or room on the card."""
    on_card = {r.what for s in card(device.name).sections for r in s.rows if r.fill != "none"}
    names = {"Azimuth": "Azimuth, true", "Alignment voltage": "In service"}
    asked = list(items(PLAN, device))
    assert {names.get(i.title, i.title) for i in asked} <= on_card
    assert len(asked) == (6 if device.profile == "switch" else len(ITEMS))


def test_a_plan_of_almost_nothing() -> None:
    """A device with an address alone has a card."""
    plan = Plan(devices=(dataclasses.replace(PLAN.devices[0], name="x", label=None, site=None,
                present_address=None, gateway=None, profile="mib2", ports=(), snmp=None),))  # fmt: skip
    (made,) = cards(plan, load_profiles({"mib2"}), plan.devices)
    assert (made.label, made.far, made.plan) == ("x", (), "Unnamed plan")
    assert text([made]).startswith("=" * 100)


@pytest.mark.parametrize(
    ("diameter_m", "mhz", "expected"),
    [(0.3, 38000, 1.84), (0.6, 23000, 1.52), (1.2, 7500, 2.33), (None, 7500, None), (0.6, 0, None)],
)
def test_beamwidth(diameter_m, mhz, expected) -> None:
    """70 lambda / D, worked with lambda in mm by hand; None where either is unknown."""
    found = beamwidth_deg(diameter_m, mhz)
    assert found == (None if expected is None else pytest.approx(expected, abs=0.006))


def test_tilt_is_down_between_equal_heights() -> None:
    """The earth bends away: 0.034 deg at 10 km for 4/3 of its radius; both ends sum to twice it."""
    assert tilt_deg(50, 50, 10) == pytest.approx(-0.0337, abs=0.0001)
    assert tilt_deg(10, 300, 20) + tilt_deg(300, 10, 20) == pytest.approx(2 * tilt_deg(0, 0, 20))


@pytest.mark.parametrize("width", [60, 80, 100])
def test_text_keeps_its_width(width) -> None:
    """Whatever the names, no line is wider, and nothing reaches the terminal that steers it."""
    device = dataclasses.replace(PLAN.devices[0], label="\x1b[2J " + "word " * 60)
    plan = dataclasses.replace(PLAN, devices=(device, *PLAN.devices[1:]))
    made = cards(plan, PROFILES, plan.devices)
    for drawn in (text(made, width), labels(made, width)):
        assert max(map(len, drawn.splitlines())) <= width
        assert drawn.isprintable() or set(re.findall(r"[^ -~]", drawn)) == {"\n"}


@pytest.mark.parametrize(
    "words",
    [
        "mute the transmitter and lock it out before anyone goes in front of the antenna",
        "never look into an open waveguide",
        "only within the licence; return from alignment power before leaving",
        "never join two radios without the planned attenuation",
        "-48 V has its positive pole earthed: measure the polarity first",
        "can destroy a laptop: plug into the data side of the injector",
        "earth before the data cable",
        "no climbing in thunder, high wind or ice; two people, a rescue plan, tools tethered",
        "they are lasers",
    ],
)
def test_cautions(words) -> None:
    """Each stands in the table once, on a card, in the README; on every occasion all are told."""
    assert sum(words in c.text for c in CAUTIONS) == 1
    flat = " ".join(README.read_text("utf-8").split())
    shown = " ".join(text([card("harbour-switch")]).split())
    for document in (flat, shown):
        assert words in document
        assert CLOSING in document
    for occasion in ("card", "runbook", "align", "powercycle", "report", "readme"):
        assert sorted(c.key for c in cautions(occasion)) == sorted(c.key for c in CAUTIONS)


def test_the_occasion_decides_what_comes_first() -> None:
    """At the antenna its radiation, at the power switch the supply."""
    assert cautions("align")[0].key == "radiation"
    assert cautions("powercycle")[0].key == "dc"
