"""Decimal sign and unit of a column, by its own figures alone; what is not sure is said to be."""

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from verifier.files.mapping.evidence import RANGES, could_be, settled
from verifier.files.plan.columns import sheets
from verifier.files.plan.units import scale, unit_of
from verifier.files.sheets.cell import Formatted
from verifier.files.sheets.cell_number import NumberStyle, read_number

COLUMNS = {
    column.path[-1]: column
    for name in ("Sites", "Links", "Ports")
    for column in sheets()[name].columns
    if column.kind == "number"
}


@pytest.mark.parametrize(
    ("field", "unit", "values", "sign", "doubt"),
    [
        ("capacity_mbps", "Mbps", ["1,000"], "either", "'1,000' is 1.000 or 1000: write decimal"),
        ("tx_mhz", "MHz", ["12,905"], "either", "'12,905' is 12.905 or 12905"),
        ("tx_mhz", "MHz", ["13.143"], "either", "'13.143' is 13.143 or 13143"),
        ("tx_mhz", "GHz", ["13.143"], ".", ""),
        ("tx_mhz", "GHz", ["13,143"], ",", ""),
        ("tx_mhz", "MHz", ["12,905", "13143,5"], ",", "outside 300 to 300000 MHz"),
        ("tx_mhz", "MHz", ["12,905", "13143.5"], ".", ""),
        ("tx_mhz", "MHz", ["13.143,5"], ",", ""),
        ("tx_mhz", "MHz", ["13,143.5"], ".", ""),
        ("tx_mhz", "MHz", ["13 143", "12'877"], ".", ""),
        ("tx_mhz", "MHz", ["1,013,143"], ".", "outside"),
        ("path_km", "km", ["11,420"], ",", ""),
        ("path_km", "m", ["11,420"], "either", "'11,420' is 11.420 or 11420"),
        ("azimuth_deg", "deg", ["57,980"], ",", ""),
        ("rx_level_dbm", "dBm", ["-45,600"], ",", ""),
        ("rx_level_dbm", "dBm", ["-45,6", "-45.8"], "either", "decimal points and decimal commas"),
        ("antenna_diameter_m", "m", ["0,600"], ",", ""),
        ("bandwidth_mhz", "MHz", ["28", "56"], ".", ""),
        ("bandwidth_mhz", "MHz", [28, 3.5], ".", ""),
        ("bandwidth_mhz", "MHz", [Formatted(28, "0000")], ".", ""),
        ("bandwidth_mhz", "MHz", [], ".", ""),
        ("latitude", "", ["47,1544"], ",", ""),
        ("latitude", "", ["47\N{DEGREE SIGN}06'00\"N"], ".", ""),
    ],
)
def test_a_decimal_sign_is_settled_by_the_column_itself(
    field: str, unit: str, values: list[Any], sign: str, doubt: str
) -> None:
    found = settled(COLUMNS[field], unit, values)
    assert found.decimal == sign
    assert doubt in found.doubt
    assert bool(doubt) == bool(found.doubt)


@pytest.mark.parametrize(
    ("field", "heading", "values", "unit", "doubt"),
    [
        ("tx_mhz", "TX", [13143, 12877], "MHz", ""),
        ("tx_mhz", "TX", [13.143, 12.877], "GHz", ""),
        ("tx_mhz", "TX (MHz)", [13.143], "MHz", "13.143 MHz is outside 300 to 300000 MHz"),
        ("tx_mhz", "TX (dBm)", [18], "dBm", "it is in dBm, but MHz is wanted"),
        ("bandwidth_mhz", "BW", [28, 56], "MHz", ""),
        ("capacity_mbps", "Capacity", [190], "", "no unit is said: Mbps or Mbyte/s; write unit"),
        ("capacity_mbps", "Capacity", [10], "", "no unit is said: Mbps or Gbps or Mbyte/s; write unit"),
        ("capacity_mbps", "Capacity (MB/s)", [190], "", "MB/s is Mbyte/s or Mbit/s"),
        ("path_km", "Distance", [11.42], "", "no unit is said: km or mi or nmi"),
        ("path_km", "Distance (nm)", [11.42], "", "nm is nautical miles or nanometres"),
        ("path_km", "Distance (km)", [11.42], "km", ""),
        ("path_km", "Distance (NMI)", [6.2], "nmi", ""),
        ("azimuth_deg", "Azimuth", [57.98], "", "no unit is said: deg or gon"),
        ("azimuth_deg", "Azimuth", [57.98, 399], "gon", ""),
        ("azimuth_deg", "Azimuth (deg)", [399], "deg", "outside 0 to 360 deg"),
        ("rx_level_dbm", "RSL", [-45.6], "dBm", ""),
        ("rx_level_dbm", "RSL", [45.6], "", "45.6 dBm has no sign"),
        ("rx_level_dbm", "RSL (dBm)", ["45,6"], "dBm", "45.6 dBm has no sign"),
        ("rx_level_dbm", "RSL (dB)", [-45.6], "dB", "it is in dB, but dBm is wanted"),
        ("max_eirp_dbm", "EIRP", [53.5], "", "no unit is said: dBm or dBW"),
        ("max_eirp_dbm", "EIRP (dBW)", [23.5], "dBW", ""),
        ("antenna_dbi", "Gain", [36], "", "no unit is said: dBi or dBd"),
        ("antenna_dbi", "Gain (dB)", [36], "dB", "it is in dB, but dBi is wanted"),
        ("antenna_height_m", "Height", [24], "", "no unit is said: m or ft"),
        ("antenna_diameter_m", "Dish", [0.6, 1.2], "m", ""),
        ("antenna_diameter_m", "Dish", [2, 4], "", "no unit is said: m or ft"),
        ("antenna_diameter_m", 'Dish (")', [24], "", "inches or seconds of arc"),
        ("tx_power_dbm", "Power", [18], "dBm", ""),
        ("tx_power_dbm", "Power (mW)", [100], "mW", ""),
        ("line_loss_db", "Loss", [1.5], "dB", ""),
        ("path_km", "Distance", ["11 km", "12 km"], "", ""),
        ("path_km", "Distance", ["11 km", "12"], "", "no unit is said"),
        ("alignment_v", "AGC", [1.09], "V", ""),
        ("alignment_v", "AGC", [1090], "mV", ""),
        ("radio", "Radio", [1], "", ""),
    ],
)  # fmt: skip
def test_a_unit_is_sure_only_where_heading_and_figures_agree(
    field: str, heading: str, values: list[Any], unit: str, doubt: str
) -> None:
    found = settled(COLUMNS[field], unit_of(heading), values)
    assert (found.unit, bool(found.doubt)) == (unit, bool(doubt))
    assert doubt in found.doubt


