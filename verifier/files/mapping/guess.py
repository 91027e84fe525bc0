"""What somebody's sheet seems to be: the meaning of its columns, what a row is, and the doubts."""

from __future__ import annotations

import dataclasses
import re
from collections import Counter
from collections.abc import Iterator
from typing import Any

from verifier.files.mapping.cell_words import looks_like
from verifier.files.mapping.dictionary import Side, columns_by_field
from verifier.files.mapping.evidence import chosen, settled
from verifier.files.mapping.form import Layout
from verifier.files.mapping.habits import habit_of
from verifier.files.mapping.model import MappedField, targets_of
from verifier.files.mapping.seen_tables import SeenTable, names_of, seen_tables
from verifier.files.mapping.table import Line, repeated_lines
from verifier.files.mapping.words import Guess, ends_are_numbered, guess
from verifier.files.plan.columns import Column
from verifier.files.plan.scalars import parser
from verifier.files.sheets.find_headings import heading_text
from verifier.files.sheets.page import Page

_LOOKED_AT = 200
"""Rows whose values are looked at."""

_TWICE = 2


@dataclasses.dataclass(slots=True)
class TheirColumn:
    """A column of theirs: what it seems to be, and why a person should look at it.

    Attributes:
        says: what the mapping must say of its figures: `unit`, `decimal`.
        maybe: fields that it could be, where it is not known which.
    """

    heading: str
    unit: str
    values: list[Any]
    guess: Guess | None
    fields: tuple[str, ...] = ()
    says: dict[str, str] = dataclasses.field(default_factory=dict)
    doubt: str = ""
    maybe: tuple[str, ...] = ()


@dataclasses.dataclass(slots=True)
class TheirTable:
    """A table of theirs.

    Attributes:
        row: what a row is; empty where that is not to be seen.
        made: texts for fields that no column holds.
        fill_down: headings of columns whose empty cells repeat what stands above.
    """

    page: Page
    layout: Layout
    columns: list[TheirColumn]
    row: str = ""
    row_doubt: str = ""
    made: dict[str, str] = dataclasses.field(default_factory=dict)
    fill_down: list[str] = dataclasses.field(default_factory=list)

    def has(self, field: str, side: str = "") -> TheirColumn | None:
        """The column that seems to be a field, at an end."""
        wanted = (c for c in self.columns if c.guess and c.guess.field == field)
        return next((c for c in wanted if c.guess and c.guess.side == side), None)


def their_tables(page: Page) -> list[TheirTable]:
    """What the tables of a page seem to be."""
    return [_their_table(seen) for seen in seen_tables(page)]


def _their_table(seen: SeenTable) -> TheirTable:
    table = seen.table
    names = dict(names_of(table))
    numbered = ends_are_numbered(names.values())
    again = repeated_lines(table)
    lines = [
        line
        for line in table.lines[: 2 * _LOOKED_AT]
        if len(line.cells) * _MANY > len(table.headings) and line.number not in again
    ][:_LOOKED_AT]
    columns = []
    for at, name in names.items():
        values = [line.cells[at].value for line in lines if at in line.cells]
        meant = guess(re.sub(r" #[0-9]+$", "", name), numbered=numbered)
        if seen.layout == "rows" and at in seen.page.hidden_columns:
            meant = Guess("", "", sure=True, reason="it is hidden")
        columns.append(TheirColumn(name, table.headings[at].unit, values, meant))
    sheet = TheirTable(seen.page, seen.layout, columns)
    _by_values(sheet)
    _beside_latitude(sheet)
    _kind_of_row(sheet)
    if sheet.row:
        _fields(sheet)
        _make_names(sheet)
        sheet.fill_down = list(_repeated(sheet, lines, names))
    return sheet


def _repeated(sheet: TheirTable, lines: list[Line], names: dict[int, str]) -> Iterator[str]:
    """The columns of names whose cell stands in the first row of several only."""
    fields = {c.heading: c.fields for c in sheet.columns}
    for at, name in names.items():
        filled = [at in line.cells for line in lines]
        if filled and filled[0] and not all(filled) and set(fields[name]) & _REPEATED:
            yield name


_REPEATED = frozenset(("Links.name", "Sites.name", "Devices.site", "Sites.a.name", "Devices.name"))
_MANY = 3


def _by_values(sheet: TheirTable) -> None:
    """Guesses by the values where the heading says nothing, and doubts where they disagree."""
    for column in sheet.columns:
        looks = looks_like(column.values)
        if column.guess is None:
            if looks:
                column.guess = Guess(looks, "", sure=False, reason="by its values alone")
        else:
            column.guess = chosen(column.guess, column.unit, column.values)
        if column.guess is not None and not (column.guess.sure or column.guess.secret):
            column.doubt = column.guess.reason


