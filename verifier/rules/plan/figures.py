"""Figures and dates that are read well, but cannot be meant, or hardly.

The levels, margins and voltages of a plan are held against the sums of its own figures.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping

from verifier.model.plan import Carrier, End, EndName, Link
from verifier.model.problem import Subject
from verifier.rules import radio
from verifier.rules.plan.scope import (
    Found,
    Place,
    PlanScope,
    RuleProblem,
    end_of,
    end_path,
    figure,
    listed,
    network,
)
from verifier.rules.radio import levels

_POWER = (-40.0, 50.0)
_LEVEL = (-120.0, 0.0)
_LOSS = (0.0, 100.0)
_RATE = (0.001, 1e6)
_HEIGHT = (0.0, 1000.0)
_TIME_S = (0.0, 1e8)
END_RANGES: Mapping[str, tuple[float, float]] = {
    "tx_mhz": (100, 300_000),
    "rx_mhz": (100, 300_000),
    "tx_power_dbm": _POWER,
    "max_eirp_dbm": (-20, 100),
    "antenna_dbi": (-5, 65),
    "antenna_diameter_m": (0.03, 15),
    "antenna_efficiency": (0.1, 1),
    "line_loss_db": _LOSS,
    "tx_loss_db": _LOSS,
    "rx_loss_db": _LOSS,
    "extra_loss_db": _LOSS,
    "rx_level_dbm": _LEVEL,
    "rx_level_tolerance_db": (0, 30),
    "min_snr_db": (0, 60),
    "azimuth_deg": (-180, 360),
    "tilt_deg": (-90, 90),
    "antenna_height_m": _HEIGHT,
    "atpc_min_dbm": _POWER,
    "atpc_max_dbm": _POWER,
    "atpc_target_dbm": _LEVEL,
    "bench_attenuation_db": (0, 200),
    "bench_tx_power_dbm": _POWER,
    "bench_rx_level_dbm": _LEVEL,
}
LINK_RANGES: Mapping[str, tuple[float, float]] = {
    "bandwidth_mhz": (0.01, 5000),
    "duplex_spacing_mhz": (0.1, 30_000),
    "capacity_mbps": _RATE,
    "key_capacity_mbps": _RATE,
    "path_km": (0.001, 400),
    "fade_margin_db": (0, 80),
    "gas_loss_db": _LOSS,
    "min_xpi_db": (0, 60),
}
_SITE_RANGES = {"ground_amsl_m": (-500.0, 9000.0)}
_PORT_RANGES = {"speed_mbps": (1.0, 1.6e6), "mtu": (68.0, 65535.0), "cable_m": (0.0, 100_000.0)}
"""The smallest MTU: RFC 791 3.2."""
_ACCEPTANCE_RANGES = {
    "soak_s": _TIME_S,
    "echo_per_s": (0.001, 1e5),
    "max_loss_pct": (0.0, 100.0),
    "max_rtt_p95_ms": (0.001, 1e6),
    "max_port_errors": (0.0, 1e12),
    "max_es": (0.0, 1e9),
    "max_ses": (0.0, 1e9),
    "max_uas": (0.0, 1e9),
    "mtu_bytes": (68.0, 65535.0),
}
"""What is common in the trade, generously: beyond it a device was mistaken or a sign forgotten."""

_COORDINATES = {"latitude": 90.0, "longitude": 180.0}
_OLDEST = 1980
_AHEAD = dt.timedelta(days=3 * 366)
_MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}[ T]\d{2}:\d{2}(:\d{2})?")


def probable(record: object, name: str, ranges: Mapping[str, tuple[float, float]]) -> float | None:
    """The value of a field, if it is planned and within its range."""
    value = getattr(record, name)
    if value is None:
        return None
    low, high = ranges[name]
    return float(value) if low <= value <= high else None


def _records(
    scope: PlanScope,
) -> Iterator[tuple[object, Mapping[str, tuple[float, float]], Subject, Place]]:
    """Everything that holds figures, with its subject and path."""
    plan = scope.plan
    yield plan.acceptance, _ACCEPTANCE_RANGES, network(scope), ("acceptance",)
    for site in plan.sites:
        yield site, _SITE_RANGES, Subject("site", site.name), ("sites", site.name)
    for d in plan.devices:
        for port in d.ports:
            subject = Subject("port", d.name, port=port.name)
            yield port, _PORT_RANGES, subject, ("devices", d.name, "ports", port.name)
    for link in plan.links:
        yield link, LINK_RANGES, Subject("link", link.name), ("links", link.name)
    for link, carrier in scope.carriers:
        for name, end in carrier.ends():
            path = end_path(link, carrier, name, "")[:-1]
            yield end, END_RANGES, end_of(link, carrier, name), path


def number_improbable(scope: PlanScope) -> Found:
    """A figure outside all that is common: a unit mistaken, a sign forgotten."""
    for record, ranges, subject, path in _records(scope):
        for name, (low, high) in ranges.items():
            value = getattr(record, name)
            if value is not None and not low <= value <= high:
                message = (
                    f"{name} {value:g} is outside {low:g} to {high:g}: "
                    "is the device right, and the sign?"
                )
                yield RuleProblem(subject, (*path, name), message)


def coordinate_out_of_range(scope: PlanScope) -> Found:
    """A latitude beyond 90 or a longitude beyond 180 degrees."""
    for site in scope.plan.sites:
        for name, limit in _COORDINATES.items():
            value = getattr(site, name)
            if value is not None and abs(value) > limit:
                message = (
                    f"{name} {value:g} is not on the globe: at most {limit:g} degrees; "
                    "were latitude and longitude exchanged?"
                )
                yield RuleProblem(Subject("site", site.name), ("sites", site.name, name), message)


def date_improbable(scope: PlanScope) -> Found:
    """The plan's date is years ahead, or before such plans were written."""
    date = scope.plan.network.date
    if date is None:
        return
    ahead = scope.today is not None and date - scope.today > _AHEAD
    if ahead or date.year < _OLDEST:
        message = f"the plan's date is {date}: is the year right?"
        yield RuleProblem(network(scope), ("network", "date"), message)