def test_every_field_with_a_unit_has_limits() -> None:
    """A new field of figures is put into the table, or nothing would be seen to be wrong."""
    without = {name for name, c in COLUMNS.items() if c.unit and could_be(c) is None}
    assert without <= {"duration_s"}
    assert set(RANGES) - {"rx_mhz"} <= set(COLUMNS)


def _rendered(value: Decimal, decimal: str, grouped: str, places: int) -> str:
    """A figure in one of the styles of the world."""
    text = f"{value:,.{places}f}"
    return text.replace(",", "_").replace(".", decimal).replace("_", grouped)


STYLES = st.sampled_from([",.", ", ", ",", ".,", ".", ".'"])
"""The decimal sign, and what stands between thousands."""


@settings(max_examples=400)
@given(st.data())
def test_no_figure_is_read_as_another_without_being_unsure(data: st.DataObject) -> None:
    """Any field, any of its units said or not, any style: as it was meant, refused, or unsure."""
    name = data.draw(st.sampled_from(sorted(set(RANGES) & set(COLUMNS))))
    column, limits = COLUMNS[name], RANGES[name]
    assume(limits.units and (limits.units[0] != "deg" or name == "azimuth_deg"))
    unit, style = data.draw(st.sampled_from(limits.units)), data.draw(STYLES)
    meant = scale(unit, column.unit)
    low, high = ((v - meant.plus) / meant.times for v in (limits.low, limits.high))
    places = data.draw(st.integers(0, 4))
    figures = data.draw(st.lists(st.decimals(low, high, places=places), min_size=1, max_size=5))
    texts = [_rendered(f, style[0], style[1:], places) for f in figures]
    found = settled(column, unit if data.draw(st.booleans()) else "", texts)
    if found.doubt:
        return
    form = NumberStyle(found.decimal, scale(found.unit or column.unit, column.unit))
    for figure, text in zip(figures, texts, strict=True):
        try:
            read = Decimal(read_number(text, column, form, lambda *_: None))
        except ValueError:
            continue
        assert read == Decimal(meant.of(f"{figure:f}")), (text, found)


LIMITS = {
    "tx_mhz": ("MHz", 300, 300_000), "duplex_spacing_mhz": ("MHz", 5, 20_000),
    "bandwidth_mhz": ("MHz", 0.2, 10_000), "capacity_mbps": ("Mbps", 1, 100_000),
    "key_capacity_mbps": ("Mbps", 1, 100_000), "speed_mbps": ("Mbps", 10, 40_000), "path_km": ("km", 0.05, 500),
    "antenna_height_m": ("m", 0, 1000), "ground_amsl_m": ("m", -450, 9000), "antenna_diameter_m": ("m", 0.2, 20),
    "cable_m": ("m", 0.1, 2000), "antenna_dbi": ("dBi", -5, 70), "tx_power_dbm": ("dBm", -40, 45),
    "bench_tx_power_dbm": ("dBm", -40, 45), "max_eirp_dbm": ("dBm", -40, 100), "atpc_max_dbm": ("dBm", -40, 45),
    "atpc_min_dbm": ("dBm", -60, 45), "rx_level_dbm": ("dBm", -120, -10), "azimuth_deg": ("deg", 0, 360),
    "tilt_deg": ("deg", -90, 90), "alignment_v": ("V", 0.05, 30), "line_loss_db": ("dB", -200, 300),
}  # fmt: skip


@pytest.mark.parametrize("field", LIMITS)
def test_a_figure_at_its_limit_and_a_step_beyond(field: str) -> None:
    """300 MHz to 300 GHz are radio; a level that is received is negative; beyond the rest nothing is built."""
    unit, low, high = LIMITS[field]

    def is_doubted(figure: float) -> bool:
        return bool(settled(COLUMNS[field], unit, [figure]).doubt)

    assert [is_doubted(low), is_doubted(high)] == [False, False]
    assert [is_doubted(round(low - 0.01, 4)), is_doubted(round(high + 0.01, 4))] == [True, True]


@pytest.mark.parametrize(
    ("figure", "unit"),
    [
        (0.3, "GHz"),
        (0.29, ""),
        (299, "GHz"),
        (300, ""),
        (301, "MHz"),
        (299_999, "MHz"),
        (300_000, ""),
    ],
)
def test_figures_of_a_frequency_tell_its_unit(figure: float, unit: str) -> None:
    """What can be one of GHz, MHz and kHz only is that; what can be two, or none, is not known."""
    assert settled(COLUMNS["tx_mhz"], "", [figure]).unit == unit
