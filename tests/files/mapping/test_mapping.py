"""Sheets of other houses: read by a mapping, and a mapping proposed for each."""

import dataclasses
from contextlib import suppress
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from verifier.cli.check import check
from verifier.errors import InputError, UsageError, VerifierError
from verifier.files.mapping.model import SHEETS_OF, targets_of
from verifier.files.mapping.read_mapping import read_mapping
from verifier.files.mapping.words import guess
from verifier.files.propose_mapping import propose
from verifier.files.read_plan import read_plan

MINUS = "\N{MINUS SIGN}"


def _book(path: Path, pages: Any, merged: Any = ()) -> Path:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for title, rows in pages.items():
        page = book.create_sheet(title)
        for row in rows:
            page.append(row)
        for cells in merged:
            page.merge_cells(cells)
    book.save(path)
    return path


def _radio(name: str, last: int, more: str = "") -> str:
    return f"{{name: {name}, address: 198.18.20.{last}/24, gateway: 198.18.20.1{more}}}"


# 1: English, one row a hop; mask and gateway are written once for both ends.
def english(folder: Path) -> Path:
    rows = [
        ["Hop", "Radio A", "Radio B", "IP A", "IP B", "Mask", "GW", "Tx freq A (MHz)",
         "Tx freq B (MHz)", "RSL A", "RSL B", "BW (MHz)", "Pol", "Remarks"],
        ["Hop 1", "lighthouse", "quarry", "198.18.20.11", "198.18.20.12", "255.255.255.0",
         "198.18.20.1", 13143, 12877, -45.6, -45.8, 28, "V", "dry land"],
        ["Hop 2", "harbour", "ferry", "198.18.20.13", "198.18.20.14", "255.255.255.0",
         "198.18.20.1", 13171, 12905, -40, -40.5, 28, "H", None],
    ]  # fmt: skip
    return _book(folder / "links.xlsx", {"Link list": rows})


ENGLISH_MAPPING = """
[[table]]
page = "Link list"
row = "link"
[table.columns]
"Hop" = "Links.name"
"Radio A" = "Devices.a.name"
"Radio B" = "Devices.b.name"
"IP A" = "Devices.a.address"
"IP B" = "Devices.b.address"
"Mask" = ["Devices.a.mask", "Devices.b.mask"]
"GW" = ["Devices.a.gateway", "Devices.b.gateway"]
"Tx freq A (MHz)" = "Links.a.tx_mhz"
"Tx freq B (MHz)" = "Links.b.tx_mhz"
"RSL A" = "Links.a.rx_level_dbm"
"RSL B" = "Links.b.rx_level_dbm"
"BW (MHz)" = "Links.bandwidth_mhz"
"Pol" = "Links.polarisation"
"Remarks" = {leave_out = "no part of the plan"}
"""
ENGLISH_PLAN = f"""
devices: [{_radio("lighthouse", 11)}, {_radio("harbour", 13)}, {_radio("quarry", 12)},
  {_radio("ferry", 14)}]
links:
- {{name: Hop 1, bandwidth_mhz: 28, polarisation: V,
   a: {{device: lighthouse, tx_mhz: 13143, rx_level_dbm: -45.6}},
   b: {{device: quarry, tx_mhz: 12877, rx_level_dbm: -45.8}}}}
- {{name: Hop 2, bandwidth_mhz: 28, polarisation: H,
   a: {{device: harbour, tx_mhz: 13171, rx_level_dbm: -40}},
   b: {{device: ferry, tx_mhz: 12905, rx_level_dbm: -40.5}}}}
"""


# 2: German, semicolons, decimal comma, GHz; units are called after the stations.
def german(folder: Path) -> Path:
    text = (
        "Strecke;Station A;Station B;IP-Adresse A;IP-Adresse B;Sendefrequenz A [GHz];"
        "Sendefrequenz B [GHz];Sendeleistung A;Sendeleistung B;Azimut A;Azimut B;"
        "Bandbreite [MHz];Polarisation;Breite A;L\xe4ngengrad A;Bemerkung\r\n"
        "7;Leuchtturm;Steinbruch;198.18.20.11/24;198.18.20.12/24;13,143;12,877;18;18,5;57,98;"
        "238,080;28;vertikal;47,1;-20,2;am Wasser\r\n"
    )
    path = folder / "Streckenliste.csv"
    path.write_bytes(b"\xef\xbb\xbf" + text.encode())
    return path


