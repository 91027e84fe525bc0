"""One verification: look at the laptop, probe every device, compare, explain."""

from __future__ import annotations

from verifier.model.observations import Observation
from verifier.model.result import PlanReference, Result
from verifier.probes.snmp.values import SnmpTarget
from verifier.rules.compare import REACH, VERIFY
from verifier.rules.compare.judge import compare
from verifier.rules.health import HEALTH_CHECKS
from verifier.rules.routes import hosts_outside
from verifier.session.ask.in_processes import surveyor, worker_count
from verifier.session.ask.job import Job
from verifier.session.conductor import Conductor, short_switches
from verifier.session.limits import Paces
from verifier.session.recorder import timestamp
from verifier.session.request import Outcome, Request
from verifier.session.world import World


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
    with surveyor(jobs, paces, world, workers) as asking, short_switches():
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
