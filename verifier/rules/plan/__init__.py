"""Offline rules: what cannot be meant, and what is unlikely to be meant, in a plan.

Each rule is a function from a `Scope` to faults; `RULES` is the one table, `READING` the names of
what `files/` finds before these rules run.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Mapping

from verifier.model.plan import Plan
from verifier.model.problem import Problem
from verifier.model.profile import Profile
from verifier.rules.plan import addresses, figures, frequencies, geometry, hops, names, subnets
from verifier.rules.plan import (
    devices as plan_devices,
)
from verifier.rules.plan.scope import ANY, READING, Find, PlanScope, Rule, Severity

__all__ = ["READING", "RULES", "Rule", "by_place", "check", "concerning"]


def check(
    plan: Plan,
    unread: Collection[str] = (),
    profiles: Mapping[str, Profile] | None = None,
    *,
    profile_ids: Collection[str] | None = None,
    today: dt.date | None = None,
) -> tuple[Problem, ...]:
    """Every problem of `plan`, in order of place.

    Args:
        plan: as far as it could be read.
        unread: names of things that were written but could not be read; they are not missing.
        profiles: by id; rules that need a device's are silent without.
        profile_ids: all profiles that there are; None: none is called unknown.
        today: rules that need the date are silent without.
    """
    scope = PlanScope(plan, profiles or {}, profile_ids, today)
    return by_place(
        Problem(rule.severity, rule.name, fault.subject, plan.origin(*fault.path), fault.message)
        for rule in RULES
        for fault in rule.find(scope)
        if not (unread and (fault.missing == ANY or fault.missing in unread))
    )


def concerning(
    plan: Plan, problems: Iterable[Problem], devices: Iterable[str]
) -> tuple[Problem, ...]:
    """Those that are about some devices, their links, or no device or link at all."""
    chosen = set(devices)
    ends = {link.name: frozenset().union(*link.devices()) for link in plan.links}

    def touches(problem: Problem) -> bool:
        subject = problem.subject
        if subject.kind in {"device", "port"}:
            return subject.name in chosen
        return subject.kind != "link" or not chosen.isdisjoint(ends.get(subject.name, chosen))

    return tuple(p for p in problems if touches(p))


def by_place(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Sorted by file, sheet and line; those of one line stay in their order."""
    return tuple(sorted(problems, key=lambda p: p.origin.place if p.origin else ("", "", 0)))


def _rule(severity: Severity, find: Find, needs: str = "") -> Rule:
    return Rule(find.__name__.replace("_", "-"), severity, find, needs)


