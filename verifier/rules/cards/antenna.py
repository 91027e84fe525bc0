"""Pointing, level and voltage of one end of a carrier, for a card."""

from __future__ import annotations

from collections.abc import Mapping

from verifier.model.plan import Carrier, End, EndName, Link, Plan, Site
from verifier.model.profile import Profile
from verifier.rules import radio
from verifier.rules.cards.parts import CardLine, Section, figure
from verifier.rules.pointing import SIDE_LOBE, beamwidth_deg, tilt_deg
from verifier.rules.radio import levels, voltage

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
        if isinstance(volts, voltage.Window)
        else max(near.rx_level_tolerance_db or 0.0, profile.tolerance.rx_level_db)
    )
    words = f"{at.value:.1f} dBm ({at.value - off:.1f} to {at.value + off:.1f})"
    if isinstance(volts, voltage.Window):
        words += f", {volts.volts:.2f} V ({volts.low_v:.2f} to {volts.high_v:.2f})"
    else:
        note = f"{note}; {volts}" if note else volts
    return CardLine(what, words, "room", note)
