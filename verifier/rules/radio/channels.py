"""Frequencies and channels of ITU-R arrangements; modulations of a link and modes of a profile."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from verifier.model.plan import Link
from verifier.model.profile import Mode, Profile, bits_per_symbol, plain_modulation

_SAME_MHZ = 0.001
"""Frequencies nearer than this are one frequency."""


def same_mhz(a: float, b: float, shown_mhz: float = 0.0) -> bool:
    """Whether two frequencies are the same within 1 kHz, or as closely as they are shown."""
    return abs(a - b) <= max(_SAME_MHZ, shown_mhz) * (1 + 1e-6)


Half = Literal["lower", "upper"]
HALVES: tuple[Half, Half] = ("lower", "upper")


@dataclass(frozen=True, slots=True, kw_only=True)
class Raster:
    """A radio-frequency channel arrangement: centres `centre + offset + n * step`, in MHz.

    Attributes:
        name: the ITU-R recommendation.
        centre_mhz: the reference frequency.
        lower_mhz, upper_mhz: offsets of the lower and the upper half of the band.
        numbers: first and last n.
        duplex_mhz: between the two channels of one n.
    """

    name: str
    centre_mhz: float
    lower_mhz: float
    upper_mhz: float
    step_mhz: float
    numbers: tuple[int, int]
    duplex_mhz: float

    def channel_mhz(self, half: Half, n: int) -> float:
        """The centre of channel `n`, in MHz."""
        offset = self.lower_mhz if half == "lower" else self.upper_mhz
        return self.centre_mhz + offset + n * self.step_mhz

    def nearest(self, mhz: float) -> tuple[int, Half, float]:
        """The channel nearest to `mhz`: its number, half and centre in MHz."""
        first, last = self.numbers
        found: list[tuple[int, Half, float]] = []
        for half in HALVES:
            n = round((mhz - self.channel_mhz(half, 0)) / self.step_mhz)
            n = min(max(n, first), last)
            found.append((n, half, self.channel_mhz(half, n)))
        return min(found, key=lambda channel: abs(channel[2] - mhz))

    def fits(self, bandwidth_mhz: float, duplex_mhz: float) -> bool:
        """Whether a carrier of this bandwidth and duplex spacing belongs to this arrangement.

        A much narrower carrier has a finer arrangement, a wider one joins channels.
        """
        return self.step_mhz / 2 < bandwidth_mhz <= self.step_mhz and same_mhz(
            self.duplex_mhz, duplex_mhz
        )


def _raster(  # noqa: PLR0913, PLR0917 - the columns of a table
    name: str,
    centre: float,
    lower: float,
    upper: float,
    step: float,
    first: int,
    last: int,
) -> Raster:
    return Raster(
        name=name, centre_mhz=centre, lower_mhz=lower, upper_mhz=upper, step_mhz=step,
        numbers=(first, last), duplex_mhz=upper - lower,
    )  # fmt: skip


RASTERS = (
    _raster("F.383", 6175, -259.45, -7.41, 29.65, 1, 8),
    _raster("F.384", 6770, -350, -10, 40, 1, 8),
    _raster("F.385", 7575, -154, 7, 7, 1, 20),
    _raster("F.386", 8000, -281.95, 29.37, 29.65, 1, 8),
    _raster("F.387", 11200, -525, 5, 40, 1, 12),
    _raster("F.387", 11200, -545, -15, 40, 2, 12),
    _raster("F.497", 12996, -259, 7, 28, 1, 8),
    _raster("F.497", 12996, -248.5, 17.5, 7, 1, 32),
    _raster("F.595", 18700, -1000, 10, 110, 1, 8),
    _raster("F.595", 18700, -1000, 10, 27.5, 1, 35),
    _raster("F.637", 22400, -1232, 0, 112, 1, 10),
    _raster("F.637", 22400, -1190, 42, 28, 1, 40),
    _raster("F.637", 22400, -1183, 49, 14, 1, 80),
    _raster("F.1099", 4700, -310, -10, 40, 1, 7),
)
"""Arrangements of ITU-R Recommendations of those numbers (main text or Annex 1). A band has further
ones, nationally; what is not here is not judged."""

_SERIES = re.compile(r"(?:ITU-R )?(?:REC\.? )?F[. ]?(\d{3,4})(?:-\d+)?", re.IGNORECASE)


def rasters(name: str) -> list[Raster]:
    """The arrangements known by this name (`F.497`, `ITU-R F.497-7`); none is empty."""
    found = _SERIES.fullmatch(name.strip())
    return [r for r in RASTERS if found is not None and r.name == f"F.{found[1]}"]


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
