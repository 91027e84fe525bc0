"""The table of headings: complete, unambiguous, and acquainted with the trade's words."""

import dataclasses
import typing
from typing import Any

import pytest

from verifier.files.plan.columns import sheets
from verifier.files.plan.units import unit_of
from verifier.model import plan as model

# What a file of rows has besides the fields of the model, and where joined rows belong.
EXTRA = {
    "Devices": {"mask"},
    "Links": {"modulation"},
    "Addresses": {"device"},
    "Ports": {"device"},
}
HELD: dict[str, list[tuple[str, Any]]] = {
    "Hosts": [("", model.Host)],
    "Sites": [("", model.Site)],
    "Devices": [("", model.Device), ("services.", model.Services)],
    "Addresses": [("", model.OtherAddress)],
    "Ports": [("", model.Port)],
    "Links": [
        ("", model.Link), ("licence.", model.Licence), ("", model.Carrier),
        ("a.", model.End), ("b.", model.End),
    ],
    "Maintenance": [("", model.Maintenance)],
    "Network": [
        ("", model.Plan), ("network.", model.Network), ("management.", model.Management),
        ("acceptance.", model.Acceptance),
    ],
}  # fmt: skip
ELSEWHERE = {  # fields that are groups, or lists that have a sheet of their own
    "services", "licence", "a", "b", "carriers", "ports", "other_addresses", "management.hosts",
    "network", "management", "acceptance", "devices", "links", "maintenance",
    "origins", "file_sha256", "no_gateway",
}  # fmt: skip


def test_every_dataclass_of_the_plan_is_held_by_a_sheet() -> None:
    classes = {c for parts in HELD.values() for _, c in parts} | {model.Service, model.NotTestedOk}
    defined = {
        c
        for c in vars(model).values()
        if dataclasses.is_dataclass(c) and c.__module__ == model.__name__
    }
    assert classes == defined


@pytest.mark.parametrize("name", HELD)
def test_every_field_of_the_model_has_exactly_one_column(name: str) -> None:
    expected = {
        f"{prefix}{field.name}"
        for prefix, cls in HELD[name]
        for field in dataclasses.fields(cls)
        if f"{prefix}{field.name}" not in ELSEWHERE and (cls, field.name) != (model.Plan, "sites")
    }
    expected = (expected | EXTRA.get(name, set())) - {"start"} | (
        {"from"} if name == "Maintenance" else set()
    )
    paths = [".".join(c.path) for c in sheets()[name].columns]
    assert len(paths) == len(set(paths))
    assert set(paths) == expected


@pytest.mark.parametrize("name", HELD)
def test_no_name_stands_for_two_columns(name: str) -> None:
    columns = sheets()[name].columns
    names = [n for column in columns for n in column.names]
    assert len(names) == len(set(names))
    for column in columns:
        assert sheets()[name].column(column.heading) is column


@pytest.mark.parametrize(
    ("sheet", "heading", "path"),
    [
        ("Links", "Tx (MHz) A", "a.tx_mhz"),
        ("Links", "tx_mhz a", "a.tx_mhz"),
        ("Links", "TX FREQUENCY A", "a.tx_mhz"),
        ("Links", "Rx level (dBm) B", "b.rx_level_dbm"),
        ("Links", "RSL A", "a.rx_level_dbm"),
        ("Links", "Far-end RSSI [dBm]", "b.rx_level_dbm"),
        ("Links", "Near end antenna gain (dBi)", "a.antenna_dbi"),
        ("Links", "Device Far End", "b.device"),
        ("Links", "Pol", "polarisation"),
        ("Links", "BW (MHz)", "bandwidth_mhz"),
        ("Links", "T/R spacing", "duplex_spacing_mhz"),
        ("Links", "Licence valid until", "licence.valid_until"),
        ("Devices", "GW", "gateway"),
        ("Devices", "IP address", "address"),
        ("Devices", "Subnet mask", "mask"),
        ("Devices", "Hi/Lo", "tx_band"),
        ("Devices", "S/N", "serial"),
        ("Devices", "Open services", "services.open"),
        ("Devices", "services.open", "services.open"),
        ("Sites", "Ground (m AMSL)", "ground_amsl_m"),
        ("Maintenance", "From", "from"),
        ("Network", "acceptance.max_loss_pct", "acceptance.max_loss_pct"),
        ("Network", "Network name", "network.name"),
    ],
)
def test_a_heading_is_found(sheet: str, heading: str, path: Any) -> None:
    column = sheets()[sheet].column(heading)
    assert column is not None
    assert ".".join(column.path) == path


@pytest.mark.parametrize("heading", ["RSL", "Tx", "Colour", "", "Tx C", "(MHz)"])
def test_a_heading_without_an_end_or_a_meaning_is_not_guessed(heading: str) -> None:
    assert sheets()["Links"].column(heading) is None


@pytest.mark.parametrize(
    ("heading", "unit"),
    [("Tx (MHz) A", "MHz"), ("Tx [GHz]", "GHz"), ("Speed (Mbit/s)", "Mbps"), ("Tx (planned)", ""),
     ("Loss (%)", "%"), ("Azimuth (\N{DEGREE SIGN})", "deg")],
)  # fmt: skip
def test_the_unit_in_brackets_is_known(heading: str, unit: str) -> None:
    assert unit_of(heading) == unit


def test_every_field_that_names_a_unit_shows_it_in_its_heading() -> None:
    for name, parts in HELD.items():
        if name == "Network":
            continue
        for _, cls in parts:
            for field in typing.get_type_hints(cls):
                ending = field.rpartition("_")[2]
                if ending in {"mhz", "dbm", "db", "dbi", "km", "deg", "mbps", "m", "v"}:
                    found = [c for c in sheets()[name].columns if c.path[-1] == field]
                    assert all("(" in c.heading for c in found)
