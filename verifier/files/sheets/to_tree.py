"""Records of sheets to the same tree that YAML gives."""

from __future__ import annotations

from dataclasses import replace

from verifier.files.faults import Faults, nearest, shown
from verifier.files.plan.columns import Path
from verifier.files.plan.tree import Mapping, Node, Scalar, Sequence
from verifier.files.sheets.cell_number import PLAIN
from verifier.files.sheets.records import SheetRow
from verifier.model.problem import Origin, Subject

_CARRIER_PARTS = ("carrier", "polarisation", "a", "b")


def to_tree(
    network: dict[Path, Scalar], rows: dict[str, list[SheetRow]], whole: Origin, faults: Faults
) -> Mapping:
    """The tree of a plan: `rows` by the name of their sheet. What has no place goes to `faults`."""
    items = dict(_nest(network, whole).items)
    lists: dict[str, Node] = {}
    for name, found in rows.items():
        origin = replace(found[0].origin, line=None) if found else whole
        if name == "Links":
            lists[name] = Sequence(_links(found, faults), origin)
        elif name not in ("Addresses", "Ports"):
            lists[name] = Sequence(tuple(_nest(r.cells, r.origin) for r in found), origin)
    if (hosts := lists.pop("Hosts", None)) is not None:
        management = items.get("management")
        laptop = management.items if isinstance(management, Mapping) else {}
        items["management"] = Mapping({**laptop, "hosts": hosts}, hosts.origin)
    devices = lists.get("Devices")
    for name, field in (("Addresses", "other_addresses"), ("Ports", "ports")):
        _hand_out(rows.get(name, []), field, devices, faults)
    items |= {name.lower(): node for name, node in lists.items()}
    return Mapping(items, whole)


def joined(rows: list[SheetRow], more: list[SheetRow], faults: Faults) -> list[SheetRow]:
    """`rows`, and those of `more` that have another name; same names become one record.

    Where two rows say different things about the same, this is told.
    """
    by_name = {name: record for record in rows if (name := record.text("name"))}
    found = list(rows)
    for record in more:
        first = by_name.setdefault(record.text("name"), record) if record.text("name") else record
        if first is record:
            found.append(record)
            continue
        subject = Subject("network", record.text("name"))
        for path, cell in record.cells.items():
            agree(first.cells.setdefault(path, cell), cell, faults, subject)
    return found


def _hand_out(entries: list[SheetRow], field: str, devices: Node | None, faults: Faults) -> None:
    """Puts each row of a sheet under the device that it names."""
    by_name: dict[str, dict[str, Node]] = {}
    for device in devices.items if isinstance(devices, Sequence) else ():
        assert isinstance(device, Mapping)  # made by _nest
        cell = device.items.get("name")
        by_name.setdefault((isinstance(cell, Scalar) and cell.text) or "", device.items)
    gathered: dict[str, list[SheetRow]] = {}
    for entry in entries:
        name = entry.text("device")
        if not name or name not in by_name:
            message = f"{shown(name)} is not in sheet Devices{nearest(name, by_name)}"
            message = message if name else "device is missing"
            faults.error("unknown-device", entry.origin, message, Subject("device", name))
        else:
            gathered.setdefault(name, []).append(entry)
    for name, found in gathered.items():
        parts = tuple(
            _nest({p: c for p, c in e.cells.items() if p != ("device",)}, e.origin) for e in found
        )
        by_name[name][field] = Sequence(parts, found[0].origin)


def _links(rows: list[SheetRow], faults: Faults) -> tuple[Mapping, ...]:
    """The links: rows of one name are the carriers of one link."""
    by_name: dict[str, list[SheetRow]] = {}
    for row in rows:
        by_name.setdefault(row.text("name"), []).append(row)
    return tuple(_link(same, faults) for same in by_name.values())


def _link(rows: list[SheetRow], faults: Faults) -> Mapping:
    """One link of one or more carriers, whose other fields must agree."""
    whole: dict[Path, Scalar] = {}
    carriers: list[Node] = []
    seen: dict[str, SheetRow] = {}
    subject = Subject("link", rows[0].text("name"))
    for row in rows:
        number = row.text("carrier") or "1"
        if (first := seen.setdefault(number, row)) is not row:
            message = (
                f"link {subject.name} has carrier {number} in row {first.origin.line} and in row "
                f"{row.origin.line}: give each row of a link its own Carrier"
            )
            faults.error("carrier-twice", row.origin, message, subject)
            continue
        own = {path: cell for path, cell in row.cells.items() if path[0] in _CARRIER_PARTS}
        ends: dict[str, Node] = {"a": Mapping({}, row.origin), "b": Mapping({}, row.origin)}
        carriers.append(Mapping(ends | _nest(own, row.origin).items, row.origin))
        for path, cell in row.cells.items():
            if path[0] not in _CARRIER_PARTS:
                agree(whole.setdefault(path, cell), cell, faults, subject)
    items = _nest(whole, rows[0].origin).items
    return Mapping({**items, "carriers": Sequence(tuple(carriers), rows[0].origin)}, rows[0].origin)


def agree(first: Scalar, cell: Scalar, faults: Faults, subject: Subject) -> None:
    """Tells where two rows say different things about the same."""
    if first.text != cell.text and not _same_figure(first.text or "", cell.text or ""):
        where = f" of {first.origin.sheet or first.origin.file}"
        where = "" if first.origin.sheet == cell.origin.sheet else where
        message = (
            f"row {first.origin.line}{where} says {shown(first.text or '')}, row "
            f"{cell.origin.line} says {shown(cell.text or '')}: rows about the same must agree"
        )
        faults.error("rows-differ", cell.origin, message, subject)


def _same_figure(first: str, second: str) -> bool:
    figures = [PLAIN.fullmatch(text) for text in (first, second)]
    return all(figures) and float(first) == float(second)


def _nest(cells: dict[Path, Scalar], origin: Origin) -> Mapping:
    """Cells by path, as groups within groups."""
    root: dict[str, Node] = {}
    for path, scalar in cells.items():
        group = root
        for part in path[:-1]:
            inner = group.setdefault(part, Mapping({}, origin))
            assert isinstance(inner, Mapping)  # no field is both a group and a value
            group = inner.items
        group[path[-1]] = scalar
    return Mapping(root, origin)
