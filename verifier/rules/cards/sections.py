"""The sections of a field card: pointing, level and voltage of a carrier's end; settings in order.

Settings stand in the order in which they are entered; what cuts the connection comes last.

Identity first, so that a device is never taken for another; the transmitter off before anything of
the radio is changed; the address last, because the page that it is entered on goes away with it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

from verifier.model.plan import Carrier, Device, End, EndName, Host, Link, Plan, Site
from verifier.model.profile import Profile
from verifier.rules import radio
from verifier.rules.radio import levels
from verifier.rules.radio.path import SIDE_LOBE, beamwidth_deg, tilt_deg

Fill = Literal["none", "box", "room"]
"""What stands beside a row: nothing, a box to tick, or room for what is found."""


@dataclass(frozen=True, slots=True)
class CardLine:
    """One line: what it is, its value by the plan, and what a person adds to it."""

    what: str
    value: str = ""
    fill: Fill = "none"
    note: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """Rows under a title; `rules` are the sentences that stand below them."""

    title: str
    rows: tuple[CardLine, ...]
    rules: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """All that is needed at one device, on paper.

    Attributes:
        label: text of its sticker; its name where none is planned.
        address: planned, with the length of its prefix.
        far: one line for each link: its name, the far device and its site.
        plan: name and revision, in words.
    """

    device: str
    label: str
    site: str
    address: str
    plan: str
    far: tuple[str, ...] = ()
    sections: tuple[Section, ...] = field(default=())


def figure(value: float | None, unit: str, decimals: int | None = None) -> str:
    """A figure with its unit, without needless digits; empty where there is none."""
    if value is None:
        return ""
    text = f"{value:.3f}" if decimals is None else f"{value:.{decimals}f}"
    if decimals is None:
        text = text.rstrip("0").rstrip(".")
    return f"{text} {unit}"


LEVEL = "Level and voltage"
POINTING_RULES = (
    "True, not compass.",
    "One end moves, the other holds.",
    "One axis at a time through the peak and both nulls.",
    "Tighten, read again: at most 1 dB lost.",
)


SEEN_THERE = frozenset(
    {"manual.azimuth", "manual.tilt", "manual.antenna-height", "manual.polarisation"}
)
"""Items with their room in this section."""


def pointing(plan: Plan, link: Link, carrier: Carrier, name: EndName) -> Section:
    """Where the antenna points, with room for what is found."""
    near, far = _facing(carrier, name)
    sites = _site(plan, near), _site(plan, far)
    (azimuth, of_azimuth), (back, of_back) = _azimuths(near, far, *sites)
    beam = beamwidth_deg(near.antenna_diameter_m, near.tx_mhz)
    lobe = f"first side lobe near {SIDE_LOBE * beam:.1f} deg off, 15 to 25 dB lower" if beam else ""
    dish = figure(near.antenna_diameter_m, "m")
    facts = (
        CardLine("Back azimuth, true", back, note=of_back),
        CardLine("Beam at half power", f"{beam:.1f} deg" if beam else "", note=lobe),
        CardLine(
            "Path", figure(radio.link_km(link, *sites), "km", 2), note=dish and f"dish {dish}"
        ),
    )
    rows = (
        CardLine("Azimuth, true", azimuth, "room", of_azimuth),
        _tilt(link, near, far, *sites),
        CardLine(
            "Antenna height", figure(near.antenna_height_m, "m"), "room", "centre above ground"
        ),
        CardLine("Polarisation", carrier.polarisation or "", "room", "as mounted"),
        *(r for r in facts if r.value),
    )
    return Section("Pointing", rows, POINTING_RULES)


def _facing(carrier: Carrier, name: EndName) -> tuple[End, End]:
    return (carrier.a, carrier.b) if name == "a" else (carrier.b, carrier.a)


def _site(plan: Plan, end: End) -> Site | None:
    named = next((d.site for d in plan.devices if d.name == end.device), None)
    return next((s for s in plan.sites if s.name == named), None)


def _azimuths(
    near: End, far: End, here: Site | None, there: Site | None
) -> tuple[tuple[str, str], tuple[str, str]]:
    """Both directions as planned, else by the coordinates of the sites; each with a note."""
    path = radio.path_between(here, there) if here is not None and there is not None else None
    seen = (path.azimuth_deg, path.back_azimuth_deg) if path is not None else (None, None)

    def told(planned: float | None, found: float | None) -> tuple[str, str]:
        if planned is not None or found is None:
            return figure(planned, "deg", 2), ""
        return figure(found, "deg", 2), "by the sites' coordinates"

    return told(near.azimuth_deg, seen[0]), told(far.azimuth_deg, seen[1])


def _tilt(link: Link, near: End, far: End, here: Site | None, there: Site | None) -> CardLine:
    """As planned, else by the heights of both antennas above the sea."""
    if near.tilt_deg is not None:
        return CardLine("Tilt", f"{near.tilt_deg:+.2f} deg", "room", "up is positive")
    heights = _amsl_m(near, here), _amsl_m(far, there)
    km = radio.link_km(link, here, there)
    if heights[0] is None or heights[1] is None or not km or km <= 0:
        return CardLine("Tilt", "", "room", "up is positive")
    found = tilt_deg(heights[0], heights[1], km)
    return CardLine("Tilt", f"{found:+.2f} deg", "room", "by the antennas' heights; up is positive")


def _amsl_m(end: End, site: Site | None) -> float | None:
    if site is None or site.ground_amsl_m is None or end.antenna_height_m is None:
        return None
    return site.ground_amsl_m + end.antenna_height_m


def level(
    link: Link, carrier: Carrier, name: EndName, profiles: Mapping[str, tuple[Profile, Profile]]
) -> Section | None:
    """Level and voltage in two lines: while aligning and in service; None where none is planned.

    `profiles` are, by end, those of its own device and of the far one.
    """
    near, far = _facing(carrier, name)
    own, others = profiles[name]
    if near.rx_level_dbm is None:
        return None
    power = levels.alignment_power(link, far, others)
    aligning = (
        power
        if isinstance(power, str)
        else levels.expected_level(near, far, "alignment", far_power_dbm=power.value)
    )
    service = levels.expected_level(near, far, "handover")
    far_dbm = "" if isinstance(power, str) else f"far end {figure(power.value, 'dBm')}"
    rows = (
        _line("Aligning", near, own, aligning, far_dbm),
        _line("In service", near, own, service, _in_service(far)),
    )
    rules = ("The voltage port is quicker than SNMP.",) if own.alignment_port else ()
    if near.alignment_v is not None:
        rules = (f"The plan says {near.alignment_v:.2f} V in service.", *rules)
    return Section(LEVEL, rows, rules)


def _in_service(far: End) -> str:
    if far.atpc:
        return "far end with ATPC"
    return f"far end {figure(far.tx_power_dbm, 'dBm')}" if far.tx_power_dbm is not None else ""


def _line(what: str, near: End, profile: Profile, at: levels.Expected | str, note: str) -> CardLine:
    """A level with its window, and the voltage with its own."""
    if isinstance(at, str):
        return CardLine(what, "", "room", at)
    volts = levels.line(near, profile, at)
    off = (
        volts.tolerance_db
        if isinstance(volts, levels.Window)
        else max(near.rx_level_tolerance_db or 0.0, profile.tolerance.rx_level_db)
    )
    words = f"{at.value:.1f} dBm ({at.value - off:.1f} to {at.value + off:.1f})"
    if isinstance(volts, levels.Window):
        words += f", {volts.volts:.2f} V ({volts.low_v:.2f} to {volts.high_v:.2f})"
    else:
        note = f"{note}; {volts}" if note else volts
    return CardLine(what, words, "room", note)


Ends = list[tuple[Link, Carrier, EndName]]


def settings(
    plan: Plan, device: Device, ends: Ends, profiles: Mapping[str, Profile]
) -> Iterator[CardLine]:
    """Every planned setting of a device, each with a box to tick."""
    yield CardLine("Name", device.name, "box")
    if location := device.location or device.site:
        yield CardLine("Location", location, "box")
    if device.software:
        yield CardLine("Software", device.software, "box", "check before setting anything")
    if ends:
        yield CardLine("Transmitter", "off", "box", "until the antenna or attenuator is connected")
    for link, carrier, name in ends:
        several = f" carrier {carrier.carrier}" if len(ends) > 1 else ""
        for row in _of_radio(link, carrier, name, profiles[device.profile]):
            yield CardLine(row.what + several, row.value, row.fill, row.note)
    yield from _ports(device)
    yield from _of_management(plan, device)
    yield CardLine("Address", f"{device.address}", "box", f"mask {device.address.mask}")
    if device.gateway is not None:
        yield CardLine("Gateway", str(device.gateway), "box", "last: the connection ends here")
    elif device.no_gateway:
        yield CardLine("Gateway", "none", "box", "see that none is set")
    yield CardLine("Saved", "read again after a restart", "box")
    if ends:
        yield CardLine("Transmitter", "on", "box", "on site, nobody in front of the antenna")


def _of_radio(link: Link, carrier: Carrier, name: EndName, profile: Profile) -> Iterator[CardLine]:
    end, far = (carrier.a, carrier.b) if name == "a" else (carrier.b, carrier.a)
    rows = (
        ("Feature key", figure(link.key_capacity_mbps, "Mbit/s"), ""),
        ("Bandwidth", figure(link.bandwidth_mhz, "MHz"), _channel(link)),
        ("Tx frequency", figure(end.tx_mhz, "MHz"), ""),
        ("Rx frequency", figure(far.tx_mhz, "MHz"), _spacing(link)),
        ("Polarisation", carrier.polarisation or "", ""),
        ("Link id", end.link_id or "", ""),
        ("Modulation", _modulation(link), ""),
        ("Capacity", figure(link.capacity_mbps, "Mbit/s"), _shared(link)),
        ("Tx power", figure(end.tx_power_dbm, "dBm"), _aligning(link, end, profile)),
        ("ATPC", _atpc(end), "off while aligning" if end.atpc else ""),
    )
    for what, value, note in rows:
        if value:
            yield CardLine(what, value, "box", note)


def _shared(link: Link) -> str:
    """The planned capacity is the link's, whatever number of carriers it goes over."""
    count = radio.carrying(link)
    return f"of the link, over {count} carriers together" if count > 1 else ""


