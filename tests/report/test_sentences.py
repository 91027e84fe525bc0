"""What a document says of itself: made from the counts, and never more than they say."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
from typing import Any

import junitparser
import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.model.problem import Subject
from verifier.model.result import Accepted, Finding, NotAsked, PlanReference, Result, Scope, Verdict
from verifier.report.result import FORMATS, brief
from verifier.report.sentences import sentence, verdict_line
from verifier.report.style import ReportStyle

WHOLE = Scope(whole=True, devices=(7, 7), links=(3, 3))
HOP_1 = Scope(whole=False, devices=(2, 7), links=(1, 3), names=("Hop 1",))
LEFT = (NotAsked(what="manual.azimuth", reason="nobody entered it", count=14),)


def result(counts: dict[Verdict, int], accepted: int = 0, **more: Any) -> Result:
    """So many findings of each verdict; the first warnings are accepted ones."""
    findings = [
        Finding(id=f"f-{v}-{n}", check="radio.snr", subject=Subject("device", f"d{n}"), verdict=v,
                reason="so")
        for v, times in counts.items() for n in range(times)
    ]  # fmt: skip
    allowed = Accepted(
        check="radio.snr", reason="no meter on site", by="A. Example",
        findings=tuple(f"f-warn-{n}" for n in range(accepted)),
    )  # fmt: skip
    usual: dict[str, Any] = {"scope": WHOLE, "accepted": (allowed,) if accepted else ()}
    return Result(
        command="verify", stage="handover",
        plan=PlanReference(name="Coast", revision=None, sha256="", file_sha256=""),
        started="2026-11-24T10:00:00.000Z", finished="2026-11-24T10:00:02.500Z",
        findings=tuple(findings), **{**usual, **more},
    )  # fmt: skip


SITUATIONS = {
    "all passed": (
        result({"pass": 254}),
        ("PASS, whole plan (3 links, 7 devices): all 254 checks passed: everything asked was tested, "
        "and is as planned"),
    ),
    "one passed": (
        result({"pass": 1}, not_asked=LEFT),
        "PASS, whole plan (3 links, 7 devices): 1 check passed; not asked: 14 planned values",
    ),
    "three expired licences": (
        result({"pass": 251, "warn": 3}),
        "PASS, whole plan (3 links, 7 devices): 251 of 254 checks passed; 3 warnings",
    ),
    "198 acceptances": (
        result({"pass": 56, "warn": 198}, accepted=198),
        ("CONDITIONAL, whole plan (3 links, 7 devices): 56 of 254 checks tested, nothing failed; 198 "
        "not tested, which was accepted by A. Example"),
    ),
    "an acceptance and a warning": (
        result({"pass": 252, "warn": 2}, accepted=1),
        ("CONDITIONAL, whole plan (3 links, 7 devices): 253 of 254 checks tested, nothing failed; "
        "1 warning; 1 not tested, which was accepted by A. Example"),
    ),
    "a part": (
        result({"pass": 60}, scope=HOP_1),
        "PASS, Hop 1 (1 of 3 links, 2 of 7 devices): all 60 checks passed",
    ),
    "a device": (
        result(
            {"pass": 20},
            scope=Scope(whole=False, devices=(1, 7), links=(0, 3), names=("ferry",)),
            not_asked=(NotAsked(what="link Hop 3", reason="harbour was not asked"), *LEFT),
        ),
        ("PASS, ferry (0 of 3 links, 1 of 7 devices): all 20 checks passed; not asked: 14 planned "
        "values and link Hop 3"),
    ),
    "a failure": (
        result({"pass": 200, "fail": 15, "warn": 2, "not-tested": 30}, not_asked=LEFT),
        "FAIL, whole plan (3 links, 7 devices): 15 of 247 checks failed, 30 not tested; 2 warnings",
    ),
    "untested": (
        result({"pass": 200, "not-tested": 54}),
        ("INCOMPLETE, whole plan (3 links, 7 devices): nothing failed, but 54 of 254 checks could not "
        "be tested"),
    ),
    "nothing": (
        result({}), "INCOMPLETE, whole plan (3 links, 7 devices): nothing was tested",
    ),
    "before the handover": (
        result({"pass": 9}, not_in_stage=("radio.capacity", "settings.saved")),
        ("PASS, whole plan (3 links, 7 devices): all 9 checks passed; not asked: 2 checks not of this "
        "stage"),
    ),
    "echoes and services": (
        dataclasses.replace(result({"pass": 9}), command="reach"),
        "PASS, whole plan (3 links, 7 devices): all 9 checks passed (echoes and TCP services only)",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", SITUATIONS.values(), ids=list(SITUATIONS))
def test_verdict_line(case: tuple[Result, str]) -> None:
    """Verdict, scope, and the counts in words."""
    whole, line = case
    assert verdict_line(whole) == line


def test_a_condition_ends_with_0() -> None:
    """A person accepted it; only --strict makes a failure of the command of it."""
    whole = result({"pass": 1, "warn": 1}, accepted=1)
    assert (whole.verdict, whole.exit_code(), whole.exit_code(strict=True)) == ("conditional", 0, 1)


COUNTS = st.fixed_dictionaries(
    {v: st.integers(0, 3) for v in ("pass", "fail", "warn", "not-tested")}
)


@given(
    COUNTS, st.integers(0, 3), st.sampled_from([WHOLE, HOP_1]), st.sampled_from([(), LEFT]),
    st.sampled_from([(), ("radio.capacity",)]), st.sampled_from(["verify", "reach", "powercycle"]),
)  # fmt: skip
def test_no_sentence_says_more_than_the_counts(
    counts: Any, accepted: int, scope: Scope, left: Any, absent: Any, command: str
) -> None:
    """*As planned*, *everything* and *all* stand only where nothing else is to be said."""
    accepted = min(accepted, counts["warn"])
    whole = dataclasses.replace(
        result(counts, accepted, scope=scope, not_asked=left, not_in_stage=absent), command=command
    )
    said = sentence(whole)
    clean = counts["pass"] > 0 and not (counts["fail"] or counts["warn"] or counts["not-tested"])
    untouched = clean and scope.whole and not left and not absent and command != "reach"
    assert ("as planned" in said) == ("everything" in said) == untouched
    assert ("all " in said) == (clean and counts["pass"] > 1)
    for verdict in ("fail", "not-tested"):
        if counts[verdict]:
            assert str(counts[verdict]) in said
    assert ("A. Example" in said) == (accepted > 0)
    assert ("warning" in said) == (counts["warn"] > accepted)
    if left and not counts["fail"]:
        assert "14 planned values" in said


PARTIAL = result({"pass": 3, "warn": 2}, accepted=2, scope=HOP_1, not_asked=LEFT)
SCOPE = "Hop 1 (1 of 3 links, 2 of 7 devices)"


def _workbook(data: Any) -> str:
    page = openpyxl.load_workbook(io.BytesIO(data))["Summary"]
    return "\n".join(" ".join(str(v) for v in row if v) for row in page.iter_rows(values_only=True))


@pytest.mark.parametrize("name", ["text", "csv", "html", "xlsx", "junit"])
def test_every_format_says_scope_what_was_not_asked_and_who_accepted(name: str) -> None:
    """What was asked, the fourteen values nobody looked at, and who let what stay untested."""
    drawn = FORMATS[name](PARTIAL, ReportStyle())
    shown = _workbook(drawn) if name == "xlsx" else str(drawn)
    words = " ".join(shown.replace("<bdi>", "").replace("</bdi>", "").split())
    for wanted in (SCOPE, "2 not tested, which was accepted by A. Example", "no meter on site"):
        assert wanted in words
    assert "14" in words
    assert "azimuth" in words


def test_json_says_it_as_data() -> None:
    document = json.loads(FORMATS["json"](PARTIAL, ReportStyle()))
    assert document["verdict"] == "conditional"
    assert document["scope"] == {
        "whole": False, "devices": [2, 7], "links": [1, 3], "names": ["Hop 1"],
    }  # fmt: skip
    assert document["not_asked"] == [
        {"what": "manual.azimuth", "reason": "nobody entered it", "count": 14}
    ]
    assert document["accepted"] == [
        {"check": "radio.snr", "reason": "no meter on site", "by": "A. Example",
         "findings": ["f-warn-0", "f-warn-1"]}
    ]  # fmt: skip


def test_csv_and_junit_keep_findings_apart() -> None:
    """What is no finding has no id, and is no test case."""
    table: Any = FORMATS["csv"](PARTIAL, ReportStyle())
    rows = list(csv.DictReader(io.StringIO(table, newline="")))
    besides = [r["verdict"] for r in rows if not r["id"]]
    assert (len(rows) - len(besides), besides) == (5, ["conditional", "not-asked", "accepted"])
    document: Any = FORMATS["junit"](PARTIAL, ReportStyle())
    whole = junitparser.JUnitXml.fromstring(document.encode())
    assert (whole.tests, whole.failures) == (5, 0)
    said = {p.name: p.value for suite in whole for p in suite.properties()}
    assert said["scope"] == SCOPE
    assert said["not asked: manual.azimuth"] == "14: nobody entered it"


def test_first_line_and_last_line() -> None:
    """The verdict first; again at the end where a screen would not hold both."""
    text: Any = FORMATS["text"]
    few, many = text(result({"pass": 1}), ReportStyle()), text(result({"fail": 40}), ReportStyle())
    assert few.startswith("PASS, whole plan")
    assert few.count("PASS, whole plan") == 1
    lines = many.rstrip("\n").split("\n")
    assert len(lines) > 25
    assert lines[0] == lines[-1] == verdict_line(result({"fail": 40}))


def test_brief_is_the_verdict_and_what_failed() -> None:
    whole = result({"pass": 3, "fail": 2, "warn": 1, "not-tested": 1})
    assert brief(whole, ReportStyle()).splitlines() == [
        verdict_line(whole),
        "FAIL  d0  radio.snr: so",
        "FAIL  d1  radio.snr: so",
    ]
