"""What each end of a link receives, from powers, losses, gains and the distance.

Free-space loss: ITU-R P.525 Annex 1, eq. 3, with the exact constant. Distance: Lambert's formula
for long lines on the WGS 84 ellipsoid (good to some 10 m), unless the plan gives the path.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from verifier.model.plan import Carrier, End, Link, Site
from verifier.model.profile import Mode, Profile

_LIGHT_M_PER_S = 299_792_458.0
_EQUATOR_M, _FLATTENING = 6_378_137.0, 1 / 298.257223563
"""WGS 84."""
DEFAULT_EFFICIENCY = 0.6
_NOISE_DBM_PER_HZ = -174.0
"""Thermal noise at 290 K."""
_NOISE_FIGURE_DB = 5.0
_MAX_SNR_DB = 42.0
_DEFAULT_BANDWIDTH_MHZ = 28.0
NEUTRAL_RX_DBM = -50.0
"""A good level, where the plan gives too little to compute one and plans none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """How an end is set, and what is wrong on its way in.

    Attributes:
        muted: the transmitter is off.
        alignment: lowest modulation, highest power, ATPC off.
        power_offset_db: what it transmits above what it is set to.
        set_offset_db: what it is set to above the plan.
        rx_extra_db: further loss of what it receives.
        mhz_off, rx_mhz_off: how far above its planned frequency it transmits, or listens.
        crossed: it transmits on what is planned for the far end, and listens on its own.
        bandwidth_mhz, link_id, polarisation: set instead of what is planned.
        key: of the encryption; two ends with unlike ones do not lock.
        lowest: fixed at the lowest modulation.
        atpc: on or off instead of as planned.
        testing: it transmits a bare carrier.
        noise_db: what another transmitter takes off its SNR.
    """

    muted: bool = False
    alignment: bool = False
    power_offset_db: float = 0.0
    set_offset_db: float = 0.0
    rx_extra_db: float = 0.0
    mhz_off: float = 0.0
    rx_mhz_off: float = 0.0
    crossed: bool = False
    bandwidth_mhz: float | None = None
    link_id: str | None = None
    polarisation: str | None = None
    key: str = ""
    lowest: bool = False
    atpc: bool | None = None
    testing: bool = False
    noise_db: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RadioView:
    """What an end of a carrier reports of itself.

    Attributes:
        rx_dbm: level it receives; None: nothing.
        power_dbm: what it transmits now. `power_set_dbm`: what it is set to.
        mode: what it transmits with. `far_mode`: what it receives with.
    """

    rx_dbm: float | None
    snr_db: float | None
    power_dbm: float
    power_set_dbm: float
    atpc: bool
    locked: bool
    mode: Mode | None
    far_mode: Mode | None


def free_space_loss_db(mhz: float, km: float) -> float:
    """20 log10(4 pi d / lambda), d and lambda in metres (ITU-R P.525 eq. 3)."""
    return 20 * math.log10(4 * math.pi * km * 1e3 * mhz * 1e6 / _LIGHT_M_PER_S)


def antenna_gain_dbi(end: End, mhz: float) -> float | None:
    """The planned gain, else that of a round dish: efficiency times (pi D / lambda) squared."""
    if end.antenna_dbi is not None or end.antenna_diameter_m is None:
        return end.antenna_dbi
    efficiency = end.antenna_efficiency or DEFAULT_EFFICIENCY
    across = math.pi * end.antenna_diameter_m * mhz * 1e6 / _LIGHT_M_PER_S
    return 10 * math.log10(efficiency * across**2)


