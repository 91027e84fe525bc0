"""A stored result judged anew from its observations, by today's rules."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Iterable, Iterator, Mapping

from verifier.errors import InputError
from verifier.model.observations import ACCEPTED, ROUTE
from verifier.model.plan import Plan
from verifier.model.problem import Problem
from verifier.model.profile import Profile
from verifier.model.result import Finding, Result
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
