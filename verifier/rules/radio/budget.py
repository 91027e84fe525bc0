"""The link budget: gains, losses, EIRP, and the level they add up to."""

from __future__ import annotations

import math
from dataclasses import dataclass

from verifier.model.plan import End, Link

_LIGHT_M_PER_S = 299_792_458.0
"""Exact, by the definition of the metre."""
DEFAULT_EFFICIENCY = 0.6
"""Of a dish, where the plan gives none (common practice: 0.55 to 0.65)."""
GAS_FROM_MHZ = 15_000.0
"""From here up oxygen and water vapour take more than some tenths of a dB on a usual hop
(ITU-R P.676); they are not modelled."""


AGREE_DB = 3.0
"""Up to so much the plan's level and ours agree (requirement)."""
OFF_BUDGET = "rx-level-off-budget"
"""Name of the plan's rule that warns where they do not."""


def free_space_loss_db(mhz: float, km: float) -> float:
    """Basic transmission loss in free space, in dB: 20 log10(4 pi d / lambda).

    Source: ITU-R P.525 Annex 1, equation 3, with the exact constant; equation 4 rounds it to
    32.4 + 20 log f(MHz) + 20 log d(km), which is 0.048 dB less. Both arguments are above 0.
    """
    return 20 * (math.log10(km) + math.log10(mhz) + math.log10(4e9 * math.pi / _LIGHT_M_PER_S))


def dish_gain_dbi(diameter_m: float, mhz: float, efficiency: float = DEFAULT_EFFICIENCY) -> float:
    """Gain of a round aperture, in dBi: efficiency x (pi D / lambda)^2 (ITU-R F.699 uses it)."""
    across = math.log10(diameter_m) + math.log10(mhz) + math.log10(1e6 * math.pi / _LIGHT_M_PER_S)
    return 10 * math.log10(efficiency) + 20 * across


def antenna_gain_dbi(end: End, mhz: float | None) -> float | None:
    """The planned gain, else that of a dish of the planned diameter; None where neither tells."""
    if end.antenna_dbi is not None:
        return end.antenna_dbi
    if not _positive(end.antenna_diameter_m) or not _positive(mhz):
        return None
    efficiency = end.antenna_efficiency
    if efficiency is not None and not 0 < efficiency <= 1:
        return None
    diameter_m, mhz = end.antenna_diameter_m or 1.0, mhz or 1.0
    return dish_gain_dbi(diameter_m, mhz, efficiency or DEFAULT_EFFICIENCY)


def _positive(value: float | None) -> bool:
    return value is not None and value > 0 and math.isfinite(value)


def losses_after_transmitter_db(end: End) -> float:
    """What is lost between the transmitter and the antenna, in dB."""
    return sum(x or 0.0 for x in (end.line_loss_db, end.tx_loss_db, end.extra_loss_db))


def losses_before_receiver_db(end: End) -> float:
    """What is lost between the antenna and the receiver, in dB."""
    return sum(x or 0.0 for x in (end.line_loss_db, end.rx_loss_db, end.extra_loss_db))


def one_way_loss_db(far: End, near: End) -> float:
    """Losses from `far` to `near` that the other direction does not have, in dB."""
    return (far.tx_loss_db or 0.0) + (near.rx_loss_db or 0.0)


def eirp_dbm(end: End, power_dbm: float | None = None) -> float | None:
    """Power + antenna gain - losses after the transmitter (ITU-R V.573: EIRP), in dBm.

    Args:
        end: gives gain and losses.
        power_dbm: what it transmits; the planned power if None.

    None where power or gain is not known.
    """
    power = end.tx_power_dbm if power_dbm is None else power_dbm
    gain = antenna_gain_dbi(end, end.tx_mhz)
    if power is None or gain is None:
        return None
    return power + gain - losses_after_transmitter_db(end)


def eirp_sum(end: End, power_dbm: float) -> str:
    """The same as a sum in words: `18 dBm + 36.1 dBi - 0.5 dB = 53.6 dBm EIRP`."""
    gain, eirp = antenna_gain_dbi(end, end.tx_mhz), eirp_dbm(end, power_dbm)
    if gain is None or eirp is None:
        return ""
    losses = losses_after_transmitter_db(end)
    antenna, total = f"{figure(gain)} dBi", figure(eirp)
    if end.antenna_dbi is None:
        antenna, total = f"{gain:.1f} dBi (dish of its diameter)", f"{eirp:.1f}"
    return f"{figure(power_dbm)} dBm + {antenna} - {figure(losses)} dB = {total} dBm EIRP"


