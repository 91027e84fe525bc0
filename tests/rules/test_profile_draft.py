"""Which objects fit a figure, in which order, and what a draft begins with."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, cast

import pytest

from verifier.rules.profile_draft import FEW, FIELDS, figure, find, unit_of

ROOT = "1.3.6.1.4.1.32473.1.1"


def found(shown: dict[str, str], **figures: Any) -> dict[str, Any]:
    """For each figure what fits it; OIDs are told by their last arcs."""
    objects = {f"{ROOT}.{oid}": raw for oid, raw in shown.items()}
    typed = [figure(cast(Any, name), text) for name, text in figures.items()]
    return {f.figure.field: f for f in find(typed, objects)}


def last(fits) -> list[str]:
    return [fit.oid.removeprefix(f"{ROOT}.") for fit in fits]


@pytest.mark.parametrize(
    ("field", "seen", "raw", "scale", "close"),
    [
        ("rx_level_dbm", "-45.6", "-456", 0.1, "the same"),
        ("rx_level_dbm", "-45.6", "-4560", 0.01, "the same"),
        ("rx_level_dbm", "-45.6", "-45600", 0.001, "the same"),
        ("rx_level_dbm", "-45.6", "-4563", 0.01, "rounds to it"),
        ("rx_level_dbm", "-45.6", "-46", 1.0, "is near"),
        ("rx_level_dbm", "-45.6", "-452", 0.1, "is near"),
        ("rx_level_dbm", "-45.6", "456", -0.1, "the same"),
        ("rx_level_dbm", "-45.6", "-45.6", 1.0, "the same"),
        ("rx_level_dbm", "\N{MINUS SIGN}45.6", "-456", 0.1, "the same"),
        ("tx_mhz", "13143", "13143", 1.0, "the same"),
        ("tx_mhz", "13143", "13143000", 0.001, "the same"),
        ("tx_mhz", "13143", "13143000000", 1e-06, "the same"),
        ("tx_mhz", "13143", "131430", 0.1, "the same"),
        ("tx_mhz", "13143", "13143250", 0.001, "rounds to it"),
        ("tx_mhz", "13143.25", "13143", 1.0, "is near"),
        ("tx_power_dbm", "18", "180", 0.1, "the same"),
        ("tx_power_dbm", "0", "0", 1.0, "the same"),
        ("snr_db", "38.4", "38", 1.0, "is near"),
        ("current_capacity_mbps", "190", "190000", 0.001, "the same"),
        ("current_capacity_mbps", "190", "190000000", 1e-06, "the same"),
        ("current_capacity_mbps", "190", "19", 10.0, "the same"),
        ("tx_mhz", "13000", "13", 1000.0, "the same"),
        ("errored_s", "7", "7", 1.0, "the same"),
        ("unavailable_s", "7", "12", 1.0, "is near"),
    ],
)
def test_scaled_numbers(field: str, seen: str, raw: str, scale: float, close: str) -> None:
    """kHz, Hz, tenths, without a sign, rounded by the page or by the device, a little later."""
    (fit,) = found({"1.0": raw}, **{field: seen})[field].fits
    assert (fit.type, fit.scale, fit.close) == ("integer", scale, close)


@pytest.mark.parametrize(
    ("field", "seen", "raw"),
    [
        ("rx_level_dbm", "-45.6", "-470"),
        ("rx_level_dbm", "-45.6", "0"),
        ("rx_level_dbm", "0", "3"),
        ("tx_mhz", "13143", "13144"),
        ("tx_mhz", "13143", "-13143"),
        ("tx_mhz", "13143", "1314300000000000000000000"),
        ("snr_db", "11", "000110"),
        ("snr_db", "11", "1.1.0"),
        ("snr_db", "11", "eleven"),
        ("snr_db", "11", ""),
        ("serial", "000123", "123"),
        ("atpc", "on", "0"),
        ("polarisation", "V", "4711"),
        ("tx_modulation", "256qam", "-1"),
        ("tx_modulation", "256qam", "64QAM"),
    ],
)
def test_what_does_not_fit(field: str, seen: str, raw: str) -> None:
    one = found({"1.0": raw}, **{field: seen})[field]
    assert (one.fits, one.chosen) == ((), None)


@pytest.mark.parametrize(
    ("field", "seen", "raw", "type_", "values", "close"),
    [
        ("tx_modulation", "256QAM", "8", "enumeration", {8: "256qam"}, "could mean it"),
        ("tx_modulation", "4qam", "1", "enumeration", {1: "4qam"}, "hardly means it"),
        ("tx_modulation", "256qam", "256 QAM", "text", {}, "rounds to it"),
        ("tx_modulation", "256qam", "256QAM, 190 Mbps", "text", {}, "holds it"),
        ("polarisation", "v", "2", "enumeration", {2: "V"}, "could mean it"),
        ("tx_enabled", "on", "1", "enumeration", {1: "true", 2: "false"}, "could mean it"),
        ("tx_enabled", "false", "2", "enumeration", {1: "true", 2: "false"}, "could mean it"),
        ("tx_enabled", "no", "0", "enumeration", {0: "false", 1: "true"}, "could mean it"),
        ("locked", "true", "Locked", "text", {}, "the same"),
        ("alarm", "none", "1", "enumeration", {1: "none"}, "could mean it"),
        ("alarm", "3", "3", "integer", {}, "the same"),
        ("serial", "000123", "000123", "text", {}, "the same"),
        ("software", "4.20", "v4.20-1", "text", {}, "holds it"),
        ("part_number", "ptp 13 h", "PTP-13-H", "text", {}, "rounds to it"),
        ("link_id", "7", "7", "text", {}, "the same"),
    ],
)
def test_words_and_texts(field, seen, raw, type_, values, close) -> None:
    """The number of an enumeration is kept with the word that was seen, and said to be a guess."""
    (fit,) = found({"1.0": raw}, **{field: seen})[field].fits
    assert (fit.type, fit.values, fit.close, fit.raw) == (type_, values, close, raw)
    assert bool(fit.guess) == (close != "the same" or (type_, raw) in {
        ("text", "Locked"), ("integer", "3")})  # fmt: skip


def test_exact_hides_near() -> None:
    """Where a value is the same, others that are near are not listed."""
    one = found({"1.0": "-452", "2.0": "-456", "3.0": "-46"}, rx_level_dbm="-45.6")
    assert last(one["rx_level_dbm"].fits) == ["2.0"]


def test_the_usual_scale_comes_first() -> None:
    """Tenths of a dB before hundredths, kHz before Hz and MHz; no sign last."""
    one = found(
        {"1.0": "456", "2.0": "-45600", "3.0": "-4560", "4.0": "-456"}, rx_level_dbm="-45.6"
    )
    assert last(one["rx_level_dbm"].fits) == ["4.0", "3.0", "2.0", "1.0"]
    one = found({"1.0": "28", "2.0": "28000000", "3.0": "28000"}, bandwidth_mhz="28")
    assert last(one["bandwidth_mhz"].fits) == ["3.0", "2.0", "1.0"]


def test_neighbours_of_what_is_sure_come_first() -> None:
    """Among equals, those in the subtree where another figure was found without doubt."""
    shown = {"3.1.0": "180", "9.5.2.0": "180", "9.5.1.0": "-456"}
    one = found(shown, tx_power_dbm="18", rx_level_dbm="-45.6")
    assert last(one["tx_power_dbm"].fits) == ["9.5.2.0", "3.1.0"]


def test_what_is_sure_is_nothing_else() -> None:
    """An object that shows one figure exactly is no enumeration, and not near another figure."""
    one = found({"1.0": "38", "2.0": "8"}, snr_db="38", tx_modulation="64qam", xpi_db="38.9")
    assert last(one["snr_db"].fits) == ["1.0"]
    assert last(one["tx_modulation"].fits) == ["2.0"]
    assert one["xpi_db"].fits == ()


def test_rare_values_come_first() -> None:
    """What few objects hold tells more than what many do."""
    one = found({"1.0": "5", "2.0": "5", "3.0": "8", "4.0": "0"}, tx_modulation="256qam")
    assert last(one["tx_modulation"].fits) == ["3.0", "1.0", "2.0", "4.0"]


def test_two_figures_begin_with_two_objects() -> None:
    """Actual and set power are alike; each draft reading gets an object of its own."""
    one = found({"7.0": "180", "8.0": "180"}, tx_power_dbm="18", tx_power_set_dbm="18")
    assert last(one["tx_power_dbm"].fits) == last(one["tx_power_set_dbm"].fits) == ["7.0", "8.0"]
    chosen = [one[f].chosen.oid for f in ("tx_power_dbm", "tx_power_set_dbm")]
    assert last(one["tx_power_dbm"].fits) == [oid.removeprefix(f"{ROOT}.") for oid in chosen]


@pytest.mark.parametrize("number", [1, FEW, FEW + 1])
def test_where_many_fit_alike_none_is_chosen(number: int) -> None:
    one = found({f"{n}.0": "0" for n in range(number)}, errored_s="0")["errored_s"]
    assert one.alike == number
    assert (one.chosen is not None) == (number <= FEW)


@pytest.mark.parametrize(
    ("field", "seen", "guess"),
    [("tx_power_dbm", "0", "scale"), ("errored_s", "7", "one digit"), ("tx_power_dbm", "18", "")],
)
def test_doubts(field: str, seen: str, guess: str) -> None:
    """A zero has no scale, one digit fits by chance."""
    (fit,) = found({"1.0": seen}, **{field: seen})[field].fits
    assert guess in fit.guess
    assert bool(guess) == bool(fit.guess)


@pytest.mark.parametrize(
    ("field", "text", "says"),
    [
        ("rx_level_dbm", "strong", "not a number of dBm"),
        ("rx_level_dbm", "-45,6", "not a number of dBm"),
        ("tx_mhz", "1e4", "not a number of MHz"),
        ("tx_mhz", "nan", "not a number of MHz"),
        ("tx_mhz", "9" * 40, "not a number of MHz"),
        ("atpc", "perhaps", "neither true nor false"),
        ("polarisation", "X", "neither V nor H"),
        ("serial", " ", "nothing stands after the ="),
    ],
)
def test_figures_that_are_none(field, text, says) -> None:
    """One plain message that names the field."""
    with pytest.raises(ValueError, match=says) as fault:
        figure(field, text)
    assert str(fault.value).startswith(f"{field}: ")


@pytest.mark.parametrize("field", FIELDS)
def test_every_field_takes_a_figure(field) -> None:
    """A number where the field has a device, else a word."""
    unit = unit_of(field)
    texts = {"polarisation": "H", "tx_enabled": "on", "atpc": "off", "locked": "yes",
             "ntp_locked": "no"}  # fmt: skip
    one = figure(field, "12.50" if unit else texts.get(field, "word"))
    assert (one.kind == "number") == (unit is not None)
    assert one.tolerance == (Decimal("0.005") if unit else 0)