def distance_km(a: Site, b: Site) -> float | None:
    """Length of the geodesic between two sites; None where a coordinate is missing."""
    if a.latitude is None or a.longitude is None or b.latitude is None or b.longitude is None:
        return None
    north_a, north_b = math.radians(a.latitude), math.radians(b.latitude)
    east_a, east_b = math.radians(a.longitude), math.radians(b.longitude)
    reduced_a = math.atan((1 - _FLATTENING) * math.tan(north_a))
    reduced_b = math.atan((1 - _FLATTENING) * math.tan(north_b))
    square = (
        math.sin((reduced_b - reduced_a) / 2) ** 2
        + math.cos(reduced_a) * math.cos(reduced_b) * math.sin((east_b - east_a) / 2) ** 2
    )
    angle = 2 * math.asin(math.sqrt(square))
    if angle == 0:
        return 0.0
    p, q = (reduced_a + reduced_b) / 2, (reduced_b - reduced_a) / 2
    x = (angle - math.sin(angle)) * (math.sin(p) * math.cos(q) / math.cos(angle / 2)) ** 2
    y = (angle + math.sin(angle)) * (math.cos(p) * math.sin(q) / math.sin(angle / 2)) ** 2
    return _EQUATOR_M * (angle - _FLATTENING / 2 * (x + y)) / 1000


def path_loss_db(link: Link, far: End, near: End, mhz: float, km: float) -> float | None:
    """From the far transmitter to the near receiver: losses less gains; None: a gain is unknown."""
    gains = antenna_gain_dbi(far, mhz), antenna_gain_dbi(near, mhz)
    if gains[0] is None or gains[1] is None or km <= 0:
        return None
    losses = (
        far.line_loss_db, far.tx_loss_db, far.extra_loss_db,
        near.line_loss_db, near.rx_loss_db, near.extra_loss_db, link.gas_loss_db,
    )  # fmt: skip
    return free_space_loss_db(mhz, km) + sum(x or 0.0 for x in losses) - gains[0] - gains[1]


def modes_of(profile: Profile, link: Link) -> list[Mode]:
    """The modes of the planned bandwidth, the most robust first."""
    return sorted(
        (m for m in profile.mode if m.bandwidth_mhz in {link.bandwidth_mhz, None}),
        key=lambda m: m.bits,
    )


def seen(
    link: Link,
    carrier: Carrier,
    km: float | None,
    profiles: Sequence[Profile],
    settings: Sequence[Setting],
) -> tuple[RadioView, RadioView]:
    """What both ends of a carrier report.

    Args:
        link: as planned.
        carrier: one of its channels.
        km: length of the path; None: not known, and so the planned levels are taken.
        profiles: of end a and end b.
        settings: of end a and end b.
    """
    ends = carrier.a, carrier.b
    turned_db = _CROSS_POLAR_DB if settings[0].polarisation != settings[1].polarisation else 0.0
    losses = [
        _loss_towards(link, ends[1 - n], ends[n], km, settings[n]) + turned_db for n in (0, 1)
    ]
    powers = [
        _powers(link, ends[n], ends[1 - n], losses[1 - n], profiles[n], settings[n]) for n in (0, 1)
    ]
    levels = [
        powers[1 - n][1] - losses[n] if _hears(settings[n], settings[1 - n]) else None
        for n in (0, 1)
    ]
    alike = _understand(link, settings[0], settings[1])
    clear = [_clear(levels[n], settings[n].noise_db) for n in (0, 1)]
    usable = [alike and not settings[1 - n].testing for n in (0, 1)]
    modes = [
        _mode(link, profiles[n], settings[n], clear[1 - n] if usable[1 - n] else None)
        for n in (0, 1)
    ]
    return tuple(  # type: ignore[return-value]
        _end(
            link, ends[n], settings[n], powers[n], levels[n], modes[n], modes[1 - n],
            usable=usable[n],
        )
        for n in (0, 1)
    )  # fmt: skip


def _hears(near: Setting, far: Setting) -> bool:
    """Whether anything of the far transmitter arrives where the near receiver listens."""
    return not far.muted and far.mhz_off == near.rx_mhz_off and near.crossed == far.crossed


def _understand(link: Link, one: Setting, other: Setting) -> bool:
    """Whether two ends lock to each other where the level is right."""
    fields = ["bandwidth_mhz", "link_id", "key"]
    if _fixed(link):
        fields += ["lowest", "alignment"]
    return all(getattr(one, field) == getattr(other, field) for field in fields)


def _clear(level: float | None, noise_db: float) -> float | None:
    """The level that would be received as well without the other transmitter."""
    return None if level is None else level - noise_db


_CROSS_POLAR_DB = 28.0
"""Lost where one polarisation is sent and the other received. Common practice, no source."""


