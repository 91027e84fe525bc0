"""`verify` and `reach`."""

from __future__ import annotations

import dataclasses
import shutil
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from verifier.cli import evidence, options, output, soak
from verifier.errors import EXIT_INTERRUPTED, EXIT_OURS, UsageError
from verifier.files.read_plan import plan_sha256
from verifier.report.result import FORMATS, brief, format_of
from verifier.report.style import ReportStyle

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from verifier.files.journals.soak import Journal
    from verifier.model.result import Result
    from verifier.session import Request

STAGES = ("bench", "alignment", "handover", "service")

_common = options.together(
    options.plan_argument,
    options.selection_options,
    options.profiles_option,
    options.laptop_options,
    click.option(
        "--echoes", default=5, show_default=True, type=click.IntRange(1, 1000),
        help="Counted echoes to each device.",
    ),
    click.option(
        "--interval", default="0.2s", show_default=True, type=options.Duration(),
        help="Time between two echoes to one device.",
    ),
    click.option(
        "--timeout", default="1s", show_default=True, type=options.Duration(),
        help="Wait for an echo or a TCP connection.",
    ),
    click.option(
        "--max-packets-per-s", type=click.IntRange(1),
        help="Limit for echoes, TCP and SNMP together.  [default: 500, none on loopback]",
    ),
    click.option("--stage", type=click.Choice(STAGES), help="Default: the plan's, else handover."),
    options.accept_option,
    click.option("--format", "format_", type=click.Choice(list(FORMATS)), help="Of the report."),
    evidence.evidence_options,
    options.output_options,
)  # fmt: skip


@click.command()
@_common
@options.credentials_option
@click.option(
    "--try-default-community",
    is_flag=True,
    help="Ask each device once, read only, with the community 'public': it must not answer.",
)
@options.observed_option
@soak.soak_option
def verify(**given: Any) -> int:
    """The live network against PLAN: pass or fail for every planned value, with the reason.

    Reads only: no device is changed. A device that is alive and answers under another name fails.
    """
    return _verify("verify", **given)


@click.command()
@_common
def reach(**given: Any) -> int:
    """Do the devices of PLAN answer: echoes and TCP services only."""
    given |= {"credentials_file": None, "try_default_community": False, "soak_s": None}
    given["observed_file"] = None
    return _verify("reach", **given)


def _verify(command: Literal["verify", "reach"], **given: Any) -> int:
    kept: Path | None = given["evidence_file"]
    inputs = (
        given["plan"], given["credentials_file"], given["key_file"], given["observed_file"],
    )  # fmt: skip
    with evidence.places(given, inputs) as places:
        request = _request(command, given)
        long_s = soak.asked_s(given["soak_s"], request.plan.acceptance.soak_s)
        key = evidence.signing_key(given["key_file"])
        from verifier.probes.world import ThisMachine  # noqa: PLC0415 - bad input needs no probes
        from verifier.session import run  # noqa: PLC0415

        with soak.soaking(request, long_s, kept, given) as (asked, journal):
            with _progress(len(request.devices), quiet=given["quiet"]) as progress:
                outcome = run(dataclasses.replace(asked, progress=progress), ThisMachine())
            result = dataclasses.replace(outcome.result, by=given["by"], place=given["place"])
            result = soak.closed(result, journal)
            documents(result, asked, journal, given, places, key)
    if outcome.interrupted:
        click.echo("interrupted; what was measured so far is in the report", err=True)
        return EXIT_INTERRUPTED
    if outcome.faults:
        return _own_faults(outcome.faults, verbose=given["verbose"])
    return result.exit_code(strict=given["strict"])


def documents(  # noqa: PLR0913, PLR0917
    result: Result,
    request: Request,
    journal: Journal | None,
    given: dict[str, Any],
    places: tuple[output.Output, output.Output],
    key: Ed25519PrivateKey | None,
) -> None:
    """Evidence, report and text. Evidence that cannot be written does not keep the report back."""
    (out, store), path = places, given["out"]
    sealed, unwritten = None, None
    if given["evidence_file"] is not None:
        samples = journal.sample_lines() if journal is not None else ()
        sealed = evidence.sealed(result, request.plan, request.profiles, key, samples)
        try:
            store.write(evidence.to_bytes(sealed))
        except UsageError as fault:
            unwritten = fault
    chosen, verbose = format_of(given["format_"], path), given["verbose"]
    blocks = journal.samples() if journal is not None and chosen == "html" else ()
    annex = evidence.annex(request.plan, sealed, sheets=chosen == "xlsx", samples=blocks)
    if path is not None:
        out.write(FORMATS[chosen](result, ReportStyle(verbose=verbose, annex=annex)))
        chosen = "text"
    columns = min(100, shutil.get_terminal_size((100, 24)).columns)
    look = ReportStyle(width=columns, colour=sys.stdout.isatty(), verbose=verbose, annex=annex)
    draw = brief if given["quiet"] else FORMATS[chosen]
    output.show(draw(result, look))
    if unwritten is not None:
        raise unwritten


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


def _request(command: Literal["verify", "reach"], given: dict[str, Any]) -> Request:
    """What the options ask for; every input is read here, before anything is sent."""
    plan, problems = options.load_plan(given["plan"], given["profile_folder"])
    devices = options.select(plan, given["devices"], given["links"], given["sites"])
    profiles, credentials = options.load_needs(
        devices,
        given["profile_folder"],
        given["credentials_file"],
        with_credentials=command == "verify",
    )
    observed = options.load_observed(given["observed_file"], plan, devices, quiet=given["quiet"])
    from verifier.session import Probing, Request  # noqa: PLC0415

    return Request(
        command=command,
        plan=plan,
        plan_sha256=plan_sha256(plan),
        problems=problems,
        stage=given["stage"] or plan.stage or "handover",
        devices=devices,
        profiles=profiles,
        credentials=credentials,
        probing=Probing(
            echoes=given["echoes"],
            interval_s=given["interval"],
            timeout_s=given["timeout"],
            max_packets_per_s=given["max_packets_per_s"],
        ),
        laptop=options.assumed_laptop(given["laptop"], given["laptop_gateway"]),
        try_default_community=(given["try_default_community"] or plan.acceptance.default_community),
        names=(*given["devices"], *given["links"], *given["sites"]),
        accept_untested=options.accepted_by(given["accept_untested"], plan, given["by"]),
        observed=observed,
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
