"""Mappings: which of their headings holds which of our fields, and what a row of theirs is."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Literal

from verifier.files.mapping.dictionary import Words
from verifier.files.mapping.form import (
    Layout,
    RowKind,
    SkipForm,
)
from verifier.files.mapping.habits import CellForm
from verifier.files.plan.columns import Column, sheets
from verifier.files.plan.units import Scale
from verifier.model.problem import Origin

SHEETS_OF: dict[str, tuple[str, ...]] = {
    "link": ("Links", "Devices", "Sites"),
    "end": ("Links", "Devices", "Sites"),
    "device": ("Devices", "Sites", "Addresses", "Ports"),
    "site": ("Sites",),
    "port": ("Ports",),
    "address": ("Addresses",),
    "host": ("Hosts",),
    "maintenance": ("Maintenance",),
}
"""What a row of each kind may tell of."""

END = Column(("end", "end"), "End")
"""Which end of its link a row is: A or B."""

FAR = "far"
"""The end of the link that a row of one end is not about."""

PLACEHOLDER = re.compile(r"\{([^{}]*)\}")


@dataclass(frozen=True, slots=True)
class MappedField:
    """A field of ours: in which sheet, at which end where a row has two, in which column.

    Attributes:
        name: what it is called in a mapping: `Links.a.tx_mhz`.
        side: `a` or `b` in a row of a link, `far` in a row of an end; else empty.
    """

    name: str
    sheet: str
    side: str
    column: Column


State = Literal["read", "left out", "unread", "unsure"]


@dataclass(frozen=True, slots=True)
class Theirs:
    """A column of theirs.

    Attributes:
        targets: what it feeds; none where it is not read.
        unit: that the mapping says; empty where the heading says it.
        scales: for each target what its figures need; None where the heading's unit says it.
        decimal: its decimal sign; None where that of the table holds.
        split: the form of a cell that holds several; the targets stand in its order.
        form: how a cell says its value; `subnet` is that of last octets, `pair` whether the other
            end's frequency follows.
        reason: why a person left it out.
        origin: of its line in the mapping.
    """

    heading: str
    state: State
    targets: tuple[MappedField, ...]
    origin: Origin
    unit: str = ""
    scales: tuple[Scale | None, ...] = ()
    decimal: Literal[".", ","] | None = None
    values: dict[str, str] = field(default_factory=dict)
    split: str = ""
    form: CellForm | None = None
    subnet: str = ""
    pair: bool = False
    reason: str = ""


@dataclass(frozen=True, slots=True)
class TableMapping:
    """One table of theirs; `columns` by `key_of` their heading, `made` are texts by target."""

    pages: tuple[str, ...]
    row: RowKind
    layout: Layout
    heading_row: int | None
    decimal: Literal[".", ","] | None
    fill_down: frozenset[str]
    columns: dict[str, Theirs]
    made: tuple[tuple[MappedField, str], ...]
    skip: SkipForm
    origin: Origin
    words: Words

    def headings(self) -> frozenset[str]:
        """Every heading that the mapping speaks of, as `key_of` gives it, without `#2`."""
        made = (key_of(h) for _, text in self.made for h in PLACEHOLDER.findall(text))
        return frozenset(re.sub(r" #\d+$", "", key) for key in (*self.columns, *made))

    def targets(self) -> Iterator[MappedField]:
        """Every field that is fed."""
        for theirs in self.columns.values():
            yield from theirs.targets
        for target, _ in self.made:
            yield target


@dataclass(frozen=True, slots=True)
class SheetMapping:
    """A whole mapping.

    Attributes:
        sheet: name of the file or folder that it is for; empty where it does not say.
        leave_out: why a person left out a page, by `key_of` its title.
        unsure: the lines that a person must settle: where, and what to do.
    """

    sheet: str
    encoding: str
    values_only: bool
    leave_out: dict[str, str]
    tables: tuple[TableMapping, ...]
    unsure: tuple[tuple[Origin, str], ...]


def key_of(heading: str) -> str:
    """What a heading is found by: case and blanks do not count."""
    return " ".join(heading.split()).casefold()


@functools.cache
def targets_of(row: str) -> dict[str, MappedField]:
    """What a column may feed, by the name it has in a mapping."""
    found: dict[str, MappedField] = {}
    for sheet in SHEETS_OF[row]:
        for column in sheets()[sheet].columns:
            for name, side, at in _named(row, sheet, column):
                full = f"{sheet}.{name}"
                found[full] = MappedField(full, sheet, side, at)
    if row == "end":
        found["Links.end"] = MappedField("Links.end", "Links", "", END)
    return found


def _named(row: str, sheet: str, column: Column) -> Iterator[tuple[str, str, Column]]:
    """The names of a column in a mapping, with the end and the column that each means."""
    name = ".".join(column.path)
    if row == "link" and sheet != "Links":
        for side in "ab":
            yield f"{side}.{name}", side, column
    elif row == "end" and sheet == "Links" and column.path[0] in ("a", "b"):
        if column.path[0] == "a":
            own = ".".join(column.path[1:])
            heading = column.heading.removesuffix(" A")
            for side, more in (("end", ""), (FAR, f"{FAR}.")):
                at = replace(column, path=(side, *column.path[1:]), heading=heading)
                yield f"{more}{own}", "", at
    else:
        yield name, "", column
        if row == "end" and sheet != "Links":
            yield f"{FAR}.{name}", FAR, column
