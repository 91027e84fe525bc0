"""`verify` and `reach`."""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import click
from click import Option

from verifier.cli.command import command
from verifier.cli.later import Later
from verifier.cli.options import (
    AcceptedUntested,
    CredentialsFile,
    EchoCount,
    EvidenceOptions,
    LaptopOptions,
    ObservedFile,
    OutputOptions,
    PaceOptions,
    PlanOptions,
    ResultFormat,
    SelectionOptions,
    SetLaptop,
    StageOption,
    Strict,
)
from verifier.cli.soak import SoakOption, soaking
from verifier.errors import EXIT_INTERRUPTED, EXIT_OURS

if TYPE_CHECKING:
    from verifier.cli import inputs
    from verifier.cli.borrow import borrowed
    from verifier.cli.documents import documents, signed_by
    from verifier.files.credentials import at_hand, load_credentials
    from verifier.model.credentials import SnmpEntry
    from verifier.session import Request
    from verifier.session.laptop import FitQuestion
else:
    borrowed = Later("verifier.cli.borrow:borrowed")
    inputs = Later("verifier.cli.inputs")
    at_hand = Later("verifier.files.credentials:at_hand")
    load_credentials = Later("verifier.files.credentials:load_credentials")
    documents = Later("verifier.cli.documents:documents")
    signed_by = Later("verifier.cli.documents:signed_by")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReachOptions:
    """Which devices are asked, how fast, and what becomes of it."""

    plan: PlanOptions
    selection: SelectionOptions
    laptop: LaptopOptions
    set_laptop: SetLaptop
    echoes: EchoCount
    pace: PaceOptions
    stage: StageOption
    accept_untested: AcceptedUntested
    format_: ResultFormat
    evidence: EvidenceOptions
    output: OutputOptions
    strict: Strict


@dataclass(frozen=True, slots=True, kw_only=True)
class VerifyOptions(ReachOptions):
    """As `reach`, and what else is asked."""

    credentials_file: CredentialsFile
    try_default_community: Annotated[
        bool,
        Option(
            ["--try-default-community"],
            is_flag=True,
            help="Ask each device once, read only, with the community 'public': it must not "
            "answer.",
        ),
    ]
    observed_file: ObservedFile
    soak_s: SoakOption


@command(VerifyOptions)
def verify(options: VerifyOptions) -> int:
    """The live network against PLAN: pass or fail for every planned value, with the reason.

    Reads only: no device is changed. A device that is alive and answers under another name fails.
    """
    return _run(options, options)


@command(ReachOptions)
def reach(options: ReachOptions) -> int:
    """Do the devices of PLAN answer: echoes and TCP services only."""
    return _run(options, None)


def _run(options: ReachOptions, verifying: VerifyOptions | None) -> int:
    """Carries a run out; `verifying` is None where only reach is asked."""
    more = () if verifying is None else (verifying.credentials_file, verifying.observed_file)
    quiet = options.output.quiet
    with documents(options, (options.plan.path, *more)) as made:
        request = _request(options, verifying)
        made.read_key()
        from verifier.probes.world import ThisMachine  # noqa: PLC0415 - bad input needs no probes
        from verifier.session import run  # noqa: PLC0415
        from verifier.session.soak.journal import closed  # noqa: PLC0415

        soak_s = None if verifying is None else verifying.soak_s
        world = ThisMachine()
        with (
            borrowed([_question(request)], world.laptop, on=options.set_laptop),
            soaking(_set(request, options), soak_s, options.evidence, quiet=quiet) as taken,
        ):
            asked, journal = taken
            with _progress(len(request.devices), quiet=quiet) as progress:
                outcome = run(dataclasses.replace(asked, progress=progress), world)
            result = closed(signed_by(outcome.result, options.evidence), journal)
            made.write(result, asked, journal)
    if outcome.interrupted:
        click.echo("interrupted; what was measured so far is in the report", err=True)
        return EXIT_INTERRUPTED
    if outcome.faults:
        return _own_faults(outcome.faults, verbose=options.output.verbose)
    return result.exit_code(strict=options.strict)


def _question(request: Request) -> FitQuestion:
    """How this laptop stands to the devices of a request."""
    from verifier.session.laptop import FitQuestion  # noqa: PLC0415

    return FitQuestion(
        plan=request.plan,
        profiles=request.profiles,
        devices=request.devices,
        laptop=request.laptop,
    )


def _set(request: Request, options: ReachOptions) -> Request:
    """The request of this machine as it is set, not of a laptop that names its interface."""
    return dataclasses.replace(request, laptop=None) if options.set_laptop else request


def _own_faults(faults: Sequence[Exception], *, verbose: bool) -> int:
    """Tells of faults of ours that left devices unread; the others are in the report."""
    if verbose:
        import traceback  # noqa: PLC0415 - seldom needed

        for fault in faults:
            traceback.print_exception(fault)
    click.echo(
        f"plan-verifier: a fault of this program left {len(faults)} devices unread (the "
        f"report says "
        f"which): {type(faults[0]).__name__}; --verbose shows where. Nothing was changed on any "
        "device.",
        err=True,
    )
    return EXIT_OURS


def _request(options: ReachOptions, verifying: VerifyOptions | None) -> Request:
    """What the options ask for; every input is read here, before anything is sent."""
    plan, problems = inputs.load_plan(options.plan)
    devices = inputs.devices_of(plan, options.selection)
    request = inputs.request(
        "reach" if verifying is None else "verify",
        plan,
        devices,
        inputs.profiles_of(devices, options.plan),
        laptop=options.laptop,
        pace=options.pace,
        echoes=options.echoes,
        accepted=options.accept_untested,
        by=options.evidence.by,
    )
    request = dataclasses.replace(
        request,
        problems=problems,
        stage=options.stage or plan.stage or "handover",
        names=options.selection.names,
        elsewhere=options.laptop.laptop == (),
        try_default_community=plan.acceptance.default_community,
    )
    if verifying is None:
        return request
    return dataclasses.replace(
        request,
        credentials=_credentials(request, verifying.credentials_file),
        observed=inputs.load_observed(
            verifying.observed_file, plan, devices, quiet=options.output.quiet
        ),
        try_default_community=verifying.try_default_community or request.try_default_community,
    )


def _credentials(request: Request, file: Path | None) -> dict[str, SnmpEntry]:
    """The devices' entries, which must be there; those of their factory settings if any."""
    own = inputs.credentials_of(request.devices, file)
    factory = {p.factory.snmp for p in request.profiles.values()} - {None, *own}
    useful = at_hand((name for name in factory if name is not None), file)
    return {**own, **(load_credentials(useful, file) if useful else {})}


class _progress:  # noqa: N801 - used like a function
    """A bar on stderr while devices are asked; only on a terminal."""

    def __init__(self, devices: int, *, quiet: bool) -> None:
        self._bar = None
        if sys.stderr.isatty() and not quiet:
            self._bar = click.progressbar(length=devices, label="devices", file=sys.stderr)

    def __enter__(self) -> Callable[[int, int], None]:
        if self._bar is not None:
            self._bar.__enter__()
        return self._tick

    def __exit__(self, *exc: object) -> None:
        if self._bar is not None:
            self._bar.render_finish()

    def _tick(self, done: int, total: int) -> None:
        del done, total
        if self._bar is not None:
            self._bar.update(1)
