"""Radio arithmetic against published figures."""

from __future__ import annotations

import math

import pytest
from geographiclib.test import test_geodesic
from hypothesis import given
from hypothesis import strategies as st

from verifier.model.plan import End, Site
from verifier.rules import radio

BITS = [
    ("bpsk", 1), ("qpsk", 2), ("4qam", 2), ("8psk", 3), ("16qam", 4), ("32qam", 5), ("64qam", 6),
    ("128qam", 7), ("256qam", 8), ("512qam", 9), ("1024qam", 10), ("2048qam", 11), ("4096qam", 12),
    ("8192qam", 13), ("256-QAM", 8), ("256 QAM", 8), ("QPSK", 2),
    ("100qam", None), ("1qam", None), ("0qam", None), ("qam", None), ("ofdm", None), ("", None),
]  # fmt: skip


@pytest.mark.parametrize(("text", "bits"), BITS)
def test_bits_per_symbol(text: str, bits: int | None) -> None:
    """log2 of the states: QPSK 2 to 8192-QAM 13."""
    assert radio.bits_per_symbol(text) == bits


@given(st.integers(1, 16))
def test_bits_are_the_logarithm_of_the_states(bits: int) -> None:
    assert radio.bits_per_symbol(f"{2**bits}qam") == round(math.log2(2**bits))


def test_eirp_by_hand() -> None:
    """18 dBm + 36.1 dBi - (0.3 + 0.2 + 1.5) dB = 52.1 dBm."""
    end = End(
        device="a", tx_power_dbm=18, antenna_dbi=36.1, line_loss_db=0.3, tx_loss_db=0.2,
        extra_loss_db=1.5, rx_loss_db=9,
    )  # fmt: skip
    assert radio.eirp_dbm(end) == pytest.approx(52.1)
    assert radio.eirp_dbm(End(device="a", tx_power_dbm=18)) is None


def test_a_dishs_gain_is_told_to_a_tenth() -> None:
    """0.6 m at 13143 MHz: 0.6 (pi 0.6 / 0.02281)^2 = 4097, 36.125 dBi."""
    end = End(device="a", tx_mhz=13143.0, antenna_diameter_m=0.6)
    told = "18 dBm + 36.1 dBi (dish of its diameter) - 0 dB = 54.1 dBm EIRP"
    assert radio.eirp_sum(end, 18.0) == told
    given = End(device="a", tx_mhz=13143.0, antenna_dbi=36.15)
    assert radio.eirp_sum(given, 18.0) == "18 dBm + 36.15 dBi - 0 dB = 54.15 dBm EIRP"


# --- channels ----------------------------------------------------------------------------------

PUBLISHED = [
    ("F.383", 29.65, 252.04, 5945.20, 6152.75, 6197.24, 6404.79),
    ("F.384", 40, 340, 6460, 6740, 6800, 7080),  # from memory
    ("F.385", 7, 161, 7428, 7561, 7589, 7722),  # from memory
    ("F.386", 29.65, 311.32, 7747.70, 7955.25, 8059.02, 8266.57),  # from memory
    ("F.387", 40, 530, 10715, 11155, 11245, 11685),  # from memory
    ("F.387", 40, 530, 10735, 11135, 11265, 11665),  # F.387-7 Annex 1
    ("F.497", 28, 266, 12765, 12961, 13031, 13227),  # from memory
    ("F.497", 7, 266, 12754.5, 12971.5, 13020.5, 13237.5),
    ("F.595", 110, 1010, 17810, 18580, 18820, 19590),
    ("F.595", 27.5, 1010, 17727.5, 18662.5, 18737.5, 19672.5),
    ("F.637", 112, 1232, 21280, 22288, 22512, 23520),  # F.637-2 Annex 1
    ("F.637", 28, 1232, 21238, 22330, 22470, 23562),  # F.637-2 Annex 1
    ("F.637", 14, 1232, 21231, 22337, 22463, 23569),  # F.637-2 Annex 1
    ("F.1099", 40, 300, 4430, 4670, 4730, 4970),  # from memory
]
"""Recommendation, step, duplex spacing, first and last channel of both halves, in MHz. Those not
marked were read in a national channel plan that cites the ITU-R texts."""


