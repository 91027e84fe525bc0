"""`find`."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import click
from click import FloatRange, Option

from verifier.cli import complete
from verifier.cli.command import Duration, command
from verifier.cli.job_folder import ObjectArgument
from verifier.cli.later import Later
from verifier.cli.options import (
    INTERFACE_HELP,
    PACKETS_HELP,
    TIMEOUT_HELP,
    CredentialsFile,
    OutputOptions,
    PlanOptions,
    SetLaptop,
    TextOrJson,
)
from verifier.errors import EXIT_INTERRUPTED

if TYPE_CHECKING:
    from verifier.cli import inputs, output
    from verifier.cli.borrow import borrowed
    from verifier.files.credentials import at_hand, load_credentials
    from verifier.files.output import opened
    from verifier.model.credentials import SnmpEntry
    from verifier.model.plan import Device, Plan
    from verifier.model.profile import Profile
    from verifier.model.search import Candidate
    from verifier.rules.selection import selected
    from verifier.session.laptop import FitQuestion
    from verifier.session.search.request import Search
else:
    borrowed = Later("verifier.cli.borrow:borrowed")
    inputs = Later("verifier.cli.inputs")
    output = Later("verifier.cli.output")
    at_hand = Later("verifier.files.credentials:at_hand")
    load_credentials = Later("verifier.files.credentials:load_credentials")
    opened = Later("verifier.files.output:opened")
    selected = Later("verifier.rules.selection:selected")


@dataclass(frozen=True, slots=True, kw_only=True)
class FindOptions:
    """Which device is looked for, and how."""

    plan: PlanOptions
    device: Annotated[str, ObjectArgument(["device"], shell_complete=complete.devices)]
    listen: Annotated[
        bool,
        Option(["--listen"], is_flag=True, help="Listen on the cable too (Linux, as root)."),
    ]
    wait_s: Annotated[
        float,
        Option(
            ["--wait"],
            default="65s",
            show_default=True,
            type=Duration(),
            metavar="DURATION",
            help="How long --listen lasts where asking finds nothing; LLDP comes every 30 s.",
        ),
    ]
    interfaces: Annotated[
        tuple[str, ...],
        Option(
            ["--interface"],
            multiple=True,
            metavar="NAME",
            help=INTERFACE_HELP,
        ),
    ]
    max_packets_per_s: Annotated[
        float,
        Option(
            ["--max-packets-per-s"],
            default=20.0,
            show_default=True,
            type=FloatRange(0.1, 500),
            help=PACKETS_HELP,
        ),
    ]
    timeout_s: Annotated[
        float,
        Option(
            ["--timeout"],
            default="1s",
            show_default=True,
            type=Duration(),
            metavar="DURATION",
            help=TIMEOUT_HELP,
        ),
    ]
    set_laptop: SetLaptop
    credentials_file: CredentialsFile
    format_: TextOrJson
    output: OutputOptions


@command(FindOptions)
def find(options: FindOptions) -> int:
    """Looks for the device DEVICE of PLAN that does not answer where it should.

    Asks at its planned, present, factory and temporary addresses, then at near slips of the
    planned one; at most 64, shown first. Nothing is changed, neither device nor laptop.

    Exit codes: 0 it is at its planned address; 1 it is elsewhere, something is wrong there, or
    another device is at its address; 3 it was not found, or who is there could not be told.
    """
    from verifier.report import search as drawn  # noqa: PLC0415

    formats = {"text": drawn.text, "json": drawn.json}
    chosen = output.chosen(formats, options.format_, options.output.out)
    with opened(options.output.out, inputs=(options.plan.path, options.credentials_file)) as place:
        search = _search(options)
        from verifier.probes.world import ThisMachine  # noqa: PLC0415 - bad input needs no probes
        from verifier.session.search.run import look_for  # noqa: PLC0415

        world = ThisMachine()
        with borrowed(_questions(search), world.laptop, on=options.set_laptop):
            result = look_for(search, world)
        output.draw(result, formats, drawn.brief, chosen, options.output, place)
    return EXIT_INTERRUPTED if result.interrupted else result.exit_code()


def _search(options: FindOptions) -> Search:
    plan, _ = inputs.load_plan(options.plan)
    (device,) = selected(plan, (options.device,))
    profiles = inputs.profiles_of(plan.devices, options.plan)
    credentials = _credentials(plan, device, profiles[device.profile], options.credentials_file)
    from verifier.session.search.request import Search  # noqa: PLC0415

    quiet = options.output.quiet
    return Search(
        plan=plan,
        device=device,
        profiles=profiles,
        credentials=credentials,
        interfaces=options.interfaces,
        listen_s=options.wait_s if options.listen else None,
        packets_per_s=options.max_packets_per_s,
        timeout_s=options.timeout_s,
        show=lambda candidates: _show(candidates, options),
        say=output.unsaid if quiet else output.say,
    )


def _questions(search: Search) -> list[FitQuestion]:
    """How this laptop stands to the device where it is planned, and where it may be now."""
    from verifier.session.laptop import FitQuestion  # noqa: PLC0415

    interface = search.interfaces[0] if len(search.interfaces) == 1 else None
    planned = FitQuestion(
        plan=search.plan,
        profiles=search.profiles,
        devices=(search.device,),
        interface=interface,
    )
    return [planned, dataclasses.replace(planned, present=True)]


def _credentials(
    plan: Plan, device: Device, profile: Profile, file: Path | None
) -> dict[str, SnmpEntry]:
    """The device's entry, which must be there; those of its factory and of others if any."""
    own = inputs.credentials_of((device,), file)
    wanted = {profile.factory.snmp, *(d.snmp for d in plan.devices)} - {None, *own}
    useful = at_hand((name for name in wanted if name is not None), file)
    return {**own, **(load_credentials(useful, file) if useful else {})}


def _show(candidates: Sequence[Candidate], options: FindOptions) -> None:
    if options.output.quiet:
        return
    from verifier.report.search import listing  # noqa: PLC0415

    style = output.on_screen(verbose=options.output.verbose)
    click.echo(listing(candidates, options.max_packets_per_s, style), err=True, nl=False)
