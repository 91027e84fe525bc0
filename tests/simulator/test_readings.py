"""A profile's readings: raw values that decode to what is planned, at the right instance."""

from __future__ import annotations

import re
from typing import Any

import pytest

from verifier.model.address import Interface
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.plan import Carrier, Device, End, Link, Plan, Port
from verifier.model.profile import Mode, Profile, ProfileReading
from verifier.simulator.agent import cells
from verifier.simulator.agent.cells import oid
from verifier.simulator.device import SimulatedDevice
from verifier.simulator.faults import PlantedFault
from verifier.simulator.network import SimulatedNetwork

ROOT = "1.3.6.1.4.1.32473.7"
ENTRY = SnmpEntry(name="x", version="2c", community=Secret("harbour"))
MODES = (
    Mode(modulation="4qam", bits=2, threshold_dbm=-84.0, capacity_mbps=45),
    Mode(modulation="64qam", bits=6, threshold_dbm=-72.0, capacity_mbps=140),
)


def device(*readings: ProfileReading, faults=(), link=None, ports=()) -> SimulatedDevice:
    """End a of a link with these readings in its profile."""
    ends: list[dict[str, Any]] = [
        {"tx_mhz": 13143.0, "tx_power_dbm": 18.0, "rx_level_dbm": -45.6, "link_id": "7"},
        {"tx_mhz": 12877.0, "tx_power_dbm": 17.0, "rx_level_dbm": -45.8, "link_id": "7"},
    ]
    carriers = (
        Carrier(a=End(device="a", **ends[0]), b=End(device="b", **ends[1]), polarisation="V"),
        Carrier(
            carrier=2, polarisation="H",
            a=End(device="a", radio=4, tx_mhz=13171.0, rx_level_dbm=-50.0),
            b=End(device="b", tx_mhz=12905.0),
        ),
    )  # fmt: skip
    hop = link or Link(
        name="Hop", carriers=carriers, bandwidth_mhz=28, modulation_max="64qam",
        modulation_min="4qam", capacity_mbps=140, key_capacity_mbps=190, min_xpi_db=35.0,
    )  # fmt: skip
    devices = (
        Device(
            name="a", address=Interface.parse("127.80.0.1/24"), profile="p", snmp="x", ports=ports
        ),
        Device(name="b", address=Interface.parse("127.80.0.2/24"), profile="p", snmp="x"),
    )
    profile = Profile(id="p", kind="radio", reading=readings, mode=MODES)
    return SimulatedNetwork(
        Plan(devices=devices, links=(hop,)), {"p": profile}, {"x": ENTRY}, faults=faults
    ).devices["a"]


def rows(shown: SimulatedDevice) -> dict[str, Any]:
    """What stands below the root: numbers, or text."""
    table = shown.table()
    found: dict[str, Any] = {}
    for name, cell in zip(table.names, table.cells, strict=True):
        dotted = ".".join(map(str, name))
        if dotted.startswith(ROOT + "."):
            octets = cell if isinstance(cell, bytes) else cell(100.0)
            reader = cells.BerReader(octets)
            value = reader.integer() if octets[0] == cells.INTEGER else reader.octets().decode()
            found[dotted.removeprefix(ROOT + ".")] = value
    return found


def reading(field, type_="integer", **more) -> ProfileReading:
    return ProfileReading(field=field, oid=f"{ROOT}.1.0", type=type_, **more)


BOOLEANS = {1: "true", 2: "false"}