GERMAN_MAPPING = """
[[table]]
page = "Streckenliste.csv"
row = "link"
decimal = ","
[table.columns]
"Strecke" = "Links.name"
"Station A" = "Sites.a.name"
"Station B" = "Sites.b.name"
"IP-Adresse A" = "Devices.a.address"
"IP-Adresse B" = "Devices.b.address"
"Sendefrequenz A [GHz]" = {field = "Links.a.tx_mhz", factor = 1000}
"Sendefrequenz B [GHz]" = {field = "Links.b.tx_mhz", factor = 1000}
"Sendeleistung A" = "Links.a.tx_power_dbm"
"Sendeleistung B" = "Links.b.tx_power_dbm"
"Azimut A" = "Links.a.azimuth_deg"
"Azimut B" = "Links.b.azimuth_deg"
"Bandbreite [MHz]" = "Links.bandwidth_mhz"
"Polarisation" = {field = "Links.polarisation", values = {vertikal = "V", horizontal = "H"}}
"Breite A" = "Sites.a.latitude"
"L\xe4ngengrad A" = "Sites.a.longitude"
"Bemerkung" = {leave_out = "no part of the plan"}
[table.made]
"Devices.a.name" = "{Station A}-{Station B}"
"Devices.b.name" = "{Station B}-{Station A}"
"""
GERMAN_PLAN = """
sites: [{name: Leuchtturm, latitude: 47.1, longitude: -20.2}, {name: Steinbruch}]
devices:
- {name: Leuchtturm-Steinbruch, site: Leuchtturm, address: 198.18.20.11/24}
- {name: Steinbruch-Leuchtturm, site: Steinbruch, address: 198.18.20.12/24}
links:
- name: "7"
  bandwidth_mhz: 28
  polarisation: V
  a: {device: Leuchtturm-Steinbruch, tx_mhz: 13143, tx_power_dbm: 18, azimuth_deg: 57.98}
  b: {device: Steinbruch-Leuchtturm, tx_mhz: 12877, tx_power_dbm: 18.5, azimuth_deg: 238.08}
"""


# 3: one row a link end, in any order.
def ends(folder: Path) -> Path:
    rows = [
        ["Link ID", "End", "Node", "Hostname", "Mgmt IP", "Prefix", "Default GW", "TX frequency",
         "Planned RSL (dBm)", "Bearing (deg)", "Dish (m)", "Capacity (Mbit/s)"],
        ["Hop 1", "B", "Quarry", "quarry", "198.18.20.12", 24, "198.18.20.1", 12877, -45.8,
         238.08, 0.6, 190],
        ["Hop 2", "A", "Harbour", "harbour", "198.18.20.13", 24, "198.18.20.1", 13171, -40, 10,
         0.6, 190],
        ["Hop 1", "A", "Lighthouse", "lighthouse", "198.18.20.11", 24, "198.18.20.1", 13143,
         -45.6, 57.98, 0.6, 190],
        ["Hop 2", "B", "Ferry", "ferry", "198.18.20.14", 24, "198.18.20.1", 12905, -40.5, 190,
         0.6, 190],
    ]  # fmt: skip
    return _book(folder / "ends.xlsx", {"Ends": rows})


ENDS_MAPPING = """
[[table]]
page = "*"
row = "end"
[table.columns]
"Link ID" = "Links.name"
"End" = "Links.end"
"Node" = "Sites.name"
"Hostname" = "Devices.name"
"Mgmt IP" = "Devices.address"
"Prefix" = "Devices.mask"
"Default GW" = "Devices.gateway"
"TX frequency" = "Links.tx_mhz"
"Planned RSL (dBm)" = "Links.rx_level_dbm"
"Bearing (deg)" = "Links.azimuth_deg"
"Dish (m)" = "Links.antenna_diameter_m"
"Capacity (Mbit/s)" = "Links.capacity_mbps"
"""
ENDS_PLAN = f"""
sites: [{{name: Quarry}}, {{name: Harbour}}, {{name: Lighthouse}}, {{name: Ferry}}]
devices: [{_radio("quarry", 12, ", site: Quarry")}, {_radio("harbour", 13, ", site: Harbour")},
  {_radio("lighthouse", 11, ", site: Lighthouse")}, {_radio("ferry", 14, ", site: Ferry")}]
links:
- name: Hop 1
  capacity_mbps: 190
  a: {{device: lighthouse, tx_mhz: 13143, rx_level_dbm: -45.6, azimuth_deg: 57.98,
      antenna_diameter_m: 0.6}}
  b: {{device: quarry, tx_mhz: 12877, rx_level_dbm: -45.8, azimuth_deg: 238.08,
      antenna_diameter_m: 0.6}}
- name: Hop 2
  capacity_mbps: 190
  a: {{device: harbour, tx_mhz: 13171, rx_level_dbm: -40, azimuth_deg: 10,
      antenna_diameter_m: 0.6}}
  b: {{device: ferry, tx_mhz: 12905, rx_level_dbm: -40.5, azimuth_deg: 190,
      antenna_diameter_m: 0.6}}
"""


