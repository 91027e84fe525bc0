"""One verification: look at the laptop, probe every device, compare, explain; what is kept of it.

Kept are the evidence, sealed, and what a report shows beside the result.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from verifier.errors import UsageError
from verifier.files.evidence.document import Evidence, seal, sign
from verifier.files.plan.columns import sheets as planned_sheets
from verifier.files.sheets.write import NETWORK_HEADINGS, rows
from verifier.model.observations import Observation
from verifier.model.plan import Plan
from verifier.model.profile import Profile
from verifier.model.result import PlanReference, Result
from verifier.model.samples import Block
from verifier.probes.snmp.values import SnmpTarget
from verifier.report.result.json import document
from verifier.report.style import Annex, ReportSheet
from verifier.rules.compare import REACH, VERIFY
from verifier.rules.compare.judge import compare
from verifier.rules.health import HEALTH_CHECKS
from verifier.rules.routes import hosts_outside
from verifier.session.ask.job import Job
from verifier.session.ask.pollers import running_poller, worker_count
from verifier.session.conductor import Conductor, short_switches
from verifier.session.recorder import timestamp
from verifier.session.request import Outcome, Paces, Request
from verifier.session.world import World

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey


def sealed(
    result: Result,
    plan: Plan,
    profiles: Mapping[str, Profile],
    key: Ed25519PrivateKey | None,
    samples: Iterable[bytes] = (),
) -> Evidence:
    """The evidence of a run, signed where there is a key; `samples` in canonical form."""
    evidence = seal(document(result), plan, profiles, samples)
    return evidence if key is None else sign(evidence, key)


def annex(
    plan: Plan | None,
    evidence: Evidence | None,
    *,
    sheets: bool,
    samples: Iterable[Block] = (),
) -> Annex:
    """What a document may show beside the result; the plan's sheets where they are wanted."""
    signature = evidence.signature if evidence is not None else None
    return Annex(
        plan=plan,
        samples=samples,
        sheets=_sheets(plan) if sheets and plan is not None else (),
        sha256=evidence.sha256 if evidence is not None else {},
        signature=f"Signed by the {signature.algorithm} key {signature.public_key}."
        if signature
        else "",
    )


def _sheets(plan: Plan) -> tuple[ReportSheet, ...]:
    """The plan's sheets that hold anything; none where rows cannot hold it, as YAML can."""
    try:
        made = rows(plan)
    except UsageError:
        return ()
    columns = {
        name: tuple((".".join(c.path), c.heading) for c in sheet.columns)
        for name, sheet in planned_sheets().items()
    }
    columns["Network"] = tuple((h.lower(), h) for h in NETWORK_HEADINGS)
    return tuple(
        ReportSheet(name=name, columns=columns[name], rows=tuple(map(tuple, lines)))
        for name, lines in made.items()
        if lines
    )


def run(request: Request, world: World) -> Outcome:
    """Carries out `request`.

    An interrupt (Ctrl-C) ends it early; what was measured so far is in the result.
    Raises CannotMeasureError where not even this machine can be read.
    """
    started = timestamp(world.clocks.now())
    observations, interrupted, faults = _probed(request, world)
    judged = compare(
        request.plan,
        request.profiles,
        observations,
        stage=request.stage,
        checks=REACH if request.command == "reach" else VERIFY,
        only=HEALTH_CHECKS if request.command == "sweep" else None,
        devices=request.devices,
        names=request.names,
        accept_untested=request.accept_untested,
        problems=request.problems,
        samples=request.soak.journal.samples() if request.soak is not None else (),
    )
    plan = request.plan
    result = Result(
        command=request.command,
        stage=request.stage,
        plan=PlanReference(
            name=plan.network.name,
            revision=plan.network.revision,
            sha256=request.plan_sha256,
            file_sha256=plan.file_sha256,
        ),
        scope=judged.scope,
        started=started,
        finished=timestamp(world.clocks.now()),
        findings=judged.findings,
        causes=judged.causes,
        observations=observations,
        not_in_stage=judged.not_in_stage,
        not_asked=judged.not_asked,
        accepted=judged.accepted,
    )
    return Outcome(result, interrupted, faults)


def _probed(
    request: Request, world: World
) -> tuple[tuple[Observation[object], ...], bool, tuple[Exception, ...]]:
    """What was seen, whether a person ended it, and our own faults."""
    jobs = _jobs(request)
    workers = worker_count(len(jobs))
    paces = Paces.of(request.probing, world, shared=workers > 0)
    with running_poller(jobs, paces, world, workers) as asking, short_switches():
        conductor = Conductor(request, world, paces, asking, jobs)
        world.run(conductor.probe())
    return conductor.observations(), conductor.stop.is_set(), tuple(conductor.faults)


def _jobs(request: Request) -> dict[str, Job]:
    """What to ask by SNMP, by device."""
    if request.command == "reach":
        return {}
    probing = request.probing
    return {
        device.name: Job(
            device=device,
            profile=request.profiles[device.profile],
            target=SnmpTarget(
                address=device.address.address,
                entry=request.credentials[device.snmp],
                timeout_s=probing.snmp_timeout_s,
                retries=probing.snmp_retries,
            ),
            deadline_s=probing.device_deadline_s,
            default_community=request.try_default_community,
            hosts=hosts_outside(request.plan, device),
            health=request.command == "sweep",
        )
        for device in request.devices
        if device.snmp is not None
    }