def power_within_eirp_dbm(end: End) -> float | None:
    """The most a device may transmit by its licence: max EIRP - gain + losses after it, in dBm.

    None where licence or gain is not planned.
    """
    gain = antenna_gain_dbi(end, end.tx_mhz)
    if end.max_eirp_dbm is None or gain is None:
        return None
    return end.max_eirp_dbm - gain + losses_after_transmitter_db(end)


@dataclass(frozen=True, slots=True)
class Term:
    """A line of a sum: what it is, and its figure with its sign, in dB (the first in dBm)."""

    what: str
    db: float


@dataclass(frozen=True, slots=True)
class Budget:
    """What an end should receive, term by term.

    Attributes:
        gas_missing: gas takes something at this frequency, and the plan gives no figure for it.
    """

    terms: tuple[Term, ...]
    gas_missing: bool

    @property
    def level_dbm(self) -> float:
        """What the terms add up to, in dBm."""
        return math.fsum(t.db for t in self.terms)

    def gas_words(self) -> str:
        """What is missing in the sum, to be put after it; empty where nothing is."""
        if not self.gas_missing:
            return ""
        return "; gas is not modelled, and from 15 GHz up it counts: write gas_loss_db"

    def in_line(self) -> str:
        """The sum on one line."""
        first, *others = self.terms
        text = f"{first.what} {figure(first.db)} dBm"
        for term in others:
            sign = "+" if term.db >= 0 else "-"
            text += f" {sign} {term.what} {abs(term.db):.1f} dB"
        return f"{text} = {self.level_dbm:.1f} dBm"

    def lines(self) -> tuple[str, ...]:
        """The sum, one term a line."""
        first, *others = self.terms
        return (
            f"{first.what}: {first.db:+.1f} dBm",
            *(f"{t.what}: {t.db:+.1f} dB" for t in others),
            f"sum: {self.level_dbm:.1f} dBm",
        )


def budget(link: Link, far: End, near: End, km: float | None) -> Budget | str:
    """What `near` should receive of `far` by the plan, else what is missing for the sum.

    Free-space loss by ITU-R P.525; gas and rain are not modelled, `gas_loss_db` is added.
    """
    if far.tx_power_dbm is None or far.tx_mhz is None:
        return "the far end's power or frequency is not planned"
    if not _positive(km) or km is None or not _positive(far.tx_mhz):
        return "the length of the path is not known"
    gains = antenna_gain_dbi(far, far.tx_mhz), antenna_gain_dbi(near, far.tx_mhz)
    if gains[0] is None or gains[1] is None:
        return "an antenna's gain is not known, nor its diameter"
    losses = (
        ("far line loss", far.line_loss_db),
        ("far transmit loss", far.tx_loss_db),
        ("far extra loss", far.extra_loss_db),
        ("near line loss", near.line_loss_db),
        ("near receive loss", near.rx_loss_db),
        ("near extra loss", near.extra_loss_db),
        ("gas", link.gas_loss_db),
    )
    terms = (
        Term("power", far.tx_power_dbm),
        Term("far antenna", gains[0]),
        Term(f"free space {figure(km)} km", -free_space_loss_db(far.tx_mhz, km)),
        Term("near antenna", gains[1]),
        *(Term(what, -db) for what, db in losses if db),
    )
    missing = far.tx_mhz >= GAS_FROM_MHZ and link.gas_loss_db is None
    return Budget(terms, missing)


def judging_budget(link: Link, far: End, near: End, km: float | None) -> Budget | str:
    """A sum that may judge a level, else what the plan lacks for it, by the names of its fields.

    Stricter than `budget`: the line losses of both ends must be stated (0 is stated), and from
    15 GHz up the gas loss, because an empty cell is no zero.
    """
    missing = []
    if far.tx_power_dbm is None:
        missing.append(f"tx_power_dbm of {far.device}")
    if not _positive(far.tx_mhz):
        missing.append(f"tx_mhz of {far.device}")
    if not _positive(km):
        missing.append("path_km, or the coordinates of both sites")
    missing += [
        f"antenna_dbi of {end.device}"
        for end in (far, near)
        if antenna_gain_dbi(end, far.tx_mhz) is None
    ]
    missing += [f"line_loss_db of {e.device}" for e in (far, near) if e.line_loss_db is None]
    if _positive(far.tx_mhz) and (far.tx_mhz or 0.0) >= GAS_FROM_MHZ and link.gas_loss_db is None:
        missing.append("gas_loss_db")
    return "the plan gives no " + ", no ".join(missing) if missing else budget(link, far, near, km)


def figure(value: float) -> str:
    """A number without needless digits: `54.1`, `12877`."""
    return f"{value:.3f}".rstrip("0").rstrip(".")
