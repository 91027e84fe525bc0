"""The soak at the command line: its option, its journal, its progress."""

from __future__ import annotations

import dataclasses
import datetime as dt
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from verifier import __version__
from verifier.cli import options
from verifier.errors import UsageError
from verifier.files.read_plan import as_json, plan_json
from verifier.model.observations import JOURNAL, JournalChain, Observation
from verifier.model.subject import Subject
from verifier.rules.compare.scope import scope_of
from verifier.rules.soak.tally import words

if TYPE_CHECKING:
    from verifier.files.journals.soak import Journal
    from verifier.model.result import Result
    from verifier.session import Request
    from verifier.session.soak.run import Progress

_FROM_PLAN: Final = "plan"
_LINE_EVERY_S: Final = 60.0


class Duration(options.Duration):
    """How long; without a value what the plan says."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Seconds; 0 stands for what the plan says."""
        return 0.0 if value in (_FROM_PLAN, 0.0) else super().convert(value, param, ctx)


soak_option = click.option(
    "--soak",
    "soak_s",
    is_flag=False,
    flag_value=_FROM_PLAN,
    type=Duration(),
    metavar="[DURATION]",
    help="Then measure for so long (15m, 24h): loss, times, levels, counters. Without a value, as "
    "the last option, for acceptance.soak_s of the plan.",
)


def asked_s(given_s: float | None, planned_s: float | None) -> float | None:
    """How long to soak; None: not at all. Raises UsageError where neither says how long."""
    if given_s is None:
        return None
    if given_s:
        return given_s
    if not planned_s:
        raise UsageError("the plan has no acceptance.soak_s: say how long, for instance --soak 15m")
    return planned_s


@contextmanager
def soaking(
    request: Request, long_s: float | None, kept: Path | None, given: Mapping[str, Any]
) -> Iterator[tuple[Request, Journal | None]]:
    """The request with its soak, and the journal, which is closed and compressed at the end.

    The journal stands beside the evidence file `kept`, or else in the present folder; `given` are
    the options of the command. Nothing is done where `long_s` is None.
    """
    if long_s is None:
        yield request, None
        return
    from verifier.files.journals.soak import Journal  # noqa: PLC0415 - help needs neither
    from verifier.session.soak.run import SoakRequest  # noqa: PLC0415

    now = dt.datetime.now(dt.UTC)
    place = Path(f"soak-{now:%Y%m%dT%H%M%SZ}.journal")
    if kept is not None:
        place = kept.with_name(f"{kept.name}.journal")
    journal = Journal(place, _header(request, long_s, given))
    shown = None if given["quiet"] else _SoakProgress(long_s, journal.path)
    tell = None if shown is None else shown.tell
    soak = SoakRequest(asked_s=long_s, journal=journal, progress=tell)
    try:
        with journal:
            yield dataclasses.replace(request, soak=soak), journal
    finally:
        stands = journal.compress()
        if shown is not None:
            shown.finish(stands, journal.fault)


def closed(result: Result, journal: Journal | None) -> Result:
    """The result with what its journal is known by, which gets its last line here.

    So nobody can change the journal afterwards and have it fit the evidence.
    """
    if journal is None:
        return result
    journal.add({"kind": "end"})
    noted = Observation(
        id=max((o.id for o in result.observations), default=0) + 1,
        subject=Subject("laptop", "laptop"),
        kind=JOURNAL,
        at=result.finished,
        seen=JournalChain(file=journal.path.name, **dataclasses.asdict(journal.chain)),
        raw=journal.fault or None,
    )
    return dataclasses.replace(result, observations=(*result.observations, noted))


def _header(request: Request, long_s: float, given: Mapping[str, Any]) -> dict[str, Any]:
    """What a journal begins with: enough to judge it without anything else."""
    plan = request.plan
    return {
        "tool": {"version": __version__},
        "command": request.command,
        "stage": request.stage,
        "plan": {
            "name": plan.network.name,
            "revision": plan.network.revision,
            "sha256": request.plan_sha256,
            "file_sha256": plan.file_sha256,
        },
        "started": f"{dt.datetime.now(dt.UTC):%Y-%m-%dT%H:%M:%SZ}",
        "by": given["by"],
        "place": given["place"],
        "asked_s": long_s,
        "devices": [d.name for d in request.devices],
        "scope": dataclasses.asdict(scope_of(plan, request.names, request.devices)),
        "problems": [dataclasses.asdict(p) for p in request.problems],
        "parts": {
            "plan": plan_json(plan),
            "profiles": {name: as_json(p) for name, p in request.profiles.items()},
        },
    }


class _SoakProgress:
    """How far it is, on stderr: one line that changes on a terminal, else a line a minute."""

    def __init__(self, long_s: float, path: Path) -> None:
        self._terminal = sys.stderr.isatty()
        self._next_s = 0.0
        self._begun = False
        self._long_s, self._path = long_s, path

    def tell(self, progress: Progress) -> None:
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
