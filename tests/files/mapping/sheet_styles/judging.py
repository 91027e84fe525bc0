"""What was read of a drawn sheet, beside what is true: differences, and what is missing untold."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from tests.files.mapping.sheet_styles.drawing import DrawnPage, DrawnSheet
from tests.files.mapping.sheet_styles.truth import Key, Owner
from verifier.model.ledger import Ledger
from verifier.model.plan import Carrier, Device, End, Link, Plan
from verifier.model.problem import Problem

OLD = ("old", "Archive", "Links_old", "backup 2024")
_END = {
    "tx_mhz": "tx", "rx_mhz": "rx", "tx_power_dbm": "power", "rx_level_dbm": "level",
    "azimuth_deg": "azimuth", "antenna_height_m": "height", "antenna_dbi": "gain",
    "antenna_diameter_m": "diameter",
}  # fmt: skip
_LINK = {
    "bandwidth_mhz": "bandwidth", "capacity_mbps": "capacity", "path_km": "km",
    "fade_margin_db": "margin", "modulation_max": "modulation",
}  # fmt: skip
_FREE_OF_LINK = {
    "name",
    "carriers",
    "licence",
    "modulation_min",
    "modulation_reference",
    "adaptive",
}
_FREE_OF_DEVICE = {"name", "address", "site"}


@dataclass(slots=True)
class Verdict:
    """What one reading came to.

    Attributes:
        wrong: values that are not true, or of something that is no plan.
        untold: true values of the sheet that are missing though nothing says so.
        holes: cells that are not in the ledger.
        right: true values that were read.
        carried: true values that the sheet tells.
    """

    wrong: list[str] = field(default_factory=list)
    untold: list[str] = field(default_factory=list)
    holes: list[str] = field(default_factory=list)
    right: set[Key] = field(default_factory=set)
    carried: dict[Key, list[tuple[str, int, int]]] = field(default_factory=dict)

    @property
    def faults(self) -> list[str]:
        """Everything that must not be."""
        return [*self.wrong, *self.untold, *self.holes]


def judge(drawn: DrawnSheet, plan: Plan, problems: Sequence[Problem], ledger: Ledger) -> Verdict:
    """Compares what was read with what is true."""
    verdict = Verdict()
    for page in drawn.pages:
        for (row, column), cell in page.cells.items():
            for key in cell.keys:
                if key[0] not in drawn.dropped and page.name not in OLD:
                    verdict.carried.setdefault(key, []).append((page.name, row, column))
    for key, value, words in _values(drawn, plan, verdict):
        if key not in verdict.carried:
            verdict.wrong.append(f"{words} = {value}: the sheet does not tell it")
        elif not _same(drawn.truth.value(key), value):
            verdict.wrong.append(f"{words} = {value}: {drawn.truth.value(key)} is true {key}")
        else:
            verdict.right.add(key)
    _missing(drawn, problems, ledger, verdict)
    there = {(c.sheet, c.row, c.column) for c in ledger.cells}
    verdict.holes += [
        f"{page.name} row {row} column {column} ({cell.value!r}) is not in the ledger"
        for page in drawn.pages
        for (row, column), cell in page.cells.items()
        if (page.name, row, column) not in there
    ]
    return verdict


def _same(true: str | Decimal, value: Any) -> bool:
    if isinstance(true, Decimal):
        return abs(float(true) - float(value)) <= 1e-9 * max(1.0, abs(float(true)))
    if isinstance(value, float):
        return abs(float(true) - value) < 1e-9
    return str(value).replace(" QAM", "QAM") == true


# -- the values of a plan, by what they are of -----------------------------------------------------


def _values(drawn: DrawnSheet, plan: Plan, verdict: Verdict) -> Iterator[tuple[Key, Any, str]]:
    """Every value of the plan with its key; what has none is wrong."""
    texts = drawn.truth.texts
    by_address = {texts[k]: k[:2] for k in texts if k[2] == "address" and k[0] not in drawn.dropped}
    owners: dict[str, Owner] = {}
    for device in plan.devices:
        owner = by_address.get(str(device.address.address))
        if owner is None:
            verdict.wrong.append(f"device {device.name} at {device.address} is no plan")
            continue
        owners[device.name] = owner
        yield from _device(device, owner, verdict)
    yield from _sites(drawn, plan, verdict)
    names = {texts[n, "", "name"]: n for n in range(drawn.truth.links) if n not in drawn.dropped}
    for link in plan.links:
        number = names.get(link.name)
        if number is None:
            verdict.wrong.append(f"link {link.name} is no plan")
            continue
        yield from _link(link, number, owners, verdict)


def _sites(drawn: DrawnSheet, plan: Plan, verdict: Verdict) -> Iterator[tuple[Key, Any, str]]:
    texts = drawn.truth.texts
    of_site: dict[str, list[Owner]] = defaultdict(list)
    for key in texts:
        if key[2] == "site" and key[0] not in drawn.dropped:
            of_site[texts[key]].append(key[:2])
    for site in plan.sites:
        if site.name not in of_site:
            verdict.wrong.append(f"site {site.name} is no plan")
        for what in ("latitude", "longitude"):
            value = getattr(site, what)
            for owner in of_site[site.name] if value is not None else ():
                yield (*owner, what), value, f"site {site.name} {what}"


def _device(device: Device, owner: Owner, verdict: Verdict) -> Iterator[tuple[Key, Any, str]]:
    words = f"device {device.name}"
    yield (*owner, "address"), device.address.address, f"{words} address"
    yield (*owner, "mask"), device.address.prefix, f"{words} mask"
    if (*owner, "device") in verdict.carried:
        yield (*owner, "device"), device.name, f"{words} name"
    if device.site is not None:
        yield (*owner, "site"), device.site, f"{words} site"
    known = {"gateway": "gateway", "management_vlan": "vlan", "serial": "serial", "mac": "mac"}
    for name, value in _given(device, _FREE_OF_DEVICE):
        if name in known:
            yield (*owner, known[name]), value, f"{words} {name}"
        else:
            verdict.wrong.append(f"{words} {name} = {value}: the sheet does not tell it")


def _link(
    link: Link, number: int, owners: dict[str, Owner], verdict: Verdict
) -> Iterator[tuple[Key, Any, str]]:
    words = f"link {link.name}"
    yield (number, "", "name"), link.name, f"{words} name"
    if link.licence is not None and link.licence.reference is not None:
        yield (number, "", "licence"), link.licence.reference, f"{words} licence"
    for name, value in _given(link, _FREE_OF_LINK):
        if name in _LINK:
            yield (number, "", _LINK[name]), value, f"{words} {name}"
        else:
            verdict.wrong.append(f"{words} {name} = {value}: the sheet does not tell it")
    for carrier in link.carriers:
        yield from _carrier(carrier, number, owners, verdict, words)


def _carrier(
    carrier: Carrier, number: int, owners: dict[str, Owner], verdict: Verdict, words: str
) -> Iterator[tuple[Key, Any, str]]:
    if carrier.polarisation is not None:
        yield (number, "", "polarisation"), carrier.polarisation, f"{words} polarisation"
    ends = {name: owners.get(end.device) for name, end in carrier.ends()}
    for name, end in carrier.ends():
        owner, other = ends[name], ends["b" if name == "a" else "a"]
        if owner is None:  # its device has no address: the other one tells which end it is
            is_b = (other[1] == "a") if other is not None else name == "b"
            owner = (number, "b" if is_b else "a")
        if owner[0] != number or (other is not None and other[1] == owner[1]):
            verdict.wrong.append(f"{words} end {name} has the device {end.device}: of {owner}")
            continue
        yield from _end(end, owner, verdict, f"{words} end {name}")


def _end(end: End, owner: Owner, verdict: Verdict, words: str) -> Iterator[tuple[Key, Any, str]]:
    for name, value in _given(end, {"device"}):
        if name in _END:
            yield (*owner, _END[name]), value, f"{words} {name}"
        else:
            verdict.wrong.append(f"{words} {name} = {value}: the sheet does not tell it")


def _given(thing: Any, free: set[str]) -> Iterator[tuple[str, Any]]:
    """The fields that are not as they are where nobody says anything."""
    for about in dataclasses.fields(thing):
        value = getattr(thing, about.name)
        if about.name not in free and value != about.default and about.init:
            yield about.name, value


# -- what is missing -------------------------------------------------------------------------------


def _missing(
    drawn: DrawnSheet, problems: Sequence[Problem], ledger: Ledger, verdict: Verdict
) -> None:
    """Each true value of the sheet that was not read must be told: in the ledger, or as a fault."""
    fates = {(c.sheet, c.row, c.column): c.fate for c in ledger.cells}
    rows: dict[tuple[str, int], set[str]] = defaultdict(set)
    subjects = set()
    for problem in problems:
        origin = problem.origin
        if origin is not None:
            of_row = rows[origin.sheet, origin.line or 0]
            of_row.add("" if problem.severity == "error" else origin.field)
        if problem.severity == "error":
            subjects.add(problem.subject.name)
    pages = {page.name: page for page in drawn.pages}
    for key, places in verdict.carried.items():
        if key in verdict.right:
            continue
        if not any(_told(pages[p[0]], p, fates.get(p), rows) for p in places) and not (
            {drawn.truth.texts.get((key[0], "", "name"))} & subjects
        ):
            cell = pages[places[0][0]].cells[places[0][1], places[0][2]]
            verdict.untold.append(f"{key} = {cell.value!r} at {places[0]}: {fates.get(places[0])}")


def _told(
    page: DrawnPage,
    place: tuple[str, int, int],
    fate: str | None,
    rows: dict[tuple[str, int], set[str]],
) -> bool:
    if fate is None:
        return True  # a hole, which is told for itself
    if fate not in ("read", "left out"):
        return True
    sheet = "" if (page.name, place[1]) not in rows and ("", place[1]) in rows else page.name
    return "" in rows.get((sheet, place[1]), ()) or "" in rows.get((sheet, place[2]), ())