@pytest.mark.parametrize(
    ("asked", "raw"),
    [
        (reading("tx_mhz", scale=0.001), 13143000),
        (reading("tx_mhz", scale=1000.0), 13),
        (reading("tx_mhz", "text"), "13143"),
        (reading("rx_mhz", scale=0.25), 51508),
        (reading("bandwidth_mhz"), 28),
        (reading("tx_power_dbm", scale=0.5), 36),
        (reading("tx_power_set_dbm"), 18),
        (reading("rx_level_dbm", scale=0.1), -456),
        (reading("rx_level_dbm", scale=-0.1), 456),
        (reading("tx_modulation", "enumeration", values={5: "64QAM", 6: "4qam"}), 5),
        (reading("rx_modulation", "text"), "64qam"),
        (reading("polarisation", "enumeration", values={0: "H", 1: "V"}), 1),
        (reading("tx_enabled", "enumeration", values=BOOLEANS), 1),
        (reading("tx_enabled", "enumeration", values={0: "off", 1: "on"}), 1),
        (reading("atpc", "enumeration", values={0: "off", 1: "on"}), 0),
        (reading("locked"), 1),
        (reading("link_id", "text"), "7"),
        (reading("far_end_name", "text"), "b"),
        (reading("xpi_db"), 35),
        (reading("configured_capacity_mbps"), 140),
        (reading("current_capacity_mbps"), 140),
        (reading("key_capacity_mbps"), 190),
        (reading("errored_s"), 0),
        (reading("unavailable_s"), 0),
        (reading("unsaved_settings", good=(0,)), 0),
        (reading("unsaved_settings", good=(3, 4)), 3),
        (reading("alarm", "enumeration", values={1: "none", 2: "major"}, good=(1,)), 1),
        (reading("test_mode"), 0),
        (reading("switch_forced", good=(1,)), 1),
        (reading("switch_forced", "enumeration", values=BOOLEANS), 2),
        (reading("ntp_locked", "enumeration", values=BOOLEANS), 1),
        (reading("serial", "text"), ""),
    ],
    ids=lambda x: x.field if isinstance(x, ProfileReading) else None,
)
def test_raw_values(asked, raw):
    assert rows(device(asked)) == {"1.0": raw}


@pytest.mark.parametrize(
    ("good", "values", "raw"),
    [((0,), {}, 1), ((1,), {}, 0), ((0, 1), {}, 2), ((1,), {1: "saved", 7: "changed"}, 7)],
)
def test_unsaved_is_a_value_that_is_not_good(good, values, raw):
    asked = reading("unsaved_settings", good=good, values=values)
    assert rows(device(asked, faults=[PlantedFault(kind="unsaved", device="a")])) == {"1.0": raw}


def test_a_forced_switch_is_a_value_that_is_not_good():
    for asked, raw in (
        (reading("switch_forced", "enumeration", values={1: "none", 2: "forced"}, good=(1,)), 2),
        (reading("switch_forced", "enumeration", values=BOOLEANS), 1),
    ):
        assert rows(device(asked, faults=[PlantedFault(kind="switch-forced", device="a")])) == {
            "1.0": raw
        }


@pytest.mark.parametrize(
    ("index", "instance", "raw"),
    [(None, "1.0", 13143), ("first", "1.0.1", 13143), ("3", "1.0.3", 13143),
     ("radio:1", "1.0.1", 13143), ("radio:4", "1.0.4", 13171), ("port:eth2", "1.0.3", 13143)],
)  # fmt: skip
def test_instances(index, instance, raw):
    """Scalar or column; `radio:N` picks the radio of that number, `port:NAME` the ifIndex."""
    ports = (Port(name="eth1"), Port(name="eth2"))
    assert rows(device(reading("tx_mhz", index=index), ports=ports)) == {instance: raw}


@pytest.mark.parametrize("index", ["radio:9", "port:eth9"])
def test_no_such_instance(index):
    assert rows(device(reading("tx_mhz", index=index))) == {}


def test_a_word_the_profile_has_not_is_left_out():
    assert rows(device(reading("tx_modulation", "enumeration", values={1: "qpsk"}))) == {}


@pytest.mark.parametrize(("no_signal", "found"), [((-990,), {"1.0": -990}), ((), {})])
def test_nothing_received(no_signal, found):
    """The profile's raw value for it; without one the object is missing."""
    asked = reading("rx_level_dbm", scale=0.1, no_signal=no_signal)
    assert rows(device(asked, faults=[PlantedFault(kind="muted", device="b")])) == found


def test_the_clock_is_now():
    (told,) = rows(device(reading("clock", "text"))).values()
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", told)


def test_a_planned_management_port_is_the_management_interface():
    """No second one is made, and it holds the address."""
    table = device(ports=(Port(name="mgmt0"),)).table()
    shown = dict(zip(table.names, table.cells, strict=True))
    assert shown[oid("1.3.6.1.2.1.2.1.0")] == cells.integer(1)
    assert shown[oid("1.3.6.1.2.1.4.20.1.2.127.80.0.1")] == cells.integer(2)
