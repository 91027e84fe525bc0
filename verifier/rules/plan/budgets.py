"""The plan's levels, margins and voltages against the sums of its own figures."""

from __future__ import annotations

from collections.abc import Iterator

from verifier.model.plan import Carrier, End, EndName, Link
from verifier.model.subject import Subject
from verifier.rules import radio
from verifier.rules.plan.figures import END_RANGES, LINK_RANGES, probable
from verifier.rules.plan.scope import Found, RuleProblem, Scope, end_of, end_path, figure, listed
from verifier.rules.radio import voltage

_ROUNDING_DB = 0.05
"""Figures are written with one decimal."""


def _ends(
    scope: Scope, of: Link | None = None
) -> Iterator[tuple[Link, Carrier, EndName, End, End]]:
    """Every end with the one it receives from; those of one link."""
    pairs = scope.carriers if of is None else [(of, carrier) for carrier in of.carriers]
    for link, carrier in pairs:
        yield link, carrier, "a", carrier.a, carrier.b
        yield link, carrier, "b", carrier.b, carrier.a


def _km(scope: Scope, link: Link) -> float | None:
    if link.path_km is not None:
        return probable(link, "path_km", LINK_RANGES)
    found = scope.paths.get(link.name)
    return found[2].km if found is not None else None


def rx_level_off_budget(scope: Scope) -> Found:
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


def rx_level_missing(scope: Scope) -> Found:
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


def _receives(scope: Scope, end: End) -> bool:
    """Whether a device can tell its receive level, by its profile."""
    profile = scope.profile(end.device)
    return profile is not None and any(r.field == "rx_level_dbm" for r in profile.reading)


def rx_level_over_limit(scope: Scope) -> Found:
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


def fade_margin_over_level(scope: Scope) -> Found:
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


def alignment_voltage_off_level(scope: Scope) -> Found:
    """The planned alignment voltage is not that of the planned level by the profile's table."""
    for link, carrier, name, near, _ in _ends(scope):
        level, profile = near.rx_level_dbm, scope.profile(near.device)
        if level is None or near.alignment_v is None or profile is None:
            continue
        port = profile.alignment_port
        window = None
        if port is not None:
            window = voltage.window(port, level, profile.tolerance.rx_level_db)
        if window is None or window.holds(near.alignment_v):
            continue
        message = (
            f"{figure(near.alignment_v)} V planned, profile {profile.id}'s table gives "
            f"{window.volts:.2f} V at {figure(level)} dBm: mend one of them"
        )
        path = end_path(link, carrier, name, "alignment_v")
        yield RuleProblem(end_of(link, carrier, name), path, message)
