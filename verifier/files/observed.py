"""The sheet of what a person saw (`--observed`): read strictly, written empty."""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
import json
import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from verifier.errors import InputError
from verifier.files.disk import read_bytes
from verifier.files.faults import Faults, nearest, shown
from verifier.files.plan.columns import Column, normal
from verifier.files.plan.joined_texts import guarded
from verifier.files.plan.scalars import parser
from verifier.files.plan.units import SAME, Scale, scale, unit_named
from verifier.files.sheets.cell_number import NumberStyle, read_number
from verifier.files.sheets.csv_read import csv_page
from verifier.files.sheets.page import Page, is_blank, listed
from verifier.model.manual import BY_CHECK, ENTRY, NOT_APPLICABLE, Item, ManualEntry, Observed
from verifier.model.plan import Plan
from verifier.model.problem import Problem, Subject

MAX_PHOTO = 256 * 1024 * 1024
_BOM = "\N{ZERO WIDTH NO-BREAK SPACE}"
_NEEDED = ("device", "check", "value")
_KINDS: Mapping[str, Any] = {"at": dt.datetime, "calibration_due": dt.date}
_OTHERS = ("by", "instrument", "instrument_serial", "note")
_LARGEST: Mapping[str, float] = {"deg": 360, "m": 1000, "V": 1000}
"""Nothing that is measured at a link is larger: a figure beyond is a slip of the pen."""
_POLARISATIONS = {
    "v": "V", "vertical": "V", "h": "H", "horizontal": "H", "v+h": "V+H", "h+v": "V+H",
    "v/h": "V+H", "dual": "V+H", "both": "V+H",
}  # fmt: skip
_EMPTY_WORDS = frozenset(("yes", "no", "ok", "x", "true", "false", "done", "as planned"))
"""No text of a sticker and no weather: they say that somebody looked, not what was there."""
_INAPPLICABLE = re.compile(r"n\.?\s*/?\s*a\.?|not applicable", re.IGNORECASE)
_LOCAL = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2})?")
"""A moment without a zone."""
_UNIT_AT_END = re.compile(r"[0-9][\s]*([^0-9\s.,'+-][^0-9]*)$")


def read_observed(path: Path, plan: Plan) -> tuple[Observed, tuple[Problem, ...]]:
    """What a person filled in for devices of `plan`, and warnings about how it was read.

    A row without a value is not filled in; a time without a zone is this machine's local time; both
    are among the warnings. Raises InputError with every wrong row at once, each
    with row and column.
    """
    page, faults = csv_page(path), Faults()
    reader = _SheetReader(page=page, folder=path.parent, plan=plan, faults=faults)
    columns: dict[str, int] | None = None
    width = 0
    found: list[ManualEntry] = []
    for number, cells in page.read(lambda heading: _named(heading) in ENTRY, faults):
        texts = ["" if is_blank(c) else str(c).strip() for c in cells]
        if not any(texts):
            continue
        if columns is None:
            columns, width = _columns(texts, page, number, faults), len(texts)
            continue
        if any(texts[width:]):
            message = "the row has more cells than there are headings"
            faults.error("row-too-long", page.origin(number), message)
        row = {name: texts[n] for name, n in columns.items() if n < len(texts)}
        if (entry := reader.entry(number, row)) is not None:
            found.append(entry)
    reader.tell()
    if columns is None:
        raise InputError(f"{path}: is empty: `cards --blank` writes the sheet to fill in")
    _refuse(path, faults)
    digest = hashlib.sha256(read_bytes(path)).hexdigest()
    seen = {(e.device, e.check) for e in found}
    blank = tuple(b for b in dict.fromkeys(reader.blank) if b not in seen)
    made = Observed(file=path.name, sha256=digest, entries=tuple(found), blank=blank)
    return made, faults.problems()


def _refuse(path: Path, faults: Faults) -> None:
    problems = faults.problems()
    if errors := sum(p.severity == "error" for p in problems):
        raise InputError(
            f"{path} has {errors} error{'s' if errors > 1 else ''}; nothing was sent", problems
        )


def _named(heading: str) -> str:
    """The column that a heading means, whatever its case, spaces and underscores."""
    known = {normal(name): name for name in ENTRY}
    return known.get(normal(heading), heading)


def _columns(texts: Sequence[str], page: Page, number: int, faults: Faults) -> dict[str, int]:
    """Where each column stands. Raises InputError where one that is needed is missing."""
    columns: dict[str, int] = {}
    for n, heading in enumerate(texts):
        name = _named(heading)
        origin = page.origin(number, heading)
        if name in columns:
            faults.error("column-twice", origin, f"column {name} is there twice")
        elif name in ENTRY:
            columns[name] = n
        elif heading:
            faults.unknown(heading, origin, ENTRY)
    if missing := [name for name in _NEEDED if name not in columns]:
        message = f"no column {', '.join(missing)}: the headings are {', '.join(ENTRY)}"
        raise faults.fatal("column-missing", page.origin(number), message)
    return columns


