"""Plan, profiles and observations in; findings and causes out.

The checks are in the tables of `rules/compare/__init__.py`. What holds for all of them (a device
that is dead, a laptop that does not fit, checks that may stay untested) is applied here, once.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from verifier.model.address import Address
from verifier.model.laptop import Laptop, Route
from verifier.model.observations import ROUTE, Observation
from verifier.model.plan import Device, NotTestedOk, Plan, Stage
from verifier.model.problem import Problem
from verifier.model.profile import Profile
from verifier.model.result import Accepted, Cause, Finding, NotAsked, Scope, Verdict
from verifier.model.samples import Block
from verifier.rules import diagnose, stages
from verifier.rules.compare import ACROSS, OF_CARRIER, OF_END, OF_SOAK, VERIFY, Check
from verifier.rules.compare import scope as scoping
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.echo import answered
from verifier.rules.compare.laptop import local_soak
from verifier.rules.compare.link import ends_swapped, software_differs
from verifier.rules.compare.manual.entries import marked
from verifier.rules.compare.manual.items import findings as manual_findings
from verifier.rules.compare.radio.carriers import carriers, is_radio
from verifier.rules.compare.snmp import answered_elsewhere
from verifier.rules.compare.soak.context import soaking
from verifier.rules.compare.soak.traffic import traffic
from verifier.rules.fit.verdict import fit
from verifier.rules.observations import Observations, by_device, laptop_of
from verifier.rules.plan import concerning

_LOOPBACK = "lo"
"""Where Linux routes what goes to an address of its own."""
_OF_THE_DEAD = frozenset({"laptop.fit", "echo.reply", "neighbour.duplicate"})
"""What is known of a device that gives no answer."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """What a run is judged to be; see `Result` for the fields."""

    findings: tuple[Finding, ...]
    causes: tuple[Cause, ...]
    scope: Scope
    not_in_stage: tuple[str, ...] = ()
    not_asked: tuple[NotAsked, ...] = ()
    accepted: tuple[Accepted, ...] = ()


def compare(  # noqa: PLR0913
    plan: Plan,
    profiles: Mapping[str, Profile],
    observations: Sequence[Observation[object]],
    *,
    stage: Stage = "handover",
    checks: Sequence[Check] = VERIFY,
    only: Container[str] | None = None,
    devices: Iterable[Device] | None = None,
    names: Sequence[str] = (),
    accept_untested: Iterable[NotTestedOk] = (),
    problems: Iterable[Problem] = (),
    samples: Iterable[Block] = (),
) -> Judgement:
    """Findings in plan order, numbered, what caused them, and what was not asked at this stage.

    Args:
        plan: what should be.
        profiles: by id; every profile the devices name.
        observations: what was seen.
        stage: what the work has come to; `rules/stages.py` says which checks belong to it.
        checks: `REACH` or `VERIFY`.
        only: names of checks; findings of others are left out. None: of none.
        devices: the devices asked for; all if None. Links of which both ends are among them are
            judged.
        names: what a person named to choose these devices.
        accept_untested: checks that may stay untested: then `warn`; before those of the plan.
        problems: the plan's warnings; each that concerns these devices is a finding `plan.RULE`.
        samples: the blocks of a soak, gone through once.
    """
    chosen = list(plan.devices if devices is None else devices)
    problems = tuple(problems)
    contexts = _contexts(plan, profiles, observations, chosen, stage)
    found = [f for c in contexts for f in _of_device(c, checks)]
    if checks is VERIFY:
        found += [f for check in ACROSS for f in check(contexts, observations)]
        found += _of_links(plan, contexts)
        found += manual_findings(contexts, observations)
        found = list(marked(plan, found, observations))
    found = _with_soak(found, contexts, observations, samples)
    found += [_of_plan(p) for p in concerning(plan, problems, (d.name for d in chosen))]
    if only is not None:
        found = [f for f in found if f.check in only]
    asked_names = {d.name for d in chosen}
    found = scoping.without_links(plan, asked_names, found)
    asked, not_in_stage = stages.of_stage(plan, stage, found)
    numbered = [f.numbered(f"f{n}") for n, f in enumerate(asked, start=1)]
    allowed = (*accept_untested, *plan.not_tested_ok)
    kept, accepted = scoping.accept(plan, numbered, allowed)
    findings, causes = diagnose.explain(plan, kept, observations, profiles, stage=stage)
    not_asked = [*scoping.links_not_asked(plan, asked_names), *scoping.not_read(problems)]
    if checks is VERIFY and only is None:
        not_asked += scoping.values_not_asked(plan, chosen, findings)
    return Judgement(
        findings=findings,
        causes=causes,
        scope=scoping.scope_of(plan, names, chosen),
        not_in_stage=not_in_stage,
        not_asked=tuple(not_asked),
        accepted=accepted,
    )


def _contexts(
    plan: Plan,
    profiles: Mapping[str, Profile],
    observations: Sequence[Observation[object]],
    devices: Iterable[Device],
    stage: Stage,
) -> list[Context]:
    seen = by_device(observations)
    laptop = laptop_of(observations)

    def context(device: Device) -> Context:
        of_device = seen.get(device.name, Observations())
        noted = of_device.first(ROUTE)
        route = noted.value if noted is not None else None
        return Context(
            plan=plan,
            device=device,
            profile=profiles[device.profile],
            seen=of_device,
            fit=fit(device, laptop, route) if laptop and noted else None,
            stage=stage,
            itself=laptop is not None and _holds(laptop, route, device.address.address),
        )

    return [context(device) for device in devices]


def _holds(laptop: Laptop, route: Route | None, address: Address) -> bool:
    """Whether packets to `address` end at this laptop: it has it, if need be without a carrier."""
    inward = route is not None and route.interface == _LOOPBACK
    return not address.is_loopback and any(
        own.address.value == address.value
        for interface in laptop.interfaces
        if interface.up or inward
        for own in interface.addresses
    )


def _of_device(context: Context, checks: Sequence[Check]) -> Iterator[Finding]:
    found = [f for check in checks for f in check(context)]
    if answered(context) or answered_elsewhere(context):
        yield from found
        return
    unfit = any(f.check == "laptop.fit" and f.verdict == "not-tested" for f in found)
    dead = any(f.check == "echo.reply" and f.verdict == "fail" for f in found)
    for finding in found:
        if unfit and finding.check != "laptop.fit":
            yield _untested(finding, "this laptop does not reach the device, see laptop.fit")
        elif dead and finding.check not in _OF_THE_DEAD:
            yield _untested(finding, "the device gave no answer at all, see echo.reply")
        else:
            yield finding


def _untested(finding: Finding, reason: str) -> Finding:
    return dataclasses.replace(
        finding, verdict="not-tested", reason=reason, observed=None, advice=""
    )


def _with_soak(
    found: list[Finding],
    contexts: Sequence[Context],
    observations: Sequence[Observation[object]],
    samples: Iterable[Block],
) -> list[Finding]:
    """The findings of a soak in the place of those that few echoes gave."""
    made = list(_of_soak(contexts, observations, samples))
    replaced = {(f.check, f.subject) for f in made}
    return [f for f in found if (f.check, f.subject) not in replaced] + made


def _of_links(plan: Plan, contexts: Sequence[Context]) -> Findings:
    """Findings of the links at least one of whose devices was asked for."""
    by_name = {c.device.name: c for c in contexts}
    yield from ends_swapped(plan, by_name)
    for carrier in carriers(plan, by_name):
        for end in carrier.ends():
            if is_radio(end):
                for check in OF_END:
                    yield from check(end)
        if all(map(is_radio, carrier.ends())):
            for check_carrier in OF_CARRIER:
                yield from check_carrier(carrier)
    for link in plan.links:
        yield from software_differs(plan, link, by_name)


def _of_soak(
    contexts: Sequence[Context],
    observations: Sequence[Observation[object]],
    samples: Iterable[Block],
) -> Findings:
    """Findings of a soak: one pass over its samples, then each check in turn; none without one."""
    soak = soaking(observations, samples)
    if soak is None:
        return
    yield local_soak(soak)
    for context in contexts:
        for check in OF_SOAK:
            yield from check(context, soak)
    if contexts:
        yield from traffic(contexts[0].plan, soak, laptop_of(observations))


def _of_plan(problem: Problem) -> Finding:
    verdict: Verdict = "fail" if problem.severity == "error" else "warn"
    return Finding(
        check=f"plan.{problem.rule}",
        subject=problem.subject,
        verdict="not-tested" if problem.rule in scoping.NOT_READ else verdict,
        reason=_in_line(problem.message),
        origin=problem.origin,
    )


def _in_line(message: str) -> str:
    """What stands on several lines, such as a sum, on one."""
    first, *others = message.split("\n")
    if not others:
        return first
    return first + (" " if first.endswith(":") else "; ") + "; ".join(others)
