"""What only a person can see: the one table of `manual.*` checks, and what a person entered.

An entry is kept as an observation with probe `person`: `what` is the check, `value` the figure,
flag or text that is judged (None: it does not apply, see `inapplicable`), `raw` the row as it was
written, as JSON with the keys of `ENTRY`.

So rules and readers need no further kind of value for it, and the evidence holds the row as it was
written: who, instrument, calibration, hash of the photo.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from verifier.model.observation import Observation

Kind = Literal["text", "flag", "number", "polarisation"]
ENTRY = (
    "device", "check", "value", "unit", "by", "at", "instrument", "instrument_serial",
    "calibration_due", "photo", "note",
)  # fmt: skip
"""Columns of the sheet of what a person saw."""
FURTHER = (*ENTRY[4:6], "zone", *ENTRY[6:10], "photo_sha256", "note", "row")
"""What is kept beside value and unit: also the zone of a time that was written without one, the
photo's hash, and where the row stands."""
NOT_APPLICABLE = "n/a"
"""Kept as `value` of a row that says, with a reason in `note`, that there is nothing to enter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One row that a person filled in, read and understood.

    Attributes:
        value: None where the row says that the item does not apply.
        at: moment it is of; None where the row does not say.
        raw: the row as JSON, see above.
    """

    device: str
    check: str
    value: float | bool | str | None
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
    entries: tuple[Entry, ...] = ()
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
    kind: Kind
    title: str
    ask: str
    unit: str | None = None
    end: str | None = None
    radio: bool = True

    @property
    def unit_cell(self) -> str:
        """What stands in the column `unit` of an empty sheet."""
        return {"flag": "yes/no", "polarisation": "V/H"}.get(self.kind, self.unit or "")


def _item(
    name: str, kind: Kind, title: str, ask: str, unit: str | None = None, **more: Any
) -> Item:
    return Item(check=f"manual.{name}", kind=kind, title=title, ask=ask, unit=unit, **more)


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


def entries(observations: Iterable[Observation], check: str | None = None) -> list[Observation]:
    """What a person entered, in the order of the moments it is of; only of `check` if given."""
    found = [
        o
        for o in observations
        if o.probe == "person" and o.what in BY_CHECK and check in (None, o.what)
    ]
    return sorted(found, key=lambda o: o.at)


def further(observation: Observation) -> dict[str, str]:
    """By whom, with what, photo and note: what was filled in of `FURTHER`, in that order."""
    try:
        row = json.loads(observation.raw or "{}")
    except json.JSONDecodeError:
        return {}
    given = row if isinstance(row, dict) else {}
    return {key: str(given[key]) for key in FURTHER if given.get(key)}


def inapplicable(observation: Observation) -> str | None:
    """Why a person entered that the item does not apply; None where a value was entered."""
    if observation.value is not None:
        return None
    return further(observation).get("note", "no reason is given")


def said(observation: Observation) -> str:
    """The value as a person would write it, with its unit."""
    value = observation.value
    if value is None:
        return NOT_APPLICABLE
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return f"{text} {observation.unit}" if observation.unit else text
