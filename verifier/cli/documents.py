"""The documents of a run that judges a plan: evidence, report, and what is printed."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from verifier.cli.later import Later
from verifier.cli.options import EvidenceOptions, OutputOptions
from verifier.errors import UsageError
from verifier.files.output import Output, opened, opened_once
from verifier.report.result import FORMATS, brief
from verifier.report.style import ReportStyle

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from verifier.cli import inputs, output
    from verifier.files.evidence.document import Evidence
    from verifier.files.journals.soak import Journal
    from verifier.model.result import Result
    from verifier.session import Request
else:
    inputs = Later("verifier.cli.inputs")
    output = Later("verifier.cli.output")


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
        self._format = output.chosen(FORMATS, options.format_, options.output.out)

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
        output.draw(result, FORMATS, brief, self._format, shown, self._out, style)
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
