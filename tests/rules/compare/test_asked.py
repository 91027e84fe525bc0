"""Scope, what was not asked, and what a person allowed to stay untested."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any

import pytest

from tests.said import compare
from verifier.model.address import Interface
from verifier.model.plan import Carrier, Device, End, Link, NotTestedOk, Plan, Port
from verifier.model.problem import Origin, Problem, Subject
from verifier.model.profile import Profile
from verifier.model.result import NotAsked
from verifier.rules.compare import REACH
from verifier.rules.compare.judge import Judgement

PROFILES = {"mib2": Profile(id="mib2"), "radio": Profile(id="radio", kind="radio")}


def radio(number: int) -> Device:
    return Device(
        name=f"r{number}", address=Interface.parse(f"198.18.20.{number}/24"), snmp="field",
        profile="radio", label=f"R {number}", ports=(Port(name="eth1", mtu=1500),),
    )  # fmt: skip


def hop(a: int, b: int) -> Link:
    one, other = (End(device=f"r{n}", tx_mhz=13000.0 + n, azimuth_deg=10.0) for n in (a, b))
    return Link(name=f"Hop {a}", carriers=(Carrier(a=one, b=other, polarisation="V"),))


PLAN = Plan(
    devices=(
        *(radio(n) for n in range(1, 7)),
        Device(name="switch", address=Interface.parse("198.18.20.7/24"), snmp="field"),
    ),
    links=(hop(1, 2), hop(3, 4), hop(5, 6)),
)


def judged(*names: str, plan: Plan = PLAN, **how: Any) -> Judgement:
    """Nothing was seen of these devices, or of all."""
    devices = [d for d in plan.devices if d.name in names] if names else None
    return compare(plan, PROFILES, [], devices=devices, **how)


def of_links(found: Judgement) -> set[str]:
    return {f.subject.name for f in found.findings if f.subject.kind == "link"}


def may_stay(*checks: str, by: str | None = "A. Example") -> list[NotTestedOk]:
    return [NotTestedOk(check=c, reason=f"why {c}", by=by) for c in checks]


def test_scope_of_the_whole_plan() -> None:
    scope = judged().scope
    assert (scope.whole, scope.devices, scope.links, scope.names) == (True, (7, 7), (3, 3), ())


def test_scope_of_a_link() -> None:
    """What was named, and asked of planned."""
    scope = judged("r1", "r2", names=("Hop 1",)).scope
    assert not scope.whole
    assert (scope.devices, scope.links, scope.names) == ((2, 7), (1, 3), ("Hop 1",))


def test_all_devices_by_name_are_the_whole() -> None:
    names = tuple(d.name for d in PLAN.devices)
    assert judged(*names, names=names).scope == judged().scope


@pytest.mark.parametrize("names", [("r1",), ("r2", "r3", "r4"), ("switch",)])
def test_a_link_is_judged_by_both_its_ends(names: tuple[str, ...]) -> None:
    """One end alone: no finding of the link, not even of the plan about it; it is not asked."""
    warning = [Problem("warning", "licence-expired", Subject("link", "Hop 1"), None, "expired")]
    found = judged(*names, problems=warning)
    whole = {f"Hop {n}" for n in (1, 3, 5) if {f"r{n}", f"r{n + 1}"} <= set(names)}
    half = {f"link Hop {n}" for n in (1, 3, 5) if len({f"r{n}", f"r{n + 1}"} & set(names)) == 1}
    assert of_links(found) == whole
    assert {n.what for n in found.not_asked if n.what.startswith("link")} == half
    assert found.scope.links == (len(whole), 3)


def test_why_a_link_is_not_asked() -> None:
    (entry,) = [n for n in judged("r1").not_asked if n.what.startswith("link")]
    reason = "r2 was not asked: a link is judged by both its ends"
    assert entry == NotAsked(what="link Hop 1", reason=reason, count=1)


def test_a_plan_warning_of_a_link_that_was_asked_stays() -> None:
    warning = [Problem("warning", "licence-expired", Subject("link", "Hop 1"), None, "expired")]
    for names in ((), ("r1", "r2")):
        checks = {f.check for f in judged(*names, problems=warning).findings}
        assert "plan.licence-expired" in checks


@pytest.mark.parametrize(("names", "counts"), [((), (6, 6, 6)), (("r1", "switch"), (1, 1, 1))])
def test_what_only_a_person_can_see_is_counted(
    names: tuple[str, ...], counts: tuple[int, ...]
) -> None:
    """Labels, polarisations, azimuths of the devices that were asked."""
    left = [n for n in judged(*names).not_asked if not n.what.startswith("link")]
    assert {n.what: n.count for n in left} == dict(
        zip(("manual.label", "manual.polarisation", "manual.azimuth"), counts, strict=True)
    )


def test_what_reach_and_a_sweep_ask() -> None:
    """They ask for nothing that a person sees."""
    assert judged(checks=REACH).not_asked == ()
    assert judged(only={"echo.reply"}).not_asked == ()


def verdicts(found: Judgement, check: str) -> dict[str, str]:
    return {f.subject.name: f.verdict for f in found.findings if f.check == check}


def test_a_check_may_stay_untested() -> None:
    """A warning then, which says that it was not tested, who accepted it, and why."""
    found = judged(accept_untested=may_stay("identity.name"))
    warned = [f for f in found.findings if f.check == "identity.name"]
    assert {f.verdict for f in warned} == {"warn"}
    assert all(
        f.reason.startswith("not tested (")
        and f.reason.endswith("; accepted by A. Example: why identity.name")
        for f in warned
    )
    (accepted,) = found.accepted
    assert accepted.findings == tuple(f.id for f in warned)
    assert len(warned) == 7


def test_for_one_device() -> None:
    """Also of its ports, and of its end of a link."""
    allowed = may_stay("identity.name@r1", "port.mtu@r1", "radio.tx-frequency@r1")
    found = judged(accept_untested=allowed)
    for check in ("identity.name", "port.mtu"):
        assert {n for n, v in verdicts(found, check).items() if v == "warn"} == {"r1"}
    frequencies = {
        (f.subject.name, f.subject.end): f.verdict
        for f in found.findings
        if f.check == "radio.tx-frequency"
    }
    assert {k for k, v in frequencies.items() if v == "warn"} == {("Hop 1", "a")}


@pytest.mark.parametrize("check", ["*", "identity.* state.*", "system.nam", "identity.name@r"])
def test_no_pattern(check: str) -> None:
    """Whoever gets past the door with one has accepted nothing."""
    assert not {f for f in judged(accept_untested=may_stay(check)).findings if f.verdict == "warn"}


def test_who_counts_where_several_accept() -> None:
    """For the device before for all, the command line before the plan; what was not needed stays."""
    plan = dataclasses.replace(PLAN, not_tested_ok=tuple(may_stay("identity.name", by="Planner")))
    allowed = [*may_stay("identity.name", by="Tester"), *may_stay("identity.name@r1", by="Chief")]
    found = judged(plan=plan, accept_untested=allowed)
    who: dict[str | None, int] = {a.by: len(a.findings) for a in found.accepted}
    assert who == {"Chief": 1, "Tester": 6, "Planner": 0}


def test_nobody_named() -> None:
    found = judged(accept_untested=may_stay("identity.name", by=None))
    reasons: Iterable[str] = {f.reason for f in found.findings if f.verdict == "warn"}
    assert all("accepted by a person who is not named: why" in r for r in reasons)


NOT_READ = Problem(
    "warning", "column-not-read", Subject("network", ""), Origin("t.xlsx", field="Freq", by_row=True),
    "12 figures, such as '13143' in row 5",
)  # fmt: skip


@pytest.mark.parametrize(
    ("names", "only"), [((), None), (("switch",), None), ((), ("echo.reply",))]
)
def test_a_column_that_nothing_reads_hides_behind_no_pass(
    names: tuple[str, ...], only: tuple[str, ...] | None
) -> None:
    """It is not tested, whichever devices are asked; and in no run is it silent."""
    found = judged(*names, problems=[NOT_READ], only=only)
    told = [f.verdict for f in found.findings if f.check == "plan.column-not-read"]
    assert told == ([] if only else ["not-tested"])
    left = [n for n in found.not_asked if n.what == "t.xlsx, column Freq"]
    assert [n.reason for n in left] == [NOT_READ.message]
