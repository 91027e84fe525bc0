"""Figures and dates that are read well, but cannot be meant, or hardly."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping

from verifier.model.subject import Subject
from verifier.rules.plan.scope import Found, Place, RuleProblem, Scope, end_of, end_path, network

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
    scope: Scope,
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


def number_improbable(scope: Scope) -> Found:
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


def coordinate_out_of_range(scope: Scope) -> Found:
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


def date_improbable(scope: Scope) -> Found:
    """The plan's date is years ahead, or before such plans were written."""
    date = scope.plan.network.date
    if date is None:
        return
    ahead = scope.today is not None and date - scope.today > _AHEAD
    if ahead or date.year < _OLDEST:
        message = f"the plan's date is {date}: is the year right?"
        yield RuleProblem(network(scope), ("network", "date"), message)


def revision_mangled(scope: Scope) -> Found:
    """A revision that a spreadsheet made a date of."""
    revision = scope.plan.network.revision
    if revision is not None and _MOMENT.fullmatch(revision):
        message = (
            f"revision {revision!r} looks like a date that a spreadsheet made of it: "
            "format the cell as text and type it again"
        )
        yield RuleProblem(network(scope), ("network", "revision"), message)


def licence_expired(scope: Scope) -> Found:
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


def maintenance_backwards(scope: Scope) -> Found:
    """A maintenance window ends before it begins."""
    for window in scope.plan.maintenance:
        if window.to <= window.start:
            message = f"maintenance {window.name!r} ends before it begins: exchange from and to"
            yield RuleProblem(network(scope), ("maintenance", window.name, "to"), message)


def atpc_range_backwards(scope: Scope) -> Found:
    """The lowest power of ATPC is above its highest."""
    for link, carrier in scope.carriers:
        for name, end in carrier.ends():
            low, high = end.atpc_min_dbm, end.atpc_max_dbm
            if low is not None and high is not None and low > high:
                message = f"ATPC from {low:g} to {high:g} dBm: exchange lowest and highest"
                path = end_path(link, carrier, name, "atpc_min_dbm")
                yield RuleProblem(end_of(link, carrier, name), path, message)
