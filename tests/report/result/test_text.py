"""The text report: what is wrong first, in 100 columns, harmless whatever a device says."""

from __future__ import annotations

import dataclasses
import json
import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.as_seen import observation
from verifier.errors import EXIT_FAILED, EXIT_PASSED, EXIT_UNTESTED
from verifier.model.problem import Origin, Subject
from verifier.model.result import (
    VERDICTS,
    Cause,
    Difference,
    Finding,
    PlanReference,
    Result,
    Scope,
    Verdict,
)
from verifier.report.result import FORMATS
from verifier.report.result.differences import text as compared
from verifier.report.result.json import document
from verifier.report.style import ReportStyle, plain

text: Any = FORMATS["text"]


def finding(
    verdict: Verdict, check: str = "identity.name", unit: str = "ferry", **more: Any
) -> Finding:
    values: dict[str, Any] = {"id": "f1", "reason": f"because of {check}", "advice": ""}
    return Finding(
        check=check, subject=Subject("device", unit), verdict=verdict, **{**values, **more}
    )


def result(*findings: Finding, **more: Any) -> Result:
    more = {"scope": Scope(whole=True, devices=(7, 7), links=(3, 3)), **more}
    return Result(
        command="verify",
        stage="handover",
        plan=PlanReference(name="Harbour ring", revision="3", sha256="", file_sha256=""),
        started="2026-11-24T10:00:00.000Z",
        finished="2026-11-24T10:00:02.500Z",
        findings=findings,
        **more,
    )


FOUR = (
    finding("pass", "echo.reply"),
    finding("warn", "identity.location", expected="Ferry", observed="Quarry"),
    finding("not-tested", "port.speed"),
    finding("fail", "address.mask", expected="255.255.255.0", observed="255.255.0.0",
            advice="correct the mask", origin=Origin("plan.yaml", 12)),
)  # fmt: skip


def test_what_is_wrong_comes_first() -> None:
    """Failures, then what is not tested, then warnings; passes only in the summary."""
    shown = text(result(*FOUR), ReportStyle())
    heads = re.findall(r"^(FAIL|NOT TESTED|WARN|PASS)  ", shown, re.MULTILINE)
    assert heads == ["FAIL", "NOT TESTED", "WARN"]
    assert "because of echo.reply" not in shown


def test_a_failure_says_everything() -> None:
    """Device, check, reason, planned and found, what to do, where the plan says so."""
    block = text(result(FOUR[3]), ReportStyle()).split("\n\n")[1]
    assert block.splitlines() == [
        "FAIL  ferry  address.mask",
        "    because of address.mask",
        "    planned 255.255.255.0, found 255.255.0.0",
        "    do: correct the mask",
        "    plan: plan.yaml, line 12",
        "    more: plan-verifier explain address.mask",
    ]


def test_what_hangs_on_one_cause_is_folded() -> None:
    """Ten checks of a silent device are one block, and name their cause."""
    silent = [
        finding("not-tested", f"port.{n}", id=f"f{n}", reason="no answer", caused_by=("c1",))
        for n in range(10)
    ]
    head = finding("fail", "echo.reply", id="f99")
    cause = Cause(id="c1", kind="device-silent", subject=Subject("device", "ferry"),
                  certainty="certain", text="ferry gives no answer",
                  for_=("f99", *(f.id for f in silent)))  # fmt: skip
    shown = text(result(head, *silent, causes=(cause,)), ReportStyle())
    assert shown.count("NOT TESTED  ferry") == 0
    assert "not tested for it: ferry: port.0, port.1" in shown


def cause(*for_: str, kind: str = "mask-wrong", **more: Any) -> Cause:
    values: dict[str, Any] = {
        "certainty": "certain",
        "text": f"about {kind}",
        "try_first": "look",
        **more,
    }
    return Cause(id=f"c-{kind}", kind=kind, subject=Subject("device", "ferry"), for_=for_, **values)


