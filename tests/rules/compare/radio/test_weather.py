"""Weather that a person stated, and how much it excuses: bad and sound links side by side.

By hand with ITU-R P.838-3 Table 5, vertical, 13 GHz: k 0.03266, alpha 1.0901. 20 mm/h take 0.856 dB/km,
on 11.42 km 9.8 dB; 5 mm/h 0.189 dB/km, 2.2 dB; 50 mm/h 2.32 dB/km, 26.5 dB.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from typing import Any

import pytest

from tests.as_seen import observation
from tests.rules.compare.radio.radio_world import (
    NO_CHANGE,
    NOTHING,
    RIGHT,
    RIGHT_B,
    START,
    A,
    B,
    Change,
    judged,
    observed,
    of_radio,
    planned,
)
from verifier.model.observations import Observation
from verifier.model.problem import Subject
from verifier.model.result import Finding
from verifier.rules.compare.radio.weather import Weather, weather_of

F, W, T, P = "fail", "warn", "not-tested", "pass"


def said(
    weather: str, minutes: float = 0, *, unit: str = A, row: Any = None
) -> list[Observation[Any]]:
    """What a person wrote, so many minutes after the readings began."""
    at = (START + dt.timedelta(minutes=minutes)).isoformat()
    return [observation(id=0, subject=Subject("device", unit), probe="person", what="manual.weather",
                        value=weather, at=at, raw=None if row is None else json.dumps(row))]  # fmt: skip


def findings(
    weather: list[Observation[Any]],
    low_db: float,
    link: Change = NO_CHANGE,
    pa: Change = NO_CHANGE,
    pb: Change = NO_CHANGE,
    stage: Any = "handover",
    **more: Any,
) -> dict[tuple[str, str | None], Finding]:
    """What is said of a link both of whose ends receive so much less."""
    a = {**RIGHT, "rx_level_dbm": -45.6 - low_db, "tx_mhz": pa.get("tx_mhz", 13143.0), **more}
    b = {**RIGHT_B, "rx_level_dbm": -45.8 - low_db, **more}
    made = judged(planned(link, pa, pb), stage, observed(A, a), observed(B, b), weather)
    return {(f.check, f.subject.end): f for f in of_radio(made)}


EXCUSES = [
    # weather, dB too little, verdict of level, loss and margin
    ("rain 20 mm/h", 10.0, T), ("rain, 20 mm/h", 12.5, T), ("rain 20 mm/h", 14.0, F),
    ("light rain, 5 mm/h", 5.0, T), ("light rain, 5 mm/h", 7.0, F), ("rain 50mm/h", 29.0, T),
    ("rain 50 mm/hr", 31.0, F), ("rain 10-20 mm/h", 12.0, T), ("rain", 14.4, T), ("heavy rain", 60.0, T),
    ("rain 0 mm/h", 4.0, F), ("wet snow", 20.0, T), ("wet snow", 30.0, F), ("ice", 15.0, T),
    ("ice on the mast", 60.0, F), ("dry, then rain 20 mm/h", 10.0, T),
    ("dry", 4.0, F), ("fog", 4.0, F), ("windy", 14.4, F), ("wind", 4.0, F), ("dew", 4.0, F),
    ("frost", 4.0, F), ("as usual", 4.0, F), ("sunny", 4.0, F), ("snow", 14.4, F), ("storm", 14.4, F),
    ("clear, no rain", 4.0, F), ("no wet snow", 4.0, F), ("without rain", 4.0, F), ("train passing", 4.0, F),
]  # fmt: skip


@pytest.mark.parametrize(("weather", "low_db", "verdict"), EXCUSES,
                         ids=[f"{w}: {d} dB low" for w, d, _ in EXCUSES])  # fmt: skip
def test_what_weather_excuses(weather: str, low_db: float, verdict: str) -> None:
    """Beyond the tolerance of 3 dB, what rain of that rate takes at most on this path and no more."""
    found = findings(said(weather), low_db, link={"fade_margin_db": 26.2})
    for check in ("radio.rx-level", "radio.path-loss", "radio.fade-margin"):
        for end in "ab":
            assert found[check, end].verdict == verdict, found[check, end].reason
    if verdict == T:
        assert found["radio.rx-level", "b"].advice.startswith("repeat in dry weather")
    elif weather not in {"dry", "fog"}:
        assert weather in found["radio.rx-level", "a"].reason, "what was stated is not dropped"


@pytest.mark.parametrize(
    ("minutes", "verdict"), [(0, T), (29, T), (-29, T), (31, F), (-31, F), (-24 * 60, F)]
)
def test_weather_counts_for_half_an_hour(minutes: float, verdict: str) -> None:
    found = findings(said("rain 20 mm/h", minutes), 10.0)
    assert found["radio.rx-level", "a"].verdict == verdict
    assert ("min from the readings" in found["radio.rx-level", "a"].reason) is (verdict == F)


def test_the_statement_nearest_to_the_readings_counts() -> None:
    """Rain an hour after dry readings excuses nothing; nor does rain that had ended."""
    both = [*said("dry", 1), *said("rain 20 mm/h", 25)]
    assert findings(both, 10.0)["radio.rx-level", "a"].verdict == F
    turned = [*said("rain 20 mm/h", 1), *said("dry", 25)]
    assert findings(turned, 10.0)["radio.rx-level", "a"].verdict == T


def test_a_row_without_a_time_excuses_nothing() -> None:
    """The sheet has no time beside it: it may be of any day."""
    row = {"value": "rain 20 mm/h", "row": "seen.csv, row 2"}
    found = findings(said("rain 20 mm/h", row=row), 10.0)["radio.rx-level", "a"]
    assert (found.verdict, "without a time beside it" in found.reason) == (F, True)
    dated = findings(said("rain 20 mm/h", row={**row, "at": "10:00"}), 10.0)
    assert dated["radio.rx-level", "a"].verdict == T


@pytest.mark.parametrize(
    ("mhz", "low_db", "verdict"),
    [(4800.0, 4.0, F), (5200.0, 3.2, T), (7500.0, 10.0, F), (23000.0, 29.0, T)],
)
def test_the_frequency_decides(mhz: float, low_db: float, verdict: str) -> None:
    """20 mm/h on 11.42 km: nothing below 5 GHz, 1.6 dB at 7.5 GHz, 26 dB at 23 GHz."""
    at = {"tx_mhz": mhz, "max_eirp_dbm": None}
    found = findings(said("rain 20 mm/h"), low_db, {"duplex_spacing_mhz": None}, at, at)
    assert found["radio.rx-level", "a"].verdict == verdict, found["radio.rx-level", "a"].reason


def test_a_path_that_nobody_planned_leaves_it_open() -> None:
    found = findings(said("rain 20 mm/h"), 40.0, {"path_km": None})["radio.rx-level", "a"]
    assert (found.verdict, "length of the path is not planned" in found.reason) == (T, True)


def test_rain_at_either_end_counts_and_on_the_bench_none_does() -> None:
    for unit in (A, B):
        found = findings(said("rain 20 mm/h", unit=unit), 10.0)
        assert {found["radio.rx-level", e].verdict for e in "ab"} == {T}
    bench = {"bench_attenuation_db": 60.0, "bench_rx_level_dbm": -42.0}
    found = findings(said("rain 20 mm/h"), 10.0, pa=bench, pb=bench, stage="bench")
    assert found["radio.rx-level", "a"].verdict == F


def test_rain_that_takes_it_all_explains_that_nothing_is_received() -> None:
    """150 mm/h at 13 GHz take 87 dB here; 20 mm/h take 9.8 dB, and 39 dB are to be lost for that."""
    silent = {"locked": "false", "far_end_name": ""}
    for weather, verdict in (("rain 150 mm/h", T), ("rain 20 mm/h", F), ("dew", F)):
        a = {**RIGHT, **silent, "rx_level_dbm": NOTHING}
        seen = observed(A, a), observed(B, RIGHT_B), said(weather)
        found = {
            (f.check, f.subject.end): f for f in of_radio(judged(planned(), "handover", *seen))
        }
        assert found["radio.rx-level", "a"].verdict == verdict
        assert found["radio.lock", "a"].verdict == verdict


def test_rain_does_not_explain_a_lock_that_is_missing_at_a_good_level() -> None:
    found = findings(said("rain 150 mm/h"), 0.0, locked="false")
    assert found["radio.lock", "a"].verdict == F


def test_rain_excuses_a_low_snr_by_as_much() -> None:
    """25 dB are planned; 20 mm/h take 9.8 dB."""
    for snr, verdict in ((16.0, T), (14.0, F)):
        assert findings(said("rain 20 mm/h"), 0.0, snr_db=snr)["radio.snr", "a"].verdict == verdict


def test_rain_excuses_a_low_voltage_by_as_much() -> None:
    """0.02 V a dB: 0.89 V are -55.5 dBm, 9.9 dB low; 0.77 V are -61.5 dBm, 15.9 dB low."""
    for volts, verdict in ((0.89, T), (0.77, F), (0.10, F)):
        at = START.isoformat()
        entry = observation(id=0, subject=Subject("device", A), probe="person", at=at, value=volts,
                            what="manual.alignment-voltage")  # fmt: skip
        seen = observed(A, RIGHT), observed(B, RIGHT_B), [*said("rain 20 mm/h"), entry]
        made = of_radio(judged(planned(), "handover", *seen))
        (found,) = [f for f in made if f.check == "manual.alignment-voltage"]
        assert found.verdict == verdict, found.reason


def test_the_end_of_the_alignment_table_means_at_least() -> None:
    """1.60 V are the last row, -20 dBm: whatever is received, the port shows no more."""
    plan = planned(a={"rx_level_dbm": -21.0}, b={"rx_level_dbm": -21.0})
    entry = observation(id=0, subject=Subject("device", A), probe="person", at=START.isoformat(),
                        value=1.60, what="manual.alignment-voltage")  # fmt: skip
    level = {"rx_level_dbm": -21.0}
    made = of_radio(judged(plan, "handover", observed(A, {**RIGHT, **level}),
                           observed(B, {**RIGHT_B, **level}), [entry]))  # fmt: skip
    (found,) = [f for f in made if f.check == "manual.alignment-voltage"]
    assert (found.verdict, "at least -20.0 dBm" in found.reason) == (W, True)


@pytest.mark.parametrize(
    ("words", "weather"),
    [
        ("Rain 12.5 mm/h", Weather(("rain",), 12.5)), ("RAINY, 3 mm per h", Weather(("rain",), 3.0)),
        ("wet  snow", Weather(("wet snow",))), ("icing", Weather(("ice",))), ("foggy", Weather(("fog",))),
        ("dry, 8 degC", Weather(("dry",))), ("rain 2,5 mm/h", Weather(("rain",), 2.5)),
        ("nice", Weather(())), ("", Weather(())), (None, Weather(())), (12.0, Weather(())),
        ("Regen", Weather(())),
    ],
)  # fmt: skip
def test_words(words: Any, weather: Weather) -> None:
    assert weather_of(words) == weather


def test_a_stated_polarisation_is_taken() -> None:
    """At 18 GHz and 40 mm/h horizontal takes 3.83 dB/km, vertical 3.11: 43.7 and 35.5 dB."""
    either: tuple[tuple[Any, str], ...] = (("H", T), ("V", F))
    for polarisation, verdict in either:
        at = {"tx_mhz": 18000.0, "max_eirp_dbm": None}
        plan = planned({"duplex_spacing_mhz": None}, at, at)
        (link,) = plan.links
        carrier = dataclasses.replace(link.carriers[0], polarisation=polarisation)
        plan = dataclasses.replace(plan, links=(dataclasses.replace(link, carriers=(carrier,)),))
        level = {"rx_level_dbm": -85.6, "polarisation": polarisation}
        seen = observed(A, {**RIGHT, **level}), observed(B, {**RIGHT_B, **level})
        made = of_radio(judged(plan, "handover", *seen, said("rain 40 mm/h")))
        (found,) = [f for f in made if f.check == "radio.rx-level" and f.subject.end == "a"]
        assert found.verdict == verdict, found.reason