# 4: units in the cells, degrees with minutes and seconds, tabs, old line ends.
def units(folder: Path) -> Path:
    rows = (
        ("Link", "Near end unit", "Far end unit", "Near end IP", "Far end IP", "Near end site",
         "Far end site", "Near end lat", "Near end long", "Near end TX", "Far end TX",
         "Near end RSL", "Channel width", "Distance"),
        ("Hop 1", "lighthouse", "quarry", "198.18.20.11 /24", "198.18.20.12 /24", "Lighthouse",
         "Quarry", "47\xb006'00\"N", "20\xb012'00\"W", "13.143 GHz", "12877 MHz",
         f"{MINUS}46 dBm", "28 MHz", "11420 m"),
    )  # fmt: skip
    path = folder / "units.csv"
    path.write_bytes("\r".join("\t".join(row) for row in rows).encode())
    return path


UNITS_MAPPING = """
[[table]]
row = "link"
[table.columns]
"Link" = "Links.name"
"Near end unit" = "Devices.a.name"
"Far end unit" = "Devices.b.name"
"Near end IP" = "Devices.a.address"
"Far end IP" = "Devices.b.address"
"Near end site" = "Sites.a.name"
"Far end site" = "Sites.b.name"
"Near end lat" = "Sites.a.latitude"
"Near end long" = "Sites.a.longitude"
"Near end TX" = "Links.a.tx_mhz"
"Far end TX" = "Links.b.tx_mhz"
"Near end RSL" = "Links.a.rx_level_dbm"
"Channel width" = "Links.bandwidth_mhz"
"Distance" = "Links.path_km"
"""
UNITS_PLAN = """
sites: [{name: Lighthouse, latitude: 47.1, longitude: -20.2}, {name: Quarry}]
devices:
- {name: lighthouse, site: Lighthouse, address: 198.18.20.11/24}
- {name: quarry, site: Quarry, address: 198.18.20.12/24}
links:
- name: Hop 1
  bandwidth_mhz: 28
  path_km: 11.42
  a: {device: lighthouse, tx_mhz: 13143, rx_level_dbm: -46}
  b: {device: quarry, tx_mhz: 12877}
"""


# 5: a title, headings in two rows with merged groups, a row of units.
def merged(folder: Path) -> Path:
    rows = [
        ["Coastal ring, issue 3"],
        ["printed for the mast crew"],
        [],
        ["Path", "End A", None, None, None, "End B", None, None, None, "BW"],
        [None, "Station", "IP address", "TX", "RSL", "Station", "IP address", "TX", "RSL", None],
        [None, None, None, "MHz", "dBm", None, None, "MHz", "dBm", "MHz"],
        ["Hop 1", "lighthouse", "198.18.20.11/24", 13143, -45.6, "quarry", "198.18.20.12/24",
         12877, -45.8, 28],
    ]  # fmt: skip
    spans = ("A1:J1", "A4:A5", "B4:E4", "F4:I4", "J4:J5")
    return _book(folder / "ring.xlsx", {"Ring": rows}, spans)


MERGED_MAPPING = """
[[table]]
page = "Ring"
row = "link"
heading_row = 5
[table.columns]
"Path" = "Links.name"
"End A Station" = "Devices.a.name"
"End A IP address" = "Devices.a.address"
"End A TX" = "Links.a.tx_mhz"
"End A RSL" = "Links.a.rx_level_dbm"
"End B Station" = "Devices.b.name"
"End B IP address" = "Devices.b.address"
"End B TX" = "Links.b.tx_mhz"
"End B RSL" = "Links.b.rx_level_dbm"
"BW" = "Links.bandwidth_mhz"
"""
MERGED_PLAN = """
devices:
- {name: lighthouse, address: 198.18.20.11/24}
- {name: quarry, address: 198.18.20.12/24}
links:
- name: Hop 1
  bandwidth_mhz: 28
  a: {device: lighthouse, tx_mhz: 13143, rx_level_dbm: -45.6}
  b: {device: quarry, tx_mhz: 12877, rx_level_dbm: -45.8}
"""


# 6: French, a list of units with a mask and two gateways, and a list of places.
def french(folder: Path) -> Path:
    units = [
        ["\xc9quipement", "Lieu", "Adresse IP", "Masque", "Passerelle 1", "Passerelle 2",
         "Num\xe9ro de s\xe9rie", "Remarques"],
        ["phare", "Phare", "198.18.20.11", "255.255.255.0", "198.18.20.1", "198.18.20.2",
         "000123", None],
        ["carri\xe8re", "Carri\xe8re", "198.18.20.12", "255.255.255.0", "198.18.20.1",
         "198.18.20.2", "000124", "cl\xe9 au bureau"],
    ]  # fmt: skip
    places = [
        ["Lieu", "Latitude", "Longitude", "Altitude (m)"],
        ["Phare", "47,1\xb0 N", "20,2\xb0 W", 12],
        ["Carri\xe8re", "47,1544\xb0 N", "20,0723\xb0 W", 88],
    ]
    return _book(folder / "parc.xlsx", {"Parc": units, "Lieux": places})


