"""Radio arithmetic, pure: powers and budgets, modulations, channels, paths, levels, voltages."""

from __future__ import annotations

from verifier.model.modulation import bits_per_symbol, plain_modulation
from verifier.rules.radio.budget import (
    AGREE_DB,
    OFF_BUDGET,
    Budget,
    antenna_gain_dbi,
    budget,
    dish_gain_dbi,
    eirp_dbm,
    eirp_sum,
    figure,
    free_space_loss_db,
    judging_budget,
    losses_after_transmitter_db,
    losses_before_receiver_db,
    one_way_loss_db,
    power_within_eirp_dbm,
)
from verifier.rules.radio.channels import HALVES, RASTERS, Half, Raster, rasters, same_mhz
from verifier.rules.radio.modes import (
    carrying,
    is_adaptive,
    lowest_mode,
    mode_for,
    modes_at,
    modes_between,
    modes_of,
)
from verifier.rules.radio.path import Path, link_km, located, path_between, turn_deg

__all__ = [
    "AGREE_DB",
    "HALVES",
    "OFF_BUDGET",
    "RASTERS",
    "Budget",
    "Half",
    "Path",
    "Raster",
    "antenna_gain_dbi",
    "bits_per_symbol",
    "budget",
    "carrying",
    "dish_gain_dbi",
    "eirp_dbm",
    "eirp_sum",
    "figure",
    "free_space_loss_db",
    "is_adaptive",
    "judging_budget",
    "link_km",
    "located",
    "losses_after_transmitter_db",
    "losses_before_receiver_db",
    "lowest_mode",
    "mode_for",
    "modes_at",
    "modes_between",
    "modes_of",
    "one_way_loss_db",
    "path_between",
    "plain_modulation",
    "power_within_eirp_dbm",
    "rasters",
    "same_mhz",
    "turn_deg",
]  # fmt: skip
