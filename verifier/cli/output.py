"""What a command prints, and the report that it draws for the screen and for a file."""

from __future__ import annotations

import dataclasses
import shutil
import sys
from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from typing import TypeVar

import click

from verifier.cli.options import OutputOptions
from verifier.errors import UsageError
from verifier.files.output import Output
from verifier.report.result import format_of
from verifier.report.style import ReportStyle, plain

WIDEST = 100
"""Columns of a report, on a terminal that has as many."""
ValueT = TypeVar("ValueT")
Draw = Callable[[ValueT, ReportStyle], str | bytes]


def show(report: str | bytes) -> None:
    """Prints `report`. Raises UsageError where it is no text and a terminal would get it."""
    if isinstance(report, str):
        sys.stdout.write(report)
    elif sys.stdout.isatty():
        raise UsageError("a workbook is no text for a terminal: name a file with --out")
    else:
        sys.stdout.buffer.write(report)
    sys.stdout.flush()


def say(words: str) -> None:
    """Tells a person, on stderr, what is going on."""
    click.echo(f"plan-verifier: {plain(words)}", err=True)


def unsaid(words: str) -> None:
    """Says nothing, where it is to be quiet."""
    del words


def columns() -> int:
    """Columns of the terminal, or of a page where there is none."""
    return min(WIDEST, shutil.get_terminal_size((WIDEST, 24)).columns)


def on_screen(*, verbose: bool = False) -> ReportStyle:
    """How a report looks where it is printed."""
    return ReportStyle(
        width=columns(), colour=sys.stdout.isatty(), verbose=verbose, screen=not verbose
    )


def chosen(formats: Collection[str], named: str | None, out: Path | None, also: str = "") -> str:
    """The format of a report: the one that was named, else by the ending of --out, else text.

    Args:
        formats: those that it can be drawn in.
        named: by --format.
        out: by --out.
        also: what else helps, at the end of the message.

    Raises:
        UsageError: the ending means a format that this report does not have.
    """
    if (meant := format_of(named, out)) not in formats:
        known = " or ".join(formats)
        raise UsageError(f"{out}: this is written as {known}; --format names one{also}")
    return meant


def draw(  # noqa: PLR0913, PLR0917 - the report, its ways to be drawn, and where it goes
    report: ValueT,
    formats: Mapping[str, Draw[ValueT]],
    brief: Draw[ValueT] | None,
    format_: str,
    options: OutputOptions,
    place: Output,
    style: ReportStyle | None = None,
) -> None:
    """Writes the report to --out and prints it: as text if it was written, else as `format_`.

    Args:
        report: what is drawn.
        formats: its ways to be drawn.
        brief: how it is drawn with --quiet; None: it is not printed then.
        format_: one of `formats`.
        options: what the command line says of it.
        place: where --out leads.
        style: besides width, colour and how much: the annex of a result.
    """
    style = dataclasses.replace(style or ReportStyle(), verbose=options.verbose)
    if options.out is not None:
        place.write(formats[format_](report, style))
        format_ = "text"
    if brief is None and options.quiet:
        return
    here = on_screen()
    style = dataclasses.replace(
        style, width=here.width, colour=here.colour, screen=not style.verbose
    )
    show((brief if brief is not None and options.quiet else formats[format_])(report, style))