FRENCH_MAPPING = """
[[table]]
page = "Parc"
row = "device"
[table.columns]
"\xc9quipement" = "Devices.name"
"Lieu" = "Devices.site"
"Adresse IP" = "Devices.address"
"Masque" = "Devices.mask"
"Passerelle 1" = "Devices.gateway"
"Passerelle 2" = {leave_out = "no part of the plan"}
"Num\xe9ro de s\xe9rie" = "Devices.serial"
"Remarques" = {leave_out = "no part of the plan"}
[[table]]
page = "lieux"
row = "site"
[table.columns]
"Lieu" = "Sites.name"
"Latitude" = "Sites.latitude"
"Longitude" = "Sites.longitude"
"Altitude (m)" = "Sites.ground_amsl_m"
"""
QUARRY = "carri\xe8re"
FRENCH_PLAN = f"""
sites:
- {{name: Phare, latitude: 47.1, longitude: -20.2, ground_amsl_m: 12}}
- {{name: "Carri\xe8re", latitude: 47.1544, longitude: -20.0723, ground_amsl_m: 88}}
devices: [{_radio("phare", 11, ', site: Phare, serial: "000123"')},
  {_radio(QUARRY, 12, f', site: {QUARRY.title()}, serial: "000124"')}]
"""


# 7: a list of units with their ports, fixed values for all of them, and a carrier's two ends.
def switches(folder: Path) -> Path:
    text = (
        "sep=,\r\nUnit,IP/Mask,Port,Rate,Duplex,Old IP\r\n"
        "lighthouse-switch,198.18.20.21/24,eth1,1 Gbit/s,full,192.0.2.1/24\r\n"
        "quarry-switch,198.18.20.22/24,eth1,100 Mbit/s,full,192.0.2.1/24\r\n"
    )
    path = folder / "switches.csv"
    path.write_text(text, newline="")
    return path


SWITCHES_MAPPING = """
[[table]]
row = "device"
[table.columns]
"Unit" = "Devices.name"
"IP/Mask" = "Devices.address"
"Port" = "Ports.name"
"Rate" = "Ports.speed_mbps"
"Duplex" = "Ports.duplex"
"Old IP" = "Devices.present_address"
[table.made]
"Devices.profile" = "switch"
"Devices.label" = "{Unit} / {Port}"
"""
SWITCHES_PLAN = """
devices:
- {name: lighthouse-switch, address: 198.18.20.21/24, present_address: 192.0.2.1/24,
   profile: switch, label: lighthouse-switch / eth1,
   ports: [{name: eth1, speed_mbps: 1000, duplex: full}]}
- {name: quarry-switch, address: 198.18.20.22/24, present_address: 192.0.2.1/24,
   profile: switch, label: quarry-switch / eth1,
   ports: [{name: eth1, speed_mbps: 100, duplex: full}]}
"""

HOUSES: dict[str, tuple[Any, str, str]] = {
    "english": (english, ENGLISH_MAPPING, ENGLISH_PLAN),
    "german": (german, GERMAN_MAPPING, GERMAN_PLAN),
    "ends": (ends, ENDS_MAPPING, ENDS_PLAN),
    "units": (units, UNITS_MAPPING, UNITS_PLAN),
    "merged": (merged, MERGED_MAPPING, MERGED_PLAN),
    "french": (french, FRENCH_MAPPING, FRENCH_PLAN),
    "switches": (switches, SWITCHES_MAPPING, SWITCHES_PLAN),
}


@pytest.fixture
def write(tmp_path: Path) -> Any:
    """Writes a mapping; returns its path."""

    def write_text(text: str) -> Path:
        path = tmp_path / "mapping.toml"
        path.write_text(f'format = "plan-verifier/mapping/1"\n{text}', encoding="utf-8")
        return path

    return write_text


def _same(plan: Any, other: Any) -> bool:
    """Equal, in whatever order the units were found."""
    first, second = (
        dataclasses.replace(
            p, file_sha256="", devices=tuple(sorted(p.devices, key=lambda d: d.name))
        )
        for p in (plan, other)
    )
    return bool(first == second)


def _said(problems: Any) -> Any:
    return sorted({p.rule for p in problems})


SAID = {
    "german": ["figures-doubtful"],
    "units": ["degrees-converted", "space-in-address", "unit-converted"],
    "merged": ["row-skipped"],
    "french": ["degrees-converted"],
    "switches": ["unit-converted"],
}
"""What reading says of each sheet besides."""


@pytest.mark.parametrize("house", HOUSES)
def test_a_sheet_is_read_by_its_mapping(house: str, tmp_path: Path, write: Any, read: Any) -> None:
    build, mapping, expected = HOUSES[house]
    plan, problems = read_plan(build(tmp_path), write(mapping))
    assert _same(plan, read(expected)[0])
    assert {p.severity for p in problems} <= {"warning"}
    assert _said(problems) == SAID.get(house, [])


