"""`here`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from click import Argument, Option

from verifier.cli.command import command
from verifier.cli.later import Later
from verifier.cli.options import (
    INTERFACE_HELP,
    CredentialsFile,
    OutputOptions,
    PlanOptions,
    StageOption,
    TextOrJson,
)
from verifier.errors import EXIT_INTERRUPTED

if TYPE_CHECKING:
    from verifier.cli import inputs, output
    from verifier.files.credentials import at_hand, load_credentials
    from verifier.files.output import opened
    from verifier.model.credentials import SnmpEntry
    from verifier.model.plan import Device, Plan
    from verifier.model.profile import Profile
    from verifier.rules.selection import selected
    from verifier.session.here.request import HereRequest
else:
    inputs = Later("verifier.cli.inputs")
    output = Later("verifier.cli.output")
    at_hand = Later("verifier.files.credentials:at_hand")
    load_credentials = Later("verifier.files.credentials:load_credentials")
    opened = Later("verifier.files.output:opened")
    selected = Later("verifier.rules.selection:selected")


@dataclass(frozen=True, slots=True, kw_only=True)
class HereOptions:
    """Which device is expected on the cable, and how it is looked at."""

    plan: PlanOptions
    device: Annotated[str | None, Argument(["device"], required=False)]
    interfaces: Annotated[
        tuple[str, ...],
        Option(
            ["--interface"],
            multiple=True,
            metavar="NAME",
            help=INTERFACE_HELP,
        ),
    ]
    stage: StageOption
    credentials_file: CredentialsFile
    format_: TextOrJson
    output: OutputOptions


@command(HereOptions)
def here(options: HereOptions) -> int:
    """What is on this cable, and is it right; the one thing to do next.

    Exit codes: 0 each device found is right; 1 something is wrong; 3 no link, nobody, or nothing
    readable.
    """
    from verifier.report import here as drawn  # noqa: PLC0415

    formats = {"text": drawn.text, "json": drawn.json}
    chosen = output.chosen(formats, options.format_, options.output.out)
    with opened(options.output.out, inputs=(options.plan.path, options.credentials_file)) as place:
        request = _request(options)
        from verifier.probes.world import ThisMachine  # noqa: PLC0415 - bad input needs no probes
        from verifier.session.here.run import Hold  # noqa: PLC0415
        from verifier.session.here.run import here as look  # noqa: PLC0415

        world = ThisMachine()
        with Hold(request=request, world=world) as hold:
            result = look(request, world, hold)
        output.draw(result, formats, drawn.brief, chosen, options.output, place)
    return EXIT_INTERRUPTED if result.interrupted else result.exit_code()


def _request(options: HereOptions) -> HereRequest:
    plan, problems = inputs.load_plan(options.plan)
    device = None if options.device is None else selected(plan, (options.device,))[0]
    profiles = inputs.profiles_of(plan.devices, options.plan)
    from verifier.files.canonical import plan_sha256  # noqa: PLC0415
    from verifier.rules.here.seen import NextCommand  # noqa: PLC0415
    from verifier.session.here.request import HereRequest  # noqa: PLC0415

    given = [("--credentials", options.credentials_file), ("--mapping", options.plan.mapping),
             ("--profiles", options.plan.profile_folder)]  # fmt: skip
    return HereRequest(
        plan=plan,
        plan_sha256=plan_sha256(plan),
        problems=problems,
        device=device,
        stage=options.stage or plan.stage or "handover",
        profiles=profiles,
        credentials=_credentials(plan, device, profiles, options),
        interfaces=options.interfaces,
        command=NextCommand(
            plan=str(options.plan.path),
            inputs=tuple(f"{name}={path}" for name, path in given if path is not None),
        ),
        say=output.say,
    )


def _credentials(
    plan: Plan, device: Device | None, profiles: dict[str, Profile], options: HereOptions
) -> dict[str, SnmpEntry]:
    """The entry of the device that was asked for, which must be there; the others if any."""
    file = options.credentials_file
    own = inputs.credentials_of((device,) if device is not None else (), file)
    factory = {profiles[d.profile].factory.snmp for d in plan.devices}
    wanted = {*factory, *(d.snmp for d in plan.devices)} - {None, *own}
    useful = at_hand((name for name in wanted if name is not None), file)
    found = {**own, **(load_credentials(useful, file) if useful else {})}
    return found or inputs.credentials_of(plan.devices[:1], file)