@dataclass(frozen=True, slots=True, kw_only=True)
class _SheetReader:
    """Reads the rows of one sheet; what is wrong goes to `faults`.

    Attributes:
        blank: device and check of each row that is not filled in.
        local: rows with a time without a zone, and the zone that was taken.
    """

    page: Page
    folder: Path
    plan: Plan
    faults: Faults
    blank: list[tuple[str, str]] = field(default_factory=list)
    local: list[tuple[int, str]] = field(default_factory=list)

    def tell(self) -> None:
        """Names the rows that are not filled in, and says which zone was taken for local times."""
        if self.blank:
            checks: dict[str, list[str]] = {}
            for device, check in self.blank:
                checks.setdefault(device, []).append(check.removeprefix("manual."))
            named = "; ".join(f"{device}: {', '.join(names)}" for device, names in checks.items())
            one = len(self.blank) == 1
            message = f"{len(self.blank)} row{' is' if one else 's are'} not filled in: {named}"
            self.faults.warn("not-filled-in", self.page.origin(None), message)
        for zone in dict.fromkeys(zone for _, zone in self.local):
            rows = [number for number, taken in self.local if taken == zone]
            message = (
                f"time without a zone in row {listed(rows)}: taken as local time of this laptop, "
                f"{zone}"
            )
            self.faults.warn("local-time", self.page.origin(rows[0], "at"), message)

    def entry(self, number: int, row: Mapping[str, str]) -> ManualEntry | None:
        """The row, or None where it is not filled in or is wrong."""
        subject = self._device(number, row.get("device", ""))
        item = self._item(number, row.get("check", ""), subject)
        if not row.get("value"):
            for column in ("photo", "note"):
                if row.get(column):
                    message = f"{column} without a value: write what it shows into column value"
                    self._wrong(number, "value", message, subject)
            if item is not None and subject is not None:
                self.blank.append((subject.name, item.check))
            return None
        given = _INAPPLICABLE.fullmatch(row["value"]) is None
        value = self._value(number, row, item, subject) if item is not None and given else None
        at, zone = self._moment(number, row, subject)
        due = self._typed(number, "calibration_due", row, subject)
        photo = self._photo(number, row.get("photo", ""), subject)
        others = {c: self._typed(number, c, row, subject) for c in _OTHERS}
        if not given and not row.get("note"):
            self._wrong(number, "note", "n/a needs its reason here", subject)
        if item is None or subject is None or (given and value is None):
            return None
        kept = {
            "value": row["value"] if given else NOT_APPLICABLE, "unit": row.get("unit"),
            "by": others["by"], "at": row.get("at"), "zone": zone,
            "instrument": others["instrument"], "instrument_serial": others["instrument_serial"],
            "calibration_due": due and due.isoformat(), "photo": row.get("photo"),
            "photo_sha256": photo, "note": others["note"],
            "row": str(self.page.origin(number)),
        }  # fmt: skip
        raw = json.dumps({k: v for k, v in kept.items() if v}, ensure_ascii=False)
        return ManualEntry(
            device=subject.name, check=item.check, value=value, unit=item.unit, at=at, raw=raw
        )

    def _wrong(self, number: int, column: str, message: str, subject: Subject | None) -> None:
        origin = self.page.origin(number, column)
        self.faults.error("observed", origin, message, subject or Subject("network", ""))

    def _device(self, number: int, text: str) -> Subject | None:
        names = [d.name for d in self.plan.devices]
        if text in names:
            return Subject("device", text)
        hint = nearest(text, names) if text else ": write the name of the device"
        message = f"no device {shown(text)} in the plan{hint}" if text else f"no device{hint}"
        self._wrong(number, "device", message, None)
        return None

    def _item(self, number: int, text: str, subject: Subject | None) -> Item | None:
        name = text.lower() if text.lower().startswith("manual.") else f"manual.{text.lower()}"
        if (item := BY_CHECK.get(name)) is not None:
            if item.radio and subject is not None and not any(self.plan.links_of(subject.name)):
                message = (
                    f"{item.check} is of a device at the end of a link; {subject.name} is none"
                )
                self._wrong(number, "check", message, subject)
                return None
            return item
        if "." in text and not text.lower().startswith("manual."):
            hint = ": a person enters manual.* only, the rest is measured"
        else:
            hint = nearest(name, BY_CHECK) or f"; there are {', '.join(BY_CHECK)}"
        self._wrong(number, "check", f"there is no check {shown(text)}{hint}", subject)
        return None

    def _value(
        self, number: int, row: Mapping[str, str], item: Item, subject: Subject | None
    ) -> float | bool | str | None:
        text, unit = row["value"], row.get("unit", "")
        column = "unit"
        try:
            times = _times(unit, item)
            column = "value"
            if item.kind == "number":
                return self._number(number, text, unit, times, item)
            return _worded(text, item)
        except ValueError as fault:
            self._wrong(number, column, str(fault), subject)
            return None

    def _number(self, number: int, text: str, unit: str, times: Scale, item: Item) -> float:
        own = _UNIT_AT_END.search(text)
        if own and unit and unit_named(own[1]) != unit_named(unit):
            raise ValueError(f"{shown(text)} names another unit than column unit, {shown(unit)}")
        wanted = Column(("value",), "value", "number", item.unit or "")

        def note(rule: str, words: str) -> None:
            self.faults.warn(rule, self.page.origin(number, "value"), words)

        figure = float(read_number(text, wanted, NumberStyle(scale=times), note))
        largest = _LARGEST[item.unit or ""]
        if not abs(figure) <= largest:
            raise ValueError(f"{shown(text)} is beyond {largest:g} {item.unit}")
        return figure

    def _typed(
        self, number: int, column: str, row: Mapping[str, str], subject: Subject | None
    ) -> Any:
        """A cell that is not judged, by the kind of its column; None where it is empty or wrong."""
        if not (text := row.get(column, "")):
            return None
        try:
            return parser(_KINDS.get(column, str))(text)
        except ValueError as fault:
            self._wrong(number, column, str(fault), subject)
            return None

    def _moment(
        self, number: int, row: Mapping[str, str], subject: Subject | None
    ) -> tuple[dt.datetime | None, str | None]:
        """The moment of a row, and the zone that was taken where it names none."""
        text = " ".join(row.get("at", "").split())
        if not _LOCAL.fullmatch(text):
            return self._typed(number, "at", row, subject), None
        try:
            at = _local(dt.datetime.fromisoformat(text))
        except (ValueError, OverflowError) as fault:
            message = f"{shown(text)} is no moment of local time: {fault}"
            self._wrong(number, "at", message, subject)
            return None, None
        zone = f"UTC{at.isoformat()[-len('+00:00') :]}"
        self.local.append((number, zone))
        return at.astimezone(dt.UTC), zone

    def _photo(self, number: int, text: str, subject: Subject | None) -> str | None:
        """The SHA-256 of the photo, which lies in the folder of the sheet or below it."""
        if not text:
            return None
        try:
            place = Path(os.path.realpath(self.folder / text))  # where links lead
            if not place.is_relative_to(os.path.realpath(self.folder)):
                message = f"{shown(text)} leads outside the folder of the sheet: put it beside it"
                self._wrong(number, "photo", message, subject)
                return None
            return hashlib.sha256(read_bytes(place, MAX_PHOTO)).hexdigest()
        except (InputError, ValueError) as fault:  # ValueError: a NUL in the name
            self._wrong(number, "photo", str(fault), subject)
            return None