@pytest.mark.parametrize("house", HOUSES)
def test_what_is_read_passes_the_rules(house: str, tmp_path: Path, write: Any) -> None:
    """Nothing that a plan needs is missing from what a mapping can say."""
    build, mapping, _ = HOUSES[house]
    path, by_hand = build(tmp_path), write(mapping)
    args = [str(path), "--mapping", str(by_hand)]
    done = CliRunner().invoke(check, args, standalone_mode=False)
    assert done.exception is None
    assert " 0 errors" in done.output


UNSURE = {
    "english": set(),
    "german": {"Azimut A", "Azimut B", "Polarisation"},
    "ends": set(),
    "units": {"Near end TX", "Far end TX"},
    "merged": set(),
    "french": {"Passerelle 1", "Passerelle 2"},
    "switches": {"Rate"},
}
"""Columns of a proposal that a person must settle."""


def first_choices(text: str) -> str:
    """The mapping with the first reading of each line that is unsure, and no other line has."""
    lines: list[str] = []
    taken: set[str] = set()
    choice = ""
    for line in text.splitlines():
        if line.startswith("# unsure:"):
            choice = ""
        elif line.startswith("#   "):
            said = line[4:].partition("    #")[0]
            choice = choice or ("" if said in taken else said)
        open_ = line.endswith('= "unsure"')
        lines.append(line.replace('"unsure"', choice) if open_ else line)
        taken |= {choice} if open_ else set()
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("house", HOUSES)
def test_a_proposed_mapping_reads_the_sheet(
    house: str, tmp_path: Path, write: Any, read: Any
) -> None:
    """All that a hand-made mapping reads, but for words of values and fixed texts."""
    build, mapping, expected = HOUSES[house]
    theirs, out = build(tmp_path), tmp_path / "proposed.toml"
    proposal = propose(theirs, out)
    columns = [c for table in proposal.tables for c in table.columns]
    assert {c.heading for c in columns if c.sure == "unsure"} == UNSURE[house]
    assert proposal.unsure == len(UNSURE[house])
    _, problems = read_plan(theirs, out)
    assert sum(p.rule == "mapping-unsure" for p in problems) == proposal.unsure
    settled = out.with_name("settled.toml")
    settled.write_text(first_choices(out.read_text(encoding="utf-8")), encoding="utf-8")
    plan, problems = read_plan(theirs, settled)
    words = "'?' is none of V, H"
    assert {p.message for p in problems if p.severity == "error"} <= {words}
    by_hand, _ = read_plan(theirs, write(mapping))
    assert [d.address for d in plan.devices] == [d.address for d in by_hand.devices]
    assert [d.gateway for d in plan.devices] == [d.gateway for d in by_hand.devices]
    assert [link.name for link in plan.links] == [link.name for link in by_hand.links]
    if house in ("english", "ends", "units"):
        assert _same(plan, read(expected)[0])


def test_places_stay_theirs(tmp_path: Path, write: Any) -> None:
    """Every value, and every fault, is found where they wrote it."""
    path = english(tmp_path)
    plan, _ = read_plan(path, write(ENGLISH_MAPPING))
    where = "links.xlsx, sheet Link list, row 2, column"
    assert str(plan.origin("devices", "quarry", "gateway")) == f"{where} GW"
    assert str(plan.origin("devices", "quarry", "mask")) == f"{where} Mask"
    assert str(plan.origin("links", "Hop 1", "1", "a", "tx_mhz")) == f"{where} Tx freq A (MHz)"
    book = openpyxl.load_workbook(path)
    book["Link list"]["D3"] = 198.18
    book.save(path)
    problems = read_plan(path, tmp_path / "mapping.toml")[1]
    assert "links.xlsx, sheet Link list, row 3, column IP A" in [str(p.origin) for p in problems]


def test_every_command_reads_their_sheet(tmp_path: Path, write: Any) -> None:
    """The option belongs to the plan, wherever a plan is read."""
    path, mapping = english(tmp_path), write(ENGLISH_MAPPING)
    done = CliRunner().invoke(check, [str(path), "--mapping", str(mapping)], standalone_mode=False)
    assert done.exception is None
    assert "4 devices, 0 errors" in done.output
    alone = CliRunner().invoke(check, [str(path)], standalone_mode=False)
    assert isinstance(alone.exception, InputError)


COLUMNS = '[[table]]\nrow = "device"\n[table.columns]\n"Unit" = "Devices.name"\n'


