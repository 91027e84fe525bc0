"""What a report shows of a link: its picture, and both ends side by side, planned and found."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple, TypeGuard

from verifier.model.manual import BY_CHECK
from verifier.model.plan import Carrier, Device, EndName, Link, Plan
from verifier.model.result import VERDICTS, Finding, Result
from verifier.report.result.pictures import picture
from verifier.rules.alignment import Live, LiveReadings

Row = dict[str, Any]
NOT_SEEN = "not seen"
"""Found of a planned value that only a person can see, where nobody entered it."""


class _Item(NamedTuple):
    """A row of the table of ends.

    Attributes:
        check: whose finding tells what was found; empty: none does.
        of: what `planned` is a field of.
        reading: what the device shows where no finding tells it.
        expected: where the plan has no value, what the finding expects is what is planned.
    """

    title: str
    check: str
    of: Literal["device", "end", "carrier", "link"]
    planned: str
    unit: str = ""
    reading: str = ""
    expected: bool = False


_ITEMS = (
    _Item("Address", "echo.reply", "device", "address"),
    _Item("Label", "manual.label", "device", "label"),
    _Item("Serial", "identity.serial", "device", "serial", reading="serial"),
    _Item("Part", "identity.part", "device", "part_number", reading="part_number"),
    _Item("Software", "identity.software", "device", "software", reading="software"),
    _Item("Tx frequency", "radio.tx-frequency", "end", "tx_mhz", "MHz", "tx_mhz"),
    _Item("Tx power", "radio.tx-power", "end", "tx_power_dbm", "dBm", "tx_power_dbm"),
    _Item("Rx level", "radio.rx-level", "end", "rx_level_dbm", "dBm", "rx_level_dbm"),
    _Item("Fade margin", "radio.fade-margin", "link", "fade_margin_db", "dB"),
    _Item("SNR", "radio.snr", "end", "min_snr_db", "dB", "snr_db"),
    _Item("Capacity", "radio.capacity", "link", "capacity_mbps", "Mbit/s", "current_capacity_mbps"),
    _Item("Feature key", "", "link", "key_capacity_mbps", "Mbit/s", "key_capacity_mbps"),
    _Item("Link id", "radio.link-id", "end", "link_id"),
    _Item(
        "Alignment voltage", "manual.alignment-voltage", "end", "alignment_v", "V", expected=True
    ),
    _Item("Polarisation, mounted", "manual.polarisation", "carrier", "polarisation"),
    _Item("Azimuth", "manual.azimuth", "end", "azimuth_deg", "deg"),
    _Item("Tilt", "manual.tilt", "end", "tilt_deg", "deg"),
    _Item("Antenna height", "manual.antenna-height", "end", "antenna_height_m", "m"),
    _Item("Residual alarms", "state.alarm", "device", ""),
)


@dataclass(frozen=True, slots=True)
class _Seen:
    """All that a run saw, by whom it is about."""

    devices: Mapping[str, Device]
    of_device: Mapping[str, Sequence[Finding]]
    of_link: Mapping[str, Sequence[Finding]]
    live: Live

    def looked_at(self, link: Link, carrier: Carrier) -> bool:
        devices = (carrier.a.device, carrier.b.device)
        return link.name in self.of_link or any(n in self.of_device for n in devices)


def drawn_links(plan: Plan | None, result: Result) -> list[Row]:
    """One row for each carrier of each link that the result looked at; none without a plan."""
    if plan is None:
        return []
    of_device: dict[str, list[Finding]] = defaultdict(list)
    of_link: dict[str, list[Finding]] = defaultdict(list)
    for finding in result.findings:
        if finding.subject.kind in {"device", "port"}:
            of_device[finding.subject.name].append(finding)
        elif finding.subject.kind == "link":
            of_link[finding.subject.name].append(finding)
    devices = {d.name: d for d in plan.devices}
    seen = _Seen(devices, of_device, of_link, Live(plan, result.observations))
    sites = {d.name: d.site or "" for d in plan.devices}
    left_out = {entry.what for entry in result.not_asked}
    return [
        _drawn(link, carrier, seen, sites)
        for link in plan.links
        if f"link {link.name}" not in left_out
        for carrier in link.carriers
        if seen.looked_at(link, carrier)
    ]


def _drawn(link: Link, carrier: Carrier, seen: _Seen, sites: Mapping[str, str]) -> Row:
    own = [
        f for f in seen.of_link.get(link.name, ()) if f.subject.carrier in (None, carrier.carrier)
    ]
    ends = [_end(link, carrier, name, seen, own) for name, _ in carrier.ends()]
    shown = picture(link, carrier, sites, own, seen.live)
    return {
        "picture": shown,
        "name": shown.name,
        "verdict": _heaviest(
            own, *(seen.of_device.get(end.device, ()) for _, end in carrier.ends())
        ),
        "facts": _facts(link, carrier),
        "ends": ends,
        "rows": _side_by_side(ends),
    }


def _end(link: Link, carrier: Carrier, name: EndName, seen: _Seen, own: Iterable[Finding]) -> Row:
    end = dict(carrier.ends())[name]
    device = seen.devices[end.device]
    findings = [*seen.of_device.get(end.device, ()), *(f for f in own if f.subject.end == name)]
    return {
        "device": end.device,
        "site": device.site or "",
        "verdict": _heaviest(findings),
        "values": _values(
            {"device": device, "end": end, "carrier": carrier, "link": link},
            findings,
            seen.live.at(carrier, end),
        ),
    }


def _values(
    owners: Mapping[str, object], findings: Sequence[Finding], shown: LiveReadings
) -> dict[str, Row]:
    rows: dict[str, Row] = {}
    for item in _ITEMS:
        planned = getattr(owners[item.of], item.planned) if item.planned else None
        judged = min(
            (f for f in findings if f.check == item.check),
            key=lambda f: VERDICTS.index(f.verdict),
            default=None,
        )
        value = _found(item, planned, judged, shown)
        if value is None and planned is not None and item.check in BY_CHECK:
            value = NOT_SEEN
        if planned is None and value is None and judged is None:
            continue
        if planned is None and item.expected and judged is not None:
            planned = judged.expected
        rows[item.title] = {
            "planned": None if planned is None else _written(planned, item.unit),
            "found": value,
            "verdict": judged.verdict if judged else None,
        }
    return rows


def _found(item: _Item, planned: Any, judged: Finding | None, shown: LiveReadings) -> str | None:
    """What was found; for a receive level with its deviation from what should arrive now."""
    if judged is None or judged.observed is None:
        value: Any = None
        if item.reading and judged is None:
            value = shown.number(item.reading) if item.unit else shown.word(item.reading)
        return None if value is None else _written(value, item.unit)
    text = _written(judged.observed, item.unit)
    wanted = judged.expected
    if item.check == "radio.rx-level" and _is_number(judged.observed) and _is_number(wanted):
        of = "" if wanted == planned else f" of {wanted:.1f} expected"
        text += f" ({judged.observed - wanted:+.1f} dB{of})"
    return text


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _written(value: Any, unit: str) -> str:
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return f"{text} {unit}" if unit else text


def _side_by_side(ends: Sequence[Row]) -> list[Row]:
    shown = {title for end in ends for title in end["values"]}
    nothing = {"planned": None, "found": None, "verdict": None}
    return [
        {"title": item.title, "ends": [end["values"].get(item.title, nothing) for end in ends]}
        for item in _ITEMS
        if item.title in shown
    ]


def _facts(link: Link, carrier: Carrier) -> list[tuple[str, str]]:
    licence = link.licence
    facts = (
        ("Licence", licence and licence.reference),
        ("Valid until", licence and licence.valid_until),
        ("Bandwidth", link.bandwidth_mhz and _written(link.bandwidth_mhz, "MHz")),
        ("Modulation", link.modulation_max),
        ("Polarisation", carrier.polarisation),
        ("Protection", link.protection),
        ("Capacity", link.capacity_mbps and _written(link.capacity_mbps, "Mbit/s")),
        ("Feature key", link.key_capacity_mbps and _written(link.key_capacity_mbps, "Mbit/s")),
        ("Path", link.path_km and _written(link.path_km, "km")),
    )
    return [(name, str(value)) for name, value in facts if value is not None]


def _heaviest(*findings: Iterable[Finding]) -> str | None:
    verdicts = (f.verdict for group in findings for f in group)
    return min(verdicts, key=VERDICTS.index, default=None)
