"""`powercycle`."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Final

import click
from click import Option

from verifier.cli import complete
from verifier.cli.command import Duration, command
from verifier.cli.documents import documents, signed_by
from verifier.cli.job_folder import ObjectArgument
from verifier.cli.later import Later
from verifier.cli.options import (
    CredentialsFile,
    EvidenceOptions,
    LaptopOptions,
    OutputOptions,
    PlanOptions,
    ResultFormat,
    SetLaptop,
    StageOption,
    Strict,
)
from verifier.errors import EXIT_INTERRUPTED, UsageError

if TYPE_CHECKING:
    from verifier.cli import inputs, output
    from verifier.cli.borrow import borrowed
    from verifier.model.plan import Device, Plan, Stage
    from verifier.report.style import paragraph
    from verifier.rules.outage import behind
    from verifier.rules.powercycle import waits_s
    from verifier.rules.selection import selected
    from verifier.session import Request
    from verifier.session.request import Outcome
else:
    borrowed = Later("verifier.cli.borrow:borrowed")
    inputs = Later("verifier.cli.inputs")
    output = Later("verifier.cli.output")
    paragraph = Later("verifier.report.style:paragraph")
    behind = Later("verifier.rules.outage:behind")
    waits_s = Later("verifier.rules.powercycle:waits_s")
    selected = Later("verifier.rules.selection:selected")

_SAID: Final = {
    "reading": "reading {0} ({1})",
    "ask": "restart {0} now: switch its supply off, count to ten, switch it on; it has up to {1} s",
    "gone": "{0}: gone after {1} s",
    "ping": "{0}: answers echoes again after {1} s",
    "snmp": "{0}: answers SNMP again after {1} s",
    "restarted": "{0}: restarted, up for {1} s",
    "found": "{0}: answers at {1}",
    "late": "{0}: {1} in the time that was given",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PowercycleOptions:
    """Which devices are restarted, and how long each may take."""

    plan: PlanOptions
    names: Annotated[
        tuple[str, ...],
        ObjectArgument(
            ["names"], metavar="DEVICE...", nargs=-1, required=True, shell_complete=complete.devices
        ),
    ]
    credentials_file: CredentialsFile
    laptop: LaptopOptions
    set_laptop: SetLaptop
    stage: StageOption
    accept_outage: Annotated[
        bool,
        Option(
            ["--accept-outage"],
            is_flag=True,
            help="Devices or links are cut off while these are down: go on all the same.",
        ),
    ]
    wait_s: Annotated[
        float | None,
        Option(
            ["--wait"],
            type=Duration(),
            help="How long each may take to go, and to come back.  [default: boot time x 4]",
        ),
    ]
    format_: ResultFormat
    evidence: EvidenceOptions
    output: OutputOptions
    strict: Strict


@command(PowercycleOptions)
def powercycle(options: PowercycleOptions) -> int:
    """Proves that settings were saved: reads each DEVICE, waits for its restart, reads again.

    A person switches the supply; this program changes nothing. Both ends of a link in one go:
    name both. A device that never went away was not restarted, and that is said.
    """
    with documents(options, (options.plan.path, options.credentials_file)) as made:
        request = _request(options)
        from verifier.probes.world import ThisMachine  # noqa: PLC0415 - bad input needs no probes
        from verifier.session.laptop import FitQuestion, refuse_without_link  # noqa: PLC0415

        here = ThisMachine().laptop
        question = FitQuestion(
            plan=request.plan,
            profiles=request.profiles,
            devices=request.devices,
            laptop=request.laptop,
        )
        refuse_without_link(question, here, ". Nothing is to be switched before")
        devices = tuple(request.devices)
        _say_outage(request.plan, devices, request.stage, accepted=options.accept_outage)
        made.read_key()
        if options.set_laptop:
            request = dataclasses.replace(request, laptop=None)
        with borrowed([question], here, on=options.set_laptop):
            waits = waits_s(devices, request.profiles, options.wait_s)
            outcome = _carry_out(request, waits)
        result = signed_by(outcome.result, options.evidence)
        made.write(result, request)
    if outcome.interrupted:
        click.echo("interrupted; what was read so far is in the report", err=True)
        return EXIT_INTERRUPTED
    return result.exit_code(strict=options.strict)


def _request(options: PowercycleOptions) -> Request:
    """What is read before and after; every input is read here, before anything is sent."""
    plan, problems = inputs.load_plan(options.plan)
    devices = selected(plan, options.names)
    credentials = inputs.credentials_of(devices, options.credentials_file)
    profiles = inputs.profiles_of(plan.devices, options.plan)
    laptop = inputs.assumed_laptop(options.laptop)
    from verifier.files.canonical import plan_sha256  # noqa: PLC0415
    from verifier.session import Request  # noqa: PLC0415

    return Request(
        command="verify",
        plan=plan,
        plan_sha256=plan_sha256(plan),
        problems=problems,
        stage=options.stage or plan.stage or "handover",
        devices=devices,
        names=options.names,
        profiles=profiles,
        credentials=credentials,
        laptop=laptop,
    )


def _carry_out(request: Request, waits: dict[str, float]) -> Outcome:
    from verifier.probes.world import ThisMachine  # noqa: PLC0415 - bad input needs no probes
    from verifier.session.powercycle.run import powercycle as run  # noqa: PLC0415
    from verifier.session.request import Cycle  # noqa: PLC0415

    return run(Cycle(request=request, wait_s=waits, tell=_tell), ThisMachine())


def _tell(name: str, what: str, said: str) -> None:
    _say(_SAID[what].format(name, said))


def _say(text: str, indent: str = "") -> None:
    click.echo("\n".join(paragraph(text, indent, output.columns())), err=True)


def _say_outage(plan: Plan, devices: tuple[Device, ...], stage: Stage, *, accepted: bool) -> None:
    """What is cut off meanwhile. Raises UsageError where something is and nobody accepted it."""
    from verifier.model.cautions import CLOSING, cautions  # noqa: PLC0415 - help needs none

    cut = behind(plan, [d.name for d in devices], stage=stage)
    if not cut.anything:
        where = "on the bench no link is built, and " if stage == "bench" else ""
        _say(f"{where}nothing in the plan hangs behind: only the device itself will be away")
    elif accepted:
        _say(f"while they restart, {cut.in_words()}")
    else:
        raise UsageError(f"while they restart, {cut.in_words()}: --accept-outage if that may be")
    for caution in (*map(str, cautions("powercycle")), CLOSING):
        _say(caution, "  ")
