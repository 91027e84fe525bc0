"""Why a device's planned address is silent after a restart: it is back at another one."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from verifier.model.plan import Plan
from verifier.model.result import Cause, Finding
from verifier.model.subject import Subject

KIND = "settings-unsaved"
_APART = ("plan.", "manual.", "local.", "laptop.")
"""Checks that ask nothing of a device."""


def nothing_saved(
    plan: Plan,
    found_at: Mapping[str, tuple[Finding, str]],
    findings: Sequence[Finding],
    causes: Sequence[Cause],
) -> tuple[tuple[Finding, ...], tuple[Cause, ...]]:
    """The findings and causes with, first of all, that nothing was saved of these devices.

    What fails at a silent address, and what could not be tested there, hangs on that; other causes
    of the same are taken away, as it is known where the device is.

    Args:
        plan: which device is at which end of a link.
        found_at: by device, its finding that says so and the other address in words.
        findings: those of what was seen after, tied to causes.
        causes: of these.
    """
    made: list[Cause] = []
    claimed: dict[str, list[str]] = defaultdict(list)
    for n, (name, (head, where)) in enumerate(found_at.items(), start=len(causes) + 1):
        hanging = [f.id for f in findings if f.id != head.id and _hangs(plan, f, name)]
        cause = Cause(
            id=f"c{n}",
            kind=KIND,
            subject=Subject("device", name),
            certainty="likely",
            text=f"nothing was saved in {name}: after the restart it is back at {where}, "
            "and its planned address is silent",
            try_first="reach it there, set it up again from the plan, save, and restart it again",
            for_=(head.id, *hanging),
        )
        made.append(cause)
        for finding in cause.for_:
            claimed[finding].append(cause.id)
    failing = {f.id for f in findings if f.verdict != "pass"}
    left = (dataclasses.replace(c, for_=_without(c.for_, claimed)) for c in causes)
    others = [c for c in left if failing.intersection(c.for_)]
    known = {c.id for c in others}
    tied = tuple(
        dataclasses.replace(
            f, caused_by=tuple(claimed.get(f.id) or (c for c in f.caused_by if c in known))
        )
        for f in findings
    )
    return tied, (*made, *others)


def _without(ids: Iterable[str], claimed: Mapping[str, object]) -> tuple[str, ...]:
    return tuple(i for i in ids if i not in claimed)


def _hangs(plan: Plan, finding: Finding, name: str) -> bool:
    """Whether a finding is as it is because this device does not answer where it was asked."""
    if finding.verdict == "pass" or finding.check.startswith(_APART):
        return False
    subject = finding.subject
    if subject.kind in {"device", "port"}:
        return subject.name == name
    return (
        subject.kind == "link"
        and finding.verdict == "not-tested"
        and any(
            end.device == name and subject.end in {None, side}
            for link in plan.links
            if link.name == subject.name
            for carrier in link.carriers
            for side, end in carrier.ends()
        )
    )
