"""A stored result judged anew from its observations, by today's rules; and two results compared."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence

from verifier.errors import InputError
from verifier.model.observations import ACCEPTED, ROUTE
from verifier.model.plan import Plan
from verifier.model.problem import Problem, Subject
from verifier.model.profile import Profile
from verifier.model.result import VERDICTS, WEIGHT, Difference, DifferenceKind, Finding, Result
from verifier.model.samples import Block
from verifier.rules.compare import REACH, VERIFY
from verifier.rules.compare.judge import compare
from verifier.rules.observations import of_kind
from verifier.rules.plan import READING, RULES, check
from verifier.rules.powercycle import judge


def judged_again(
    old: Result,
    plan: Plan,
    profiles: Mapping[str, Profile],
    samples: Iterable[Block],
    name: str,
) -> Result:
    """The result by today's rules; where the plan says so is kept from the old findings.

    Args:
        old: the result that is stored.
        plan: that of its run.
        profiles: by id, those of the devices that were asked.
        samples: the blocks of its soak.
        name: what faults call it.

    Raises:
        InputError: a profile is missing.
    """
    asked = {o.subject.name for o in of_kind(old.observations, ROUTE)}
    devices = [d for d in plan.devices if d.name in asked]
    if missing := {d.profile for d in devices} - profiles.keys():
        raise InputError(f"{name}: part profiles: {min(missing)} is missing")
    accepted = [a for o in of_kind(old.observations, ACCEPTED) for a in o.value or ()]
    problems = list(_problems(plan, profiles, old))
    if old.command == "powercycle":
        judgement = judge(
            plan, profiles, old.observations, stage=old.stage, devices=devices,
            names=old.scope.names, accept_untested=accepted, problems=problems,
        )  # fmt: skip
    else:
        judgement = compare(
            plan, profiles, old.observations, stage=old.stage, devices=devices,
            names=old.scope.names, accept_untested=accepted, problems=problems, samples=samples,
            checks=REACH if old.command == "reach" else VERIFY,
        )  # fmt: skip
    origins = {(f.check, f.subject): f.origin for f in old.findings}
    located = tuple(
        dataclasses.replace(f, origin=f.origin or origins.get((f.check, f.subject)))
        for f in judgement.findings
    )
    return dataclasses.replace(
        old,
        scope=judgement.scope,
        findings=located,
        causes=judgement.causes,
        not_in_stage=judgement.not_in_stage,
        not_asked=judgement.not_asked,
        accepted=judgement.accepted,
    )


def _problems(plan: Plan, profiles: Mapping[str, Profile], old: Result) -> Iterator[Problem]:
    """The plan's problems by today's rules, as of the day of the run.

    What only the plan's file could show, and rules that need a profile the evidence does not hold
    (of devices that were not asked), are kept from the old findings.
    """
    whole = {d.profile for d in plan.devices} <= profiles.keys()
    kept = {r.name for r in READING} | {r.name for r in RULES if r.needs and not whole}
    day = dt.datetime.fromisoformat(old.started).date()
    of_plan = [f for f in old.findings if f.check.startswith("plan.")]
    yield from (p for p in map(_problem, of_plan) if p.rule in kept)
    yield from (p for p in check(plan, (), profiles, today=day) if p.rule not in kept)


def _problem(finding: Finding) -> Problem:
    """The offline problem that a finding `plan.RULE` was made of."""
    return Problem(
        severity="error" if finding.verdict == "fail" else "warning",
        rule=finding.check.removeprefix("plan."),
        subject=finding.subject,
        origin=finding.origin,
        message=finding.reason,
    )


UNSTEADY = frozenset(
    {"echo.round-trip", "echo.jitter", "echo.gap", "state.restarts", "state.clock"}
)
"""Values that differ from one run to the next although nothing has changed."""


def differences(
    old: Iterable[Finding], new: Iterable[Finding], *, exact: bool = False
) -> tuple[Difference, ...]:
    """What differs, heaviest first, else in the order of the newer findings.

    Args:
        old: findings of a run.
        new: findings of another run, or of the same one judged again.
        exact: the same observations were judged twice, so every difference counts: without it,
            wording and values that are never the same twice do not.
    """
    found = [d for pair in _pairs(old, new) if (d := _difference(*pair, exact=exact)) is not None]
    return tuple(sorted(found, key=_rank))


def _pairs(
    old: Iterable[Finding], new: Iterable[Finding]
) -> Iterator[tuple[Finding | None, Finding | None]]:
    """Findings of the same check and subject: those with the same planned value first."""
    before: dict[tuple[str, Subject], list[Finding]] = defaultdict(list)
    now: dict[tuple[str, Subject], list[Finding]] = defaultdict(list)
    for finding in old:
        before[finding.check, finding.subject].append(finding)
    for finding in new:
        now[finding.check, finding.subject].append(finding)
    for key in dict.fromkeys((*now, *before)):
        yield from _matched(before.get(key, []), now.get(key, []))


def _matched(
    old: Sequence[Finding], new: Sequence[Finding]
) -> Iterator[tuple[Finding | None, Finding | None]]:
    left = list(old)
    unmatched = []
    for finding in new:
        same = next((f for f in left if f.expected == finding.expected), None)
        if same is None:
            unmatched.append(finding)
        else:
            left.remove(same)
            yield same, finding
    both = min(len(left), len(unmatched))
    yield from zip(left[:both], unmatched[:both], strict=True)
    yield from ((f, None) for f in left[both:])
    yield from ((None, f) for f in unmatched[both:])


def _difference(old: Finding | None, new: Finding | None, *, exact: bool) -> Difference | None:
    if (kind := _kind(old, new, exact=exact)) is None:
        return None
    return Difference(kind=kind, old=old, new=new)


def _kind(old: Finding | None, new: Finding | None, *, exact: bool) -> DifferenceKind | None:
    if old is None or new is None:
        return "gone" if new is None else "new"
    if old.verdict != new.verdict:
        worse = VERDICTS.index(new.verdict) < VERDICTS.index(old.verdict)
        return "worse" if worse else "better"
    if (old.expected, old.unit) != (new.expected, new.unit):
        return "plan"
    if old.observed != new.observed and (exact or old.check not in UNSTEADY):
        return "value"
    if exact and (old.reason, old.advice) != (new.reason, new.advice):
        return "reason"
    return None


def _rank(difference: Difference) -> tuple[int, int]:
    return WEIGHT.index(difference.kind), VERDICTS.index(difference.either.verdict)