def _beside_latitude(sheet: TheirTable) -> None:
    """What may be a length or a longitude is the longitude beside a latitude of the same end."""
    for column in sheet.columns:
        found = column.guess
        if found is None or "Sites.longitude" not in found.fields or not found.others:
            continue
        if sheet.has("Sites.latitude", found.side) is not None:
            column.guess = dataclasses.replace(
                found, field="Sites.longitude", others=(), sure=True, reason=""
            )
            column.doubt = ""


def _kind_of_row(sheet: TheirTable) -> None:
    """What a row of the sheet is; empty where that is not to be seen. Settles the ends' names."""
    guesses = [c.guess for c in sheet.columns if c.guess and c.guess.field]
    fields = {g.field for g in guesses}
    sides = {(g.field, g.side) for g in guesses}
    link = sheet.has("Links.name")
    twice = link is not None and _twice(link.values)
    of_both = any(g.side == "both" for g in guesses)
    of_both = of_both or any((f, "a") in sides and (f, "b") in sides for f in fields)
    relative = any((f, "far") in sides and sides & {(f, "near"), (f, "")} for f in fields)
    if of_both or (relative and not twice and not _mirrored(sheet)):
        sheet.row = "link"
        _rename(sheet, _SEEN_FROM_A if of_both else {**_SEEN_FROM_A, "": "a"})
    elif relative or (link and (fields & _of_end() or (twice and fields & _DEVICE))):
        sheet.row = "end"
        _rename(sheet, {"near": ""})
        if link and not twice:
            sheet.row_doubt = "not every link has two rows"
    elif fields & _DEVICE:
        sheet.row = "device"
    elif "Sites.latitude" in fields:
        sheet.row = "site"


_SEEN_FROM_A: dict[Side, Side] = {"near": "a", "far": "b"}
_DEVICE = frozenset(("Devices.address", "Devices.name"))


def _of_end() -> frozenset[str]:
    """The fields that an end of a link has."""
    columns = columns_by_field().items()
    return frozenset(name for name, column in columns if column.path[0] in ("a", "b"))


def _twice(values: list[Any]) -> bool:
    """Whether most links are named in an even number of rows."""
    times = Counter(map(heading_text, values)).values()
    return 2 * sum(count % _TWICE == 0 for count in times) > len(times)


def _mirrored(sheet: TheirTable) -> bool:
    """Whether what one row has at its far end another has as its own."""
    for far in sheet.columns:
        if far.guess and far.guess.side == "far" and far.guess.field in _NAMES:
            own = sheet.has(far.guess.field) or sheet.has(far.guess.field, "near")
            if own and {*map(heading_text, own.values)} == {*map(heading_text, far.values)}:
                return True
    return False


_NAMES = ("Sites.name", "Devices.name", "Devices.address")


def _rename(sheet: TheirTable, sides: dict[Side, Side]) -> None:
    """Calls ends as a row of the sheet has them: near and far become A and B in one of a link."""
    for column in sheet.columns:
        if column.guess is None or column.guess.side not in sides:
            continue
        if not column.guess.side and sheet.has(column.guess.field, "far") is None:
            continue
        wanted = columns_by_field().get(column.guess.field)
        of_end = column.guess.field.startswith(("Devices.", "Sites.")) or (
            wanted is not None and wanted.path[0] in ("a", "b")
        )
        if column.guess.side or of_end:
            column.guess = dataclasses.replace(column.guess, side=sides[column.guess.side])


def _fields(sheet: TheirTable) -> None:
    """The field of each column, by what a row is; one column each."""
    known = targets_of(sheet.row)
    taken: dict[str, str] = {}
    for column in sorted(sheet.columns, key=lambda c: bool(c.doubt)):
        if column.guess is None or not column.guess.field:
            continue
        fields = _names(sheet, column.guess)
        if not set(fields) <= known.keys():
            column.doubt = f"perhaps {column.guess.field}, but of which end?"
            column.maybe = _at_ends(sheet, column.guess, known)
        elif again := [field for field in fields if field in taken]:
            _same_field(column, next(c for c in sheet.columns if c.heading == taken[again[0]]))
            column.maybe = fields
        else:
            taken |= dict.fromkeys(fields, column.heading)
            column.fields = fields
            others = (dataclasses.replace(column.guess, field=f) for f in column.guess.others)
            more = (name for other in others for name in _names(sheet, other) if name in known)
            column.maybe = tuple(dict.fromkeys((*fields, *more)))
            if len(fields) > 1 and column.guess.field not in _SHARED:
                column.doubt = "; ".join(filter(None, (column.doubt, "of both ends?")))
            _see_habit(column, known[fields[0]].column)
            _settle(column, known[fields[0]].column)
            _doubt_words(column, known[fields[0]].column)


