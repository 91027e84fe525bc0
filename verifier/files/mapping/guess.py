"""What somebody's sheet seems to be: the meaning of its columns, what a row is, and the doubts."""

from __future__ import annotations

import dataclasses
import itertools
from collections import Counter
from collections.abc import Iterator
from typing import Any

from verifier.files.faults import Faults
from verifier.files.mapping.cell_words import looks_like
from verifier.files.mapping.dictionary import Side, columns_by_field
from verifier.files.mapping.evidence import chosen, settled
from verifier.files.mapping.model import key_of, targets_of
from verifier.files.mapping.words import Guess, ends_are_numbered, guess
from verifier.files.plan.columns import Column
from verifier.files.plan.scalars import parser
from verifier.files.sheets.find_headings import find_headings, heading_text
from verifier.files.sheets.page import Page, is_blank

_LOOKED_AT = 200
"""Rows whose values are looked at."""

_TWICE = 2
_WORDS = 6
"""Words of a column that stand in its proposal."""


@dataclasses.dataclass(slots=True)
class TheirColumn:
    """A column of theirs: what it seems to be, and why a person should look at it."""

    heading: str
    unit: str
    values: list[Any]
    guess: Guess | None
    fields: tuple[str, ...] = ()
    says: dict[str, Any] = dataclasses.field(default_factory=dict)
    doubt: str = ""
    others: tuple[dict[str, Any], ...] = ()

    @property
    def readings(self) -> Iterator[dict[str, Any]]:
        """What a person may write for it in a mapping, the likeliest first."""
        for more in self.others or ({},):
            yield {"field": self.fields, **self.says, **more}


@dataclasses.dataclass(slots=True)
class TheirSheet:
    """A sheet of theirs.

    Attributes:
        heading_row: 0 where the headings stand in the first row that holds anything.
        row: what a row is; empty where that is not to be seen.
        made: texts for fields that no column holds.
    """

    page: Page
    heading_row: int
    columns: list[TheirColumn]
    row: str = ""
    row_doubt: str = ""
    made: dict[str, str] = dataclasses.field(default_factory=dict)

    def has(self, field: str, side: str = "") -> TheirColumn | None:
        """The column that seems to be a field, at an end."""
        wanted = (c for c in self.columns if c.guess and c.guess.field == field)
        return next((c for c in wanted if c.guess and c.guess.side == side), None)


def seen_sheet(page: Page) -> TheirSheet | None:
    """What a page seems to be; None where it holds no headings."""
    found = find_headings(page, lambda name: guess(name) is not None, Faults())
    if found is None or sum(map(bool, found.names)) < _TWICE:
        return None
    rows = [cells for _, cells in itertools.islice(found.below, _LOOKED_AT)]
    columns = []
    numbered = ends_are_numbered(found.names)
    seen: Counter[str] = Counter()
    for index, name in enumerate(found.names):
        values = [r[index] for r in rows if index < len(r) and not is_blank(r[index])]
        seen[key_of(name)] += 1
        again = seen[key_of(name)]
        if name:
            heading = name if again == 1 else f"{name} #{again}"
            meant = guess(name, numbered=numbered)
            columns.append(TheirColumn(heading, found.units[index], values, meant))
    first = next(iter(page.read(lambda _: True, Faults())), (0, []))[0]
    sheet = TheirSheet(page, found.row if found.row != first else 0, columns)
    _by_values(sheet)
    _kind_of_row(sheet)
    if sheet.row:
        _fields(sheet)
        _make_names(sheet)
    return sheet


def _by_values(sheet: TheirSheet) -> None:
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


def _kind_of_row(sheet: TheirSheet) -> None:
    """What a row of the sheet is; empty where that is not to be seen. Settles the ends' names."""
    guesses = [c.guess for c in sheet.columns if c.guess and c.guess.field]
    fields = {g.field for g in guesses}
    sides = {(g.field, g.side) for g in guesses}
    link = sheet.has("Links.name")
    twice = link is not None and _twice(link.values)
    of_both = any((f, "a") in sides and (f, "b") in sides for f in fields)
    relative = any((f, "far") in sides and sides & {(f, "near"), (f, "")} for f in fields)
    if of_both or (relative and not twice and not _mirrored(sheet)):
        sheet.row = "link"
        _rename(sheet, _SEEN_FROM_A if of_both else {**_SEEN_FROM_A, "": "a"})
    elif relative or (link and fields & _OF_END):
        sheet.row = "end"
        _rename(sheet, {"near": ""})
        if link and not twice:
            sheet.row_doubt = "not every link has two rows"
    elif fields & {"Devices.address", "Devices.name"}:
        sheet.row = "device"
    elif "Sites.latitude" in fields:
        sheet.row = "site"


_SEEN_FROM_A: dict[Side, Side] = {"near": "a", "far": "b"}
_OF_END = frozenset(("Links.tx_mhz", "Links.rx_level_dbm", "Links.azimuth_deg"))


