"""Modulation, capacity and power of a link against its profiles and its licence."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from verifier.model.plan import Carrier, End, EndName, Link
from verifier.model.problem import Subject
from verifier.model.profile import Limits, Mode, Profile
from verifier.rules import radio
from verifier.rules.plan.figures import LINK_RANGES, probable
from verifier.rules.plan.scope import Found, PlanScope, RuleProblem, end_of, end_path, figure

_ROUNDING = 0.05
"""dB, Mbit/s: figures are written with one decimal."""
_MODULATIONS = ("modulation_max", "modulation_reference", "modulation_min")


def _ends(scope: PlanScope) -> Iterator[tuple[Link, Carrier, EndName, End]]:
    for link, carrier in scope.carriers:
        for name, end in carrier.ends():
            yield link, carrier, name, end


def bandwidth_missing(scope: PlanScope) -> Found:
    """Frequencies are planned, but no bandwidth."""
    for link in scope.plan.links:
        path = ("links", link.name, "bandwidth_mhz")
        frequencies = any(e.tx_mhz is not None for c in link.carriers for _, e in c.ends())
        if frequencies and link.bandwidth_mhz is None and not scope.written(*path):
            message = "frequencies are planned, but no bandwidth: write bandwidth_mhz"
            yield RuleProblem(Subject("link", link.name), path, message)


def polarisation_missing(scope: PlanScope) -> Found:
    """Frequencies are planned, but no polarisation."""
    for link, carrier in scope.carriers:
        path = ("links", link.name, str(carrier.carrier), "polarisation")
        frequencies = any(end.tx_mhz is not None for _, end in carrier.ends())
        if frequencies and carrier.polarisation is None and not scope.written(*path):
            message = "frequencies are planned, but no polarisation: write V or H"
            yield RuleProblem(Subject("link", link.name, carrier=carrier.carrier), path, message)


def carriers_too_few(scope: PlanScope) -> Found:
    """2+0 is planned with one carrier."""
    for link in scope.plan.links:
        if link.protection in {"2+0", "2+0-xpic"} and len(link.carriers) == 1:
            message = (
                f"{link.protection} has two carriers, but one is planned: add the other, "
                "or mend the protection"
            )
            yield RuleProblem(
                Subject("link", link.name), ("links", link.name, "protection"), message
            )


def _profiles(scope: PlanScope, link: Link) -> dict[str, Profile]:
    """The profiles at the link's ends that have modes, by id."""
    found = (scope.profile(end.device) for c in link.carriers for _, end in c.ends())
    return {p.id: p for p in found if p is not None and p.mode}


def _mode(scope: PlanScope, link: Link, device: str) -> Mode | None:
    """The mode of a device at the link's highest modulation and bandwidth."""
    profile = scope.profile(device)
    if profile is None or link.modulation_max is None:
        return None
    modes = radio.modes_of(profile, link.modulation_max)
    return next((m for m in modes if m.bandwidth_mhz in {None, link.bandwidth_mhz}), None)


def modulation_unknown(scope: PlanScope) -> Found:
    """A modulation that a device's profile does not have."""
    for link in scope.plan.links:
        for name, modulation, path in _modulations(link):
            for profile in _profiles(scope, link).values():
                if not radio.modes_of(profile, modulation):
                    known = ", ".join(dict.fromkeys(m.modulation for m in profile.mode))
                    message = (
                        f"{name} {modulation} is not in profile {profile.id} ({known}): "
                        "mend it, or add the mode to the profile"
                    )
                    yield RuleProblem(Subject("link", link.name), path, message)


def _modulations(link: Link) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Each different modulation of a link: field, value, path."""
    seen = set()
    for field in _MODULATIONS:
        value: str | None = getattr(link, field)
        if value is not None and value not in seen:
            seen.add(value)
            yield field, value, ("links", link.name, field)


def mode_missing_at_bandwidth(scope: PlanScope) -> Found:
    """A device's profile has the modulation, but not at this bandwidth."""
    for link in scope.plan.links:
        bandwidth = probable(link, "bandwidth_mhz", LINK_RANGES)
        if bandwidth is None:
            continue
        told = set()
        for name, modulation, path in _modulations(link):
            for profile in _profiles(scope, link).values():
                widths = {m.bandwidth_mhz for m in radio.modes_of(profile, modulation)}
                if widths and not widths & {None, bandwidth} and profile.id not in told:
                    told.add(profile.id)
                    known = ", ".join(figure(w) for w in sorted(w for w in widths if w))
                    message = (
                        f"{name} {modulation} at {figure(bandwidth)} MHz is not in profile "
                        f"{profile.id} (it has {known} MHz): mend one of them"
                    )
                    yield RuleProblem(Subject("link", link.name), path, message)


