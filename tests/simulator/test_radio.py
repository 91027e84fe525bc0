"""The radio model against sums done by hand."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.model.plan import Carrier, End, Link, Site
from verifier.model.profile import Mode, Profile
from verifier.simulator import radio
from verifier.simulator.radio import Setting

MODES = (
    Mode(modulation="256qam", bits=8, bandwidth_mhz=28, threshold_dbm=-66.0, max_tx_power_dbm=18.0),
    Mode(modulation="64qam", bits=6, bandwidth_mhz=28, threshold_dbm=-72.0, max_tx_power_dbm=22.0),
    Mode(modulation="4qam", bits=2, bandwidth_mhz=28, threshold_dbm=-84.0, max_tx_power_dbm=26.0),
    Mode(modulation="4qam", bits=2, bandwidth_mhz=56, threshold_dbm=-81.0, max_tx_power_dbm=20.0),
)
PROFILE = Profile(id="radio", kind="radio", mode=MODES)
A = End(device="a", tx_mhz=13143.0, tx_power_dbm=18.0, antenna_dbi=36.1, max_eirp_dbm=62.1)
B = End(device="b", tx_mhz=12877.0, tx_power_dbm=18.0, antenna_dbi=36.1)
KM = 11.42
RIGHT = Setting()


def link(a=A, b=B, **fields) -> Link:
    settled: dict[str, Any] = {
        "bandwidth_mhz": 28, "modulation_max": "256qam", "modulation_min": "4qam", "adaptive": True,
    } | fields  # fmt: skip
    return Link(name="Hop 1", carriers=(Carrier(a=a, b=b),), **settled)


def seen(a=A, b=B, settings=(RIGHT, RIGHT), km=KM, **fields):
    built = link(a, b, **fields)
    return radio.seen(built, built.carriers[0], km, (PROFILE, PROFILE), settings)


@pytest.mark.parametrize(
    ("mhz", "km", "loss_db"),
    [
        # Free space (ITU-R P.525): 20 log(4 pi d / wavelength), so with MHz and km the constant is
        # 20 log(4 pi 1e9 / 299792458) = 32.4478
        (1000, 1, 32.4478 + 60.0 + 0.0),
        (6175, 50, 32.4478 + 75.8128 + 33.9794),
        (12877, 11.42, 32.4478 + 82.1963 + 21.1533),  # 135.7974
        (13143, 11.42, 32.4478 + 82.3739 + 21.1533),  # 135.9750
        (80000, 1, 32.4478 + 98.0618 + 0.0),
    ],
)
def test_free_space_loss(mhz, km, loss_db):
    assert radio.free_space_loss_db(mhz, km) == pytest.approx(loss_db, abs=2e-4)


@pytest.mark.parametrize(
    ("end", "mhz", "gain_dbi"),
    [
        (End(device="a", antenna_dbi=36.1, antenna_diameter_m=0.6), 13143, 36.1),
        # lambda = 299.792458 / 13143 = 0.0228101 m; pi 0.6 / lambda = 82.6366;
        # 0.6 x 82.6366^2 = 4097.28; 10 log = 36.125
        (End(device="a", antenna_diameter_m=0.6), 13143, 36.125),
        # half the efficiency, 10 log(0.3 / 0.6) = -3.010
        (End(device="a", antenna_diameter_m=0.6, antenna_efficiency=0.3), 13143, 33.115),
        (End(device="a"), 13143, None),
    ],
)
def test_antenna_gain(end, mhz, gain_dbi):
    gain = radio.antenna_gain_dbi(end, mhz)
    assert gain == (gain_dbi if gain_dbi is None else pytest.approx(gain_dbi, abs=2e-3))


@pytest.mark.parametrize(
    ("a", "b", "km"),
    [
        # One degree along the equator: 6378.137 km x pi / 180
        ((0.0, 0.0), (0.0, 1.0), 111.31949),
        # WGS 84: a quarter meridian, integrated along the ellipse, is 10001.96573 km
        ((0.0, 0.0), (90.0, 0.0), 10001.96573),
        ((47.1, -20.2), (47.1, -20.2), 0.0),
        # Across the date line, not round the world
        ((0.0, 179.5), (0.0, -179.5), 111.31949),
    ],
)
def test_distance(a, b, km):
    sites = [Site(name="x", latitude=n, longitude=e) for n, e in (a, b)]
    assert radio.distance_km(*sites) == pytest.approx(km, rel=2e-5, abs=1e-6)


def test_no_distance_without_coordinates():
    assert radio.distance_km(Site(name="x", latitude=1.0), Site(name="y")) is None


def test_levels_of_the_example():
    """18 + 36.1 + 36.1 - 135.9750 = -45.775 dBm at b, which hears 13143 MHz; 135.7974 at a."""
    at_a, at_b = seen()
    assert at_b.rx_dbm == pytest.approx(-45.775, abs=1e-3)
    assert at_a.rx_dbm == pytest.approx(-45.597, abs=1e-3)
    assert at_a.locked
    assert at_b.locked
    assert at_a.mode.modulation == "256qam"


def test_losses_count_where_they_lie():
    """line_loss and extra_loss both ways, tx_loss and rx_loss in one direction only."""
    a = End(
        device="a", tx_mhz=13143.0, tx_power_dbm=18.0, antenna_dbi=36.1, line_loss_db=1.0,
        extra_loss_db=0.5, tx_loss_db=2.0, rx_loss_db=4.0,
    )  # fmt: skip
    at_a, at_b = seen(a=a, gas_loss_db=0.25)
    assert at_b.rx_dbm == pytest.approx(-45.775 - 1.0 - 0.5 - 2.0 - 0.25, abs=1e-3)
    assert at_a.rx_dbm == pytest.approx(-45.597 - 1.0 - 0.5 - 4.0 - 0.25, abs=1e-3)


def test_loss_on_one_way_is_seen_at_one_end():
    right_a, right_b = seen()
    at_a, at_b = seen(settings=(Setting(), Setting(rx_extra_db=12.0)))
    assert at_b.rx_dbm == pytest.approx(right_b.rx_dbm - 12)
    assert at_a.rx_dbm == right_a.rx_dbm


def test_a_muted_end_is_not_heard():
    at_a, at_b = seen(settings=(Setting(muted=True), Setting()))
    assert (at_b.rx_dbm, at_b.locked, at_b.snr_db) == (None, False, None)
    assert at_a.locked


def test_alignment_settings():
    """The lowest mode and its 26 dBm, which the far end hears 8 dB louder; ATPC off."""
    at_a, at_b = seen(a=End(device="a", tx_mhz=13143.0, tx_power_dbm=18.0, antenna_dbi=36.1,
                            atpc=True), settings=(Setting(alignment=True), Setting()))  # fmt: skip
    assert (at_a.mode.modulation, at_a.power_dbm, at_a.atpc) == ("4qam", 26.0, False)
    assert at_b.rx_dbm == pytest.approx(-45.775 + 8, abs=1e-3)
    assert at_b.mode.modulation == "256qam"


def test_alignment_power_stays_within_the_licence():
    """60.1 dBm EIRP less 36.1 dBi plus 1 dB of line: 25 dBm, not the mode's 26."""
    a = End(device="a", tx_mhz=13143.0, tx_power_dbm=18.0, antenna_dbi=36.1, line_loss_db=1.0,
            max_eirp_dbm=60.1)  # fmt: skip
    at_a, _ = seen(a=a, settings=(Setting(alignment=True), Setting()))
    assert at_a.power_dbm == pytest.approx(25.0)