def _channel(link: Link) -> str:
    parts = (link.raster, f"channel {link.channel}" if link.channel else "")
    return ", ".join(p for p in parts if p)


def _spacing(link: Link) -> str:
    if link.duplexing == "tdd":
        return "time division"
    spacing = figure(link.duplex_spacing_mhz, "MHz")
    return f"spacing {spacing}" if spacing else ""


def _modulation(link: Link) -> str:
    lowest, highest = link.modulation_min, link.modulation_max
    if not (lowest and highest) or lowest == highest:
        return highest or lowest or ""
    return f"{lowest} to {highest}{', adaptive' if link.adaptive else ''}"


def _aligning(link: Link, end: End, profile: Profile) -> str:
    """The power while aligning; where the licence limits nothing, that is for a person to look."""
    power = levels.alignment_power(link, end, profile)
    words = "" if isinstance(power, str) else f"aligning {figure(power.value, 'dBm')}, {power.how}"
    if words and end.max_eirp_dbm is None:
        words += "; look into the licence"
    return words


def _atpc(end: End) -> str:
    if end.atpc is None:
        return ""
    if not end.atpc:
        return "off"
    lowest, highest = figure(end.atpc_min_dbm, "dBm"), figure(end.atpc_max_dbm, "dBm")
    target = figure(end.atpc_target_dbm, "dBm")
    parts = (f"{lowest} to {highest}" if lowest and highest else "", target and f"keeps {target}")
    return ", ".join(("on", *(p for p in parts if p)))


