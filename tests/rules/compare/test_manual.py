"""What a person entered: each entry ends with exactly the verdict expected, and says what it is."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from pathlib import Path
from typing import Any

import pytest

import verifier.files
from tests.as_seen import observation, seen_again
from tests.said import compare
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model.manual import BY_CHECK, ITEMS
from verifier.model.observations import Observation
from verifier.model.plan import NotTestedOk, Plan
from verifier.model.problem import Subject
from verifier.model.result import Finding

pytestmark = pytest.mark.usefixtures("words")

EXAMPLE = Path(verifier.files.__file__).parent / "example.yaml"
PLAN, _ = read_plan(EXAMPLE)
PROFILES = load_profiles({d.profile for d in PLAN.devices})
A = "lighthouse-quarry"
"""At end a of Hop 1, 13 GHz, dish of 0.6 m: half a beam is 1.3 deg, so the least counts."""
END = "Hop 1 carrier 1 end a"


def entry(check: str, value: Any, device: str = A, at: str = "", **row: str) -> Observation[Any]:
    name = check if check.startswith("manual.") else f"manual.{check}"
    return observation(
        id=0, subject=Subject("device", device), probe="person", what=name, value=value,
        unit=BY_CHECK[name].unit, raw=json.dumps({"by": "A. Example", **row}),
        at=at or "2026-11-25T10:00:00.000Z",
    )  # fmt: skip


def judged(
    *entries: Observation[Any],
    plan: Plan = PLAN,
    sheet: bool = False,
    blank: Any = (),
    now: str = "",
    **more: Any,
) -> list[Finding]:
    laptop = {"interfaces": [], "gateways": [], "assumed": True}
    first = observation(id=0, subject=Subject("laptop", "laptop"), probe="laptop",
                        what="interfaces", value=laptop, at="")  # fmt: skip
    mark = seen_again(first, probe="person", what="observed",
                               value={"file": "s.csv", "sha256": "", "rows": 0,
                                      "blank": [list(row) for row in blank]}, at=now)  # fmt: skip
    seen = [first, *([mark] if sheet or blank or now else []), *entries]
    numbered = [dataclasses.replace(o, id=n) for n, o in enumerate(seen, start=1)]
    found = compare(plan, PROFILES, numbered, **more).findings
    return [f for f in found if f.check.startswith("manual.")]


def end_of(plan: Plan, **more: Any) -> Plan:
    """The plan with other values at end a of its first link."""
    first, *others = plan.links
    carrier = first.carriers[0]
    carrier = dataclasses.replace(carrier, a=dataclasses.replace(carrier.a, **more))
    return dataclasses.replace(
        plan, links=(dataclasses.replace(first, carriers=(carrier,)), *others)
    )


@pytest.mark.parametrize(
    ("check", "value", "verdict", "words"),
    [
        ("label", "LIGHTHOUSE > QUARRY", "pass", "what is planned"),
        ("label", "LIGHTHOUSE  >  QUARRY", "pass", "what is planned"),
        ("label", "Lighthouse > Quarry", "warn", "by case only"),
        ("label", "QUARRY > LIGHTHOUSE", "fail", "label of quarry-lighthouse"),
        ("label", "LIGHTHOUSE", "fail", "something else"),
        ("polarisation", "V", "pass", "as planned"),
        ("polarisation", "H", "fail", "otherwise than planned"),
        ("polarisation", "V+H", "fail", "otherwise than planned"),
        ("azimuth", 57.98, "pass", "0.0 deg off"),
        ("azimuth", 59.9, "pass", "1.9 deg off"),
        ("azimuth", 59.98, "pass", "2.0 deg off; 2.0 deg are allowed"),
        ("azimuth", 59.99, "warn", "2.0 deg off the plan"),
        ("azimuth", 60.9, "warn", "2.9 deg off"),
        ("azimuth", 61.98, "warn", "4.0 deg off"),
        ("azimuth", 62.0, "fail", "4.0 deg off"),
        ("azimuth", 236.0, "fail", "points away from the far end"),
        ("azimuth", 235.9, "fail", "177.9 deg off the plan; 2.0 deg are allowed"),
        ("azimuth", 55.0, "warn", "3.0 deg off"),
        ("azimuth", 63.0, "fail", "5.0 deg off"),
        ("azimuth", 238.0, "fail", "points away from the far end"),
        ("azimuth", -302.02, "pass", "0.0 deg off"),
        ("tilt", 0.3, "pass", "0.0 deg off"),
        ("tilt", 1.5, "pass", "1.2 deg off"),
        ("tilt", 1.8, "warn", "1.5 deg off"),
        ("tilt", 4.0, "fail", "3.7 deg off"),
        ("antenna-height", 24.4, "pass", "within 0.5 m"),
        ("antenna-height", 24.5, "pass", "within 0.5 m"),
        ("antenna-height", 24.6, "warn", "0.6 m above"),
        ("antenna-height", 26.0, "warn", "2.0 m above"),
        ("antenna-height", 26.1, "fail", "2.1 m above"),
        ("antenna-height", 22.5, "warn", "1.5 m below"),
        ("antenna-height", 30.0, "fail", "6.0 m above"),
        ("earthing", True, "pass", "saw to it"),
        ("earthing", False, "fail", "not so: device, antenna and cable are earthed"),
        ("weatherproofing", False, "fail", "not so"),
        ("surge-arrester", True, "pass", "saw to it"),
        ("bolts-torqued", True, "pass", "saw to it"),
        ("peak-on-main-lobe", False, "fail", "swept through the peak and both nulls"),
        ("default-password-changed", False, "fail", "not so"),
        ("supply-voltage", -53.5, "pass", "inside the range"),
        ("supply-voltage", -40.5, "pass", "inside the range"),
        ("supply-voltage", -57.0, "pass", "inside the range"),
        ("supply-voltage", -57.1, "warn", "not in the range"),
        ("supply-voltage", -40.4, "warn", "not in the range"),
        ("supply-voltage", 40.5, "warn", "poles swapped"),
        ("supply-voltage", 57.0, "warn", "poles swapped"),
        ("supply-voltage", 57.1, "warn", "not in the range"),
        ("supply-voltage", 40.4, "warn", "not in the range"),
        ("supply-voltage", 53.5, "warn", "poles swapped"),
        ("supply-voltage", 0.0, "warn", "not in the range"),
        ("weather", "dry, light wind", "pass", "dry along the path"),
        ("weather", "heavy rain", "warn", "how hard is not stated"),
        ("weather", "rain, 12 mm/h", "warn", "levels prove little"),
        ("weather", "wet snow", "warn", "levels prove little"),
        ("weather", "fog", "pass", "fog along the path"),
        ("weather", "windy", "warn", "none of rain, wet snow, ice, fog, dry"),
        ("weather", "frost", "warn", "excuses no low level"),
    ],
)
def test_an_entry_is_judged(check, value, verdict, words) -> None:
    """One entry, one finding, which says that nothing was measured."""
    plan = end_of(PLAN, azimuth_deg=57.98, tilt_deg=0.3, antenna_height_m=24.0)
    (found,) = judged(entry(check, value), plan=plan)
    assert (found.check, found.verdict) == (f"manual.{check}", verdict)
    assert found.reason.startswith("entered, not measured: ")
    assert words in found.reason
    assert found.advice or verdict == "pass" or "case" in words
    assert found.subject == (
        Subject("link", "Hop 1", carrier=1, end="a") if BY_CHECK[found.check].end
        else Subject("device", A)
    )  # fmt: skip


def test_the_tables_hold_every_check() -> None:
    """The fourteen of the requirement, each with something to ask."""
    assert {i.check.removeprefix("manual.") for i in ITEMS} == {
        "weather", "label", "polarisation", "earthing", "weatherproofing", "surge-arrester",
        "bolts-torqued", "azimuth", "tilt", "antenna-height", "alignment-voltage",
        "peak-on-main-lobe", "supply-voltage", "default-password-changed",
    }  # fmt: skip
    assert all(i.ask and i.title for i in ITEMS)


@pytest.mark.parametrize("check", ["label", "polarisation", "azimuth", "tilt", "antenna-height"])
def test_an_empty_plan_cell_makes_no_finding(check) -> None:
    """Where the plan has no value, an entry is kept and nothing is judged."""
    plan = end_of(PLAN, azimuth_deg=None, tilt_deg=None, antenna_height_m=None)
    first, *links = plan.links
    carriers = tuple(dataclasses.replace(c, polarisation=None) for c in first.carriers)
    devices = tuple(dataclasses.replace(d, label=None) for d in plan.devices)
    plan = dataclasses.replace(
        plan, devices=devices, links=(dataclasses.replace(first, carriers=carriers), *links)
    )
    assert judged(entry(check, "V" if check == "polarisation" else 1.0), plan=plan) == []


def test_nothing_is_asked_without_a_sheet() -> None:
    """A run without --observed has no manual finding; the report says what was not asked."""
    assert judged() == []


def test_what_nobody_entered_is_not_tested_at_the_handover() -> None:
    """With a sheet, every planned value that only a person can see is asked."""
    found = judged(entry("label", "LIGHTHOUSE > QUARRY"), sheet=True)
    untested = {(f.check, str(f.subject)) for f in found if f.verdict == "not-tested"}
    assert {f.verdict for f in found} == {"pass", "not-tested"}
    assert ("manual.label", A) not in untested
    assert ("manual.label", "harbour-switch") in untested
    assert ("manual.polarisation", A) in untested
    assert ("manual.azimuth", END) in untested
    assert all(f.expected is not None and "--observed" in f.advice
               for f in found if f.verdict == "not-tested")  # fmt: skip
    checks = {c for c, _ in untested}
    assert not checks & {"manual.earthing", "manual.weather", "manual.supply-voltage"}


@pytest.mark.parametrize("stage", ["bench", "alignment", "service"])
def test_nothing_is_missed_before_the_handover(stage) -> None:
    """What was entered is judged at every stage; what was not is asked at the handover only."""
    (found,) = judged(entry("label", "LIGHTHOUSE > QUARRY"), sheet=True, stage=stage)
    assert found.verdict == "pass"


def test_a_row_that_nobody_filled_in_is_named() -> None:
    """Each item that the sheet asks, planned or not; those of a filled row are answered."""
    checks = ("earthing", "weather", "supply-voltage", "bolts-torqued", "label")
    rows = [(A, f"manual.{c}") for c in checks]
    found = judged(entry("bolts-torqued", value=True), blank=rows, devices=PLAN.devices[:1])
    mine = {f.check: f for f in found if f.expected is None or f.check == "manual.label"}
    untested = {c: f for c, f in mine.items() if f.verdict == "not-tested"}
    assert set(untested) == {
        "manual.earthing", "manual.weather", "manual.supply-voltage", "manual.label",
    }  # fmt: skip
    assert all("nobody entered it" in f.reason for f in untested.values())
    assert mine["manual.bolts-torqued"].verdict == "pass"
    assert len(found) == len({(f.check, f.subject) for f in found})


@pytest.mark.parametrize("stage", ["bench", "alignment", "service"])
def test_rows_left_blank_before_the_handover(stage) -> None:
    """Then the sheet is filled in as the work goes on."""
    assert judged(blank=[(A, "manual.earthing")], stage=stage) == []


@pytest.mark.parametrize(
    ("check", "verdict", "words"),
    [
        ("surge-arrester", "pass", "entered, not measured: does not apply: indoors"),
        ("supply-voltage", "pass", "does not apply: indoors"),
        ("weather", "pass", "does not apply: indoors"),
        ("label", "warn", "planned, but entered as not applicable: indoors"),
        ("polarisation", "warn", "planned, but entered as not applicable: indoors"),
        ("azimuth", "warn", "planned, but entered as not applicable: indoors"),
        ("alignment-voltage", "warn", "planned, but entered as not applicable: indoors"),
    ],
)
def test_not_applicable_is_an_answer(check, verdict, words) -> None:
    """With its reason; what the plan has a value of is not passed by it."""
    plan = end_of(PLAN, azimuth_deg=57.98, alignment_v=1.09)
    said = entry(check, None, note="indoors")
    found = judged(said, plan=plan, sheet=True, blank=[(A, f"manual.{check}")],
                   devices=plan.devices[:1])  # fmt: skip
    (mine,) = [f for f in found if f.check == f"manual.{check}"]
    assert (mine.verdict, mine.observed) == (verdict, "n/a")
    assert words in mine.reason


NOW = "2026-11-25T12:00:00.000Z"
DATED = dataclasses.replace(
    PLAN, network=dataclasses.replace(PLAN.network, date=dt.date(2026, 11, 20))
)


@pytest.mark.parametrize(
    ("at", "verdict", "words"),
    [
        ("2026-11-25T11:59Z", "pass", ""),
        ("2026-11-25T12:04Z", "pass", ""),  # of two clocks
        ("2026-11-25T13:04+01:00", "pass", ""),
        ("2026-11-25T14:00Z", "warn", "its time, 2026-11-25T14:00Z, is 2 h after this run"),
        ("2062-11-25T11:00Z", "warn", "after this run"),
        ("2026-11-20T00:00+01:00", "pass", ""),  # the 19th in UTC
        ("2026-11-19T23:59+01:00", "warn", "is before the date of the plan, 2026-11-20"),
        ("2025-11-25T11:00Z", "warn", "is before the date of the plan, 2026-11-20"),
    ],
)
def test_times_that_cannot_be(at, verdict, words) -> None:
    """In the future of the run, or before the plan was made."""
    moment = dt.datetime.fromisoformat(at).astimezone(dt.UTC)
    stamp = moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    row = json.dumps({"by": "A. Example", "at": at})
    said = seen_again(entry("earthing", value=True, at=stamp), raw=row)
    (found,) = [f for f in judged(said, plan=DATED, now=NOW) if f.check == "manual.earthing"]
    assert found.verdict == verdict
    assert words in found.reason
    assert ("after this run" in found.reason) + ("before the date" in found.reason) == (
        verdict == "warn"
    )


def test_local_time_is_shown_with_its_zone() -> None:
    """The zone that was taken stands beside the time that was written."""
    row = {"by": "A. Example", "at": "2026-11-19 09:00", "zone": "UTC+01:00"}
    said = seen_again(
        entry("earthing", value=True, at="2026-11-19T08:00:00.000Z"), raw=json.dumps(row)
    )
    (found,) = [f for f in judged(said, plan=DATED, now=NOW) if f.check == "manual.earthing"]
    assert "its time, 2026-11-19 09:00 UTC+01:00, is before the date" in found.reason


def test_an_entry_of_nobody() -> None:
    """Whoever saw it vouches for it: without a name it is no more than a warning; a fail stays."""
    for value, verdict in ((True, "warn"), (False, "fail")):
        (found,) = judged(seen_again(entry("earthing", value), raw="{}"))
        assert found.verdict == verdict
        assert "nobody is named who saw it" in found.reason
        assert found.advice


def test_what_is_missing_may_be_accepted() -> None:
    """As any other check: `not_tested_ok` and --accept-untested make it a warning."""
    found = judged(
        sheet=True,
        accept_untested=[NotTestedOk(check=item.check, reason="by night") for item in ITEMS],
    )
    assert {f.verdict for f in found} == {"warn"}


def test_the_last_entry_counts() -> None:
    """Whatever its place in the sheet, and however near the plan an earlier one was."""
    right = entry("azimuth", 57.9, at="2026-11-25T10:00:00.000Z")
    wrong = entry("azimuth", 90.0, at="2026-11-25T11:00:00.000Z")
    (found,) = judged(wrong, right)
    assert (found.observed, found.verdict) == (90.0, "fail")


def test_a_unit_with_two_antennas() -> None:
    """Planned heights that differ are each compared with the entry that is meant."""
    first, *others = PLAN.links
    carrier = first.carriers[0]
    second = dataclasses.replace(
        carrier, carrier=2, a=dataclasses.replace(carrier.a, antenna_height_m=14.0)
    )
    link = dataclasses.replace(first, carriers=(carrier, second), protection="1+1-sd")
    plan = dataclasses.replace(PLAN, links=(link, *others))
    found = judged(entry("antenna-height", 24.0), plan=plan, devices=[PLAN.devices[0]], sheet=True)
    heights = {str(f.subject): f.verdict for f in found if f.check == "manual.antenna-height"}
    assert heights == {END: "pass", "Hop 1 carrier 2 end a": "not-tested"}


@pytest.mark.parametrize(
    ("due", "verdict"), [("2026-11-24", "warn"), ("2026-11-25", "pass"), ("2027-01-01", "pass")]
)
def test_an_instrument_past_its_calibration_warns(due, verdict) -> None:
    """By the day of the reading, not by today; the instrument is named."""
    (found,) = judged(
        entry("azimuth", 57.98, calibration_due=due, instrument="compass", instrument_serial="7")
    )
    assert found.verdict == verdict
    assert ("compass 7 ran out on 2026-11-24" in found.reason) == (verdict == "warn")


def test_a_failure_stays_one_past_the_calibration() -> None:
    """The instrument excuses nothing."""
    (found,) = judged(entry("azimuth", 90.0, calibration_due="2020-01-01"))
    assert found.verdict == "fail"
    assert "the calibration of the instrument ran out on 2020-01-01" in found.reason


def test_an_entry_does_not_hang_on_the_unit() -> None:
    """A device that is dead has its label all the same, and no cause claims it."""
    dead = observation(id=0, subject=Subject("device", A), probe="icmp", what="echo", at="",
                       value={"sent": 5, "received": 0, "rtt_ms": [None] * 5, "duplicates": 0,
                              "reordered": 0, "silence": [{"reason": "timed-out", "text": "t"}]})  # fmt: skip
    found = judged(dead, entry("label", "LIGHTHOUSE > QUARRY"), sheet=True)
    assert next(f for f in found if f.check == "manual.label").verdict == "pass"
    assert all(f.caused_by == () for f in found)


def test_the_alignment_voltage_says_that_it_was_entered() -> None:
    """It is judged with the levels; it is marked as all others are, and missed as all others."""
    plan = end_of(PLAN, alignment_v=1.09)
    (found,) = judged(entry("alignment-voltage", 1.09), plan=plan)
    assert found.verdict == "pass"
    assert found.reason.startswith("entered, not measured: ")
    missing = {f.check: f.verdict for f in judged(plan=plan, sheet=True, devices=plan.devices[:1])}
    assert missing["manual.alignment-voltage"] == "not-tested"