def revision_mangled(scope: PlanScope) -> Found:
    """A revision that a spreadsheet made a date of."""
    revision = scope.plan.network.revision
    if revision is not None and _MOMENT.fullmatch(revision):
        message = (
            f"revision {revision!r} looks like a date that a spreadsheet made of it: "
            "format the cell as text and type it again"
        )
        yield RuleProblem(network(scope), ("network", "revision"), message)


def licence_expired(scope: PlanScope) -> Found:
    """A licence is no longer valid today."""
    for link in scope.plan.links:
        until = link.licence.valid_until if link.licence is not None else None
        if until is not None and scope.today is not None and until < scope.today:
            path = ("links", link.name, "licence", "valid_until")
            message = (
                f"the licence ended on {until}, today is {scope.today}: "
                "do not transmit before it is renewed"
            )
            yield RuleProblem(Subject("link", link.name), path, message)


def maintenance_backwards(scope: PlanScope) -> Found:
    """A maintenance window ends before it begins."""
    for window in scope.plan.maintenance:
        if window.to <= window.start:
            message = f"maintenance {window.name!r} ends before it begins: exchange from and to"
            yield RuleProblem(network(scope), ("maintenance", window.name, "to"), message)


def atpc_range_backwards(scope: PlanScope) -> Found:
    """The lowest power of ATPC is above its highest."""
    for link, carrier in scope.carriers:
        for name, end in carrier.ends():
            low, high = end.atpc_min_dbm, end.atpc_max_dbm
            if low is not None and high is not None and low > high:
                message = f"ATPC from {low:g} to {high:g} dBm: exchange lowest and highest"
                path = end_path(link, carrier, name, "atpc_min_dbm")
                yield RuleProblem(end_of(link, carrier, name), path, message)


_ROUNDING_DB = 0.05
"""Figures are written with one decimal."""


def _ends(
    scope: PlanScope, of: Link | None = None
) -> Iterator[tuple[Link, Carrier, EndName, End, End]]:
    """Every end with the one it receives from; those of one link."""
    pairs = scope.carriers if of is None else [(of, carrier) for carrier in of.carriers]
    for link, carrier in pairs:
        yield link, carrier, "a", carrier.a, carrier.b
        yield link, carrier, "b", carrier.b, carrier.a


def _km(scope: PlanScope, link: Link) -> float | None:
    if link.path_km is not None:
        return probable(link, "path_km", LINK_RANGES)
    found = scope.paths.get(link.name)
    return found[2].km if found is not None else None


