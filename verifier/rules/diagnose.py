"""From findings to causes: what hangs on what. Explains; never changes a verdict."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Sequence

from verifier.model.plan import Plan
from verifier.model.result import Cause, Finding

_UNTESTED = {"not-tested", "warn"}
"""Of a unit that does not answer; a warning is then a check that may stay untested."""


def explain(
    plan: Plan, findings: Sequence[Finding]
) -> tuple[tuple[Finding, ...], tuple[Cause, ...]]:
    """The findings, each tied to its causes, and the causes in the order of their findings."""
    drafts = [
        *_silent_units(findings),
        *_unread_units(findings),
        *_swapped_ends(plan, findings),
    ]
    causes = tuple(dataclasses.replace(c, id=f"c{n}") for n, c in enumerate(drafts, start=1))
    caused_by: dict[str, list[str]] = defaultdict(list)
    for cause in causes:
        for finding in cause.for_:
            caused_by[finding].append(cause.id)
    tied = tuple(
        dataclasses.replace(f, caused_by=tuple(caused_by[f.id])) if f.id in caused_by else f
        for f in findings
    )
    return tied, causes


def _silent_units(findings: Sequence[Finding]) -> list[Cause]:
    """A unit that gives no answer at all: whatever is not tested of it hangs on that."""
    return [
        Cause(
            id="",
            kind="unit-silent",
            subject=head.subject,
            certainty="certain",
            text=f"{head.subject.name} gives no answer at all",
            try_first=head.advice,
            for_=(head.id, *(f.id for f in others)),
        )
        for head, others in _failed(findings, "icmp.reply")
        if all(f.verdict in _UNTESTED for f in others)
    ]


def _unread_units(findings: Sequence[Finding]) -> list[Cause]:
    """A unit that answers echoes but not SNMP: what only SNMP can tell hangs on that."""
    return [
        Cause(
            id="",
            kind="snmp-unread",
            subject=head.subject,
            certainty="certain",
            text=f"{head.subject.name} gives no values by SNMP",
            try_first=head.advice,
            for_=(head.id, *(f.id for f in others if _by_snmp(f) and f.verdict in _UNTESTED)),
        )
        for head, others in _failed(findings, "snmp.answer")
    ]


def _failed(findings: Sequence[Finding], check: str) -> list[tuple[Finding, list[Finding]]]:
    """Each failure of one check, with the other findings of its unit that rest on its answers."""
    of_unit: dict[str, list[Finding]] = defaultdict(list)
    for finding in findings:
        ours = finding.check == "local.fit" or finding.check.startswith("plan.")
        if finding.subject.kind in {"device", "port"} and not ours:
            of_unit[finding.subject.name].append(finding)
    return [
        (f, [other for other in of_unit[f.subject.name] if other is not f])
        for f in findings
        if f.check == check and f.verdict == "fail"
    ]


def _by_snmp(finding: Finding) -> bool:
    return finding.check.partition(".")[0] in {"system", "address", "port", "neighbour", "snmp"}


_WHO_IT_IS = {
    "system.name", "system.serial", "system.part", "system.location", "neighbour.mac",
}  # fmt: skip
"""Checks that tell which unit it is; they follow a unit to the place where it stands."""


def _swapped_ends(plan: Plan, findings: Sequence[Finding]) -> list[Cause]:
    """Two ends under each other's names explain whatever else tells one unit from the other."""
    links = {link.name: frozenset().union(*link.devices()) for link in plan.links}
    swapped = [f for f in findings if f.check == "link.ends-swapped" and f.verdict == "fail"]
    odd = [f for f in findings if f.check in _WHO_IT_IS and f.verdict in {"fail", "warn"}]
    return [
        Cause(
            id="",
            kind="ends-swapped",
            subject=finding.subject,
            certainty="certain",
            text=f"the ends of {finding.subject.name} answer under each other's names",
            try_first=finding.advice,
            for_=(
                finding.id,
                *(f.id for f in odd if f.subject.name in links[finding.subject.name]),
            ),
        )
        for finding in swapped
    ]