def _loss_towards(link: Link, far: End, near: End, km: float | None, setting: Setting) -> float:
    """Everything lost on the way to `near`, as planned or computed, with what is wrong."""
    loss = None
    if km is not None and far.tx_mhz is not None and far.tx_power_dbm is not None:
        loss = path_loss_db(link, far, near, far.tx_mhz, km)
    if loss is None:
        level = NEUTRAL_RX_DBM if near.rx_level_dbm is None else near.rx_level_dbm
        loss = (far.tx_power_dbm or 0.0) - level
    return loss + setting.rx_extra_db


def _powers(  # noqa: PLR0913, PLR0917
    link: Link, end: End, far: End, loss_db: float, profile: Profile, setting: Setting
) -> tuple[float, float]:
    """What an end is set to transmit, and what it does."""
    planned = (end.tx_power_dbm or 0.0) + setting.set_offset_db
    if setting.alignment:
        planned = _alignment_power(link, end, profile, planned)
    actual = planned + setting.power_offset_db
    if _atpc(end, setting) and far.atpc_target_dbm is not None:
        wanted = far.atpc_target_dbm + loss_db
        low = end.atpc_min_dbm if end.atpc_min_dbm is not None else wanted
        high = end.atpc_max_dbm if end.atpc_max_dbm is not None else planned
        actual = min(max(wanted, low), high) + setting.power_offset_db
    return planned, actual


def _atpc(end: End, setting: Setting) -> bool:
    on = bool(end.atpc) if setting.atpc is None else setting.atpc
    return on and not setting.alignment


def _alignment_power(link: Link, end: End, profile: Profile, planned: float) -> float:
    """The lowest mode's highest power, but no more than the licensed EIRP allows."""
    modes = modes_of(profile, link)
    limits = [m.max_tx_power_dbm for m in modes[:1] if m.max_tx_power_dbm is not None]
    gain = antenna_gain_dbi(end, end.tx_mhz) if end.tx_mhz is not None else None
    if end.max_eirp_dbm is not None and gain is not None:
        limits.append(end.max_eirp_dbm - gain + (end.line_loss_db or 0) + (end.tx_loss_db or 0))
    return min(limits, default=planned)


def _mode(link: Link, profile: Profile, setting: Setting, far_level: float | None) -> Mode | None:
    """What an end transmits with: the best mode up to the planned one that the far end can read."""
    modes = modes_of(profile, link)
    names = [m.modulation for m in modes]
    if not modes:
        return None
    if setting.alignment or setting.lowest:
        return modes[0]
    top = names.index(link.modulation_max) if link.modulation_max in names else len(modes) - 1
    low = names.index(link.modulation_min) if link.modulation_min in names else 0
    if _fixed(link):
        return modes[top]
    readable = [m for m in modes[low : top + 1] if _carries(m, far_level)]
    return readable[-1] if readable else modes[low]


def _fixed(link: Link) -> bool:
    return link.adaptive is False or link.modulation_min == link.modulation_max is not None


def _carries(mode: Mode, level: float | None) -> bool:
    return level is not None and (mode.threshold_dbm is None or level >= mode.threshold_dbm)


def _end(  # noqa: PLR0913, PLR0917
    link: Link,
    end: End,
    setting: Setting,
    powers: tuple[float, float],
    level: float | None,
    mode: Mode | None,
    far_mode: Mode | None,
    *,
    usable: bool,
) -> RadioView:
    bandwidth_hz = (link.bandwidth_mhz or _DEFAULT_BANDWIDTH_MHZ) * 1e6
    noise_dbm = _NOISE_DBM_PER_HZ + 10 * math.log10(bandwidth_hz) + _NOISE_FIGURE_DB
    return RadioView(
        rx_dbm=level,
        snr_db=None
        if level is None
        else max(0.0, min(level - noise_dbm, _MAX_SNR_DB) - setting.noise_db),
        power_dbm=powers[1],
        power_set_dbm=powers[0],
        atpc=_atpc(end, setting),
        locked=usable
        and level is not None
        and (far_mode is None or _carries(far_mode, _clear(level, setting.noise_db))),
        mode=mode,
        far_mode=far_mode,
    )
