"""From findings to causes: what hangs on what. Explains; never changes a verdict."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Sequence

from verifier.model.plan import Plan
from verifier.model.result import Cause, Finding
from verifier.model.subject import Subject


def explain(
    plan: Plan, findings: Sequence[Finding]
) -> tuple[tuple[Finding, ...], tuple[Cause, ...]]:
    """The findings, each tied to its causes, and the causes in the order of their findings."""
    drafts = [*_silent_units(findings), *_swapped_ends(plan, findings)]
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
    """A unit that gives no answer: all its untested checks hang on that."""
    dead = {
        f.subject.name: f
        for f in findings
        if f.check == "icmp.reply" and f.verdict == "fail" and "filtered" not in f.reason
    }
    hanging: dict[str, list[str]] = defaultdict(list)
    for finding in findings:
        if finding.verdict == "not-tested" and finding.subject.name in dead:
            hanging[finding.subject.name].append(finding.id)
    return [
        Cause(
            id="",
            kind="unit-silent",
            subject=Subject("device", name),
            certainty="certain",
            text=f"{name} gives no answer at all",
            try_first=finding.advice,
            for_=(finding.id, *hanging[name]),
        )
        for name, finding in dead.items()
    ]


def _swapped_ends(plan: Plan, findings: Sequence[Finding]) -> list[Cause]:
    """Two ends under each other's names explain both wrong names."""
    links = {link.name: frozenset().union(*link.devices()) for link in plan.links}
    swapped = [f for f in findings if f.check == "link.ends-swapped" and f.verdict == "fail"]
    names = [f for f in findings if f.check == "system.name" and f.verdict == "fail"]
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
                *(n.id for n in names if n.subject.name in links[finding.subject.name]),
            ),
        )
        for finding in swapped
    ]