def test_power_that_is_less_than_it_says():
    at_a, at_b = seen(settings=(Setting(power_offset_db=-6.0), Setting()))
    assert (at_a.power_set_dbm, at_a.power_dbm) == (18.0, 12.0)
    assert at_b.rx_dbm == pytest.approx(-45.775 - 6, abs=1e-3)


@pytest.mark.parametrize(
    ("target_dbm", "power_dbm"),
    [(-50.0, 13.775), (-60.0, 5.0), (-40.0, 18.0)],
)
def test_automatic_power(target_dbm, power_dbm):
    """18 - 45.775 + 50 = 13.775 dBm give the far end the level it wants; within the limits."""
    a = End(device="a", tx_mhz=13143.0, tx_power_dbm=18.0, antenna_dbi=36.1, atpc=True,
            atpc_min_dbm=5.0, atpc_max_dbm=18.0)  # fmt: skip
    b = End(device="b", tx_mhz=12877.0, tx_power_dbm=18.0, antenna_dbi=36.1,
            atpc_target_dbm=target_dbm)  # fmt: skip
    at_a, _ = seen(a=a, b=b)
    assert at_a.power_dbm == pytest.approx(power_dbm, abs=1e-3)


@pytest.mark.parametrize(
    ("loss_db", "modulation", "locked"),
    [(20.0, "256qam", True), (20.3, "64qam", True), (30.0, "4qam", True), (40.0, "4qam", False)],
)
def test_modulation_by_level(loss_db, modulation, locked):
    """Thresholds -66, -72 and -84 dBm: level b is -45.775 less the loss."""
    at_a, at_b = seen(settings=(Setting(), Setting(rx_extra_db=loss_db)))
    assert at_a.mode.modulation == modulation
    assert at_b.far_mode == at_a.mode
    assert at_b.locked is locked


def test_a_link_that_is_not_adaptive_keeps_its_modulation():
    at_a, at_b = seen(settings=(Setting(), Setting(rx_extra_db=30.0)), adaptive=False)
    assert at_a.mode.modulation == "256qam"
    assert not at_b.locked


@pytest.mark.parametrize(("planned", "level"), [(-52.0, -52.0), (None, radio.NEUTRAL_RX_DBM)])
def test_without_a_path_the_planned_level_is_seen(planned, level):
    _, at_b = seen(km=None, b=End(device="b", rx_level_dbm=planned))
    assert at_b.rx_dbm == level


@given(st.floats(1000, 86000), st.floats(0.05, 100), st.floats(0, 60), st.floats(0, 60))
def test_every_decibel_lost_is_missing_at_the_end(mhz, km, first, second):
    """Level falls by as much as loss grows, and twice the distance costs 6.02 dB."""
    a = End(device="a", tx_mhz=mhz, tx_power_dbm=18.0, antenna_dbi=36.1)
    levels = [
        seen(a=a, km=k, settings=(Setting(), Setting(rx_extra_db=loss)))[1].rx_dbm
        for k, loss in ((km, first), (km, second), (2 * km, second))
    ]
    assert levels[0] - levels[1] == pytest.approx(second - first, abs=1e-6)
    assert levels[1] - levels[2] == pytest.approx(6.0206, abs=1e-4)
