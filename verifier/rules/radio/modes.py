"""Modulations of a link, and the modes of a profile."""

from __future__ import annotations

from verifier.model.modulation import bits_per_symbol, plain_modulation
from verifier.model.plan import Link
from verifier.model.profile import Mode, Profile
from verifier.rules.radio.channels import same_mhz


def carrying(link: Link) -> int:
    """Carriers that carry traffic of their own at one time."""
    if link.protection.startswith("1+1"):
        return 1
    return max(len(link.carriers), 2 if link.protection.startswith("2+0") else 1)


def is_adaptive(link: Link) -> bool:
    """Whether the modulation may fall with the level: as planned, else where a lower one is."""
    if link.adaptive is not None:
        return link.adaptive
    lowest, highest = link.modulation_min, link.modulation_max
    if lowest is None or highest is None:
        return False
    return plain_modulation(lowest) != plain_modulation(highest)


def modes_of(profile: Profile, modulation: str) -> list[Mode]:
    """The modes of a modulation, of all bandwidths."""
    wanted = plain_modulation(modulation)
    return [m for m in profile.mode if plain_modulation(m.modulation) == wanted]


def modes_at(profile: Profile, bandwidth_mhz: float | None) -> list[Mode]:
    """The modes of a bandwidth, the most robust first; those without one are of any."""
    found = [m for m in profile.mode if _is_of(m, bandwidth_mhz)]
    return sorted(found, key=lambda m: m.bits)


def modes_between(profile: Profile, link: Link, bandwidth_mhz: float | None) -> list[Mode]:
    """The modes at a bandwidth that an adaptive link may be in: from its lowest to its highest.

    A modulation whose bits are not known does not bound them.
    """
    bounds = link.modulation_min, link.modulation_max
    low, high = (None if m is None else bits_per_symbol(m) for m in bounds)
    return [
        m
        for m in modes_at(profile, bandwidth_mhz)
        if (low is None or m.bits >= low) and (high is None or m.bits <= high)
    ]


def _is_of(mode: Mode, bandwidth_mhz: float | None) -> bool:
    if mode.bandwidth_mhz is None:
        return True
    return bandwidth_mhz is not None and same_mhz(mode.bandwidth_mhz, bandwidth_mhz)


def mode_for(profile: Profile, modulation: str | None, bandwidth_mhz: float | None) -> Mode | str:
    """The profile's mode of this modulation at this bandwidth, else why there is none.

    Never that of a neighbouring bandwidth: thresholds and powers differ by decibels.
    """
    if modulation is None:
        return "no modulation is planned or read"
    found = modes_of(profile, modulation)
    if not found:
        known = ", ".join(dict.fromkeys(m.modulation for m in profile.mode)) or "no modes at all"
        return f"profile {profile.id!r} has no mode {modulation} (it has {known})"
    exact = [m for m in found if m.bandwidth_mhz is not None and _is_of(m, bandwidth_mhz)]
    if exact or (exact := [m for m in found if m.bandwidth_mhz is None]):
        return exact[0]
    widths = ", ".join(f"{m.bandwidth_mhz:g}" for m in found if m.bandwidth_mhz is not None)
    if bandwidth_mhz is None:
        return f"the bandwidth is not known, and {modulation} has modes at {widths} MHz"
    return (
        f"profile {profile.id!r} has no mode {modulation} at {bandwidth_mhz:g} MHz "
        f"(it has {widths} MHz)"
    )


def lowest_mode(profile: Profile, bandwidth_mhz: float | None) -> Mode | str:
    """The most robust mode at this bandwidth, else why there is none."""
    found = modes_at(profile, bandwidth_mhz)
    if found:
        return found[0]
    width = "an unknown bandwidth" if bandwidth_mhz is None else f"{bandwidth_mhz:g} MHz"
    return f"profile {profile.id!r} has no mode at {width}"