@pytest.mark.parametrize(
    ("text", "where", "words"),
    [
        ('[[table]]\nrow = "hob"\n[table.columns]\n', "line 3, field table[0].row",
         "'hob' is none of link, end"),
        ("[[table]]\n[table.columns]\n", "line 2, field table[0].row", "row is missing"),
        (f'{COLUMNS}"GW" = "Devices.gatway"', "line 6, field table[0].columns.GW",
         "did you mean Devices.gateway?"),
        (f'{COLUMNS}"TX" = "Links.a.tx_mhz"', "line 6", "where row is device there is no"),
        (f'{COLUMNS}"Name" = "Devices.name"', "line 6", "Devices.name is also fed by 'Unit'"),
        (f'{COLUMNS}"unit " = ""', "line 6", "the heading is there twice"),
        (f'{COLUMNS}"GW" = 3', "line 6", "write a field such as"),
        (f'{COLUMNS}"GW" = {{field = "Devices.gateway", factr = 2}}', "columns.GW.factr",
         "unknown key 'factr'; did you mean factor?"),
        (f'{COLUMNS}"GW" = {{field = "Devices.gateway", factor = "2"}}', "columns.GW.factor",
         "must be a valid number"),
        (f'{COLUMNS}"SNMP community" = "Devices.snmp"', "line 6", "looks like a secret"),
        (f'{COLUMNS}"Remarks" = ""', "line 6", 'write a field, "unread", or {leave_out = "reason"}'),
        (f'{COLUMNS}"IP" = {{field = "Devices.address", leave_out = "x"}}', "line 6",
         "leave_out stands beside a field"),
        (f'{COLUMNS}[table.mad]\n"a" = "b"', "line 6", "unknown key 'mad'; did you mean made?"),
        ("", "table", "table is missing"),
    ],
)  # fmt: skip
def test_a_faulty_mapping_is_told_with_its_line(
    write: Any, text: str, where: str, words: str
) -> None:
    with pytest.raises(InputError) as caught:
        read_mapping(write(text))
    told = str(caught.value)
    assert words in told
    assert where in told


def test_all_faults_of_a_mapping_come_at_once(write: Any) -> None:
    with pytest.raises(InputError) as caught:
        read_mapping(write(f'{COLUMNS}"A" = "Devices.a"\n"B" = "Devices.b"\n'))
    assert len(caught.value.problems) == 2


def test_another_format_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "m.toml"
    path.write_text('format = "plan-verifier/mapping/9"\n' + COLUMNS)
    with pytest.raises(InputError, match="plan-verifier/mapping/1"):
        read_mapping(path)


@pytest.mark.parametrize(
    ("columns", "severity", "rule", "words"),
    [
        ('"Unit" = "Devices.name"\n"IP" = "Devices.address"', "warning", "column-not-read",
         "1 cell without a figure, such as 'red' in row 2: the mapping does not name this column"),
        ('"Unit" = "Devices.name"\n"IP" = "Devices.address"\n"Color" = "unread"', "error",
         "missing-column", "no column is called 'Color', as the mapping says; did you mean Colour?"),
    ],
)  # fmt: skip
def test_their_columns_and_the_mapping_must_agree(
    tmp_path: Path, write: Any, columns: str, severity: str, rule: str, words: str
) -> None:
    (tmp_path / "u.csv").write_text("Unit,IP,Colour\nr,198.18.0.1/24,red\n")
    mapping = write(f'[[table]]\nrow = "device"\n[table.columns]\n{columns}\n')
    _, problems = read_plan(tmp_path / "u.csv", mapping)
    found = {(p.severity, p.rule): p for p in problems}
    assert words in found[severity, rule].message  # type: ignore[index]
    where = "u.csv, row 1" if severity == "error" else "u.csv, column Colour"
    assert str(found[severity, rule].origin).startswith(where)  # type: ignore[index]


def test_a_secret_column_is_never_read(tmp_path: Path, write: Any) -> None:
    (tmp_path / "u.csv").write_text("Unit,IP,SNMP community\nr,198.18.0.1/24,tide-table\n")
    mapping = write(f'{COLUMNS}"IP" = "Devices.address"\n')
    plan, problems = read_plan(tmp_path / "u.csv", mapping)
    told = propose(tmp_path / "u.csv", tmp_path / "p.toml")
    assert [p.rule for p in problems] == ["secret-in-plan"]
    assert "tide-table" not in repr(plan) + repr(problems) + repr(told)
    assert "tide-table" not in (tmp_path / "p.toml").read_text()


def test_two_columns_of_one_heading_are_told_apart(tmp_path: Path, write: Any) -> None:
    (tmp_path / "u.csv").write_text("Unit,IP,IP\nr,198.18.0.1/24,192.0.2.1/24\n")
    mapping = write(f'{COLUMNS}"IP" = "Devices.address"\n"IP #2" = "Devices.present_address"\n')
    plan, problems = read_plan(tmp_path / "u.csv", mapping)
    assert problems == ()
    assert str(plan.devices[0].present_address) == "192.0.2.1/24"


