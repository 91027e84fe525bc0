"""`report`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import click
from click import Argument, Option

from verifier.cli.command import FILE, command
from verifier.cli.documents import signing_key
from verifier.cli.later import Later
from verifier.cli.options import OutputOptions, ResultFormat, SigningKey, Strict
from verifier.errors import EXIT_FAILED, EXIT_PASSED, UsageError

if TYPE_CHECKING:
    from verifier.cli import output
    from verifier.files.output import Output, opened, opened_once
    from verifier.model.result import Difference, Result
    from verifier.report.result import FORMATS, brief
    from verifier.report.style import ReportStyle, plain
    from verifier.session.stored import Stored
else:
    output = Later("verifier.cli.output")
    opened = Later("verifier.files.output:opened")
    opened_once = Later("verifier.files.output:opened_once")
    plain = Later("verifier.report.style:plain")
    FORMATS = Later("verifier.report.result:FORMATS")
    brief = Later("verifier.report.result:brief")
    ReportStyle = Later("verifier.report.style:ReportStyle")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportOptions:
    """Which file is drawn, or what else is done with it."""

    file: Annotated[Path, Argument(["file"], type=FILE)]
    format_: ResultFormat
    judge_again: Annotated[
        bool,
        Option(
            ["--judge-again"],
            is_flag=True,
            help="Make the findings anew from the observations; list what is judged otherwise "
            "today.",
        ),
    ]
    compare: Annotated[
        Path | None,
        Option(
            ["--compare"],
            type=FILE,
            metavar="OTHER",
            help="List what changed from FILE to OTHER, heaviest first.",
        ),
    ]
    key_file: SigningKey
    public_file: Annotated[
        Path | None,
        Option(
            ["--check-signature"],
            type=FILE,
            metavar="PUB",
            help="Was the evidence signed with the key that belongs to this one, and not changed "
            "since?",
        ),
    ]
    output: OutputOptions
    strict: Strict


@command(ReportOptions)
def report(options: ReportOptions) -> int:
    """Draws the result or evidence in FILE again, judges it again, compares it; no network.

    Ends with 0 where it only draws, whatever the verdict, and with 1 where --judge-again,
    --compare or --check-signature find a difference. With --judge-again, --out takes the document
    of today's judgement.
    """
    files = (options.compare, options.key_file, options.public_file)
    if sum(map(bool, (options.judge_again, *files))) > 1:
        raise UsageError("one of --judge-again, --compare, --sign, --check-signature at a time")
    place = opened_once if options.key_file is not None else opened
    with place(options.output.out, inputs=(options.file, *files)) as out:
        from verifier.session.stored import proved, read  # noqa: PLC0415 - help needs no rules

        if options.public_file is not None:
            stored = read(options.file, _say)
            return _check_signature(stored, options.public_file, quiet=options.output.quiet)
        stored = proved(options.file, _say)
        if options.key_file is not None:
            return _sign(stored, options.key_file, out, options.output.out)
        if options.judge_again:
            return _judge_again(stored, out, options)
        if options.compare is not None:
            return _compare(stored, proved(options.compare, _say), out, options)
        _draw(stored, stored.result, out, options)
    return EXIT_PASSED


def _say(words: str) -> None:
    click.echo(words, err=True)


def _draw(stored: Stored, result: Result, out: Output, options: ReportOptions) -> None:
    """Writes the document to --out, or else prints it."""
    from verifier.session.run import annex  # noqa: PLC0415

    path, quiet = options.output.out, options.output.quiet
    chosen = output.chosen(FORMATS, options.format_, path)
    evidence = stored.evidence
    samples = evidence.parts["samples"] if evidence is not None else ()
    plan = stored.plan() if chosen in {"html", "xlsx"} else None
    here = output.on_screen(verbose=options.output.verbose)
    style = ReportStyle(
        width=here.width,
        colour=path is None and here.colour,
        verbose=here.verbose,
        screen=path is None and here.screen,
        annex=annex(plan, evidence, sheets=chosen == "xlsx", samples=samples),
    )
    if path is not None:
        out.write(FORMATS[chosen](result, style))
    if quiet:
        output.show(brief(result, here))
    elif path is None:
        output.show(FORMATS[chosen](result, style))


def _judge_again(stored: Stored, out: Output, options: ReportOptions) -> int:
    from verifier.rules.judge_again import differences  # noqa: PLC0415
    from verifier.session.stored import judged  # noqa: PLC0415

    today = judged(stored)
    found = differences(stored.result.findings, today.findings, exact=True)
    if options.output.out is not None:
        _draw(stored, today, out, options)
    count = len(today.findings)
    same = f"judged again: the same {count} findings, verdict {today.verdict}"
    differs = f"judged again: {len(found)} of {count} findings differ"
    _list(found, same, differs, quiet=options.output.quiet)
    return EXIT_FAILED if found else EXIT_PASSED


def _compare(stored: Stored, other: Stored, out: Output, options: ReportOptions) -> int:
    from verifier.report.result.differences import document  # noqa: PLC0415
    from verifier.report.result.json import laid_out  # noqa: PLC0415
    from verifier.rules.judge_again import differences  # noqa: PLC0415
    from verifier.session.stored import refuse_another_run  # noqa: PLC0415

    path, quiet = options.output.out, options.output.quiet
    if (chosen := output.chosen(FORMATS, options.format_, path)) not in {"text", "json"}:
        raise UsageError("what changed is listed as text or JSON: --compare has no other format")
    refuse_another_run(stored, other)
    found = differences(stored.result.findings, other.result.findings)
    if chosen == "json":
        listed = laid_out(document(stored.result, other.result, found))
        out.write(listed)
        if path is None and not quiet:
            output.show(listed)
        return EXIT_FAILED if found else EXIT_PASSED
    times = f"{stored.result.started} and {other.result.started}"
    same = f"nothing changed between {times}"
    differs = f"{len(found)} changed between {times}"
    out.write(_list(found, same, differs, quiet=quiet))
    return EXIT_FAILED if found else EXIT_PASSED


def _list(found: Sequence[Difference], same: str, differs: str, *, quiet: bool) -> str:
    """Prints what differs, or that nothing does; returns the text."""
    from verifier.report.result.differences import text  # noqa: PLC0415

    style = ReportStyle(width=output.columns())
    listed = f"{differs}\n\n{text(found, style)}" if found else f"{same}\n"
    if not quiet:
        output.show(listed)
    return listed


def _sign(stored: Stored, key_file: Path, out: Output, path: Path | None) -> int:
    from verifier.files.evidence.document import sign, to_bytes  # noqa: PLC0415

    evidence = stored.whole("--sign")
    if path is None:
        raise UsageError("--sign needs --out FILE: the signed evidence goes there")
    out.write(to_bytes(sign(evidence, signing_key(key_file))))
    return EXIT_PASSED


def _check_signature(stored: Stored, public_file: Path, *, quiet: bool) -> int:
    from verifier.files.evidence.document import doubt  # noqa: PLC0415
    from verifier.files.evidence.keys import read_public_key  # noqa: PLC0415

    evidence = stored.whole("--check-signature")
    why = doubt(evidence, read_public_key(public_file))
    if not quiet:
        words = "signed with this key, and not changed since" if why is None else why
        output.show(f"{plain(stored.path)}: {words}\n")
    return EXIT_PASSED if why is None else EXIT_FAILED
