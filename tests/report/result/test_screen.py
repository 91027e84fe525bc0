"""The first screen: the verdict, a line or two for each cause, nothing dropped without a word."""

from __future__ import annotations

import dataclasses
import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.report.result.test_text import finding, result, text
from verifier.model.problem import Subject
from verifier.model.result import Accepted, Cause, Finding, NotAsked, Result, Scope
from verifier.report.result.screen import entries
from verifier.report.style import ReportStyle

SCREEN = ReportStyle(screen=True)
NETWORK = Scope(whole=True, devices=(48, 48), links=(24, 24))
ALONE = Scope(whole=False, devices=(1, 48), links=(0, 24), names=("ferry",))


def cause(number: int, device: str, *for_: str, **more: Any) -> Cause:
    values: dict[str, Any] = {"certainty": "certain", "text": f"{device} has no gateway",
                              "try_first": f"set the gateway of {device}", **more}  # fmt: skip
    return Cause(id=f"c{number}", kind="gateway-missing", subject=Subject("device", device),
                 for_=for_, **values)  # fmt: skip


def shown(of: Result) -> list[str]:
    lines: list[str] = text(of, SCREEN).splitlines()
    return lines


def faults(count: int, words: str = "a reason of some length that says what is wrong at {}") -> Any:
    """So many devices, each with a failure of its own and a cause for it."""
    names = [f"device-{n}" for n in range(count)]
    findings = [
        finding("fail", "address.gateway", unit=name, id=f"f{n}", advice="set it")
        for n, name in enumerate(names)
    ]
    causes = [
        cause(n, name, f"f{n}", text=f"{words.format(name)}, case {n}")
        for n, name in enumerate(names)
    ]
    return findings, tuple(causes)


@pytest.mark.parametrize(("scope", "most"), [(NETWORK, 40), (ALONE, 10)])
@pytest.mark.parametrize("count", [1, 2, 5, 22, 30, 300])
def test_it_fits_the_screen_and_the_verdict_is_in_sight(
    scope: Scope, most: int, count: int
) -> None:
    """40 lines for a network, 10 for one device; first the verdict, after 25 lines last as well."""
    findings, causes = faults(count)
    lines = shown(result(*findings, causes=causes, scope=scope))
    assert len(lines) <= most
    assert lines[0].startswith("FAIL, ")
    assert (lines[-1] == lines[0]) == (len(lines) > 25)
    assert max(map(len, lines)) <= 100


@pytest.mark.parametrize("scope", [NETWORK, ALONE])
@given(count=st.integers(1, 60), width=st.integers(60, 100))
def test_what_has_no_room_is_counted(scope: Scope, count: int, width: int) -> None:
    """Each cause has its line, or is one of the number at the end."""
    findings, causes = faults(count)
    of = result(*findings, causes=causes, scope=scope)
    lines = text(of, dataclasses.replace(SCREEN, width=width)).splitlines()
    own = sum(line.startswith("FAIL  certain: ") for line in lines)
    more = sum(int(m[1]) for m in (re.match(r"and (\d+) more like these", x) for x in lines) if m)
    assert own + more == count == len(entries(of))


def test_equal_causes_are_one_line_with_their_devices() -> None:
    """What differs in the name alone is said once, what to do as well."""
    names = [f"ferry-{n}" for n in range(8)]
    findings = [finding("fail", "address.gateway", unit=n, id=f"f-{n}") for n in names]
    causes = tuple(cause(n, name, f"f-{name}") for n, name in enumerate(names))
    assert shown(result(*findings, causes=causes, scope=NETWORK))[2:5] == [
        "FAIL  certain: ferry-0 has no gateway; the same at ferry-1, ferry-2, ferry-3, ferry-4, ferry-5 and 2",
        "      more",
        "      do: set the gateway of each of them",
    ]


def test_what_hangs_on_a_cause_is_counted_and_not_repeated() -> None:
    """The failure that the cause explains is not said again in other words."""
    head = finding("fail", "echo.reply", id="f0", reason="no reply came")
    rest = [finding("not-tested", f"port.p{n}", id=f"f{n}") for n in range(1, 12)]
    silent = cause(1, "ferry", "f0", *(f.id for f in rest), text="ferry gives no answer")
    lines = shown(result(head, *rest, causes=(silent,), scope=NETWORK))
    assert lines[2] == "FAIL  certain: ferry gives no answer (1 fail, 11 not tested)"
    assert not any("no reply came" in line or "port.p3" in line for line in lines)


def test_several_causes_that_fit_stand_under_one_head() -> None:
    """How many, then each with how sure it is and what to do."""
    head = finding("fail", "snmp.answer", id="f0")
    several = (
        cause(1, "ferry", "f0", certainty="likely", text="SNMP to ferry is filtered"),
        cause(2, "ferry", "f0", certainty="possible", text="the agent of ferry is off"),
    )
    lines = shown(result(head, causes=several, scope=NETWORK))
    assert lines[2:5] == [
        "FAIL  ferry: POSSIBLE CAUSES (2)",
        "      likely: SNMP to ferry is filtered; do: set the gateway of ferry",
        "      possible: the agent of ferry is off; do: set the gateway of ferry",
    ]


def test_warnings_of_the_plan_are_one_line() -> None:
    """`check` lists them; a column that was not read is no such warning."""
    plan = [finding("warn", f"plan.rule-{n}", id=f"f{n}") for n in range(7)]
    unread = finding("warn", "plan.column-not-read", id="f9", reason="column Remarks is not read")
    lines = shown(result(*plan, unread, scope=NETWORK))
    assert "WARN  the plan itself: 7 warnings" in lines
    assert "WARN  ferry: plan.column-not-read: column Remarks is not read" in lines


def test_heavier_things_come_first() -> None:
    """Failures, then what could not be tested, then warnings; passes are counted."""
    kinds = ("warn", "pass", "not-tested", "fail")
    several: list[Finding] = [
        finding(v, f"port.{v}", id=v, unit=f"ferry-{v}")  # type: ignore[arg-type]
        for v in kinds
    ]
    lines = shown(result(*several, scope=NETWORK))
    heads = [m[1] for m in (re.match(r"(FAIL|NOT TESTED|WARN)  ", x) for x in lines) if m]
    assert heads == ["FAIL", "NOT TESTED", "WARN"]
    assert "all passed: 1 of 4 devices" in lines


def test_what_was_accepted_and_not_asked_is_on_the_screen() -> None:
    """Who accepted what and why; what only a person can see, counted."""
    accepted = Accepted(check="radio.lock", findings=("f1",), by="A. Example", reason="fog")
    unseen = NotAsked(what="manual.polarisation", reason="a person", count=6)
    passed = finding("warn", "radio.lock", id="f1")
    lines = shown(result(passed, accepted=(accepted,), not_asked=(unseen,), scope=NETWORK))
    assert "accepted: radio.lock: not tested 1 time; accepted by A. Example: fog" in lines
    assert any(line.startswith("not asked: 6 planned values that only a person") for line in lines)
    assert lines[-1] == "more: --verbose, --out FILE.html, plan-verifier explain radio.lock"
