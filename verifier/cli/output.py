"""What a command prints, and the documents that it writes: evidence, and reports as drawn."""

from __future__ import annotations

import dataclasses
import shutil
import sys
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, TypeVar

import click

from verifier.cli import inputs
from verifier.cli.options import EvidenceOptions, OutputOptions
from verifier.errors import UsageError
from verifier.files.output import Output, opened, opened_once
from verifier.report.result import FORMATS, brief, format_of
from verifier.report.style import ReportStyle, plain

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from verifier.files.evidence.document import Evidence
    from verifier.files.journals.soak import Journal
    from verifier.model.result import Result
    from verifier.session import Request


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
    return ReportStyle(width=columns(), colour=sys.stdout.isatty(), verbose=verbose)


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
    style = dataclasses.replace(style, width=here.width, colour=here.colour)
    show((brief if brief is not None and options.quiet else formats[format_])(report, style))


class RunOptions(Protocol):
    """What the options of a command that judges a plan have in common."""

    @property
    def evidence(self) -> EvidenceOptions:
        """What is kept."""

    @property
    def output(self) -> OutputOptions:
        """Where the report goes."""

    @property
    def format_(self) -> str | None:
        """Of the report, where it was named."""


class Documents:
    """Where report and evidence go, and the key that evidence is signed with, once it was read.

    Args:
        options: of the command.
        out: the place of the report.
        kept: the place of the evidence.
    """

    def __init__(self, options: RunOptions, out: Output, kept: Output) -> None:
        self._options, self._out, self._kept = options, out, kept
        self._key: Ed25519PrivateKey | None = None
        self._format = chosen(FORMATS, options.format_, options.output.out)

    def read_key(self) -> None:
        """Reads the key to sign with, if one is named. Raises InputError."""
        if (key_file := self._options.evidence.key_file) is not None:
            self._key = signing_key(key_file)

    def write(self, result: Result, request: Request, journal: Journal | None = None) -> None:
        """Evidence, report and text.

        Evidence that cannot be written does not keep the report back: UsageError comes after it.
        """
        from verifier.session.run import annex  # noqa: PLC0415 - help and bad input need none

        evidence, unwritten = self._sealed(result, request, journal)
        samples = journal.samples() if journal is not None and self._format == "html" else ()
        style = ReportStyle(
            annex=annex(request.plan, evidence, sheets=self._format == "xlsx", samples=samples)
        )
        shown = self._options.output
        draw(result, FORMATS, brief, self._format, shown, self._out, style)
        if unwritten is not None:
            raise unwritten

    def _sealed(
        self, result: Result, request: Request, journal: Journal | None
    ) -> tuple[Evidence | None, UsageError | None]:
        """The evidence, if it is kept; and why it could not be written, if it could not."""
        if self._options.evidence.evidence_file is None:
            return None, None
        from verifier.files.evidence.document import to_bytes  # noqa: PLC0415
        from verifier.session.run import sealed  # noqa: PLC0415

        samples = journal.sample_lines() if journal is not None else ()
        evidence = sealed(result, request.plan, request.profiles, self._key, samples)
        try:
            self._kept.write(to_bytes(evidence))
        except UsageError as fault:
            return evidence, fault
        return evidence, None


@contextmanager
def documents(options: RunOptions, inputs_: Iterable[Path | None]) -> Iterator[Documents]:
    """Where report and evidence go. Raises UsageError for options that do not go together.

    Evidence takes nobody's place: that it need not is known before anything is sent.

    Args:
        options: of the command.
        inputs_: files that are read: no document takes their place.
    """
    kept, path = options.evidence, options.output.out
    if kept.evidence_file is None:
        if kept.key_file is not None:
            raise UsageError("--sign needs --evidence: the signature stands in that file")
        if kept.replace_kept:
            raise UsageError("--replace needs --evidence: it is about that file")
    elif path is not None and kept.evidence_file.resolve() == path.resolve():
        raise UsageError("--out and --evidence name the same file")
    read = (*inputs_, kept.key_file)
    with (
        opened(path, inputs=read) as out,
        opened_once(kept.evidence_file, inputs=read, may_go=kept.replace_kept) as store,
    ):
        yield Documents(options, out, store)


def signed_by(result: Result, options: EvidenceOptions) -> Result:
    """The result with who tested, and where."""
    return dataclasses.replace(result, by=options.by, place=options.place)


def signing_key(path: Path) -> Ed25519PrivateKey:
    """The key to sign with. Asks for its passphrase if need be. Raises InputError."""
    from verifier.files.evidence.keys import read_private_key  # noqa: PLC0415

    ask = inputs.asker()
    passphrase = None if ask is None else lambda: ask(f"Passphrase of {path}", True)  # noqa: FBT003
    return read_private_key(path, passphrase)