def test_causes_come_first_and_what_they_explain_under_them() -> None:
    """The cause, what to try, then its findings; what has no cause comes after."""
    loose = finding("fail", "port.mtu", id="f1")
    held = finding("fail", "address.mask", id="f2", expected="a", observed="b")
    shown = text(result(loose, held, causes=(cause("f2"),)), ReportStyle()).split("\n\n")
    assert shown[1].splitlines() == [
        "CAUSE, certain: about mask-wrong",
        "    try first: look",
        "    FAIL  ferry  address.mask",
        "        because of address.mask",
        "        planned a, found b",
        "        more: plan-verifier explain address.mask",
    ]
    assert shown[2].startswith("FAIL  ferry  port.mtu")


def test_units_behind_a_cause_are_counted() -> None:
    """Sixty silent devices behind one: a line, with their number, verdicts and the nearest names."""
    head = finding("fail", "echo.reply", id="f0")
    behind = [
        finding(v, c, unit=f"device-{n}", id=f"f{n}{c}")
        for n in range(60)
        for v, c in zip(VERDICTS, ("echo.reply", "identity.name"), strict=False)
    ]
    root = cause("f0", *(f.id for f in behind), kind="uplink-down")
    shown = text(result(head, *behind, causes=(root,)), ReportStyle())
    joined = shown.replace("\n      ", " ")
    assert "60 devices behind it: 60 fail, 60 not tested: device-0, device-1, " in joined
    assert "device-11 and 48 more" in joined
    assert "FAIL  device-7" not in shown
    assert len(shown.split("\n\n")[1].splitlines()) < 10
    assert "(60 more, counted with their causes above)" in shown
    assert max(map(len, shown.splitlines())) <= 100


def test_causes_that_fit_equally_stand_together() -> None:
    """Each with its certainty and what to try; what speaks for all of them is said once."""
    held = finding("fail", "port.speed", id="f1")
    right, other = finding("pass", "echo.loss", id="f2"), finding("pass", "port.errors", id="f3")
    two = (
        cause("f1", "f2", kind="negotiated-down", certainty="possible", against=("f3",)),
        cause("f1", "f2", kind="speed-set", certainty="likely"),
    )
    block = text(result(held, right, other, causes=two), ReportStyle()).split("\n\n")[1]
    assert block.splitlines() == [
        "POSSIBLE CAUSES (2):",
        "    possible: about negotiated-down",
        "        try first: look",
        "        against: ferry port.errors passes",
        "    likely: about speed-set",
        "        try first: look",
        "    for each of them: ferry echo.loss passes",
        "    FAIL  ferry  port.speed",
        "        because of port.speed",
        "        more: plan-verifier explain port.speed",
    ]


def test_the_same_reason_is_said_once() -> None:
    """Ten checks of one device with one reason are one block."""
    same = [finding("not-tested", f"port.{n}", id=f"f{n}", reason="no answer") for n in range(10)]
    shown = text(result(*same), ReportStyle())
    assert shown.count("NOT TESTED  ferry") == 1
    assert "port.0, port.1" in shown


def test_one_reason_with_two_advices_is_two_blocks() -> None:
    two = [
        finding("fail", f"port.{n}", id=f"f{n}", reason="down", advice=f"do {n}") for n in range(2)
    ]
    shown = text(result(*two), ReportStyle())
    assert "do: do 0" in shown
    assert "do: do 1" in shown


def test_names_are_not_broken_at_their_hyphens() -> None:
    """A name can be searched for and copied."""
    names = ", ".join(f"lighthouse-quarry-{n}" for n in range(40))
    shown = text(result(finding("fail", reason=names)), ReportStyle(width=60))
    assert all(f"lighthouse-quarry-{n}" in shown for n in range(40))


