"""What only a person can see: the one table of `manual.*` checks, and what a person entered.

An entry is kept as an observation with probe `person`: its kind is that of the check, its value
`Entered`, `raw` the row as it was written, as JSON with the keys of `ENTRY`. So the evidence holds
the row as it was written: who, instrument, calibration, hash of the photo.
"""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass, fields
from typing import Literal

from verifier.model.kind import Scalar

ItemKind = Literal["text", "flag", "number", "polarisation"]
ENTRY = (
    "device", "check", "value", "unit", "by", "at", "instrument", "instrument_serial",
    "calibration_due", "photo", "note",
)  # fmt: skip
"""Columns of the sheet of what a person saw."""
NOT_APPLICABLE = "n/a"
"""Kept as `value` of a row that says, with a reason in `note`, that there is nothing to enter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entered:
    """What a person entered of one item, and what stands beside it; empty where nothing does.

    Attributes:
        value: the figure, flag or text that is judged; None: it does not apply, `note` says why.
        by: who saw it.
        at, zone: the time as it was written, and the zone of one that was written without.
        instrument, instrument_serial, calibration_due: with what it was measured.
        photo, photo_sha256: name and hash of a photo.
        row: where it stands.
    """

    value: Scalar | None
    by: str = ""
    at: str = ""
    zone: str = ""
    instrument: str = ""
    instrument_serial: str = ""
    calibration_due: str = ""
    photo: str = ""
    photo_sha256: str = ""
    note: str = ""
    row: str = ""

    @classmethod
    def of(cls, value: Scalar | None, raw: str | None) -> Entered:
        """Reads the row as it was written; what is no such row leaves all but the value empty."""
        try:
            row = json.loads(raw or "{}")
        except json.JSONDecodeError:
            row = {}
        found = row if isinstance(row, dict) else {}
        names = [f.name for f in fields(cls) if f.name != "value"]
        return cls(value=value, **{n: str(found[n]) for n in names if found.get(n)})

    @property
    def inapplicable(self) -> str | None:
        """Why it does not apply; None where a value was entered."""
        return None if self.value is not None else self.note or "no reason is given"

    @property
    def timeless(self) -> bool:
        """Whether a row stands beside the value, and no time in it."""
        others = (getattr(self, f.name) for f in fields(self) if f.name != "value")
        return not self.at and any(others)

    def words(self, unit: str | None) -> str:
        """The value as a person would write it, with its unit."""
        value = self.value
        if value is None:
            return NOT_APPLICABLE
        if isinstance(value, bool):
            return "yes" if value else "no"
        text = f"{value:g}" if isinstance(value, float) else str(value)
        return f"{text} {unit}" if unit else text


@dataclass(frozen=True, slots=True, kw_only=True)
class ManualEntry:
    """One row that a person filled in, read and understood.

    Attributes:
        value: None where the row says that the item does not apply.
        at: moment it is of; None where the row does not say.
        raw: the row as JSON, see above.
    """

    device: str
    check: str
    value: Scalar | None
    unit: str | None
    at: dt.datetime | None
    raw: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """A sheet of what a person saw: name and hash of its file, and its rows.

    Attributes:
        entries: the rows that are filled in.
        blank: device and check of those that are not.
    """

    file: str
    sha256: str
    entries: tuple[ManualEntry, ...] = ()
    blank: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing to look at.

    Attributes:
        ask: what to do, for the sheet that a person fills in.
        title: the same in a word or two, for tables.
        unit: of a number.
        end: field of a link's end that it is compared with.
        radio: whether only devices at the end of a link have it.
    """

    check: str
    kind: ItemKind
    title: str
    ask: str
    unit: str | None = None
    end: str | None = None
    radio: bool = True

    @property
    def unit_cell(self) -> str:
        """What stands in the column `unit` of an empty sheet."""
        return {"flag": "yes/no", "polarisation": "V/H"}.get(self.kind, self.unit or "")


def _item(  # noqa: PLR0913
    name: str,
    kind: ItemKind,
    title: str,
    ask: str,
    unit: str | None = None,
    *,
    end: str | None = None,
    radio: bool = True,
) -> Item:
    check = f"manual.{name}"
    return Item(check=check, kind=kind, title=title, ask=ask, unit=unit, end=end, radio=radio)


ITEMS: tuple[Item, ...] = (
    _item("label", "text", "Label", "as it stands", radio=False),
    _item("default-password-changed", "flag", "Password changed",
          "the factory's password is changed (do not write it down here)", radio=False),
    _item("supply-voltage", "number", "Supply voltage",
          "before connecting, with its sign", "V", radio=False),
    _item("earthing", "flag", "Earthing", "device, antenna and cable are earthed as drawn",
          radio=False),
    _item("surge-arrester", "flag", "Surge arresters",
          "surge arresters are fitted and earthed as drawn", radio=False),
    _item("weatherproofing", "flag", "Weatherproofing",
          "connectors are sealed, cables clamped with drip loops"),
    _item("polarisation", "polarisation", "Polarisation", "of the antenna as mounted: V or H"),
    _item("antenna-height", "number", "Antenna height", "of its centre above ground", "m",
          end="antenna_height_m"),
    _item("azimuth", "number", "Azimuth", "true, not compass", "deg", end="azimuth_deg"),
    _item("tilt", "number", "Tilt", "up is positive", "deg", end="tilt_deg"),
    _item("peak-on-main-lobe", "flag", "Main lobe",
          "both axes swept through the peak and both nulls"),
    _item("bolts-torqued", "flag", "Bolts torqued", "to the maker's figure, level read again"),
    _item("alignment-voltage", "number", "Alignment voltage", "at the alignment port", "V",
          end="alignment_v"),
    _item("weather", "text", "Weather", "dry, rain with its mm/h, wet snow, ice or fog",
          radio=False),
)  # fmt: skip
"""In the order in which they are met on site."""
BY_CHECK = {item.check: item for item in ITEMS}
