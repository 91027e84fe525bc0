"""The one table of headings: which column of which sheet holds which field.

A heading follows from the field's name (`tx_mhz`: "Tx (MHz)"); what that rule does not give stands
in `_HEADINGS`, what the trade also says in `_ALIASES`. Matching ignores case, spaces, punctuation
and a unit in brackets.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
import re
import types
import typing
from dataclasses import dataclass
from typing import Any, Literal

from verifier.files.plan.units import unit_of
from verifier.model import plan as model
from verifier.model.address import Address, Interface, Mac

Kind = Literal["text", "number", "flag", "date", "moment"]
Path = tuple[str, ...]

FILE_NAMES = {(model.Maintenance, "start"): "from"}
"""Fields that a file calls otherwise than the model."""

SHORT_FORMS = {(model.Device, "no_gateway"): ("gateway", "none")}
"""Flags of the model that a file has as a word in another field."""

UNITS = {
    "mhz": "MHz", "mbps": "Mbps", "dbm": "dBm", "db": "dB", "dbi": "dBi", "m": "m", "km": "km",
    "deg": "deg", "v": "V", "s": "s", "ms": "ms", "pct": "%", "bytes": "bytes",
}  # fmt: skip
_WORDS = {w.lower(): w for w in ("ATPC", "EIRP", "ID", "MAC", "MTU", "SNMP", "SNR", "VLAN", "XPI")}

_HEADINGS = {
    "Sites.latitude": "Latitude (deg)",
    "Sites.longitude": "Longitude (deg)",
    "Sites.ground_amsl_m": "Ground (m AMSL)",
    "Devices.services.open": "Open services",
    "Devices.services.closed": "Closed services",
    "Ports.name": "Port",
    "Ports.mtu": "MTU (bytes)",
    "Links.rx_mhz": "Rx frequency (MHz)",
    "Links.antenna_dbi": "Antenna gain (dBi)",
    "Links.alignment_v": "Alignment voltage (V)",
}

_ALIASES = {
    "Hosts.name": "host|hostname|manager",
    "Hosts.address": "ip|ip address",
    "Hosts.uses": "use|services",
    "Sites.name": "site|site name",
    "Sites.latitude": "lat",
    "Sites.longitude": "lon|long|lng",
    "Sites.ground_amsl_m": "amsl|elevation|ground elevation|ground height",
    "Devices.name": "device|device name|unit|hostname|sysname",
    "Devices.site": "site name",
    "Devices.label": "sticker",
    "Devices.location": "syslocation",
    "Devices.address": "ip|ip address|management address|management ip|mgmt ip|planned address",
    "Devices.mask": "subnet mask|netmask|network mask|prefix|prefix length",
    "Devices.gateway": "gw|default gateway|default gw|planned gateway",
    "Devices.present_address": "present ip|current address|current ip",
    "Devices.present_gateway": "present gw|current gateway|current gw",
    "Devices.tx_band": "hi/lo|high/low|sub-band|subband|band",
    "Devices.mac": "mac address|hardware address",
    "Devices.serial": "serial number|serial no|s/n|sn",
    "Devices.part_number": "part no|part|p/n",
    "Devices.software": "software version|sw|sw version|firmware|fw",
    "Devices.uplink": "upstream|via",
    "Devices.management_vlan": "vlan|vlan id|mgmt vlan",
    "Devices.management_tagged": "tagged|mgmt tagged",
    "Devices.snmp": "snmp entry",
    "Devices.services.open": "open ports|open tcp",
    "Devices.services.closed": "closed ports|closed tcp",
    "Addresses.address": "ip|ip address|other address",
    "Ports.name": "interface|ifname",
    "Ports.speed_mbps": "rate",
    "Ports.neighbour": "neighbor",
    "Ports.cable_m": "cable length",
    "Links.name": "link|link name|hop|hop name",
    "Links.licence.reference": "licence|license|license reference|licence number|license number",
    "Links.licence.valid_until": "license valid until|valid until|licence expiry|license expiry",
    "Links.raster": "channel plan|channel raster",
    "Links.channel": "channel number|ch",
    "Links.duplex_spacing_mhz": "t/r spacing|tx/rx spacing|t-r spacing|duplex distance|shifter",
    "Links.bandwidth_mhz": "bw|channel bandwidth|channel width",
    "Links.modulation": "mod",
    "Links.modulation_max": "maximum modulation|max modulation|max mod",
    "Links.modulation_min": "minimum modulation|min modulation|min mod",
    "Links.modulation_reference": "reference modulation|ref mod",
    "Links.adaptive": "acm|adaptive modulation",
    "Links.path_km": "distance|path length|hop length|link length",
    "Links.gas_loss_db": "gas absorption|atmospheric loss",
    "Links.polarisation": "pol|polarization",
    "Links.device": "unit|radio unit|device name",
    "Links.tx_mhz": "tx frequency|tx freq|frequency|freq|transmit frequency",
    "Links.rx_mhz": "rx freq|receive frequency",
    "Links.tx_power_dbm": "tx pwr|transmit power|output power",
    "Links.max_eirp_dbm": "eirp|licensed eirp|eirp limit|maximum eirp",
    "Links.antenna_dbi": "gain",
    "Links.antenna_diameter_m": "antenna size|dish|dish size|diameter",
    "Links.line_loss_db": "feeder loss|waveguide loss|cable loss",
    "Links.rx_level_dbm": "rsl|rssi|rx|receive level|received level|receive signal level",
    "Links.alignment_v": "agc|agc voltage|alignment port",
    "Links.azimuth_deg": "az|bearing|heading",
    "Links.antenna_height_m": "height|agl|antenna height agl|height agl",
}

_SIDES = {
    "a": ("a", "end a", "site a", "near end", "near"),
    "b": ("b", "end b", "site b", "far end", "far"),
}

VALUE_WORDS = {"hi": "high", "lo": "low", "vertical": "V", "horizontal": "H"}
"""What the trade also writes for a value of a fixed choice."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: the place of its values in a row's tree, its heading, what a cell may hold.

    Attributes:
        choices: all values there are, if they are few.
        separator: between the values of a cell that holds several; empty where it holds one.
        hint: the type of its field; that of one value where the field is a list.
    """

    path: Path
    heading: str
    kind: Kind = "text"
    unit: str = ""
    names: frozenset[str] = frozenset()
    choices: tuple[str, ...] = ()
    separator: str = ""
    hint: Any = str

    @property
    def is_address(self) -> bool:
        """Whether its cells hold addresses or services, which a number never is."""
        return self.hint in (Address, Interface, Mac, model.Service)

    @property
    def angle(self) -> str:
        """`latitude`, `longitude`, `angle`, or nothing."""
        if self.path[-1] in ("latitude", "longitude"):
            return self.path[-1]
        return "angle" if self.unit == "deg" else ""


@dataclass(frozen=True)
class Sheet:
    """One sheet, or one CSV file of that name."""

    name: str
    columns: tuple[Column, ...]

    @functools.cached_property
    def by_name(self) -> dict[str, Column]:
        """The columns by every name each is known under."""
        return {name: column for column in self.columns for name in column.names}

    def column(self, heading: str) -> Column | None:
        """The column a heading stands for, or None."""
        return self.by_name.get(normal(heading)) or self.by_name.get(normal_all(heading))

    def is_known_whole(self, heading: str) -> bool:
        """Whether a heading is known with all that stands in its brackets."""
        return normal_all(heading) in self.by_name


def normal(heading: str) -> str:
    """A heading without case, spaces, punctuation and what stands in brackets."""
    return normal_all(re.sub(r"\([^)]*\)|\[[^]]*\]", " ", heading))


def normal_all(heading: str) -> str:
    """A heading without case, spaces and punctuation."""
    return "".join(c for c in heading.casefold() if c.isalnum())


@functools.cache
def sheets() -> dict[str, Sheet]:
    """All sheets by name, in the order of a new workbook."""
    device = Column(("device",), "Device", names=_names("Device", "device", "unit|device name"))
    ends = [c for side in ("a", "b") for c in _end_columns(side)]
    carrier = [c for c in _columns("Links", model.Carrier) if len(c.path) == 1]
    modulation = _column("Links", ("modulation",), str)
    mask = _column("Devices", ("mask",), str)
    devices = _columns("Devices", model.Device)
    after_address = next(i for i, c in enumerate(devices) if c.path == ("address",)) + 1
    all_sheets = (
        Sheet("Network", _network()),
        Sheet("Hosts", _columns("Hosts", model.Host)),
        Sheet("Sites", _columns("Sites", model.Site)),
        Sheet("Devices", (*devices[:after_address], mask, *devices[after_address:])),
        Sheet("Addresses", (device, *_columns("Addresses", model.OtherAddress))),
        Sheet("Ports", (device, *_columns("Ports", model.Port))),
        Sheet("Links", (*_columns("Links", model.Link), modulation, *carrier, *ends)),
        Sheet("Maintenance", _columns("Maintenance", model.Maintenance)),
    )
    return {sheet.name: sheet for sheet in all_sheets}


def leaves(cls: Any, prefix: Path = ()) -> list[tuple[Path, Any]]:
    """Path and type of every single value of a dataclass; lists of dataclasses are left out."""
    found: list[tuple[Path, Any]] = []
    hints = typing.get_type_hints(cls)
    for field in dataclasses.fields(cls):
        kind = without_none(hints[field.name])
        path = (*prefix, FILE_NAMES.get((cls, field.name), field.name))
        if (cls, field.name) in SHORT_FORMS:
            continue
        if is_group(kind):
            found += leaves(kind, path)
        elif field.compare and not any(is_group(k) for k in typing.get_args(kind)):
            found.append((path, kind))
    return found


def without_none(hint: Any) -> Any:
    """`X` of `X | None`."""
    if typing.get_origin(hint) in (types.UnionType, typing.Union):
        return next(a for a in typing.get_args(hint) if a is not type(None))
    return hint


def is_group(kind: Any) -> bool:
    """Whether a type is written as fields of its own, not as one text."""
    return dataclasses.is_dataclass(kind) and not hasattr(kind, "parse")


def _kind(hint: Any) -> Kind:
    kinds: dict[Any, Kind] = {
        int: "number", float: "number", bool: "flag", dt.date: "date", dt.datetime: "moment",
    }  # fmt: skip
    return kinds.get(hint, "text")


def _columns(sheet: str, cls: Any) -> tuple[Column, ...]:
    return tuple(_column(sheet, path, hint) for path, hint in leaves(cls))


def _column(sheet: str, path: Path, hint: Any) -> Column:
    field = ".".join(path)
    heading, unit = _derived(" ".join(path))
    heading = _HEADINGS.get(f"{sheet}.{field}", heading)
    names = _names(heading, field, _ALIASES.get(f"{sheet}.{field}", ""))
    unit = unit or unit_of(heading)
    item = typing.get_args(hint)[0] if typing.get_origin(hint) is tuple else hint
    more = (_choices(hint), _separator(hint), item)
    return Column(path, heading, _kind(hint), unit, names, *more)


def _choices(hint: Any) -> tuple[str, ...]:
    return typing.get_args(hint) if typing.get_origin(hint) is Literal else ()


def _separator(hint: Any) -> str:
    if typing.get_origin(hint) is not tuple:
        return ""
    return "; " if typing.get_args(hint)[0] is str else " "


def _end_columns(side: str) -> list[Column]:
    found = []
    for column in _columns("Links", model.End):
        names = {f"{n}{normal_all(s)}" for n in column.names for s in _SIDES[side]}
        names |= {f"{normal_all(s)}{n}" for n in column.names for s in _SIDES[side]}
        heading = f"{column.heading} {side.upper()}"
        path = (side, *column.path)
        end = dataclasses.replace(column, path=path, heading=heading, names=frozenset(names))
        found.append(end)
    return found


def _network() -> tuple[Column, ...]:
    """The rows of sheet Network: each names its field by path (`network.name`)."""
    plan = [(p, h) for p, h in leaves(model.Plan) if p != ("management", "hosts")]
    plan.append((("not_tested_ok",), tuple[str, ...]))
    return tuple(
        dataclasses.replace(
            _column("Network", path, hint),
            heading=(field := ".".join(path)),
            names=_names(field, field, ""),
        )
        for path, hint in plan
    )


def _derived(name: str) -> tuple[str, str]:
    """Heading and unit by a field's name: `rx_level_dbm` gives "Rx level (dBm)", "dBm"."""
    words = name.replace("_", " ").split()
    unit = UNITS.get(words[-1], "") if len(words) > 1 and words[-2] != "per" else ""
    words = words[:-1] if unit else words
    words = [_WORDS.get(w, w) for w in words]
    heading = words[0][0].upper() + " ".join(words)[1:]
    return (f"{heading} ({unit})" if unit else heading), unit


def _names(heading: str, field: str, aliases: str) -> frozenset[str]:
    names = (normal(heading), normal_all(heading), normal_all(field))
    return frozenset((*names, *(normal(a) for a in aliases.split("|") if a)))
