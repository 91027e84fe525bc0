"""`verify` and `reach`; the soak of `verify`: its option, its journal and its progress."""

from __future__ import annotations

import dataclasses
import sys
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import click
from click import Choice, IntRange, Option

from verifier.cli import inputs
from verifier.cli.command import FILE, Duration, command
from verifier.cli.options import (
    AcceptedUntested,
    CredentialsFile,
    EvidenceOptions,
    LaptopOptions,
    OutputOptions,
    PaceOptions,
    PlanOptions,
    SelectionOptions,
    StageOption,
    Strict,
)
from verifier.cli.output import documents, signed_by
from verifier.errors import EXIT_INTERRUPTED, EXIT_OURS
from verifier.report.result import FORMATS
from verifier.rules.soak.tally import words

if TYPE_CHECKING:
    from verifier.files.journals.soak import Journal
    from verifier.session import Request
    from verifier.session.request import SoakProgress


_FROM_PLAN: Final = "plan"
_LINE_EVERY_S: Final = 60.0


class _SoakDuration(Duration):
    """How long; without a value what the plan says."""

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Seconds; 0 stands for what the plan says."""
        return 0.0 if value in {_FROM_PLAN, 0.0} else super().convert(value, param, ctx)


SoakOption = Annotated[
    float | None,
    Option(
        ["--soak"],
        is_flag=False,
        flag_value=_FROM_PLAN,
        type=_SoakDuration(),
        metavar="[DURATION]",
        help="Then measure for so long (15m, 24h): loss, times, levels, counters. Without a "
        "value, as the last option, for acceptance.soak_s of the plan.",
    ),
]


@contextmanager
def soaking(
    request: Request, soak_s: float | None, kept: EvidenceOptions, *, quiet: bool
) -> Iterator[tuple[Request, Journal | None]]:
    """The request with its soak, and the journal, which is closed and compressed at the end.

    Args:
        request: what is measured.
        soak_s: the option; nothing is done where it is None.
        kept: the journal stands beside the evidence.
        quiet: no progress is shown.
    """
    from verifier.probes.world import ThisMachine  # noqa: PLC0415
    from verifier.session.request import SoakRequest  # noqa: PLC0415 - needs probes
    from verifier.session.soak import journal as kept_journal  # noqa: PLC0415 - needs probes

    long_s = kept_journal.length_s(soak_s, request.plan.acceptance.soak_s)
    if long_s is None:
        yield request, None
        return
    now = ThisMachine().clocks.now()
    journal = kept_journal.begun(
        request, long_s, kept.evidence_file, now, by=kept.by, place=kept.place
    )
    shown = None if quiet else _SoakLine(long_s, journal.path)
    tell = None if shown is None else shown.tell
    soak = SoakRequest(asked_s=long_s, journal=journal, progress=tell)
    try:
        with journal:
            yield dataclasses.replace(request, soak=soak), journal
    finally:
        stands = journal.compress()
        if shown is not None:
            shown.finish(stands, journal.fault)


class _SoakLine:
    """How far it is, on stderr: one line that changes on a terminal, else a line a minute."""

    def __init__(self, long_s: float, path: Path) -> None:
        self._terminal = sys.stderr.isatty()
        self._next_s = 0.0
        self._begun = False
        self._long_s, self._path = long_s, path

    def tell(self, progress: SoakProgress) -> None:
        """Called about twice a second."""
        if not self._begun:
            self._begun = True
            self._next_s = time.monotonic() + _LINE_EVERY_S
            click.echo(
                f"soak of {words(self._long_s)}; Ctrl-C ends it, {self._path} keeps what was "
                "measured",
                err=True,
            )
        line = (
            f"soak: {_clock(progress.done_s)} of {_clock(progress.asked_s)}, "
            f"{_clock(progress.asked_s - progress.done_s)} left; "
            f"{progress.lost} of {progress.sent} echoes lost"
        )
        if progress.fault:
            line += f"; the journal cannot be written: {progress.fault}"
        if self._terminal:
            click.echo(f"\r{line}\x1b[K", err=True, nl=False)
        elif time.monotonic() >= self._next_s:
            self._next_s += _LINE_EVERY_S
            click.echo(line, err=True)

    def finish(self, stands: Path, fault: str) -> None:
        """Ends the line and says where the journal is."""
        if self._begun and self._terminal:
            click.echo("", err=True)
        if fault:
            click.echo(f"the journal {stands} is not whole: {fault}", err=True)
        else:
            click.echo(f"every sample is in {stands}", err=True)


def _clock(seconds: float) -> str:
    whole = max(0, round(seconds))
    return f"{whole // 3600}:{whole // 60 % 60:02}:{whole % 60:02}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReachOptions:
    """Which devices are asked, how fast, and what becomes of it."""

    plan: PlanOptions
    selection: SelectionOptions
    laptop: LaptopOptions
    echoes: Annotated[
        int,
        Option(
            ["--echoes"],
            default=5,
            show_default=True,
            type=IntRange(1, 1000),
            help="Counted echoes to each device.",
        ),
    ]
    pace: PaceOptions
    stage: StageOption
    accept_untested: AcceptedUntested
    format_: Annotated[
        str | None, Option(["--format"], type=Choice(list(FORMATS)), help="Of the report.")
    ]
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
    observed_file: Annotated[
        Path | None,
        Option(
            ["--observed"],
            type=FILE,
            metavar="FILE.csv",
            help="What only a person can see, on the sheet that cards --blank writes: judged as "
            "well.",
        ),
    ]
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
        with soaking(request, soak_s, options.evidence, quiet=quiet) as (asked, journal):
            with _progress(len(request.devices), quiet=quiet) as progress:
                outcome = run(dataclasses.replace(asked, progress=progress), ThisMachine())
            result = closed(signed_by(outcome.result, options.evidence), journal)
            made.write(result, asked, journal)
    if outcome.interrupted:
        click.echo("interrupted; what was measured so far is in the report", err=True)
        return EXIT_INTERRUPTED
    if outcome.faults:
        return _own_faults(outcome.faults, verbose=options.output.verbose)
    return result.exit_code(strict=options.strict)


def _own_faults(faults: Sequence[Exception], *, verbose: bool) -> int:
    """Tells of faults of ours that left devices unread; the others are in the report."""
    if verbose:
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
        try_default_community=plan.acceptance.default_community,
    )
    if verifying is None:
        return request
    return dataclasses.replace(
        request,
        credentials=inputs.credentials_of(devices, verifying.credentials_file),
        observed=inputs.load_observed(
            verifying.observed_file, plan, devices, quiet=options.output.quiet
        ),
        try_default_community=verifying.try_default_community or request.try_default_community,
    )


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