def _ports(device: Device) -> Iterator[CardLine]:
    for port in device.ports:
        speed = figure(port.speed_mbps, "Mbit/s")
        mtu = f"MTU {port.mtu}" if port.mtu else ""
        cable = " ".join(p for p in (port.media or "", figure(port.cable_m, "m")) if p)
        parts = (port.status or "", speed, port.duplex or "", mtu)
        to = f"to {port.neighbour}" if port.neighbour else ""
        value = ", ".join(p for p in parts if p)
        yield CardLine(f"Port {port.name}", value, "box", ", ".join(p for p in (to, cable) if p))


def _of_management(plan: Plan, device: Device) -> Iterator[CardLine]:
    if device.snmp is not None:
        yield CardLine("SNMP", f"entry {device.snmp}", "box", "keys: credentials file")
    told: dict[str, list[str]] = {}
    for use, what in (("trap", "Traps"), ("syslog", "Syslog"), ("ntp", "Time")):
        if hosts := [_host(h) for h in plan.management.hosts if use in h.uses]:
            told.setdefault(", ".join(hosts), []).append(what)
    for hosts_, whats in told.items():
        yield CardLine(", ".join((whats[0], *(w.lower() for w in whats[1:]))), hosts_, "box")
    if device.services.closed:
        closed = ", ".join(map(str, device.services.closed))
        yield CardLine("Services off", closed, "box")
    if device.management_vlan is not None:
        tagged = {True: "tagged", False: "untagged", None: ""}[device.management_tagged]
        value = f"{device.management_vlan} {tagged}".strip()
        yield CardLine("Management VLAN", value, "box", "with the address: the connection may end")


def _host(host: Host) -> str:
    return f"{host.name} {host.address}"