def test_a_soak_cut_short_is_said_once_for_many_units() -> None:
    """Not once a unit and check with its own figures; of one unit alone the figures are told."""
    short = "the soak lasted 21 s of 5 min: a person ended it"
    same = [
        finding("not-tested", check, unit=f"device-{n}", id=f"f{n}{check}",
                reason=f"{short}; until then: {check} {n}", observed=n)
        for n in range(30)
        for check in ("echo.round-trip", "echo.jitter")
    ]  # fmt: skip
    shown = text(result(*same), ReportStyle())
    assert shown.count(short) == 1
    assert (
        "NOT TESTED  30 devices\n    echo.round-trip, echo.jitter\n    of: device-0, device-1, "
        in shown
    )
    assert "; --verbose shows what was measured until then" in shown
    assert f"{short}; until then: echo.jitter 7" in text(
        result(*same[14:16]), ReportStyle(width=200)
    )


def test_units_with_one_reason_are_one_block() -> None:
    """What this machine cannot do is said once, not once a device; other checks stay apart."""
    why = "no permission to send echoes"
    same = [
        finding("not-tested", check, unit=f"device-{n}", id=f"f{n}{check}", reason=why)
        for n in range(30)
        for check in ("echo.reply", "echo.loss")
    ]
    alone = finding("not-tested", "echo.round-trip", unit="ferry", reason=why)
    shown = text(result(*same, alone), ReportStyle())
    assert shown.count(why) == 2
    assert "NOT TESTED  30 devices" in shown
    assert "of: device-0, device-1, " in shown
    assert "NOT TESTED  ferry  echo.round-trip" in shown


@pytest.mark.parametrize("command", ["verify", "reach"])
def test_a_long_name_is_folded(command: str) -> None:
    """100 columns hold whatever the plan calls its devices."""
    name = "a-device-with-a-name-of-many-words-" * 2
    seen = observation(id=1, subject=Subject("device", name), probe="icmp", what="echo", at="",
                       value={"sent": 1, "received": 1, "rtt_ms": [0.5], "duplicates": 0, "silence": [{"reason": "unreachable", "text": "destination host unreachable"}]})  # fmt: skip
    whole = dataclasses.replace(
        result(finding("pass", unit=name), observations=(seen,)), command=command
    )
    whole = dataclasses.replace(
        whole, plan=dataclasses.replace(whole.plan, name="A long ring " * 20)
    )
    assert max(map(len, text(whole, ReportStyle()).splitlines())) <= 100


def test_everything_on_request() -> None:
    """--verbose lists the passes too."""
    assert "echo.reply" in text(result(*FOUR), ReportStyle(verbose=True))


def test_colour_only_where_asked() -> None:
    """Words carry the meaning; colour adds to them."""
    assert "\x1b" not in text(result(*FOUR), ReportStyle())
    assert "\x1b[1;31mFAIL\x1b[0m" in text(result(*FOUR), ReportStyle(colour=True))


def test_many_sound_units_are_counted_not_listed() -> None:
    """Among 200 devices only the one that is not right has a row."""
    good = [finding("pass", unit=f"device-{n}") for n in range(199)]
    shown = text(result(*good, finding("fail", unit="ferry")), ReportStyle())
    assert "(199 more, all passed)" in shown
    assert "device-7" not in shown


@given(st.text(max_size=400), st.integers(40, 100))
def test_hostile_text_is_harmless(words: str, width: int) -> None:
    """Whatever a device reports: no control character, no direction mark, no endless line."""
    shown = text(
        result(finding("fail", reason=words or "x", observed=words)), ReportStyle(width=width)
    )
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", shown)


def test_a_change_to_nothing_keeps_the_unit_of_what_was() -> None:
    """What was not tested the second time has no unit of its own."""
    new = finding("not-tested", "radio.bandwidth")
    old = dataclasses.replace(new, verdict="pass", observed=28, unit="MHz")
    shown = compared([Difference(kind="worse", old=old, new=new)], ReportStyle())
    assert "found 28 MHz -> nothing" in shown


def test_a_long_reason_is_not_cut() -> None:
    """What the device says may be endless; our own sentence around it is read to its end."""
    reason = "a reason of many words, " * 20 + "and its end"
    assert "and its end" in text(result(finding("fail", reason=reason)), ReportStyle()).replace(
        "\n      ", " "
    )