def modulation_order(scope: PlanScope) -> Found:
    """Lowest, reference and highest modulation are not in that order."""
    for link in scope.plan.links:
        low, middle, high = (
            radio.bits_per_symbol(text) if text is not None else None
            for text in (link.modulation_min, link.modulation_reference, link.modulation_max)
        )
        steps = [bits for bits in (low, middle, high) if bits is not None]
        if steps != sorted(steps):
            message = (
                f"lowest {link.modulation_min}, reference {link.modulation_reference}, highest "
                f"{link.modulation_max}: these do not rise; mend their order"
            )
            yield RuleProblem(
                Subject("link", link.name), ("links", link.name, "modulation_max"), message
            )


def _times(count: int) -> str:
    return f"{count} carriers x " if count > 1 else ""


def capacity_over_key(scope: PlanScope) -> Found:
    """More capacity than the device's feature key allows."""
    for link in scope.plan.links:
        capacity, key = link.capacity_mbps, link.key_capacity_mbps
        if capacity is not None and key is not None and capacity > key + _ROUNDING:
            message = (
                f"{figure(capacity)} Mbit/s planned, the key allows {figure(key)} Mbit/s: "
                "order another key, or plan less"
            )
            yield RuleProblem(
                Subject("link", link.name), ("links", link.name, "capacity_mbps"), message
            )


def _over_symbols(link: Link) -> str | None:
    """Bits x bandwidth: one symbol a second for each hertz at the most (Nyquist)."""
    bits = radio.bits_per_symbol(link.modulation_max) if link.modulation_max is not None else None
    bandwidth = probable(link, "bandwidth_mhz", LINK_RANGES)
    if link.capacity_mbps is None or bits is None or bandwidth is None:
        return None
    carriers = radio.carrying(link)
    most = carriers * bits * bandwidth
    if link.capacity_mbps <= most + _ROUNDING:
        return None
    return (
        f"{figure(link.capacity_mbps)} Mbit/s planned, but {_times(carriers)}{bits} bits x "
        f"{figure(bandwidth)} MHz = {figure(most)} Mbit/s ({link.modulation_max}): mend capacity, "
        "bandwidth or modulation"
    )


def capacity_over_symbols(scope: PlanScope) -> Found:
    """More capacity than bits x bandwidth of the highest modulation, for each carrier."""
    for link in scope.plan.links:
        if (message := _over_symbols(link)) is not None:
            yield RuleProblem(
                Subject("link", link.name), ("links", link.name, "capacity_mbps"), message
            )


def capacity_over_mode(scope: PlanScope) -> Found:
    """More capacity than the profile's mode carries, for each carrier."""
    for link in scope.plan.links:
        if link.capacity_mbps is None or not link.carriers or _over_symbols(link) is not None:
            continue
        devices = [end.device for c in link.carriers for _, end in c.ends()]
        modes = [m for d in devices if (m := _mode(scope, link, d)) and m.capacity_mbps is not None]
        least = min((m.capacity_mbps or 0 for m in modes), default=None)
        if least is None or link.capacity_mbps <= radio.carrying(link) * least + _ROUNDING:
            continue
        most = radio.carrying(link) * least
        message = (
            f"{figure(link.capacity_mbps)} Mbit/s planned, but {link.modulation_max} carries "
            f"{_times(radio.carrying(link))}{figure(least)} = {figure(most)} Mbit/s: plan less, or "
            "a higher modulation or bandwidth"
        )
        yield RuleProblem(
            Subject("link", link.name), ("links", link.name, "capacity_mbps"), message
        )


def power_over_mode(scope: PlanScope) -> Found:
    """More power than the device gives at the highest modulation."""
    for link, carrier, name, end in _ends(scope):
        mode = _mode(scope, link, end.device)
        if mode is None or mode.max_tx_power_dbm is None or end.tx_power_dbm is None:
            continue
        if end.tx_power_dbm > mode.max_tx_power_dbm + _ROUNDING:
            message = (
                f"{figure(end.tx_power_dbm)} dBm planned, {end.device} gives at most "
                f"{figure(mode.max_tx_power_dbm)} dBm at {link.modulation_max}: plan less"
            )
            path = end_path(link, carrier, name, "tx_power_dbm")
            yield RuleProblem(end_of(link, carrier, name), path, message)


