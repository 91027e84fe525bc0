"""What an end should receive at a stage, and the voltage that its alignment port should show.

The plan gives each end's level for the far end's planned power. Decibels add up, so another power
shifts the level by as much; nothing else of the path is computed anew.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from verifier.model.plan import Carrier, End, EndName, Link, Stage
from verifier.model.profile import AlignmentPort, Profile
from verifier.rules.radio import channels
from verifier.rules.radio.budget import figure, power_within_eirp_dbm


def volts_at(port: AlignmentPort, level_dbm: float) -> float | None:
    """The voltage at this level, in V; None outside the table: nothing is guessed beyond it."""
    return _between(port.table, level_dbm)


def level_at(port: AlignmentPort, volts: float) -> float | None:
    """The level at this voltage, in dBm; None outside the table."""
    return _between(tuple((v, dbm) for dbm, v in port.table), volts)


def _between(rows: tuple[tuple[float, float], ...], x: float) -> float | None:
    """Straight lines from row to row; rows rise or fall in either column."""
    for (x0, y0), (x1, y1) in pairwise(sorted(rows)):
        if x0 <= x <= x1:
            return y0 if x1 == x0 else y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return None


def no_signal(port: AlignmentPort, volts: float) -> bool:
    """Whether the voltage is that of a port that receives nothing.

    The voltage of no signal lies beyond the table's weakest row, on whichever side that is.
    """
    if port.no_signal_v is None:
        return False
    weakest = min(port.table)[1]
    if port.no_signal_v == weakest:
        return volts == weakest
    below = port.no_signal_v < weakest
    return volts <= port.no_signal_v if below else volts >= port.no_signal_v


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A level, its voltage, and the voltages that are still right.

    Attributes:
        volts: at `level_dbm`.
        low_v, high_v: the lower and the higher of the voltages at the edges of the tolerance; an
            edge beyond the table is the table's end.
    """

    level_dbm: float
    tolerance_db: float
    volts: float
    low_v: float
    high_v: float

    def holds(self, volts: float) -> bool:
        """Whether a voltage is inside; to a hundredth of a volt, which is what a meter shows."""
        return self.low_v - 0.005 <= volts <= self.high_v + 0.005


def window(port: AlignmentPort, level_dbm: float, tolerance_db: float) -> Window | None:
    """The window around a level; None where the level itself is outside the table."""
    volts = volts_at(port, level_dbm)
    if volts is None:
        return None
    levels = [dbm for dbm, _ in port.table]
    edges = [
        volts_at(port, min(max(level_dbm + step, min(levels)), max(levels)))
        for step in (-tolerance_db, tolerance_db)
    ]
    known = [e for e in edges if e is not None]
    return Window(
        level_dbm=level_dbm, tolerance_db=tolerance_db, volts=volts, low_v=min(known),
        high_v=max(known),
    )  # fmt: skip


ATPC_KEEPS = "ATPC keeps"


@dataclass(frozen=True, slots=True)
class Expected:
    """A figure and how it came about, in words."""

    value: float
    how: str


def tolerance_db(end: End, profile: Profile) -> float:
    """What a level may be off: the plan's, else the profile's."""
    if end.rx_level_tolerance_db is not None:
        return end.rx_level_tolerance_db
    return profile.tolerance.rx_level_db


def level_at_power(near: End, far: End, power_dbm: float) -> float | None:
    """The level when the far end transmits so much, in dBm; None where the plan does not tell."""
    if near.rx_level_dbm is None or far.tx_power_dbm is None:
        return None
    return near.rx_level_dbm + power_dbm - far.tx_power_dbm


def atpc_level(near: End, far: End) -> Expected | str:
    """The level that ATPC at the far end keeps, else what is missing to tell.

    It is `near.atpc_target_dbm`; not less than the level at the far end's lowest power, and never
    more than that at its highest.
    """
    if near.rx_level_dbm is None:
        return "no receive level is planned"
    target = near.atpc_target_dbm
    if target is None:
        return "ATPC is on at the far end, and no atpc_target_dbm is planned"
    lowest = None
    if far.atpc_min_dbm is not None:
        lowest = level_at_power(near, far, far.atpc_min_dbm)
    highest = near.rx_level_dbm
    if far.atpc_max_dbm is not None:
        at_most = level_at_power(near, far, far.atpc_max_dbm)
        highest = highest if at_most is None else at_most
    level = min(max(target, -math.inf if lowest is None else lowest), highest)
    limit = "" if level == target else (
        "; the far end's lowest power gives more" if level == lowest
        else "; the far end's highest power gives no more"
    )  # fmt: skip
    return Expected(level, f"{ATPC_KEEPS} {figure(target)} dBm{limit}")