def rx_level_off_budget(scope: PlanScope) -> Found:
    """The planned receive level is more than 3 dB off power + gains - losses (ITU-R P.525)."""
    for link, carrier, name, near, far in _ends(scope):
        planned = probable(near, "rx_level_dbm", END_RANGES)
        found = radio.budget(link, far, near, _km(scope, link))
        if planned is None or isinstance(found, str):
            continue
        off = planned - found.level_dbm
        if abs(off) <= radio.AGREE_DB:
            continue
        message = (
            f"{figure(planned)} dBm planned, the link budget gives {found.level_dbm:.1f} dBm "
            f"({off:+.1f} dB){found.gas_words()}; correct the level, or the figure that is wrong:"
        )
        yield RuleProblem(
            end_of(link, carrier, name),
            end_path(link, carrier, name, "rx_level_dbm"),
            "\n".join((message, *found.lines())),
        )


def rx_level_missing(scope: PlanScope) -> Found:
    """A radio link has an end without a planned receive level."""
    for link in scope.plan.links:
        missing = [
            (carrier, name, far, near)
            for _, carrier, name, near, far in _ends(scope, link)
            if near.rx_level_dbm is None and _receives(scope, near)
            and not scope.written(*end_path(link, carrier, name, "rx_level_dbm"))
        ]  # fmt: skip
        if not missing:
            continue
        gaps = [
            found
            for _, _, far, near in missing
            if isinstance(found := radio.judging_budget(link, far, near, _km(scope, link)), str)
        ]
        where = listed([near.device for _, _, _, near in missing])
        message = f"no rx_level_dbm is planned at {where}: write what the link's planning gave; "
        message += (
            f"without it the level is not tested, because {gaps[0]}"
            if gaps
            else "without it the level is judged by the sum of the plan's figures"
        )
        yield RuleProblem(Subject("link", link.name), ("links", link.name), message)


def _receives(scope: PlanScope, end: End) -> bool:
    """Whether a device can tell its receive level, by its profile."""
    profile = scope.profile(end.device)
    return profile is not None and any(r.field == "rx_level_dbm" for r in profile.reading)


def rx_level_over_limit(scope: PlanScope) -> Found:
    """A planned receive level is more than the receiver bears."""
    for link, carrier, name, near, _ in _ends(scope):
        profile = scope.profile(near.device)
        for field in ("rx_level_dbm", "bench_rx_level_dbm"):
            level: float | None = getattr(near, field)
            most = None if profile is None else profile.limits.rx_max_dbm
            if level is None or most is None or level <= most:
                continue
            message = (
                f"{field} {figure(level)} dBm, but {near.device} is overloaded above "
                f"{figure(most)} dBm: plan less power, or more attenuation"
            )
            yield RuleProblem(
                end_of(link, carrier, name), end_path(link, carrier, name, field), message
            )


def fade_margin_over_level(scope: PlanScope) -> Found:
    """The planned fade margin is more than level - threshold of the reference modulation."""
    for link, carrier, name, near, _ in _ends(scope):
        level, margin = probable(near, "rx_level_dbm", END_RANGES), link.fade_margin_db
        profile = scope.profile(near.device)
        if level is None or margin is None or profile is None or not profile.mode:
            continue
        mode = radio.mode_for(profile, link.modulation_reference, link.bandwidth_mhz)
        if isinstance(mode, str) or mode.threshold_dbm is None:
            continue
        have = level - mode.threshold_dbm
        if margin > have + _ROUNDING_DB:
            message = (
                f"{figure(level)} dBm - {figure(mode.threshold_dbm)} dBm ({mode.modulation}) = "
                f"{figure(have)} dB, but a fade margin of {figure(margin)} dB is planned: mend one"
            )
            path = ("links", link.name, "fade_margin_db")
            yield RuleProblem(end_of(link, carrier, name), path, message)


def alignment_voltage_off_level(scope: PlanScope) -> Found:
    """The planned alignment voltage is not that of the planned level by the profile's table."""
    for link, carrier, name, near, _ in _ends(scope):
        level, profile = near.rx_level_dbm, scope.profile(near.device)
        if level is None or near.alignment_v is None or profile is None:
            continue
        port = profile.alignment_port
        window = None
        if port is not None:
            window = levels.window(port, level, profile.tolerance.rx_level_db)
        if window is None or window.holds(near.alignment_v):
            continue
        message = (
            f"{figure(near.alignment_v)} V planned, profile {profile.id}'s table gives "
            f"{window.volts:.2f} V at {figure(level)} dBm: mend one of them"
        )
        path = end_path(link, carrier, name, "alignment_v")
        yield RuleProblem(end_of(link, carrier, name), path, message)