@pytest.mark.parametrize(("published", "raster"), list(zip(PUBLISHED, radio.RASTERS, strict=True)))
def test_first_and_last_channels(
    published: tuple[str, float, float, float, float, float, float], raster: radio.Raster
) -> None:
    first, last = raster.numbers
    lower = [raster.channel_mhz("lower", n) for n in (first, last)]
    upper = [raster.channel_mhz("upper", n) for n in (first, last)]
    found = (raster.step_mhz, raster.duplex_mhz, lower[0], lower[-1], upper[0], upper[-1])
    assert raster.name == published[0]
    assert found == pytest.approx(published[1:], abs=1e-6)


@pytest.mark.parametrize("raster", radio.RASTERS)
def test_channels_are_pairs_a_step_apart(raster: radio.Raster) -> None:
    """The two channels of one n are the duplex spacing apart; a little off, n is still nearest."""
    first, last = raster.numbers
    for n in range(first, last + 1):
        lower, upper = raster.channel_mhz("lower", n), raster.channel_mhz("upper", n)
        assert upper - lower == pytest.approx(raster.duplex_mhz)
        assert raster.nearest(lower - raster.step_mhz * 0.4) == (n, "lower", lower)
        assert raster.nearest(upper + raster.step_mhz * 0.4) == (n, "upper", upper)
    assert raster.nearest(1)[:2] == (first, "lower")
    assert raster.nearest(1e6)[:2] == (last, "upper")


@pytest.mark.parametrize(
    ("text", "known"),
    [("F.497", 2), ("ITU-R F.497-7", 2), ("f497", 2), ("Rec. F.595", 2), ("F.1", 0), ("F.636", 0),
     ("national", 0), ("", 0)],
)  # fmt: skip
def test_names_of_rasters(text: str, known: int) -> None:
    assert len(radio.rasters(text)) == known


@pytest.mark.parametrize(
    ("name", "bandwidth", "duplex", "steps"),
    [("F.497", 28, 266, [28]), ("F.497", 7, 266, [7]), ("F.497", 14, 266, []),
     ("F.497", 56, 266, []), ("F.497", 28, 245, []), ("F.637", 14, 1232, [14]),
     ("F.383", 28, 252.04, [29.65])],
)  # fmt: skip
def test_which_arrangement_a_carrier_belongs_to(
    name: str, bandwidth: float, duplex: float, steps: list[float]
) -> None:
    """Only where bandwidth and duplex spacing are those of the arrangement is anything judged."""
    found = [r.step_mhz for r in radio.rasters(name) if r.fits(bandwidth, duplex)]
    assert found == steps


# --- the path ----------------------------------------------------------------------------------


@pytest.mark.parametrize("row", test_geodesic.GeodesicTest.testcases)
def test_published_geodesics(row: tuple[float, ...]) -> None:
    """The geodesic library's published test set (Karney 2010): lengths to 1 um, azimuths to 1e-9.

    Longitudes beyond 180 degrees, which no plan may have, are brought back first.
    """
    lat1, lon1, azi1, lat2, lon2, azi2, s12 = row[:7]
    a = Site(name="a", latitude=lat1, longitude=math.remainder(lon1, 360))
    b = Site(name="b", latitude=lat2, longitude=math.remainder(lon2, 360))
    path, back = radio.path_between(a, b), radio.path_between(b, a)
    assert path is not None
    assert back is not None
    assert path.km * 1000 == pytest.approx(s12, abs=1e-6)
    assert back.km == pytest.approx(path.km)
    assert radio.turn_deg(path.azimuth_deg, azi1) < 1e-9
    assert radio.turn_deg(path.back_azimuth_deg, azi2 + 180) < 1e-9
    assert radio.turn_deg(back.azimuth_deg, path.back_azimuth_deg) < 1e-9
    assert 0 <= path.azimuth_deg < 360
    assert 0 <= path.back_azimuth_deg < 360


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [(None, 0.0), (0.0, None), (90.5, 0.0), (0.0, -180.5), (math.nan, 0.0), (math.inf, 0.0)],
)
def test_no_path_without_coordinates(latitude: float | None, longitude: float | None) -> None:
    there = Site(name="b", latitude=latitude, longitude=longitude)
    assert radio.path_between(Site(name="a", latitude=47.1, longitude=-20.2), there) is None


TURNS = [(0, 0, 0), (350, 10, 20), (10, 350, 20), (0, 180, 180), (90, -90, 180), (-121.92, 238.08, 0),
         (57.98, 238.08, 179.9)]  # fmt: skip


@pytest.mark.parametrize(("one", "other", "turn"), TURNS)
def test_angle_between_two_directions(one: float, other: float, turn: float) -> None:
    assert radio.turn_deg(one, other) == pytest.approx(turn, abs=1e-9)
