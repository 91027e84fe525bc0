"""What hangs on what: causes explain findings and never change a verdict."""

from __future__ import annotations

from typing import Any

import pytest

from verifier.model.plan import Carrier, End, Link, Plan
from verifier.model.result import Finding, Verdict
from verifier.model.subject import Subject, SubjectKind
from verifier.rules.diagnose import explain

PLAN = Plan(links=(Link(name="Hop 1", carriers=(Carrier(a=End(device="a"), b=End(device="b")),)),))


def finding(check: str, verdict: Verdict, name: str = "a", kind: SubjectKind = "device") -> Any:
    return {"check": check, "verdict": verdict, "subject": Subject(kind, name), "reason": "x"}


def explained(*drafts: Any) -> tuple[tuple[Finding, ...], list[tuple[str, str, set[str]]]]:
    findings = tuple(Finding(id=f"f{n}", **d) for n, d in enumerate(drafts))
    tied, causes = explain(PLAN, findings)
    assert [f.verdict for f in tied] == [f.verdict for f in findings]
    names = {f.id: f"{f.subject.name} {f.check}" for f in findings}
    return tied, [(c.kind, c.subject.name, {names[i] for i in c.for_}) for c in causes]


UP = finding("icmp.reply", "pass")
DOWN = finding("icmp.reply", "fail")
CASES: list[tuple[str, list[Any], list[tuple[str, str, set[str]]]]] = [
    ("nothing wrong", [UP, finding("system.name", "pass")], []),
    (
        "dead unit",
        [finding("local.fit", "pass"), DOWN, finding("system.name", "not-tested"),
         finding("tcp.open", "not-tested")],
        [("unit-silent", "a", {"a icmp.reply", "a system.name", "a tcp.open"})],
    ),
    (
        "echoes filtered: the unit is not silent",
        [DOWN, finding("snmp.answer", "pass"), finding("icmp.loss", "not-tested")],
        [],
    ),
    (
        "agent silent",
        [UP, finding("snmp.answer", "fail"), finding("system.name", "not-tested"),
         finding("tcp.open", "not-tested"), finding("port.mtu", "not-tested", kind="port")],
        [("snmp-unread", "a", {"a snmp.answer", "a system.name", "a port.mtu"})],
    ),
    (
        "other units are not drawn in",
        [DOWN, finding("system.name", "not-tested", "b"), finding("icmp.reply", "pass", "b")],
        [("unit-silent", "a", {"a icmp.reply"})],
    ),
    (
        "swapped ends",
        [finding("system.name", "fail"), finding("system.serial", "fail", "b"),
         finding("system.location", "warn"), finding("address.mask", "fail"),
         finding("system.name", "fail", "c"),
         finding("link.ends-swapped", "fail", "Hop 1", "link")],
        [("ends-swapped", "Hop 1", {"a system.name", "b system.serial", "a system.location",
                                    "Hop 1 link.ends-swapped"})],
    ),
    ("a name that is wrong alone", [finding("system.name", "fail")], []),
]  # fmt: skip


@pytest.mark.parametrize(("drafts", "causes"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_causes(drafts: list[Any], causes: list[tuple[str, str, set[str]]]) -> None:
    """Exactly these causes, for exactly these findings."""
    assert explained(*drafts)[1] == causes


def test_findings_name_their_causes() -> None:
    """Tied both ways: `for` of the cause and `caused_by` of the finding."""
    tied, _ = explained(*CASES[1][1])
    assert [f.caused_by for f in tied] == [(), ("c1",), ("c1",), ("c1",)]
