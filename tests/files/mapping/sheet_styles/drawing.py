"""Sheets drawn at random from a true plan, in the styles of different houses."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from tests.files.mapping.sheet_styles import words
from tests.files.mapping.sheet_styles.truth import OF_END, OF_LINK, Key, Truth, draw_truth

STYLES = (
    "link", "link grouped", "end", "end with far", "fill down", "form", "forms stacked",
    "transposed", "stacked", "relational", "split cells",
)  # fmt: skip
_TEXTS = frozenset(("latitude", "longitude"))
_DEVICE = ("address", "mask", "gateway", "vlan", "serial", "mac")


@dataclass(slots=True)
class DrawnCell:
    """A cell: what is written, and the true values that it tells."""

    value: Any
    keys: tuple[Key, ...] = ()
    struck: bool = False


@dataclass(slots=True)
class DrawnPage:
    """A sheet: cells by row and column, both from 1."""

    name: str
    cells: dict[tuple[int, int], DrawnCell] = field(default_factory=dict)
    merges: list[tuple[int, int, int, int]] = field(default_factory=list)
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    hidden: bool = False
    row: str = "link"

    def put(self, row: int, column: int, value: Any, *keys: Key) -> None:
        """Writes a cell; an empty text is none."""
        if value not in ("", None):
            self.cells[row, column] = DrawnCell(value, keys)

    def strike(self, row: int) -> None:
        for (at, _), cell in self.cells.items():
            if at == row:
                cell.struck = True

    @property
    def last_row(self) -> int:
        return max((row for row, _ in self.cells), default=0)


@dataclass(frozen=True, slots=True)
class DrawnColumn:
    """What a column holds.

    Attributes:
        what: the value, as `truth` names it; `=` for a word that is not true of anything.
        side: `a`, `b`, `own` or `far` in a row of one end; empty for the link.
        heading: as it is written, with its unit where that stands there.
        group: what stands above it; part of its name.
        clear: whether heading, unit and figures say what it is.
        noise: what its cells hold, where it is no part of a plan.
    """

    what: str
    side: str
    heading: str
    group: str = ""
    clear: bool = True
    noise: tuple[object, ...] = ()


@dataclass(slots=True)
class DrawnSheet:
    """All of it: what is true, what is written, and how."""

    seed: int
    style: str
    language: str
    truth: Truth
    rng: random.Random
    csv: bool = False
    comma: bool = False
    thousands: bool = False
    as_text: bool = False
    unit_place: str = "brackets"
    sides: tuple[str, str, str] = ("{} A", "{} B", "ab")
    sides_group: tuple[str, str] = ("A", "B")
    far: str = "Far {}"
    with_prefix: bool = False
    wanted: tuple[str, ...] = ()
    pages: list[DrawnPage] = field(default_factory=list)
    columns: list[DrawnColumn] = field(default_factory=list)
    headings: dict[str, str] = field(default_factory=dict)
    dropped: set[int] = field(default_factory=set)

    def heading(self, what: str) -> str:
        """The word of this house for a value, the same each time."""
        if what not in self.headings:
            self.headings[what] = self.rng.choice(words.HEADINGS[self.language][what])
        return self.headings[what]

    def with_unit(self, what: str, text: str) -> str:
        """A heading with its unit, where it stands there."""
        unit = self.truth.units.get(what)
        if unit is None or self.unit_place in ("row", "cell", "none"):
            return text
        form = {"brackets": "{} ({})", "square": "{} [{}]", "plain": "{} {}", "in": "{} in {}"}
        return form[self.unit_place].format(text, unit.text)

    def is_clear(self, what: str, side: str) -> bool:
        """Whether a person who reads heading and unit knows at once what the column is."""
        unit = self.truth.units.get(what)
        known = unit is None or (unit.clear and self.unit_place != "none")
        return known and self.heading(what) not in words.VAGUE and side != "?"

    def written(self, key: Key) -> Any:
        """A value as this house writes it."""
        what = key[2]
        if key in self.truth.figures:
            return self.figure(self.truth.figures[key].written, what)
        text = self.truth.texts[key]
        if what == "address" and self.with_prefix:
            return f"{text}/24"
        if what == "mask":
            return "255.255.255.0"
        if what in _TEXTS:
            return self.number(Decimal(text))
        if what == "modulation":
            return text if "QAM" not in text or self.seed % 3 else text.replace("QAM", " QAM")
        return int(text) if what == "vlan" and not self.csv else text

    def figure(self, written: Decimal, what: str) -> Any:
        """A figure, with its unit where that stands in the cell."""
        number = self.number(written)
        if self.unit_place == "cell":
            return f"{self.spelt(written)} {self.truth.units[what].text}"
        return number

    def number(self, written: Decimal) -> Any:
        """A number as a workbook holds it, or as text."""
        if self.csv or self.as_text:
            return self.spelt(written)
        return float(written) if written % 1 else int(written)

    def spelt(self, written: Decimal) -> str:
        """A number as people type it."""
        text = f"{written:,f}" if self.thousands and abs(written) >= 1000 else f"{written:f}"
        if self.comma:
            return text.replace(",", "\0").replace(".", ",").replace("\0", ".")
        return text


def keys_of(what: str, link: int, end: str, *, prefix: bool) -> tuple[Key, ...]:
    """The true values that a cell of a column tells."""
    owner = "" if what in OF_LINK else end
    key = (link, owner, what)
    return (key, (link, owner, "mask")) if what == "address" and prefix else (key,)


def draw_sheet(seed: int) -> DrawnSheet:
    """A sheet of one seed; the same each time."""
    rng = random.Random(seed)
    language = rng.choice(("en", "en", "de", "fr", "es"))
    style = STYLES[seed % len(STYLES)]
    drawn = DrawnSheet(seed, style, language, draw_truth(rng), rng)
    drawn.csv = rng.random() < 0.25 and style not in ("form", "relational")
    drawn.comma = rng.random() < (0.15 if language == "en" else 0.7)
    drawn.as_text = rng.random() < 0.25
    drawn.thousands = rng.random() < 0.1
    drawn.unit_place = rng.choice(
        ("brackets", "brackets", "brackets", "square", "plain", "in", "row", "cell", "none")
    )
    if style in ("form", "forms stacked", "transposed") and drawn.unit_place == "row":
        drawn.unit_place = "brackets"
    drawn.sides = rng.choice(words.SIDES[language])
    drawn.sides_group = rng.choice(words.GROUPS[language])
    drawn.far = rng.choice(words.FAR[language])
    drawn.with_prefix = rng.random() < 0.5
    drawn.wanted = _wanted(drawn)
    if drawn.truth.links > 2 and style not in ("form", "forms stacked", "transposed", "relational"):
        drawn.dropped = {n for n in range(drawn.truth.links) if rng.random() < 0.12}
    from tests.files.mapping.sheet_styles.layouts import lay_out  # noqa: PLC0415

    lay_out(drawn)
    return drawn


def _wanted(drawn: DrawnSheet) -> tuple[str, ...]:
    """The values that this house keeps, in its order: always a link's name and the addresses."""
    rng = drawn.rng
    some = [what for what in (*OF_LINK, *OF_END) if rng.random() < 0.55]
    wanted = {"name", "address", *some}
    wanted.discard("mask")
    if not drawn.with_prefix:
        wanted.add("mask")
    if not wanted & {"site", "device"}:
        wanted.add("site")
    if not {"latitude", "longitude"} <= wanted or "site" not in wanted:
        wanted -= {"latitude", "longitude"}
    order = [what for what in OF_LINK if what in wanted]
    ends = [what for what in OF_END if what in wanted]
    if rng.random() < 0.4:
        rng.shuffle(ends)
    if rng.random() < 0.3:
        first, *others = order
        rng.shuffle(others)
        order = [first, *others]
    return (*order, *ends)