def test_nothing_found_has_no_unit() -> None:
    """A comparison names the unit beside a figure, not beside "nothing"."""
    old = dataclasses.replace(finding("pass", "radio.fade-margin"), observed=26.4, unit="dB")
    new = dataclasses.replace(old, verdict="not-tested", observed=None)
    shown = compared([Difference(kind="worse", old=old, new=new)], ReportStyle())
    assert "found 26.4 dB -> nothing; because of radio.fade-margin" in shown.replace(
        "\n      ", " "
    )


def test_what_the_stage_leaves_out_keeps_within_the_width() -> None:
    """Checks that do not belong to the stage are listed in 100 columns, all of them."""
    left = tuple(f"radio.check-{n}" for n in range(20))
    shown = text(result(*FOUR, not_in_stage=left), ReportStyle())
    assert max(len(line) for line in shown.splitlines()) <= ReportStyle().width
    assert [check for check in left if check not in shown] == []


def test_plain_shows_what_cannot_be_printed() -> None:
    assert plain("a\x1b[31m\u202eb\n") == "a\\x1b[31m\\u202eb\\n"
    assert plain("Möwe") == "Möwe"
    assert plain("x" * 10_000).endswith("... (10000 characters)")


@pytest.mark.parametrize(
    ("verdicts", "word", "code", "strict"),
    [
        (("pass",), "pass", EXIT_PASSED, EXIT_PASSED),
        (("pass", "warn"), "pass", EXIT_PASSED, EXIT_FAILED),
        (("pass", "not-tested"), "incomplete", EXIT_UNTESTED, EXIT_UNTESTED),
        (("warn", "not-tested"), "incomplete", EXIT_UNTESTED, EXIT_FAILED),
        (("fail", "not-tested", "pass"), "fail", EXIT_FAILED, EXIT_FAILED),
        ((), "incomplete", EXIT_UNTESTED, EXIT_UNTESTED),
    ],
)
def test_verdict_and_exit_code(
    verdicts: tuple[Verdict, ...], word: str, code: int, strict: int
) -> None:
    """The document's verdict and the command's exit code follow from the findings."""
    whole = result(*(finding(v) for v in verdicts))
    assert whole.verdict == word
    assert whole.exit_code() == code
    assert whole.exit_code(strict=True) == strict


def test_json_is_one_line_an_object() -> None:
    """Readable by eye and by line tools; what is read back is what was written."""
    whole = result(*FOUR)
    drawn = FORMATS["json"](whole, ReportStyle())
    assert json.loads(drawn) == document(whole)
    assert len([line for line in drawn.splitlines() if '"check"' in line]) == len(FOUR)


@given(st.text(st.characters(codec=None, exclude_categories=())))
def test_json_escapes_what_would_steer_a_terminal(words: str) -> None:
    """The same text for whoever reads it; C1 controls, marks of direction, DEL do not stand in it."""
    drawn = FORMATS["json"](
        result(finding("fail", observed=f"\x9b31m\u202e\x7f{words}")), ReportStyle()
    )
    assert isinstance(drawn, str)
    assert not re.search(
        "[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff]", drawn
    )
    (found,) = json.loads(drawn)["findings"]
    assert found["observed"].startswith("\x9b31m\u202e\x7f")


def test_json_holds_what_the_text_says() -> None:
    """Every field of a finding and a cause is in the document, under the contract's names."""
    cause = Cause(id="c1", kind="x", subject=Subject("device", "ferry"), certainty="likely",
                  text="t", for_=("f1",), against=("f2",))  # fmt: skip
    made = document(result(*FOUR, causes=(cause,)))
    assert made["summary"] == {"pass": 1, "fail": 1, "warn": 1, "not-tested": 1}
    assert set(made["findings"][0]) == {f.name for f in dataclasses.fields(Finding)}
    assert made["causes"][0]["for"] == ["f1"]
    assert made["causes"][0]["against"] == ["f2"]