@pytest.mark.parametrize(
    ("rows", "rule", "words"),
    [
        ("h,A,r\nh,B,s\nh,A,t\n", "link-ends", "rows 2, 3, 4 are its ends"),
        ("h,A,r\n", "link-ends", "row 2 is its only end"),
        ("h,A,r\nh,A,s\n", "link-ends", "the ends are called 'A' and 'A'"),
        (",A,r\n", "missing-field", "the link of this end has no name"),
    ],
)
def test_ends_that_make_no_link_are_told(
    tmp_path: Path, write: Any, rows: str, rule: str, words: str
) -> None:
    (tmp_path / "e.csv").write_text(f"L,E,Unit\n{rows}")
    mapping = write(
        '[[table]]\nrow = "end"\n[table.columns]\n"L" = "Links.name"\n"E" = "Links.end"\n'
        '"Unit" = "Links.device"\n'
    )
    plan, problems = read_plan(tmp_path / "e.csv", mapping)
    assert plan.links == ()
    assert [(p.severity, p.rule) for p in problems] == [("error", rule)]
    assert words in problems[0].message


def test_rows_that_disagree_about_one_unit_are_both_named(tmp_path: Path, write: Any) -> None:
    path = english(tmp_path)
    book = openpyxl.load_workbook(path)
    page = book["Link list"]
    page["B3"] = "lighthouse"
    book.save(path)
    _, problems = read_plan(path, write(ENGLISH_MAPPING))
    assert [p.rule for p in problems] == ["rows-differ"]
    assert "row 2 says '198.18.20.11', row 3 says '198.18.20.13'" in problems[0].message


def test_sheets_of_ours_are_read_beside_theirs(tmp_path: Path, write: Any) -> None:
    """A sheet Network may stand in their workbook; what nobody knows is told."""
    path = english(tmp_path)
    book = openpyxl.load_workbook(path)
    for row in (["Field", "Value"], ["network.name", "Harbour ring"]):
        (book["Network"] if "Network" in book else book.create_sheet("Network")).append(row)
    book.create_sheet("Sketch").append(["x"])
    book.save(path)
    plan, problems = read_plan(path, write(ENGLISH_MAPPING))
    assert plan.network.name == "Harbour ring"
    assert len(plan.links) == 2
    assert [p.rule for p in problems] == ["column-not-read"]


def test_units_of_a_sheet_of_ours_are_those_of_theirs(tmp_path: Path, write: Any) -> None:
    """A unit told of in both is one; what only one of them says is added."""
    path = english(tmp_path)
    book = openpyxl.load_workbook(path)
    page = book.create_sheet("Devices")
    page.append(["Name", "Address", "SNMP"])
    page.append(["quarry", "198.18.20.12", "field"])
    book.save(path)
    plan, problems = read_plan(path, write(ENGLISH_MAPPING))
    quarry = next(d for d in plan.devices if d.name == "quarry")
    assert problems == ()
    assert (len(plan.devices), quarry.snmp, str(quarry.gateway)) == (4, "field", "198.18.20.1")


@pytest.mark.parametrize(
    ("name", "content", "error"),
    [
        ("plan.yaml", b"devices: []", UsageError),
        ("other.csv", b"A,B\n1,2\n", InputError),
    ],
)
def test_a_mapping_for_another_file_is_refused(
    tmp_path: Path, write: Any, name: str, content: bytes, error: Any
) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(error):
        read_plan(tmp_path / name, write(ENGLISH_MAPPING))


def test_a_proposal_overwrites_nothing(tmp_path: Path) -> None:
    out = tmp_path / "m.toml"
    out.write_text("mine")
    with pytest.raises(UsageError, match="is there already"):
        propose(english(tmp_path), out)
    assert out.read_text() == "mine"


@pytest.mark.parametrize("name", ["a.pdf", "a.yaml", "none.csv"])
def test_nothing_is_proposed_for_what_is_no_sheet(tmp_path: Path, name: str) -> None:
    (tmp_path / "a.pdf").write_bytes(b"%PDF")
    (tmp_path / "a.yaml").write_text("a: 1")
    with pytest.raises(InputError):
        propose(tmp_path / name, tmp_path / "m.toml")