_PROFILE = "profile"
RULES: tuple[Rule, ...] = (
    _rule("error", names.nothing_planned),
    _rule("error", names.name_doubled),
    _rule("warning", names.name_differs_by_case),
    _rule("warning", names.name_with_separator),
    _rule("error", names.profile_unknown, "list of profiles"),
    _rule("error", names.site_unknown),
    _rule("error", names.link_end_unknown),
    _rule("error", names.link_to_itself),
    _rule("error", names.device_twice_in_carrier),
    _rule("error", names.ends_mixed_up),
    _rule("error", names.carrier_doubled),
    _rule("warning", names.link_doubled),
    _rule("error", names.uplink_unknown),
    _rule("error", names.uplink_circle),
    _rule("error", names.check_unknown),
    _rule("error", names.traffic_pair_unclear),
    _rule("error", names.neighbour_is_itself),
    _rule("warning", names.port_of_address_unknown),
    _rule("error", addresses.address_not_a_host),
    _rule("error", addresses.address_of_no_interface),
    _rule("warning", addresses.address_of_retired_range),
    _rule("warning", addresses.address_for_documentation),
    _rule("warning", addresses.address_stays_local),
    _rule("error", addresses.prefix_too_short),
    _rule("warning", addresses.prefix_improbable),
    _rule("warning", addresses.address_without_subnet),
    _rule("error", addresses.address_doubled),
    _rule("warning", addresses.address_still_taken),
    _rule("warning", addresses.address_is_factory_address, _PROFILE),
    _rule("error", addresses.laptop_is_gateway),
    _rule("error", subnets.gateway_is_itself),
    _rule("error", subnets.gateway_of_other_family),
    _rule("error", subnets.gateway_outside_subnet),
    _rule("error", subnets.gateway_not_a_host),
    _rule("warning", subnets.gateway_differs_in_subnet),
    _rule("warning", subnets.subnets_overlap),
    _rule("warning", subnets.hop_in_two_subnets),
    _rule("warning", subnets.host_unanswerable),
    _rule("error", plan_devices.mac_not_a_devices),
    _rule("error", plan_devices.mac_doubled),
    _rule("error", plan_devices.serial_doubled),
    _rule("warning", plan_devices.serial_mangled),
    _rule("warning", plan_devices.label_doubled),
    _rule("warning", plan_devices.part_unknown, _PROFILE),
    _rule("error", plan_devices.vlan_out_of_range),
    _rule("warning", plan_devices.vlan_tagged_without_number),
    _rule("warning", plan_devices.vlan_differs_in_subnet),
    _rule("error", plan_devices.port_doubled),
    _rule("warning", plan_devices.duplex_impossible),
    _rule("warning", plan_devices.copper_too_long),
    _rule("warning", plan_devices.mtu_below_acceptance),
    _rule("error", plan_devices.service_open_and_closed),
    _rule("warning", figures.number_improbable),
    _rule("error", figures.coordinate_out_of_range),
    _rule("warning", figures.date_improbable, "today"),
    _rule("warning", figures.revision_mangled),
    _rule("warning", figures.licence_expired, "today"),
    _rule("error", figures.maintenance_backwards),
    _rule("warning", figures.atpc_range_backwards),
    _rule("error", frequencies.tx_same_at_both_ends),
    _rule("error", frequencies.rx_differs_from_far_tx),
    _rule("warning", frequencies.band_halves_equal),
    _rule("warning", frequencies.band_halves_crossed),
    _rule("warning", frequencies.frequency_against_band),
    _rule("warning", frequencies.frequency_outside_variant, _PROFILE),
    _rule("warning", frequencies.variant_of_other_band, _PROFILE),
    _rule("warning", frequencies.channel_off_raster),
    _rule("warning", frequencies.duplex_spacing_differs),
    _rule("warning", frequencies.radio_on_two_frequencies),
    _rule("warning", frequencies.carriers_collide),
    _rule("warning", frequencies.xpic_on_two_frequencies),
    _rule("warning", geometry.ring_of_odd_hops),
    _rule("warning", geometry.both_halves_at_site),
    _rule("warning", hops.bandwidth_missing),
    _rule("warning", hops.polarisation_missing),
    _rule("warning", hops.carriers_too_few),
    _rule("warning", hops.modulation_unknown, _PROFILE),
    _rule("warning", hops.mode_missing_at_bandwidth, _PROFILE),
    _rule("warning", hops.modulation_order),
    _rule("warning", hops.capacity_over_key),
    _rule("warning", hops.capacity_over_symbols),
    _rule("warning", hops.capacity_over_mode, _PROFILE),
    _rule("warning", hops.power_over_mode, _PROFILE),
    _rule("error", hops.eirp_over_licence),
    _rule("warning", hops.atpc_over_licence),
    _rule("error", hops.bench_damage, _PROFILE),
    _rule("warning", hops.bench_overload, _PROFILE),
    _rule("warning", figures.rx_level_missing, _PROFILE),
    _rule("warning", figures.rx_level_over_limit, _PROFILE),
    _rule("warning", figures.rx_level_off_budget),
    _rule("warning", figures.fade_margin_over_level, _PROFILE),
    _rule("warning", figures.alignment_voltage_off_level, _PROFILE),
    _rule("warning", geometry.coordinates_incomplete),
    _rule("warning", geometry.coordinates_swapped),
    _rule("warning", geometry.coordinates_far_off),
    _rule("warning", geometry.path_length_differs),
    _rule("warning", geometry.azimuth_off_coordinates),
    _rule("warning", geometry.azimuths_not_facing),
    _rule("warning", geometry.link_within_site),
)
"""A rule's name is its function's, with hyphens."""
