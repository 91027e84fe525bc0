"""The contract's example plan in its three forms, and short ways to write and read a plan."""

import csv
import datetime as dt
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from verifier.errors import InputError
from verifier.files.plan.columns import sheets
from verifier.files.read_plan import read_plan

EXAMPLE_YAML = Path(__file__).parent / "example.yaml"

NETWORK = {
    "network.name": "Harbour ring",
    "network.revision": "3",
    "network.date": "2026-11-20",
    "network.prepared_by": "A. Example",
    "network.example": "true",
    "management.laptop": "198.18.20.250/24",
    "stage": "handover",
    "acceptance.soak_s": "86400",
    "acceptance.echo_per_s": "1",
    "acceptance.max_loss_pct": "0.1",
    "acceptance.max_rtt_p95_ms": "10",
    "acceptance.max_port_errors": "0",
    "acceptance.max_es": "10",
    "acceptance.max_ses": "0",
    "acceptance.max_uas": "0",
    "acceptance.mtu_bytes": "1500",
    "acceptance.default_community": "true",
    "not_tested_ok": "radio.polarisation=seen from the ground only (by A. Example)",
}
EXAMPLE_ROWS = {
    "Network": [{"Field": field, "Value": value} for field, value in NETWORK.items()],
    "Hosts": [
        {"Name": "manager-1", "Address": "203.0.113.10", "Uses": "icmp snmp trap syslog ntp"}
    ],
    "Sites": [
        {"Name": "Lighthouse", "Latitude": "47.1000", "Longitude": "-20.2000",
         "Ground (m AMSL)": "12"},
        {"Name": "Quarry", "Latitude": "47.1544", "Longitude": "-20.0723",
         "Ground (m AMSL)": "88"},
    ],
    "Devices": [
        {"Name": "lighthouse-quarry", "Site": "Lighthouse", "Label": "LIGHTHOUSE > QUARRY",
         "Location": "Lighthouse", "Profile": "hop-radio", "Address": "198.18.20.11",
         "Mask": "255.255.255.0", "Gateway": "198.18.20.1", "Present address": "192.0.2.21/24",
         "Tx band": "high", "MAC": "02:00:5e:10:00:01", "Serial": "000123",
         "Part number": "PTP-13-H", "Software": "4.2.1", "Uplink": "quarry-lighthouse",
         "Management VLAN": "20", "Management tagged": "false", "SNMP": "field",
         "Open services": "443/tcp", "Closed services": "23/tcp"},
        {"Name": "quarry-lighthouse", "Site": "Quarry", "Label": "QUARRY > LIGHTHOUSE",
         "Profile": "hop-radio", "Address": "198.18.20.12/24", "Gateway": "198.18.20.1",
         "Tx band": "low", "Serial": "000124", "SNMP": "field"},
    ],
    "Ports": [
        {"Device": "lighthouse-quarry", "Port": "eth1", "Status": "up", "Speed (Mbps)": "1000",
         "Duplex": "full", "MTU": "1500", "Media": "copper", "Cable (m)": "35"}
    ],
    "Links": [
        {"Name": "Hop 1", "Licence reference": "EX-0001", "Licence valid until": "2031-06-30",
         "Duplexing": "fdd", "Raster": "F.497", "T/R spacing": "266", "BW [MHz]": "28",
         "Modulation max": "256qam", "Modulation min": "4qam", "Modulation reference": "64qam",
         "Adaptive": "true", "Capacity (Mbps)": "190", "Key capacity (Mbps)": "190",
         "Path (km)": "11.42", "Fade margin (dB)": "25", "Protection": "1+0", "Pol": "V",
         "Near end device": "lighthouse-quarry", "Tx (MHz) A": "13143.0",
         "Tx power (dBm) A": "18", "Max EIRP (dBm) A": "62.1", "Antenna gain (dBi) A": "36.1",
         "Antenna diameter (m) A": "0.6", "Line loss (dB) A": "0.0", "RSL A": "-45.6",
         "Alignment voltage (V) A": "1.09", "Azimuth (deg) A": "57.98", "Tilt (deg) A": "0.3",
         "Antenna height (m) A": "24", "ATPC A": "false", "Bench attenuation (dB) A": "60",
         "Far end device": "quarry-lighthouse", "Tx (MHz) B": "12877.0",
         "Tx power (dBm) B": "18", "Max EIRP (dBm) B": "62.1", "Antenna gain (dBi) B": "36.1",
         "Antenna diameter (m) B": "0.6", "Line loss (dB) B": "0.0", "RSSI (dBm) B": "-45.8",
         "Azimuth (deg) B": "238.08", "Antenna height (m) B": "18", "ATPC B": "false"}
    ],
    "Maintenance": [
        {"Name": "mast work", "From": "2026-12-01T08:00Z", "To": "2026-12-01T17:00+01:00",
         "Sites": "Quarry"}
    ],
}  # fmt: skip