def test_nothing_is_proposed_where_nothing_is_recognised(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("Flour,Sugar\n1,2\n")
    with pytest.raises(InputError, match="nothing is recognised"):
        propose(tmp_path / "a.csv", tmp_path / "m.toml")
    assert not (tmp_path / "m.toml").exists()


HEADINGS = st.sampled_from(
    ["Hop", "Station A", "Station B", "IP A", "IP B", "TX A", "TX B", "Link ID", "Unit", "IP", "Mask",
     "Latitude", "RSL", "Remarks", "Pol", "Path"]
) | st.text(max_size=12)  # fmt: skip
VALUES = st.text(max_size=12) | st.from_regex(r"[0-9.,/ NS-]{1,20}", fullmatch=True)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_any_sheet_is_proposed_for_and_read_without_a_traceback(tmp_path: Path, data: Any) -> None:
    headings = data.draw(st.lists(HEADINGS, max_size=7))
    rows = [[data.draw(VALUES) for _ in headings] for _ in range(data.draw(st.integers(0, 4)))]
    lines = (",".join('"' + c.replace('"', '""') + '"' for c in row) for row in (headings, *rows))
    theirs, out = tmp_path / "theirs.csv", tmp_path / "m.toml"
    theirs.write_bytes("\r\n".join(lines).encode())
    out.unlink(missing_ok=True)
    with suppress(VerifierError):
        propose(theirs, out)
    assert not out.exists() or read_mapping(out)


@pytest.mark.parametrize("row", SHEETS_OF)
def test_every_field_of_a_row_leads_to_one_place(row: str) -> None:
    """No two names stand for one place, and each is spelled by its sheet and field."""
    targets = targets_of(row)
    places = {(t.sheet, t.side, t.column.path) for t in targets.values()}
    assert len(places) == len(targets)
    assert all(name.startswith(f"{t.sheet}.") for name, t in targets.items())


@pytest.mark.parametrize(
    ("heading", "form", "cells", "values", "rules"),
    [
        ("Distance (nm)", "unit = 'nmi'", "6.2,10", (11.4824, 18.52), []),
        ("Distance (nm)", "", "6.2,10", (None, None), ["wrong-unit"]),
        ("Distance (gon)", "", "6.2,10", (None, None), ["wrong-unit"]),
        ("Distance", "unit = 'km'", "6.2,10", (6.2, 10), []),
        ("Distance", "", "6.2,10", (6.2, 10), ["figures-doubtful"]),
        ("Distance (km)", "", "6.2,10", (6.2, 10), []),
        ("Distance (km)", "", "6200,10000", (6200, 10000), ["figures-doubtful"]),
        ("Distance (m)", "decimal = ','", '"6.200","10.000"', (6.2, 10), ["thousands-separator"]),
        ("Distance (m)", "unit = 'm'", '"6.200","10.000"', (None, None), ["unreadable-cell"]),
        ("Distance (m)", "factor = 0.001, plus = 0.5", "6200,10000", (6.7, 10.5), []),
    ],
)  # fmt: skip
def test_a_mapping_says_what_a_column_leaves_open(
    tmp_path: Path, write: Any, heading: str, form: str, cells: str, values: Any, rules: Any
) -> None:
    first, second = cells.split(",") if '"' not in cells else cells.split('","')
    first, second = (f'"{c.strip(chr(34))}"' for c in (first, second))
    (tmp_path / "l.csv").write_text(f"L,A,B,{heading}\nh,r,s,{first}\nk,r,s,{second}\n")
    more = f", {form.replace(chr(39), chr(34))}" if form else ""
    mapping = write(
        '[[table]]\nrow = "link"\n[table.columns]\n"L" = "Links.name"\n"A" = "Links.a.device"\n'
        f'"B" = "Links.b.device"\n"{heading}" = {{field = "Links.path_km"{more}}}\n'
    )
    plan, problems = read_plan(tmp_path / "l.csv", mapping)
    assert tuple(link.path_km for link in plan.links) == values
    found = sorted({p.rule for p in problems} - {"unit-converted", "unknown-device"})
    assert found == rules


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ('unit = "nm"', "nautical miles or nanometres"),
        ('unit = "MHz"', "is in MHz, but km is wanted"),
        ('unit = "leagues"', "is in leagues, but km is wanted"),
        ('unit = "m", factor = 2', "write unit or factor, not both"),
        ("factor = 0", "must not be 0"),
        ('decimal = ";"', "must be '.', ',' or 'unsure'"),
    ],
)
def test_a_faulty_unit_of_a_mapping_is_told(write: Any, form: str, words: str) -> None:
    text = f'[[table]]\nrow = "link"\n[table.columns]\n"D" = {{field = "Links.path_km", {form}}}\n'
    with pytest.raises(InputError) as caught:
        read_mapping(write(text))
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("heading", "field"),
    [
        ("latitude deg", "Sites.latitude"), ("ltitude deg", "Sites.latitude"), ("gatway", "Devices.gateway"),
        ("sub mask", "Devices.mask"), ("gtwy", None), ("sbntmsk", None),
    ],
)  # fmt: skip
def test_how_near_a_heading_must_be(heading: str, field: str | None) -> None:
    """One of seven letters may be missing, three may not; what is only near is not sure."""
    found = guess(heading)
    assert (found.field if found else None) == field
    assert found is None or found.sure is (heading == "latitude deg")
