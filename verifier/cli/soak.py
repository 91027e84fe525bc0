"""The soak of `verify`: its option, its journal, and its progress on stderr."""

from __future__ import annotations

import dataclasses
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import click
from click import Option

from verifier.cli import command
from verifier.cli.later import Later
from verifier.cli.options import EvidenceOptions

if TYPE_CHECKING:
    from verifier.files.journals.soak import Journal
    from verifier.rules.soak.tally import words
    from verifier.session import Request
    from verifier.session.request import SoakProgress
else:
    words = Later("verifier.rules.soak.tally:words")

_FROM_PLAN: Final = "plan"
_LINE_EVERY_S: Final = 60.0


class _SoakDuration(command.Duration):
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
        help="Then measure for so long (15m, 24h); without a value acceptance.soak_s of the plan.",
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
    from verifier.session.request import SoakRequest  # noqa: PLC0415
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
