"""`align`."""

from __future__ import annotations

import shutil
import sys
import threading
from collections.abc import Coroutine, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Literal

import click
from click import Choice, IntRange, Option

from verifier.cli import complete
from verifier.cli.command import Duration, command
from verifier.cli.job_folder import ObjectArgument
from verifier.cli.later import Later
from verifier.cli.options import (
    HOW_WRITTEN,
    STAGE_HELP,
    STAGES,
    CredentialsFile,
    PlanOptions,
    SetLaptop,
)
from verifier.errors import EXIT_INTERRUPTED, EXIT_PASSED, EXIT_UNTESTED

if TYPE_CHECKING:
    from verifier.cli import inputs
    from verifier.cli.borrow import borrowed
    from verifier.model.plan import EndName, Stage
    from verifier.report.style import wrapped
    from verifier.rules.alignment import AlignedCarrier, EndView, chosen
    from verifier.session.align import AlignQuestion
    from verifier.session.world import World
else:
    borrowed = Later("verifier.cli.borrow:borrowed")
    inputs = Later("verifier.cli.inputs")
    wrapped = Later("verifier.report.style:wrapped")
    AlignedCarrier = Later("verifier.rules.alignment:AlignedCarrier")
    chosen = Later("verifier.rules.alignment:chosen")


@dataclass(frozen=True, slots=True, kw_only=True)
class AlignOptions:
    """Which carrier is aligned, and how its levels are shown."""

    plan: PlanOptions
    link: Annotated[str, ObjectArgument(["link"], shell_complete=complete.links)]
    credentials_file: CredentialsFile
    set_laptop: SetLaptop
    carrier: Annotated[
        int | None,
        Option(["--carrier"], type=IntRange(1), help="Of a link with several; the first if not."),
    ]
    stage: Annotated[
        Stage,
        Option(
            ["--stage"],
            type=Choice(STAGES),
            default="alignment",
            show_default=True,
            help=STAGE_HELP,
        ),
    ]
    lasts_s: Annotated[
        float | None, Option(["--for"], type=Duration(), help="End after this time.")
    ]
    bell: Annotated[
        bool, Option(["--bell"], is_flag=True, help="Ring the terminal's bell on a new best.")
    ]
    format_: Annotated[
        Literal["text", "json"],
        Option(
            ["--format"],
            type=Choice(("text", "json")),
            default="text",
            show_default=True,
            help=HOW_WRITTEN,
        ),
    ]


@command(AlignOptions)
def align(options: AlignOptions) -> int:
    """Both ends' receive level of LINK, once a second, while the antennas are aligned.

    Shows the difference to the expected level, the highest so far, and the voltage to expect at
    the alignment port. Reads only. Ctrl-C ends it.
    """
    plan, _ = inputs.load_plan(options.plan)
    link, carrier = chosen(plan, options.link, options.carrier)
    devices = {d.name: d for d in plan.devices}
    of_end = {name: devices[end.device] for name, end in carrier.ends()}
    profiles = inputs.profiles_of(list(of_end.values()), options.plan)
    credentials = inputs.credentials_of(list(of_end.values()), options.credentials_file)
    hop = AlignedCarrier(
        link=link,
        carrier=carrier,
        stage=options.stage,
        profiles={name: profiles[device.profile] for name, device in of_end.items()},
    )
    from verifier.probes.world import ThisMachine  # noqa: PLC0415 - bad input needs no probes
    from verifier.session.align import questions_of  # noqa: PLC0415
    from verifier.session.laptop import FitQuestion, refuse_without_link  # noqa: PLC0415

    questions, unread = questions_of(plan, hop, credentials)
    asked = [device for name, device in of_end.items() if name in questions]
    world = ThisMachine()
    about = FitQuestion(plan=plan, profiles=profiles, devices=asked)
    refuse_without_link(about, world.laptop)
    _say(_opening(hop, unread), options)
    with borrowed([about], world.laptop, on=options.set_laptop):
        return _run(hop, questions, world, options)


def _opening(hop: AlignedCarrier, unread: Mapping[EndName, str]) -> list[str]:
    from verifier.model.cautions import CLOSING, cautions  # noqa: PLC0415
    from verifier.report.align import opening  # noqa: PLC0415

    return [*opening(hop, unread), *map(str, cautions("align")), CLOSING]


def _say(lines: list[str], options: AlignOptions) -> None:
    """For a person; beside JSON it goes where faults go."""
    text = [part for line in lines for part in wrapped(line, "", hang="")]
    click.echo("\n".join(text), err=options.format_ == "json")


class _AlignScreen:
    """Shows a picture over the last one on a terminal, else a line each."""

    def __init__(self, options: AlignOptions) -> None:
        self._json = options.format_ == "json"
        self._terminal = sys.stdout.isatty() and not self._json
        self._bell = options.bell
        self._drawn = 0
        self.last: tuple[EndView, EndView] | None = None
        self.read = False

    def show(self, ends: tuple[EndView, EndView], elapsed_s: float) -> None:
        """Both ends at one moment."""
        from verifier.report import align as look  # noqa: PLC0415

        self.last = ends
        self.read |= any(end.age_s is not None for end in ends)
        if self._bell and any(end.best for end in ends):
            sys.stderr.write("\a")
            sys.stderr.flush()
        if self._json:
            print(look.document(ends, elapsed_s), flush=True)  # noqa: T201
            return
        columns = shutil.get_terminal_size((100, 24)).columns
        if not self._terminal or columns < look.NARROWEST:
            print(look.line(ends, elapsed_s), flush=True)  # noqa: T201
            return
        lines = look.large(ends, elapsed_s, min(columns - 1, 100))
        up = f"\x1b[{self._drawn}A" if self._drawn else ""
        sys.stdout.write(up + "".join(f"\r{line}\n" for line in lines))
        sys.stdout.flush()
        self._drawn = len(lines)


def _run(
    hop: AlignedCarrier,
    questions: Mapping[EndName, AlignQuestion],
    world: World,
    options: AlignOptions,
) -> int:
    from verifier.report.align import summary  # noqa: PLC0415
    from verifier.session.align import Peaks  # noqa: PLC0415
    from verifier.session.align import align as follow  # noqa: PLC0415

    screen = _AlignScreen(options)
    course = follow(world, Peaks(hop), questions, screen.show, lasts_s=options.lasts_s)
    ended = world.run(_ended_by_a_signal(course))
    if screen.last is not None:
        _say(summary(screen.last).splitlines(), options)
    if ended:
        return EXIT_INTERRUPTED
    return EXIT_PASSED if screen.read else EXIT_UNTESTED


async def _ended_by_a_signal(course: Coroutine[object, None, None]) -> bool:
    """Whether SIGINT or SIGTERM ended it before its time."""
    import asyncio  # noqa: PLC0415 - help needs none

    from verifier.session.signals import cancelled_by_signals  # noqa: PLC0415

    stop = threading.Event()
    task = asyncio.ensure_future(course)
    with cancelled_by_signals(task, stop), suppress(asyncio.CancelledError):
        await task
    return stop.is_set()