def expected_level(  # noqa: PLR0913
    near: End,
    far: End,
    stage: Stage,
    *,
    far_power_dbm: float | None = None,
    atpc: bool | None = None,
    known: str = "planned",
) -> Expected | str:
    """The level this end should receive, in dBm, else why it cannot be told.

    Args:
        near: the receiving end.
        far: the end that transmits to it.
        stage: on the bench the level is `bench_rx_level_dbm`; while aligning it follows the far
            end's actual power; later it is the planned one, or what ATPC keeps.
        far_power_dbm: what the far end transmits now.
        atpc: whether ATPC is on at the far end; as planned if None.
        known: how `near.rx_level_dbm` is known, for the words.
    """
    if stage == "bench":
        planned, how = near.bench_rx_level_dbm, "planned for the bench"
        return Expected(planned, how) if planned is not None else "no bench_rx_level_dbm is planned"
    if near.rx_level_dbm is None:
        return "no receive level is planned"
    if stage == "alignment":
        return _shifted(near, far, far_power_dbm, known)
    if not (far.atpc if atpc is None else atpc):
        return Expected(near.rx_level_dbm, f"as {known}")
    kept, followed = atpc_level(near, far), _shifted(near, far, far_power_dbm, known)
    return followed if isinstance(kept, str) and not isinstance(followed, str) else kept


