"""A person who knows the truth settles what a proposed mapping left open, and nothing else."""

from __future__ import annotations

import json
import tomllib
from typing import Any

from tests.files.mapping.sheet_styles.drawing import DrawnColumn, DrawnSheet
from tests.files.mapping.sheet_styles.truth import OF_LINK

OPEN = "unsure"

_FIELDS = {
    "name": "Links.name", "bandwidth": "Links.bandwidth_mhz", "modulation": "Links.modulation",
    "capacity": "Links.capacity_mbps", "km": "Links.path_km", "polarisation": "Links.polarisation",
    "licence": "Links.licence.reference", "margin": "Links.fade_margin_db",
    "tx": "Links.*tx_mhz", "rx": "Links.*rx_mhz", "power": "Links.*tx_power_dbm",
    "level": "Links.*rx_level_dbm", "azimuth": "Links.*azimuth_deg",
    "height": "Links.*antenna_height_m", "gain": "Links.*antenna_dbi",
    "diameter": "Links.*antenna_diameter_m", "device": "Devices.*name", "site": "Sites.*name",
    "address": "Devices.*address", "mask": "Devices.*mask", "gateway": "Devices.*gateway",
    "vlan": "Devices.*management_vlan", "serial": "Devices.*serial", "mac": "Devices.*mac",
    "latitude": "Sites.*latitude", "longitude": "Sites.*longitude",
}  # fmt: skip


def field_of(what: str, side: str) -> str:
    """The name in a mapping of a value at an end."""
    if what == "end":
        return "Links.end"
    side = "" if side in ("own", "") or what in OF_LINK else f"{side}."
    return _FIELDS[what].replace("*", side)


def settled(text: str, drawn: DrawnSheet) -> tuple[str, set[str]]:
    """The mapping with its open lines settled, and the headings that this took."""
    mapping = tomllib.loads(text)
    edited: set[str] = set()
    for key, value in (("encoding", "windows-1252"), ("values_only", True)):
        if mapping.get(key) == OPEN:
            mapping[key] = value
    for table in mapping["table"]:
        if table.get("decimal") == OPEN:
            table["decimal"] = "," if drawn.comma else "."
        if table.get("row") == OPEN:
            table["row"] = next(page.row for page in drawn.pages)
        for heading, value in table["columns"].items():
            if _is_open(value):
                table["columns"][heading] = _truth(drawn, table, heading)
                edited.add(key_of(heading))
    return _toml(mapping), edited


def unread(text: str) -> set[str]:
    """The headings that a mapping does not read."""
    tables = tomllib.loads(text)["table"]
    return {key_of(h) for t in tables for h, value in t["columns"].items() if value == "unread"}


def key_of(heading: str) -> str:
    """A heading, however it is spaced."""
    return " ".join(heading.split()).casefold()


def _is_open(value: Any) -> bool:
    inside = value.values() if isinstance(value, dict) else [value]
    return OPEN in inside


def column_of(drawn: DrawnSheet, table: dict[str, Any], heading: str) -> DrawnColumn | None:
    """The column that a heading of a mapping is about."""
    name, _, again = heading.rpartition(" #")
    if not (name and again.isdigit()):
        name, again = heading, "1"
    wanted = key_of(name)
    found = [c for c in drawn.columns if wanted in _names(c)]
    own = [c for c in found if (c.side == "own") == (table["row"] in ("end", "device"))]
    found = own or found
    exact = [c for c in found if c.group and wanted != key_of(c.heading)] or found
    return exact[min(int(again), len(exact)) - 1] if exact else None


def _names(column: DrawnColumn) -> set[str]:
    """What a column may be called: by its heading, with what stands above it or with its end."""
    before = ("", f"{column.group} ", f"{column.side} " if column.group else "")
    return {key_of(f"{words}{column.heading}") for words in before}


def _truth(drawn: DrawnSheet, table: dict[str, Any], heading: str) -> Any:
    """What the person writes."""
    column = column_of(drawn, table, heading)
    if column is None or column.what == "=":
        return {"leave_out": "no part of the plan"}
    unit = drawn.truth.units.get(column.what)
    more = {"unit": unit.mapped or unit.text.removesuffix(" AGL")} if unit else {}
    if column.side == "a/b":
        ends = (f"{{{field_of(column.what, end)}}}" for end in "ab")
        return {"split": " / ".join(ends), **more}
    field = field_of(column.what, column.side)
    return {"field": field, **more} if more else field


def _toml(mapping: dict[str, Any]) -> str:
    """A mapping as TOML."""
    lines = [f"{key} = {_value(value)}" for key, value in mapping.items() if key != "table"]
    for table in mapping["table"]:
        lines += ["", "[[table]]"]
        parts = {k: v for k, v in table.items() if isinstance(v, dict)}
        lines += [f"{k} = {_value(v)}" for k, v in table.items() if k not in parts]
        for name, part in parts.items():
            lines += [
                f"[table.{name}]",
                *(f"{json.dumps(k)} = {_value(v)}" for k, v in part.items()),
            ]
    return "\n".join((*lines, ""))


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {_value(v)}" for k, v in value.items()) + "}"
    return json.dumps(value, ensure_ascii=False)
