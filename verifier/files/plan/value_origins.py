"""Where each value of a plan was written, by the sheet and row that it gets in a form of ours."""

from __future__ import annotations

from collections.abc import Iterator

from verifier.files.plan.columns import Column, Path, sheets
from verifier.model.plan import Device, Host, Maintenance, Plan, Site
from verifier.model.problem import Origin

_LISTS = {"Hosts": "hosts", "Sites": "sites", "Devices": "devices", "Maintenance": "maintenance"}


def row_origins(plan: Plan, sheet: str) -> Iterator[tuple[str, ...]]:
    """For each row of a sheet the origins of its cells in words, in the order of its columns."""
    columns = sheets()[sheet].columns
    if sheet == "Network":
        for column in columns:
            yield "", shown_origin(plan.origin(*column.path))
        return
    for path in _rows(plan, sheet):
        yield tuple(shown_origin(plan.origin(*_cell(path, sheet, column))) for column in columns)


def shown_origin(origin: Origin | None) -> str:
    """An origin in one line; empty where there is none."""
    words = str(origin) if origin is not None else ""
    return "".join(c if c.isprintable() else " " for c in words)


def _rows(plan: Plan, sheet: str) -> Iterator[Path]:
    """The path of what each row of a sheet is about."""
    if sheet in _LISTS:
        lists: dict[str, tuple[Host | Site | Device | Maintenance, ...]] = {
            "Hosts": plan.management.hosts, "Sites": plan.sites, "Devices": plan.devices,
            "Maintenance": plan.maintenance,
        }  # fmt: skip
        for entry in lists[sheet]:
            yield _LISTS[sheet], entry.name
    elif sheet == "Links":
        for link in plan.links:
            for carrier in link.carriers:
                yield "links", link.name, str(carrier.carrier)
    else:
        for device in plan.devices:
            parts = device.ports if sheet == "Ports" else device.other_addresses
            field = "ports" if sheet == "Ports" else "other_addresses"
            for part in parts:
                yield "devices", device.name, field, getattr(part, "name", "")


def _cell(path: Path, sheet: str, column: Column) -> Path:
    """The path of a value; of a field of the whole link without its carrier."""
    if sheet == "Links" and column.path[0] not in ("a", "b", "carrier", "polarisation"):
        return (*path[:2], *column.path)
    return (*path, *column.path)