def eirp_over_licence(scope: PlanScope) -> Found:
    """Power + antenna gain - losses is above the licence."""
    for link, carrier, name, end in _ends(scope):
        eirp = radio.eirp_dbm(end)
        if eirp is None or end.max_eirp_dbm is None or eirp <= end.max_eirp_dbm + _ROUNDING:
            continue
        losses = radio.losses_after_transmitter_db(end)
        message = (
            f"{figure(end.tx_power_dbm or 0)} dBm + {figure(end.antenna_dbi or 0)} dBi - "
            f"{figure(losses)} dB = {figure(eirp)} dBm EIRP, the licence allows "
            f"{figure(end.max_eirp_dbm)} dBm: plan {figure(eirp - end.max_eirp_dbm)} dB less power"
        )
        path = end_path(link, carrier, name, "tx_power_dbm")
        yield RuleProblem(end_of(link, carrier, name), path, message)


def atpc_over_licence(scope: PlanScope) -> Found:
    """The highest power of ATPC + antenna gain - losses is above the licence."""
    for link, carrier, name, end in _ends(scope):
        most = end.atpc_max_dbm
        eirp = None if most is None else radio.eirp_dbm(end, most)
        if most is None or eirp is None or end.max_eirp_dbm is None or end.atpc is False:
            continue
        if eirp > end.max_eirp_dbm + _ROUNDING:
            message = (
                f"ATPC up to {radio.eirp_sum(end, most)}, the licence allows "
                f"{figure(end.max_eirp_dbm)} dBm: plan {figure(eirp - end.max_eirp_dbm)} dB less"
            )
            path = end_path(link, carrier, name, "atpc_max_dbm")
            yield RuleProblem(end_of(link, carrier, name), path, message)


NEAR_OVERLOAD_DB = 10.0
"""On the bench a level this close to the overload limit is told (requirement)."""


class _OnBench(NamedTuple):
    """What reaches a receiver on the bench, and the planned attenuation that lets it."""

    level_dbm: float
    sum: str
    device: str
    limits: Limits
    subject: Subject
    path: tuple[str, ...]


def _on_bench(scope: PlanScope) -> Iterator[_OnBench]:
    """The level at each receiver on the bench, where power and attenuation are planned.

    The attenuation between the devices is that of the receiving end, else that of the other.
    """
    for link, carrier in scope.carriers:
        for name, end in carrier.ends():
            far_name: EndName = "b" if name == "a" else "a"
            far = carrier.b if name == "a" else carrier.a
            power = far.tx_power_dbm if far.bench_tx_power_dbm is None else far.bench_tx_power_dbm
            where = far_name if end.bench_attenuation_db is None else name
            attenuation = (end if where == name else far).bench_attenuation_db
            profile = scope.profile(end.device)
            if power is None or attenuation is None or profile is None:
                continue
            level = power - attenuation
            yield _OnBench(
                level,
                f"on the bench {figure(power)} dBm - {figure(attenuation)} dB = "
                f"{figure(level)} dBm",
                end.device,
                profile.limits,
                end_of(link, carrier, where),
                end_path(link, carrier, where, "bench_attenuation_db"),
            )


def _worst(found: Iterator[tuple[_OnBench, str]]) -> Found:
    """One fault for each attenuation: that of the highest level; no words, no fault."""
    worst: dict[tuple[str, ...], tuple[_OnBench, str]] = {}
    for at, message in found:
        if not message:
            continue
        known = worst.get(at.path)
        if known is None or at.level_dbm > known[0].level_dbm:
            worst[at.path] = at, message
    for at, message in worst.values():
        yield RuleProblem(at.subject, at.path, message)


def bench_damage(scope: PlanScope) -> Found:
    """On the bench a receiver gets more than it survives."""

    def said(at: _OnBench) -> str:
        most = at.limits.rx_damage_dbm
        if most is None or at.level_dbm <= most:
            return ""
        return (
            f"{at.sum} reach {at.device}, which is damaged above {figure(most)} dBm: "
            "more attenuation, before anything is switched on"
        )

    yield from _worst((at, said(at)) for at in _on_bench(scope))


def bench_overload(scope: PlanScope) -> Found:
    """On the bench a receiver gets more than 10 dB under its overload limit."""

    def said(at: _OnBench) -> str:
        most, damage = at.limits.rx_max_dbm, at.limits.rx_damage_dbm
        if most is None or at.level_dbm <= most - NEAR_OVERLOAD_DB:
            return ""
        if damage is not None and at.level_dbm > damage:
            return ""
        return (
            f"{at.sum} reach {at.device}, which is overloaded above {figure(most)} dBm: "
            f"more attenuation, so that {figure(NEAR_OVERLOAD_DB)} dB are left"
        )

    yield from _worst((at, said(at)) for at in _on_bench(scope))