@pytest.fixture
def write_csv(tmp_path: Path) -> Any:
    """Writes rows by sheet as a folder of CSV files; returns the folder."""

    def write(rows: Any, delimiter: str = ",") -> Any:
        folder = tmp_path / "plan"
        folder.mkdir(exist_ok=True)
        for name, records in rows.items():
            headings = list(dict.fromkeys(h for record in records for h in record))
            with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
                writer = csv.DictWriter(file, headings, delimiter=delimiter)
                writer.writeheader()
                writer.writerows(records)
        return folder

    return write


@pytest.fixture
def write_xlsx(tmp_path: Path) -> Any:
    """Writes rows by sheet as a workbook, numbers, dates and truth values as such."""

    def write(rows: Any, *, typed: bool = True) -> Any:
        book = openpyxl.Workbook()
        book.remove(book.worksheets[0])
        for name, records in rows.items():
            sheet = book.create_sheet(name)
            headings = list(dict.fromkeys(h for record in records for h in record))
            sheet.append(headings)
            for record in records:
                sheet.append([_cell(name, h, record, typed=typed) for h in headings])
        path = tmp_path / "plan.xlsx"
        book.save(path)
        return path

    return write


def _cell(sheet: str, heading: str, record: Any, *, typed: bool) -> Any:
    value = record.get(heading)
    column = sheets()[sheet].column(record.get("Field", heading) if sheet == "Network" else heading)
    if value is None or not typed or column is None or heading == "Field":
        return value
    if column.kind == "number":
        return float(value) if "." in value else int(value)
    if column.kind == "flag":
        return value == "true"
    return dt.date.fromisoformat(value) if column.kind == "date" else value


@pytest.fixture
def read(tmp_path: Path) -> Any:
    """Reads YAML text as a plan; returns plan and problems."""

    def read_text(text: str) -> Any:
        path = tmp_path / "plan.yaml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_plan(path)

    return read_text


@pytest.fixture
def refused(read: Any) -> Any:
    """The error that YAML text is refused with."""

    def refusal(text: str) -> Any:
        with pytest.raises(InputError) as caught:
            read(text)
        return caught.value

    return refusal


@pytest.fixture
def example_rows() -> Any:
    return {name: [dict(r) for r in rows] for name, rows in EXAMPLE_ROWS.items()}


@pytest.fixture
def example_yaml() -> Any:
    return EXAMPLE_YAML


@pytest.fixture
def workbook(tmp_path: Path) -> Any:
    """A workbook of one sheet of rows, changed by hand before it is saved."""

    def write(rows: Any, change: Any = lambda page: None, sheet: str = "Devices") -> Path:
        book = openpyxl.Workbook()
        page: Any = book.active
        page.title = sheet
        for row in rows:
            page.append(row)
        change(page)
        path = tmp_path / "plan.xlsx"
        book.save(path)
        return path

    return write


@pytest.fixture
def table(tmp_path: Path) -> Any:
    """A CSV file of a plan, byte by byte."""

    def write(data: bytes, name: str = "Devices") -> Path:
        (tmp_path / f"{name}.csv").write_bytes(data)
        return tmp_path

    return write