def _shifted(near: End, far: End, far_power_dbm: float | None, known: str) -> Expected | str:
    if far.tx_power_dbm is None:
        return "the far end's power is not planned"
    if far_power_dbm is None:
        return "the far end's actual power is not known"
    level = level_at_power(near, far, far_power_dbm)
    if level is None:
        return "no receive level is planned"
    planned, now = figure(far.tx_power_dbm), figure(far_power_dbm)
    if abs(far_power_dbm - far.tx_power_dbm) < 0.05:  # noqa: PLR2004 - shown with one decimal
        return Expected(level, f"the far end transmits {now} dBm, as planned")
    return Expected(
        level, f"{figure(near.rx_level_dbm or 0)} dBm is {known} for {planned} dBm from the "
        f"far end, which now transmits {now} dBm",
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class RequiredLevel:
    """The level that ATPC has to keep at an end.

    Attributes:
        dbm: the level; what is up to `slack_db` below it is not short of it.
        field: what of the plan it comes from.
    """

    dbm: float
    slack_db: float
    how: str
    field: str


def required_level(
    link: Link, near: End, profile: Profile, bandwidth_mhz: float | None
) -> RequiredLevel | None:
    """What the far end's ATPC must not leave this end below; None where the plan does not tell.

    The planned target; else what the planned fade margin asks for in the reference modulation;
    else the bare threshold of the highest planned modulation.
    """
    slack = tolerance_db(near, profile)
    if near.atpc_target_dbm is not None:
        dbm = near.atpc_target_dbm
        return RequiredLevel(dbm, slack, f"the target is {figure(dbm)} dBm", "atpc_target_dbm")
    mode = channels.mode_for(profile, link.modulation_reference, bandwidth_mhz)
    margin = link.fade_margin_db
    if margin is not None and not isinstance(mode, str) and mode.threshold_dbm is not None:
        dbm = mode.threshold_dbm + margin
        how = (
            f"a fade margin of {figure(margin)} dB in {mode.modulation} asks for {figure(dbm)} dBm"
        )
        return RequiredLevel(dbm, slack, how, "fade_margin_db")
    mode = channels.mode_for(profile, link.modulation_max, bandwidth_mhz)
    if isinstance(mode, str) or mode.threshold_dbm is None:
        return None
    dbm = mode.threshold_dbm
    return RequiredLevel(dbm, 0.0, f"{mode.modulation} needs {figure(dbm)} dBm", "modulation_max")


def bench_attenuation_db(near: End, far: End) -> float | None:
    """What is between the devices on the bench: as the receiving end says, else the other."""
    if near.bench_attenuation_db is not None:
        return near.bench_attenuation_db
    return far.bench_attenuation_db


def planned_loss(near: End, far: End, stage: Stage) -> Expected | str:
    """Planned power of `far` less planned level of `near`, in dB, else what is missing.

    On the bench it is the attenuation between the devices, else bench power less bench level.
    """
    if stage == "bench":
        attenuation = bench_attenuation_db(near, far)
        if attenuation is not None:
            return Expected(attenuation, "the attenuation on the bench")
        power = far.tx_power_dbm if far.bench_tx_power_dbm is None else far.bench_tx_power_dbm
        if power is None or near.bench_rx_level_dbm is None:
            return "no attenuation or level is planned for the bench"
        return Expected(power - near.bench_rx_level_dbm, "bench power less bench level")
    if far.tx_power_dbm is None or near.rx_level_dbm is None:
        return "the far end's power or this end's level is not planned"
    how = f"{figure(far.tx_power_dbm)} dBm - {figure(near.rx_level_dbm)} dBm planned"
    return Expected(far.tx_power_dbm - near.rx_level_dbm, how)


def alignment_power(
    link: Link,
    end: End,
    profile: Profile,
    *,
    modulation: str | None = None,
    bandwidth_mhz: float | None = None,
) -> Expected | str:
    """The most an end may transmit while aligning, in dBm, else why it cannot be told.

    min(the mode's maximum, max EIRP - antenna + losses after the transmitter). Where only one of
    the two is known, that one; the words say so.

    Args:
        link: gives the planned bandwidth.
        end: gives licence, gain and losses.
        profile: gives the modes.
        modulation: of the mode in use; the most robust one if None.
        bandwidth_mhz: in use; the planned one if None.
    """
    width = link.bandwidth_mhz if bandwidth_mhz is None else bandwidth_mhz
    mode = (
        channels.lowest_mode(profile, width)
        if modulation is None
        else channels.mode_for(profile, modulation, width)
    )
    limits: list[Expected] = []
    if not isinstance(mode, str) and mode.max_tx_power_dbm is not None:
        limits.append(Expected(mode.max_tx_power_dbm, f"the most at {mode.modulation}"))
    licence = power_within_eirp_dbm(end)
    if licence is not None:
        limits.append(Expected(licence, "the most within the licensed EIRP"))
    if limits:
        return min(limits, key=lambda e: e.value)
    if isinstance(mode, str):
        return mode
    return f"mode {mode.modulation} has no max_tx_power_dbm, and no EIRP limit is planned"


@dataclass(frozen=True, slots=True, kw_only=True)
class AlignmentVoltages:
    """What the alignment port should show, each a window or why there is none.

    Attributes:
        aligning: the far end in its most robust mode at the power that allows.
        in_service: the far end as planned, with ATPC where that is planned.
    """

    aligning: Window | str
    in_service: Window | str


def alignment_lines(
    link: Link, carrier: Carrier, name: EndName, near_profile: Profile, far_profile: Profile
) -> AlignmentVoltages:
    """The two lines of an end's alignment voltage, for a card or a person's reading.

    Args:
        link: gives the bandwidth.
        carrier: whose ends they are.
        name: the end whose port is read.
        near_profile: of its device: table and tolerance.
        far_profile: of the device that transmits to it: modes and their powers.
    """
    near, far = (carrier.a, carrier.b) if name == "a" else (carrier.b, carrier.a)
    power = alignment_power(link, far, far_profile)
    aligning = (
        power
        if isinstance(power, str)
        else expected_level(near, far, "alignment", far_power_dbm=power.value)
    )
    in_service = expected_level(near, far, "handover")
    return AlignmentVoltages(
        aligning=line(near, near_profile, aligning), in_service=line(near, near_profile, in_service)
    )


def line(near: End, profile: Profile, level: Expected | str) -> Window | str:
    """The window of voltages for a level, else why there is none.

    Its tolerance is the larger of the plan's and the profile's.
    """
    if isinstance(level, str):
        return level
    if profile.alignment_port is None:
        return f"profile {profile.id!r} has no alignment table"
    widest = max(near.rx_level_tolerance_db or 0.0, profile.tolerance.rx_level_db)
    found = window(profile.alignment_port, level.value, widest)
    if found is None:
        return f"{figure(level.value)} dBm is outside the alignment table of profile {profile.id!r}"
    return found
