"""What somebody's sheet seems to be: the meaning of its columns, what a row is, and the doubts."""

from __future__ import annotations

import dataclasses
import itertools
import re
from collections import Counter
from typing import Any

from verifier.files.faults import Faults, looks_secret
from verifier.files.mapping.evidence import settled
from verifier.files.mapping.model import key_of, targets_of
from verifier.files.mapping.words import Guess, guess, looks_like
from verifier.files.plan.columns import Column
from verifier.files.plan.scalars import parser
from verifier.files.sheets.find_headings import find_headings, heading_text
from verifier.files.sheets.page import Page, is_blank

_LOOKED_AT = 200
"""Rows whose values are looked at."""

_FIGURE = re.compile(r"\s*[+-]?[0-9]")
_TWICE = 2
_OF_TEXTS = {"Links.path_km": "Links.name"}
"""What the word for a figure means where the values are none."""


@dataclasses.dataclass(slots=True)
class TheirColumn:
    """A column of theirs: what it seems to be, and why a person should look at it."""

    heading: str
    unit: str
    values: list[Any]
    guess: Guess | None
    fields: tuple[str, ...] = ()
    says: dict[str, str] = dataclasses.field(default_factory=dict)
    doubt: str = ""


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
    seen: Counter[str] = Counter()
    for index, name in enumerate(found.names):
        values = [r[index] for r in rows if index < len(r) and not is_blank(r[index])]
        seen[key_of(name)] += 1
        again = seen[key_of(name)]
        if name:
            heading = name if again == 1 else f"{name} #{again}"
            columns.append(TheirColumn(heading, found.units[index], values, guess(name)))
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
        meant = _OF_TEXTS.get(column.guess.field, "") if column.guess else ""
        if column.guess is None:
            if looks and not looks_secret(column.heading):
                column.guess = Guess(looks, "", sure=False)
                column.doubt = "by its values alone"
        elif meant and not any(_FIGURE.match(str(value)) for value in column.values):
            column.guess = Guess(meant, column.guess.side, sure=False)
            column.doubt = "the heading could be one of figures, the values are none"
        elif not column.guess.sure:
            column.doubt = "the heading is only like a known one"


def _kind_of_row(sheet: TheirSheet) -> None:
    """What a row of the sheet is; empty where that is not to be seen."""
    sided = {(c.guess.field, c.guess.side) for c in sheet.columns if c.guess and c.guess.side}
    fields = {c.guess.field for c in sheet.columns if c.guess}
    link = sheet.has("Links.name")
    if any((field, "a") in sided and (field, "b") in sided for field, _ in sided):
        sheet.row = "link"
    elif link and fields & {"Links.tx_mhz", "Links.rx_level_dbm", "Links.azimuth_deg"}:
        sheet.row = "end"
        times = Counter(map(heading_text, link.values)).values()
        if any(count % _TWICE for count in times):
            sheet.row_doubt = "not every link has two rows"
    elif fields & {"Devices.address", "Devices.name"}:
        sheet.row = "device"
    elif "Sites.latitude" in fields:
        sheet.row = "site"


def _fields(sheet: TheirSheet) -> None:
    """The field of each column, by what a row is; one column each."""
    known = targets_of(sheet.row)
    taken: dict[str, str] = {}
    for column in sorted(sheet.columns, key=lambda c: bool(c.doubt)):
        if column.guess is None or not column.guess.field:
            continue
        fields = _names(sheet, column.guess)
        if not set(fields) <= known.keys():
            column.doubt = f"perhaps {column.guess.field}, but not of which end"
        elif again := [field for field in fields if field in taken]:
            column.doubt = f"perhaps {again[0]} too, as {taken[again[0]]!r}"
        else:
            taken |= dict.fromkeys(fields, column.heading)
            column.fields = fields
            if len(fields) > 1:
                column.doubt = "of both ends?"
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
    if sheet.row != "link" or not side:
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
    column.doubt = "; ".join(filter(None, (column.doubt, found.doubt)))


def _doubt_words(column: TheirColumn, ours: Column) -> None:
    """Doubts a column of a few words where theirs are not ours."""
    for value in column.values if ours.choices else ():
        try:
            parser(ours.hint)(heading_text(value))
        except ValueError as fault:
            column.doubt = f"{fault}; add values = {{theirs = ours, ...}}"
            return


def _make_names(sheet: TheirSheet) -> None:
    """Names of links and devices, where no column holds them, of the names that are there."""
    fed = {field for column in sheet.columns for field in column.fields}
    places = {
        side: next(
            (c.heading for f in ("Devices.name", "Sites.name") if (c := sheet.has(f, side))), ""
        )
        for side in ("a", "b", "")
    }
    if sheet.row == "link" and places["a"] and places["b"]:
        if "Links.name" not in fed:
            sheet.made["Links.name"] = f"{{{places['a']}}} - {{{places['b']}}}"
        for side, far in (("a", "b"), ("b", "a")):
            if not fed & {f"Links.{side}.device", f"Devices.{side}.name"}:
                name = f"{{{places[side]}}}-{{{places[far]}}}"
                sheet.made[f"Devices.{side}.name"] = name
    link = sheet.has("Links.name")
    if sheet.row == "end" and places[""] and link and not fed & {"Links.device", "Devices.name"}:
        sheet.made["Devices.name"] = f"{{{places['']}}}-{{{link.heading}}}"