def _twice(values: list[Any]) -> bool:
    """Whether each link is named in an even number of rows."""
    times = Counter(map(heading_text, values)).values()
    return bool(times) and not any(count % _TWICE for count in times)


def _mirrored(sheet: TheirSheet) -> bool:
    """Whether what one row has at its far end another has as its own."""
    for far in sheet.columns:
        if far.guess and far.guess.side == "far" and far.guess.field in _NAMES:
            own = sheet.has(far.guess.field) or sheet.has(far.guess.field, "near")
            if own and {*map(heading_text, own.values)} == {*map(heading_text, far.values)}:
                return True
    return False


_NAMES = ("Sites.name", "Devices.name", "Devices.address")


def _rename(sheet: TheirSheet, sides: dict[Side, Side]) -> None:
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


_ENDS: dict[str, tuple[Side, ...]] = {"link": ("a", "b"), "end": ("", "far")}


def _fields(sheet: TheirSheet) -> None:
    """The field of each column, by what a row is; one column each."""
    known = targets_of(sheet.row)
    taken: dict[str, str] = {}
    for column in sorted(sheet.columns, key=lambda c: bool(c.doubt)):
        if column.guess is None or not column.guess.field:
            continue
        fields = _names(sheet, column.guess)
        if not set(fields) <= known.keys():
            column.doubt = f"perhaps {column.guess.field}, but of which end?"
            sides = _ENDS.get(sheet.row, ())
            ends = (dataclasses.replace(column.guess, side=side) for side in sides)
            wanted = [field for end in ends if (field := _field(sheet, end)) in known]
            column.fields = tuple(wanted[:1])
            column.others = tuple({"field": (field,)} for field in wanted)
        elif again := [field for field in fields if field in taken]:
            first = taken[again[0]]
            column.doubt = f"perhaps {again[0]} too, as {first!r}: only one of them can be"
            column.fields = fields
            column.others = ({"leave_out": f"{first} is read"},)
        else:
            taken |= dict.fromkeys(fields, column.heading)
            column.fields = fields
            if len(fields) > 1:
                column.doubt = "; ".join(filter(None, (column.doubt, "of both ends?")))
            _settle(column, known[fields[0]].column)
            _doubt_words(column, known[fields[0]].column)


def _names(sheet: TheirSheet, found: Guess) -> tuple[str, ...]:
    """The names in a mapping of what a column seems to be; of both ends where it says of none."""
    names = tuple(_field(sheet, dataclasses.replace(found, side=s)) for s in (found.side, "a", "b"))
    both = sheet.row == "link" and not found.side and names[0] not in targets_of("link")
    return names[1:] if both and names[0].startswith("Devices.") else names[:1]


def _field(sheet: TheirSheet, found: Guess) -> str:
    """The name in a mapping of what a column seems to be."""
    field, side = found.field, found.side
    if field == "Devices.name" and sheet.row in ("link", "end") and not _any(sheet, "Devices."):
        field = "Links.device"
    if sheet.row not in ("link", "end") or not side:
        return field
    room, _, name = field.partition(".")
    return f"{room}.{side}.{name}"


def _any(sheet: TheirSheet, start: str) -> bool:
    fields = {c.guess.field for c in sheet.columns if c.guess} - {"Devices.name"}
    return any(field.startswith(start) for field in fields)


def _settle(column: TheirColumn, ours: Column) -> None:
    """Decimal sign and unit of a column of figures, and why a person must look at them."""
    if ours.kind != "number":
        return
    found = settled(ours, column.unit, column.values)
    if found.decimal == "," and not ours.angle:
        column.says["decimal"] = ","
    if found.unit not in ("", ours.unit) or (found.unit and not column.unit):
        column.says["unit"] = found.unit
    signs = [{"decimal": sign} for sign in ".,"] if found.decimal == "either" else [{}]
    units = [{"unit": unit} for unit in found.units] or [{}]
    if len(signs) * len(units) > 1:
        column.others = tuple({**sign, **unit} for unit in units for sign in signs)
    column.doubt = "; ".join(filter(None, (column.doubt, found.doubt)))


def _doubt_words(column: TheirColumn, ours: Column) -> None:
    """Doubts a column of a few words where theirs are not ours."""
    for value in column.values if ours.choices else ():
        try:
            parser(ours.hint)(heading_text(value))
        except ValueError as fault:
            column.doubt = str(fault)
            words = dict.fromkeys(map(heading_text, column.values), "...")
            column.says["values"] = dict(list(words.items())[:_WORDS])
            return


def _make_names(sheet: TheirSheet) -> None:
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
                place = f"{{{places[side]}}}" if places[side] else side.upper()
                sheet.made[f"Devices.{side}.name"] = f"{named} {place}"
    if sheet.row == "end" and link and not fed & {"Links.device", "Devices.name"}:
        end = next((c.heading for c in sheet.columns if "Links.end" in c.fields), "")
        place = places[""] or end
        if place:
            sheet.made["Devices.name"] = f"{{{link.heading}}} {{{place}}}"
