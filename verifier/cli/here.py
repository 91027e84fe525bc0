"""`here`."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated

import click
from click import Option

from verifier.cli import complete
from verifier.cli.command import command
from verifier.cli.job_folder import ObjectArgument, was_taken
from verifier.cli.later import Later
from verifier.cli.options import (
    INTERFACE_HELP,
    CredentialsFile,
    ObservedFile,
    OutputOptions,
    PlanOptions,
    SetLaptop,
    StageOption,
    TextOrJson,
)
from verifier.errors import EXIT_INTERRUPTED, UsageError

if TYPE_CHECKING:
    from verifier.cli import inputs, output
    from verifier.cli.borrow import Leave, ended_by_hangup
    from verifier.files.credentials import at_hand, load_credentials
    from verifier.files.output import opened
    from verifier.model.credentials import SnmpEntry
    from verifier.model.here import HereResult
    from verifier.model.plan import Device, Plan
    from verifier.model.profile import Profile
    from verifier.rules.selection import selected
    from verifier.session.here.request import HereRequest
    from verifier.session.here.run import Hold
    from verifier.session.world import LaptopAccess, World
else:
    Leave = Later("verifier.cli.borrow:Leave")
    ended_by_hangup = Later("verifier.cli.borrow:ended_by_hangup")
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
    device: Annotated[
        str | None, ObjectArgument(["device"], required=False, shell_complete=complete.devices)
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
    watch: Annotated[
        bool, Option(["--watch"], is_flag=True, help="Look again until a device is right.")
    ]
    bell: Annotated[
        bool,
        Option(
            ["--bell"],
            is_flag=True,
            help="With --watch: ring when a device is right, and go on to the next.",
        ),
    ]
    leaving: Annotated[
        bool,
        Option(["--leaving"], is_flag=True, help="The last look before the site is left."),
    ]
    set_laptop: SetLaptop
    stage: StageOption
    credentials_file: CredentialsFile
    observed_file: ObservedFile
    format_: TextOrJson
    output: OutputOptions


@command(HereOptions)
def here(options: HereOptions) -> int:
    """What is on this cable, and is it right; the one thing to do next.

    Looks for every device of the plan, or for DEVICE, at its planned, present and factory address.

    Exit codes: 0 each device found is right; 1 something is wrong; 3 no link, nobody, or nothing
    readable.
    """
    if sys.stderr.isatty() and not options.output.quiet:
        click.echo("plan-verifier: looking at this cable; Ctrl-C ends it", err=True)
    from verifier.report import here as drawn  # noqa: PLC0415

    if options.bell and not options.watch:
        raise UsageError("--bell belongs to --watch")
    formats = {"text": drawn.text, "json": drawn.json}
    chosen = output.chosen(formats, options.format_, options.output.out)
    inputs_ = (options.plan.path, options.credentials_file, options.observed_file)
    with opened(options.output.out, inputs=inputs_) as place:
        from verifier.probes.world import ThisMachine  # noqa: PLC0415
        from verifier.session.here.run import Hold  # noqa: PLC0415
        from verifier.session.here.run import here as look  # noqa: PLC0415

        world = ThisMachine()
        request = _request(options, world.laptop)
        with ended_by_hangup(), Hold(request=request, world=world) as hold:
            if options.set_laptop:
                world.laptop.take_back_leftovers(output.say)
            if options.watch:
                result = _watched(request, world, hold, options, in_text=chosen == "text")
            else:
                result = look(request, world, hold)
        if not options.watch or chosen != "text" or options.output.out is not None:
            output.draw(result, formats, drawn.brief, chosen, options.output, place)
    return EXIT_INTERRUPTED if result.interrupted else result.exit_code()


def _watched(
    request: HereRequest, world: World, hold: Hold, options: HereOptions, *, in_text: bool
) -> HereResult:
    from verifier.session.here.watch import watch  # noqa: PLC0415

    screen = _Screen(options.output)
    ring = screen.ring if options.bell else None
    return watch(request, world, hold, screen.show if in_text else _unseen, ring=ring)


def _unseen(result: HereResult) -> None:
    """Shows nothing: a document is written at the end."""
    del result


class _Screen:
    """Shows each look over the one before on a terminal; elsewhere a look that says new things."""

    def __init__(self, options: OutputOptions) -> None:
        self._options = options
        self._terminal = sys.stdout.isatty()
        self._drawn = 0
        self._last = ""

    def show(self, result: HereResult) -> None:
        """One look."""
        from verifier.report import here as drawn  # noqa: PLC0415

        style = output.on_screen(verbose=self._options.verbose)
        text = (drawn.brief if self._options.quiet else drawn.text)(result, style)
        same = drawn.timeless(text)
        if not self._terminal and same == self._last:
            return
        self._last = same
        over = f"\x1b[{self._drawn}A\x1b[J" if self._terminal and self._drawn else ""
        sys.stdout.write(f"{over}{text}" if self._terminal else f"{text}\n")
        sys.stdout.flush()
        self._drawn = text.count("\n")

    def ring(self) -> None:
        """A device is right: what is shown stays, the next look stands below it."""
        sys.stderr.write("\a")
        sys.stderr.flush()
        self._drawn = 0


def _request(options: HereOptions, laptop: LaptopAccess) -> HereRequest:
    plan, problems = inputs.load_plan(options.plan)
    device = None if options.device is None else selected(plan, (options.device,))[0]
    profiles = inputs.profiles_of(plan.devices, options.plan)
    credentials = _credentials(plan, device, profiles, options)
    from verifier.files.canonical import plan_sha256  # noqa: PLC0415
    from verifier.rules.here.seen import NextCommand  # noqa: PLC0415
    from verifier.session.here.request import HereRequest  # noqa: PLC0415

    given = [("--credentials", options.credentials_file), ("--mapping", options.plan.mapping),
             ("--profiles", options.plan.profile_folder)]  # fmt: skip
    return HereRequest(
        plan=_asked_by_snmp(plan, credentials),
        plan_sha256=plan_sha256(plan),
        problems=problems,
        device=device,
        stage=options.stage or ("handover" if options.leaving else plan.stage) or "handover",
        profiles=profiles,
        credentials=credentials,
        interfaces=options.interfaces,
        command=NextCommand(
            plan="" if was_taken(options.plan.path) else str(options.plan.path),
            inputs=tuple(
                f"{name}={path}" for name, path in given if path is not None and not was_taken(path)
            ),
        ),
        may_borrow=Leave(options.set_laptop, laptop),
        leaving=options.leaving,
        observed=inputs.load_observed(
            options.observed_file, plan, plan.devices, quiet=options.output.quiet
        ),
        say=output.say,
    )


def _credentials(
    plan: Plan, device: Device | None, profiles: dict[str, Profile], options: HereOptions
) -> dict[str, SnmpEntry]:
    """The entries at hand; on a terminal, or where a file is named, one must be there."""
    file = options.credentials_file
    must = (device,) if device is not None and (file or inputs.asker()) else ()
    own = inputs.credentials_of(must, file)
    factory = {profiles[d.profile].factory.snmp for d in plan.devices}
    wanted = {*factory, *(d.snmp for d in plan.devices)} - {None, *own}
    useful = at_hand((name for name in wanted if name is not None), file)
    found = {**own, **(load_credentials(useful, file) if useful else {})}
    if found or (file is None and inputs.asker() is None):
        return found
    return inputs.credentials_of(plan.devices[:1], file)


def _asked_by_snmp(plan: Plan, credentials: Mapping[str, SnmpEntry]) -> Plan:
    """The plan without the SNMP of devices whose credentials are not at hand, which is said."""
    lacking = {d.snmp for d in plan.devices if d.snmp is not None} - set(credentials)
    if not lacking:
        return plan
    names = ", ".join(repr(name) for name in sorted(lacking))
    output.say(f"no credentials for {names}: these devices are not asked by SNMP")
    devices = tuple(replace(d, snmp=None) if d.snmp in lacking else d for d in plan.devices)
    return replace(plan, devices=devices)