def _local(moment: dt.datetime) -> dt.datetime:
    """A moment of local time with its zone. Raises ValueError where clocks were changed then."""
    at, later = moment.astimezone(), moment.replace(fold=1).astimezone()
    if at.utcoffset() != later.utcoffset():
        raise ValueError("the clocks were changed then; write its zone, such as +01:00")
    return at


def _times(unit: str, item: Item) -> Scale:
    """What a figure in the unit of the row needs to be in the item's. Raises ValueError."""
    if not unit or normal(unit) == normal(item.unit_cell):
        return SAME
    if item.kind != "number":
        raise ValueError(f"{shown(unit)}: {item.check} has no unit, leave it empty")
    if not (named := unit_named(unit)):
        raise ValueError(f"{shown(unit)} is no unit that is known: write {item.unit}")
    return scale(named, item.unit or "")


def _worded(text: str, item: Item) -> bool | str:
    """A flag, a polarisation or a text. Raises ValueError with a plain message."""
    if item.kind == "flag":
        try:
            return bool(parser(bool)(text))
        except ValueError:  # what stands there may be the very password: it is not shown
            raise ValueError("write yes or no; whatever else is to be said goes to note") from None
    if item.kind == "polarisation":
        word = re.sub(r"\s|polari[sz]ation", "", text.lower())
        if (found := _POLARISATIONS.get(word)) is None:
            raise ValueError(f"{shown(text)} is none of V, H, V+H")
        return found
    if text.lower() in _EMPTY_WORDS:
        raise ValueError(f"{shown(text)} does not say what there is: write it as you see it")
    return str(parser(str)(text))


def blank_sheet(rows: Iterable[tuple[str, Item]]) -> bytes:
    """An empty sheet, a row for each device and thing to look at; spreadsheets open it as UTF-8."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow(ENTRY)
    for device, item in rows:
        filled = {"device": guarded(device), "check": item.check, "unit": item.unit_cell}
        writer.writerow([filled.get(column, "") for column in ENTRY])
    return (_BOM + stream.getvalue()).encode()