def _same_field(column: TheirColumn, first: TheirColumn) -> None:
    """Two columns seem to be one field: which is the plan? Where one says that it is, it is."""
    column.doubt = f"it may be what {first.heading!r} is: which of them is the plan?"
    states = [c.guess.state if c.guess is not None else "" for c in (first, column)]
    if states[0] != "planned" and states[1] in ("", "planned") and not first.doubt:
        first.doubt = f"it may be what {column.heading!r} is: which of them is the plan?"


_SHARED = frozenset(("Devices.mask", "Devices.gateway", "Devices.management_vlan", "Devices.snmp"))
"""What both ends of a link most often share; the rules find where they cannot."""


def _names(sheet: TheirTable, found: Guess) -> tuple[str, ...]:
    """The names in a mapping of what a column seems to be; of both ends where it says of none."""
    names = tuple(_field(sheet, dataclasses.replace(found, side=s)) for s in (found.side, "a", "b"))
    both = sheet.row == "link" and not found.side and names[0] not in targets_of("link")
    return names[1:] if both and names[0].startswith("Devices.") else names[:1]


def _at_ends(sheet: TheirTable, found: Guess, known: dict[str, MappedField]) -> tuple[str, ...]:
    """The names of a field at any end that a row of the sheet knows."""
    fields = [dataclasses.replace(found, field=field) for field in found.fields]
    sides: tuple[Side, ...] = ("", "a", "b", "far")
    names = (_field(sheet, dataclasses.replace(f, side=s)) for f in fields for s in sides)
    return tuple(name for name in dict.fromkeys(names) if name in known)


def _field(sheet: TheirTable, found: Guess) -> str:
    """The name in a mapping of what a column seems to be."""
    field, side = found.field, found.side
    if field == "Devices.name" and sheet.row in ("link", "end") and not _any(sheet, "Devices."):
        field = "Links.device"
    if sheet.row not in ("link", "end") or not side:
        return field
    room, _, name = field.partition(".")
    return f"{room}.{side}.{name}"


def _any(sheet: TheirTable, start: str) -> bool:
    fields = {c.guess.field for c in sheet.columns if c.guess} - {"Devices.name"}
    return any(field.startswith(start) for field in fields)


def _see_habit(column: TheirColumn, ours: Column) -> None:
    """What the cells of a column are a form of."""
    form, doubt = habit_of(ours.path[-1], column.values)
    if form is not None:
        column.says["form"] = form
        column.doubt = "; ".join(filter(None, (column.doubt, doubt)))


def _settle(column: TheirColumn, ours: Column) -> None:
    """Decimal sign and unit of a column of figures, and why a person must look at them."""
    if ours.kind != "number" or "form" in column.says:
        return
    found = settled(ours, column.unit, column.values)
    if found.decimal == "," and not ours.angle:
        column.says["decimal"] = ","
    if found.unit not in ("", ours.unit) or (found.unit and not column.unit):
        column.says["unit"] = found.unit
    column.doubt = "; ".join(filter(None, (column.doubt, found.doubt)))


def _doubt_words(column: TheirColumn, ours: Column) -> None:
    """Doubts a column of a few words where theirs are not ours."""
    for value in column.values if ours.choices else ():
        try:
            parser(ours.hint)(heading_text(value))
        except ValueError as fault:
            column.doubt = str(fault)
            return


def _make_names(sheet: TheirTable) -> None:
    """Names of links and devices, where no column holds them, of the names that are there."""
    fed = {field for column in sheet.columns for field in column.fields}
    places = {
        side: next(
            (c.heading for f in ("Devices.name", "Sites.name") if (c := sheet.has(f, side))), ""
        )
        for side in ("a", "b", "", "far")
    }
    link = sheet.has("Links.name")
    if sheet.row == "link":
        if "Links.name" not in fed and places["a"] and places["b"]:
            sheet.made["Links.name"] = f"{{{places['a']}}} - {{{places['b']}}}"
        named = f"{{{link.heading}}}" if link else sheet.made.get("Links.name", "")
        for side in ("a", "b"):
            if named and not fed & {f"Links.{side}.device", f"Devices.{side}.name"}:
                place = f"{{{places[side]}}}" if places[side] and link else side.upper()
                sheet.made[f"Devices.{side}.name"] = f"{named} {place}"
    if sheet.row == "end":
        _make_names_of_ends(sheet, places, fed)


def _make_names_of_ends(sheet: TheirTable, places: dict[str, str], fed: set[str]) -> None:
    """Names of a link that its two rows write in either order, and of the device at its end."""
    link = sheet.has("Links.name")
    own, far = places[""], places["far"]
    if "Links.name" not in fed and own and far:
        sheet.made["Links.name"] = f"{{{own}}} <> {{{far}}}"
    if fed & {"Links.device", "Devices.name"}:
        return
    place = own or next((c.heading for c in sheet.columns if "Links.end" in c.fields), "")
    if place and (link or far):
        named = f"{{{link.heading}}} {{{place}}}" if link else f"{{{own}}}-{{{far}}}"
        sheet.made["Devices.name"] = named
