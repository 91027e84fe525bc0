"""What a report shows of a link: both ends, as planned and as found."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from verifier.model.plan import Carrier, Device, End, Link, Plan
from verifier.model.result import VERDICTS, Finding, Result
from verifier.report.pictures import picture

Row = dict[str, Any]
_Findings = Mapping[str, Sequence[Finding]]

_OF_UNIT = (
    ("Address", "icmp.reply", "address"),
    ("Serial", "system.serial", "serial"),
    ("Part", "system.part", "part_number"),
    ("Software", "system.software", "software"),
)
_OF_END = (
    ("Tx frequency", "radio.tx-frequency", "tx_mhz", "MHz"),
    ("Tx power", "radio.tx-power", "tx_power_dbm", "dBm"),
    ("Rx level", "radio.rx-level", "rx_level_dbm", "dBm"),
    ("SNR", "radio.snr", "min_snr_db", "dB"),
    ("Link id", "radio.link-id", "link_id", ""),
    ("Alignment voltage", "manual.alignment-voltage", "alignment_v", "V"),
    ("Azimuth", "manual.azimuth", "azimuth_deg", "deg"),
    ("Tilt", "manual.tilt", "tilt_deg", "deg"),
)
_ALARMS = ("Residual alarms", "system.alarm")


def drawn_links(plan: Plan | None, result: Result) -> list[Row]:
    """One row for each carrier of each link that the result looked at; none without a plan."""
    if plan is None:
        return []
    devices = {d.name: d for d in plan.devices}
    by_name: dict[str, list[Finding]] = defaultdict(list)
    for finding in result.findings:
        by_name[finding.subject.name].append(finding)
    return [
        _drawn(link, carrier, devices, by_name)
        for link in plan.links
        for carrier in link.carriers
        if any(by_name.get(n) for n in (link.name, carrier.a.device, carrier.b.device))
    ]


def _drawn(link: Link, carrier: Carrier, devices: Mapping[str, Device], by_name: _Findings) -> Row:
    own: Sequence[Finding] = by_name.get(link.name, ())
    own = [f for f in own if f.subject.carrier in (None, carrier.carrier)]
    ends = [_end(end, name, devices, by_name, own) for name, end in carrier.ends()]
    several = len(link.carriers) > 1
    sites = {name: device.site or "" for name, device in devices.items()}
    return {
        "picture": picture(link, carrier, sites, own),
        "name": f"{link.name}, carrier {carrier.carrier}" if several else link.name,
        "verdict": _heaviest(
            own,
            *(by_name.get(end.device, ()) for _, end in carrier.ends()),
        ),
        "facts": _facts(link, carrier),
        "ends": ends,
        "rows": _side_by_side(ends),
    }


def _end(
    end: End, name: str, devices: Mapping[str, Device], by_name: _Findings, own: Iterable[Finding]
) -> Row:
    device = devices[end.device]
    found = [
        *by_name.get(end.device, ()),
        *(f for f in own if f.subject.end == name),
    ]
    return {
        "device": end.device,
        "site": device.site or "",
        "verdict": _heaviest(found),
        "values": _values(end, device, found),
    }


def _values(end: End, device: Device, found: Sequence[Finding]) -> dict[str, Row]:
    rows: dict[str, Row] = {}
    units = {title: unit for title, _, _, unit in _OF_END}
    planned = [(t, c, getattr(device, f)) for t, c, f in _OF_UNIT]
    planned += [(t, c, getattr(end, f)) for t, c, f, _ in _OF_END]
    for title, check, value in (*planned, (*_ALARMS, None)):
        seen = next((f for f in found if f.check == check), None)
        if value is None and seen is None:
            continue
        unit = units.get(title, "")
        rows[title] = {
            "planned": None if value is None else _written(value, unit),
            "found": _found(seen, unit),
            "verdict": seen.verdict if seen else None,
        }
    return rows


def _found(seen: Finding | None, unit: str) -> str | None:
    """What was read; for a receive level with its deviation from the plan."""
    if seen is None or seen.observed is None:
        return None
    text = _written(seen.observed, unit)
    level = seen.check == "radio.rx-level"
    if (
        level
        and isinstance(seen.observed, (int, float))
        and isinstance(seen.expected, (int, float))
    ):
        text += f" ({seen.observed - seen.expected:+.1f} dB)"
    return text


def _written(value: Any, unit: str) -> str:
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return f"{text} {unit}" if unit else text


def _side_by_side(ends: Sequence[Row]) -> list[Row]:
    titles = dict.fromkeys(title for end in ends for title in end["values"])
    nothing = {"planned": None, "found": None, "verdict": None}
    return [
        {"title": title, "ends": [end["values"].get(title, nothing) for end in ends]}
        for title in titles
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
