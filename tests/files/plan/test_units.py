"""Units: what a word stands for, what stands for two, and exact ways from one to another."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.files.plan.unit_words import DOUBTFUL, FACTORS, SPELLINGS
from verifier.files.plan.units import (
    SAME,
    Scale,
    doubt,
    quantity_of,
    readings,
    scale,
    unit_named,
    unit_of,
    without_unit,
)

DEGREE = "\N{DEGREE SIGN}"


@pytest.mark.parametrize(
    ("unit", "wanted", "figure", "expected", "source"),
    [
        ("GHz", "MHz", "13.143", "13143", "SI brochure 9, table 7"),
        ("Hz", "MHz", "28000000", "28", "SI brochure 9, table 7"),
        ("kbps", "Mbps", "2048", "2.048", "SI brochure 9, table 7"),
        ("Mbyte/s", "Mbps", "1", "8", "IEC 80000-13: a byte is 8 bits"),
        ("min", "s", "1", "60", "SI brochure 9, table 8"),
        ("h", "s", "1", "3600", "SI brochure 9, table 8"),
        ("d", "s", "1", "86400", "SI brochure 9, table 8"),
        ("ft", "m", "1", "0.3048", "NIST SP 811 B.8"),
        ("in", "m", "1", "0.0254", "NIST SP 811 B.8"),
        ("yd", "m", "1", "0.9144", "NIST SP 811 B.8"),
        ("mi", "km", "1", "1.609344", "NIST SP 811 B.8"),
        ("nmi", "km", "1", "1.852", "NIST SP 811 B.8; SI brochure 8, table 8"),
        ("fathom", "m", "1", "1.8288", "six international feet"),
        ("gon", "deg", "1", "0.9", "NIST SP 811 B.8; ISO 31-1"),
        ("gon", "deg", "400", "360", "NIST SP 811 B.8"),
        ("arcmin", "deg", "60", "1", "SI brochure 9, table 8"),
        ("arcsec", "deg", "3600", "1", "SI brochure 9, table 8"),
        ("dBd", "dBi", "34", "36.15", "gain of a half-wave dipole, 2.15 dBi: ITU-R BS.1195"),
        ("dBW", "dBm", "23.5", "53.5", "ITU-R V.574: dBm = dBW + 30"),
        ("W", "dBm", "1", "30", "ITU-R V.574"),
        ("mW", "dBm", "1", "0", "ITU-R V.574"),
        ("mW", "dBm", "100", "20", "ITU-R V.574"),
        ("mW", "dBm", "2", "3.01", "ITU-R V.574"),
        ("dB/m", "dB/100m", "0.045", "4.5", "by definition"),
    ],
)
def test_a_figure_is_converted_as_published(
    unit: str, wanted: str, figure: str, expected: str, source: str
) -> None:
    """The documents are cited from memory; each figure is exact."""
    assert source
    found = Decimal(scale(unit, wanted).of(figure))
    assert abs(found - Decimal(expected)) <= abs(Decimal(expected)) * Decimal("1e-25")


@pytest.mark.parametrize(
    ("word", "unit"),
    [
        ("MHZ", "MHz"), ("mhz", "MHz"), ("GHz", "GHz"), ("Mbit/s", "Mbps"), ("MBit/s", "Mbps"),
        ("Mb/s", "Mbps"), ("MBPS", "Mbps"), ("Mbyte/s", "Mbyte/s"), ("mW", "mW"), ("MW", "mW"),
        ("DBM", "dBm"), ("dBw", "dBW"), ("[m]", "m"), ("M", "m"), ("Meter", "m"), ("m.", "m"),
        ("ft.", "ft"), ("Fuß", "ft"), ("pieds", "ft"), ("pies", "ft"), ("Faden", "fathom"),
        ("NMI", "nmi"), ("n mi", "nmi"), ("Seemeilen", "nmi"), ("milles marins", "nmi"),
        (DEGREE, "deg"), ("gon", "gon"), ("Neugrad", "gon"), ("grados", "deg"), ("Zoll", "in"),
        ("dB/100 m", "dB/100m"), ("\N{MICRO SIGN}W", "uW"), ("%", "%"),
    ],
)  # fmt: skip
def test_a_word_stands_for_a_unit(word: str, unit: str) -> None:
    assert unit_named(word) == unit
    assert readings(word) == (unit,)


@pytest.mark.parametrize(
    ("word", "units", "words"),
    [
        ("nm", ("nmi",), "nautical miles or nanometres"),
        ("NM", ("nmi",), "nautical miles or nanometres"),
        ("MB/s", ("Mbyte/s", "Mbps"), "Mbyte/s or Mbit/s"),
        ("MBps", ("Mbyte/s", "Mbps"), "Mbyte/s or Mbit/s"),
        ('"', ("in", "arcsec"), "inches or seconds of arc"),
        ("'", ("ft", "arcmin"), "feet or minutes of arc"),
        ("Grad", ("deg", "gon"), "degrees, 360 a turn or gon, 400 a turn"),
        ("miles", ("mi", "nmi"), "statute miles or nautical miles"),
        ("sm", ("mi", "nmi"), "statute miles or sea miles"),
    ],
)
def test_a_word_of_two_meanings_is_no_unit(word: str, units: tuple[str, ...], words: str) -> None:
    assert unit_named(word) == ""
    assert (readings(word), doubt(word)) == (units, words)
    with pytest.raises(ValueError, match="name the unit in full"):
        scale(word, "km")


@pytest.mark.parametrize("word", ["furlong", "", "GHzz", "A", "planned", "AGL"])
def test_a_word_that_is_no_unit_is_none(word: str) -> None:
    assert (unit_named(word), doubt(word), readings(word)) == ("", "", ())


@pytest.mark.parametrize(
    ("heading", "unit", "rest"),
    [
        ("Tx (MHz) A", "MHz", "Tx A"),
        ("Tx [GHz]", "GHz", "Tx"),
        ("TX MHz A", "MHz", "TX A"),
        ("TX GHz Site A", "GHz", "TX Site A"),
        ("Freq/MHz", "MHz", "Freq"),
        ("Frequenz in GHz", "GHz", "Frequenz in"),
        ("Distance km", "km", "Distance"),
        ("Distance (nm)", "nm", "Distance"),
        ("Distance nm", "nm", "Distance"),
        ("Capacity (MB/s)", "MB/s", "Capacity"),
        ("Capacity Mbit/s", "Mbps", "Capacity"),
        ("tx_mhz", "MHz", "tx_"),
        ("rx_level_dbm", "dBm", "rx_level_"),
        ("Azimuth (gon)", "gon", "Azimuth"),
        (f"Azimut {DEGREE}", "deg", "Azimut"),
        (f"Azimut[{DEGREE}]", "deg", "Azimut"),
        ("Ground (m AMSL)", "m", "Ground (AMSL)"),
        ("Antennenh\xf6he (m \xfc. Gr.)", "m", "Antennenh\xf6he (\xfc. Gr.)"),
        ("H\xf6he in m", "m", "H\xf6he"),
        ("Antenna height m", "m", "Antenna height"),
        ("Height/m", "m", "Height"),
        ("Antenna height m AGL", "m", "Antenna height AGL"),
        ("Height in ft AGL", "ft", "Height in AGL"),
        ("Rate/Mbit/s", "Mbps", "Rate"),
        ("Distance mi", "mi", "Distance"),
        ("Height (m/sol)", "m", "Height (/sol)"),
        ("RSL (planned, dBm)", "dBm", "RSL (planned)"),
        ("Feeder loss (dB/100 m)", "dB/100m", "Feeder loss"),
        ("Feeder loss dB/100 m", "dB/100m", "Feeder loss"),
        ("Tx GHz / Rx MHz", "GHz|MHz", "Tx GHz / Rx MHz"),
        ('Dish (")', '"', "Dish"),
        ("Dish (')", "'", "Dish"),
        ("RSL min", "", "RSL min"),
        ("Pol V", "", "Pol V"),
        ("Logged in", "", "Logged in"),
        ("Tx (planned)", "", "Tx (planned)"),
        ("m", "", "m"),
    ],
)
def test_a_heading_names_its_unit(heading: str, unit: str, rest: str) -> None:
    assert unit_of(heading) == unit
    left = without_unit(heading).replace("( ", "(")
    assert " ".join(left.split()) == rest


@pytest.mark.parametrize(
    ("unit", "wanted"),
    [("dB", "dBi"), ("dB", "dBm"), ("dBi", "dBm"), ("m", "MHz"), ("dBm", ""), ("GHz|MHz", "MHz")],
)
def test_what_is_another_quantity_is_refused(unit: str, wanted: str) -> None:
    with pytest.raises(ValueError, match=r"wanted|name the unit"):
        scale(unit, wanted)


@pytest.mark.parametrize("figure", ["0", "-3"])
def test_a_power_of_nothing_has_no_level(figure: str) -> None:
    with pytest.raises(ValueError, match="has no level"):
        scale("W", "dBm").of(figure)


def test_every_spelling_is_of_a_unit_and_none_is_doubtful() -> None:
    """No word stands in two tables, and each unit is its own word unless that is doubtful."""
    assert set(SPELLINGS.values()) <= set(FACTORS)
    assert not {word.casefold() for word in SPELLINGS} & set(DOUBTFUL)
    for unit in FACTORS:
        assert unit_named(unit) == unit or doubt(unit)
    for several in DOUBTFUL.values():
        assert len(several) > 1
        assert {unit for unit, _ in several if unit} <= set(FACTORS)


LINEAR = [u for u in FACTORS if quantity_of(u) != "power"]
FIGURES = st.decimals("-99999", "99999", places=6, allow_nan=False)


@given(st.data(), FIGURES)
def test_there_and_back_is_where_one_was(data: st.DataObject, figure: Decimal) -> None:
    unit = data.draw(st.sampled_from(LINEAR))
    other = data.draw(st.sampled_from([u for u in LINEAR if quantity_of(u) == quantity_of(unit)]))
    if doubt(unit) or doubt(other):
        return
    there = scale(unit, other).of(f"{figure:f}")
    back = Decimal(scale(other, unit).of(there))
    assert abs(back - figure) <= Decimal("1e-15") * max(Decimal(1), abs(figure))


@given(st.decimals("0.001", "1000", places=3, allow_nan=False))
def test_a_level_is_the_power_it_was_made_of(power: Decimal) -> None:
    level = float(scale("W", "dBm").of(f"{power:f}"))
    assert 10 ** (level / 10) / 1000 == pytest.approx(float(power), rel=0.0012)  # 0.005 dB


def test_nothing_is_done_to_a_figure_in_the_wanted_unit() -> None:
    assert scale("MHz", "MHz") is SAME
    assert Scale().of("13.1430") == "13.1430"
    assert Scale(Decimal(1000)).of("0.000") == "0"
