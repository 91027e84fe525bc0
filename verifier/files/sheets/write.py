"""A plan to the rows of its sheets, and to CSV (RFC 4180)."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any

from verifier.errors import UsageError
from verifier.files.plan.columns import Column, Path, sheets
from verifier.files.plan.from_model import Group, as_tree, written
from verifier.files.plan.instructions import TITLE, plain_text
from verifier.files.plan.joined_texts import guarded, joined, put_together
from verifier.files.plan.value_origins import row_origins
from verifier.model.plan import Plan

NETWORK_HEADINGS = ("Field", "Value")


def rows(plan: Plan) -> dict[str, list[list[Any]]]:
    """The rows below the headings of every sheet, cell by cell in the order of its columns.

    A cell is None, a text, number, date or truth value. Sheet Network has two columns and a row for
    every field.

    Raises:
        UsageError: a name that rows refer to is there twice, or a text is one no file can hold.
    """
    _refuse_doubled("devices", (d.name for d in plan.devices))
    _refuse_doubled("links", (link.name for link in plan.links))
    for link in plan.links:
        _refuse_doubled(f"carriers of link {link.name}", (str(c.carrier) for c in link.carriers))
    entries = dict(_entries(as_tree(plan)))
    made = {
        name: [[_cell(_at(entry, c.path), c) for c in sheet.columns] for entry in entries[name]]
        for name, sheet in sheets().items()
        if name != "Network"
    }
    (tree,) = entries["Network"]
    fields = sheets()["Network"].columns
    network = [[c.heading, _cell(_at(tree, c.path), c)] for c in fields]
    return {"Network": network, **made}


def csv_files(plan: Plan, *, origins: bool = False) -> dict[str, bytes]:
    """The files of a folder by name. Raises UsageError as `rows` does.

    A CSV file has no comments: `origins` puts the place of each value into `Origins.txt`.

    A byte order mark stands before what is not ASCII: without it, spreadsheet programs take UTF-8
    for something else.
    """
    files = {f"{TITLE}.txt": plain_text().encode()}
    for name, lines in rows(plan).items():
        stream = io.StringIO(newline="")
        writer = csv.writer(stream)
        writer.writerow(headings(name))
        writer.writerows([_csv_text(c) for c in line] for line in lines)
        text = stream.getvalue()
        files[f"{name}.csv"] = text.encode("utf-8" if text.isascii() else "utf-8-sig")
    if origins:
        files["Origins.txt"] = "".join(_origin_lines(plan)).encode()
    return files


def _origin_lines(plan: Plan) -> Iterator[str]:
    """One line a value: where it stands in the folder, and where it was read."""
    for name, lines in rows(plan).items():
        heads = headings(name)
        found = zip(lines, row_origins(plan, name), strict=True)
        for number, (line, places) in enumerate(found, start=2):
            for heading, value, place in zip(heads, line, places, strict=True):
                if value is not None and place:
                    yield f"{name}.csv, row {number}, {heading}: {place}\n"


def headings(sheet: str) -> tuple[str, ...]:
    """The headings of a sheet."""
    if sheet == "Network":
        return NETWORK_HEADINGS
    return tuple(c.heading for c in sheets()[sheet].columns)


def _csv_text(value: Any) -> str:
    if value is None:
        return ""
    return guarded(value) if isinstance(value, str) else written(value)


def _entries(tree: Group) -> Iterator[tuple[str, list[Group]]]:
    """The groups whose fields are the rows of each sheet."""
    devices, links = tree.get("devices", []), tree.get("links", [])
    yield "Network", [tree]
    yield "Hosts", tree.get("management", {}).get("hosts", [])
    yield "Sites", tree.get("sites", [])
    yield "Devices", devices
    for sheet, field in (("Addresses", "other_addresses"), ("Ports", "ports")):
        yield sheet, [{"device": d["name"], **e} for d in devices for e in d.get(field, ())]
    yield "Links", [link | _numbered(c, link) for link in links for c in link["carriers"]]
    yield "Maintenance", tree.get("maintenance", [])


def _numbered(carrier: Group, link: Group) -> Group:
    return carrier if len(link["carriers"]) == 1 else {"carrier": 1} | carrier


def _at(tree: Any, path: Path) -> Any:
    for part in path:
        tree = tree.get(part)
        if tree is None:
            return None
    return tree


def _cell(value: Any, column: Column) -> Any:
    """A value as its cell holds it: numbers and dates as such, all else as text."""
    if value is None:
        return None
    if column.path == ("not_tested_ok",):
        return joined([_untested(entry) for entry in value], column.separator)
    if column.separator:
        return joined([written(v) for v in value], column.separator)
    if column.kind == "flag":
        return "yes" if value else "no"
    return value if column.kind in ("number", "date") else written(value)


def _untested(entry: Group) -> str:
    parts = {name: written(value) for name, value in entry.items()}
    return put_together(parts["check"], parts["reason"], parts.get("by"))


def _refuse_doubled(what: str, names: Iterable[str]) -> None:
    doubled = [name for name, times in Counter(names).items() if times > 1]
    if doubled:
        raise UsageError(
            f"two {what} are called {doubled[0]!r}: rows could not tell them apart; only YAML can"
            " hold such a plan"
        )
