"""`history`."""

from __future__ import annotations

import datetime as dt
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import click
from click import Choice, Option

from verifier.cli.command import FILE, Duration, command
from verifier.cli.later import Later
from verifier.cli.options import (
    HISTORY_FORMATS,
    HOW_WRITTEN,
    OutputOptions,
    PlanOptions,
    SelectionOptions,
    StoreUrl,
    Strict,
)
from verifier.errors import EXIT_PASSED, EXIT_UNTESTED, UsageError

if TYPE_CHECKING:
    from verifier.cli import inputs, output
    from verifier.files.output import opened
    from verifier.report.history import FORMATS
else:
    inputs = Later("verifier.cli.inputs")
    output = Later("verifier.cli.output")
    opened = Later("verifier.files.output:opened")
    FORMATS = Later("verifier.report.history:FORMATS")

_DAY_S = 86_400.0


class _Since(click.ParamType[float]):
    """`36h`, `7d` (ago), or a date or time (UTC unless it says otherwise): seconds since 1970."""

    name = "since"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The time meant."""
        text = str(value)
        try:
            at = dt.datetime.fromisoformat(text)
        except ValueError:
            pass
        else:
            since_s = (at if at.tzinfo else at.replace(tzinfo=dt.UTC)).timestamp()
            if since_s >= time.time():
                self.fail(f"{value!r} has not been yet", param, ctx)
            return since_s
        number, factor = (text[:-1], _DAY_S) if text.endswith("d") else (text, 1.0)
        try:
            return time.time() - factor * Duration().convert(number, param, ctx)
        except click.BadParameter:
            self.fail(
                f"{value!r}: write 36h or 7d (ago), or 2026-11-24 or 2026-11-24T08:00Z", param, ctx
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryOptions:
    """Of which devices, since when, against which handover."""

    plan: PlanOptions
    selection: SelectionOptions
    store: StoreUrl
    since_s: Annotated[
        float,
        Option(
            ["--since"],
            type=_Since(),
            default="30d",
            show_default=True,
            metavar="WHEN",
            help="Begin of the period: 36h or 7d ago, or a date or time in UTC; its hour counts "
            "whole.",
        ),
    ]
    baseline: Annotated[
        Path | None,
        Option(
            ["--baseline"],
            type=FILE,
            metavar="EVIDENCE",
            help="Compare the levels of dry hours with those of this handover (verify --evidence).",
        ),
    ]
    format_: Annotated[
        str | None, Option(["--format"], type=Choice(HISTORY_FORMATS), help=HOW_WRITTEN)
    ]
    output: OutputOptions
    strict: Strict


@command(HistoryOptions)
def history(options: HistoryOptions) -> int:
    """What the store of health sweeps knows of PLAN: availability, outages, changes, levels.

    Reads only; nothing is sent. Ends with 3 where the store holds nothing of these devices.
    """
    chosen = output.chosen(FORMATS, options.format_, options.output.out)
    plan, _ = inputs.load_plan(options.plan)
    devices = inputs.devices_of(plan, options.selection)
    where = options.store or str(inputs.store_beside(options.plan.path))
    if "://" not in where and not Path(where).is_file():
        raise UsageError(f"{where}: there is no store; `sweep` makes one, --store names another")
    with opened(options.output.out, inputs=(options.plan.path, options.baseline)) as out:
        from verifier.probes.world import ThisMachine  # noqa: PLC0415
        from verifier.session.history import baseline_in, history_of  # noqa: PLC0415

        baseline = None if options.baseline is None else baseline_in(options.baseline, plan)
        period_s = options.since_s, ThisMachine().clocks.now().timestamp()
        made = history_of(plan, devices, where, period_s, baseline)
        output.draw(made, FORMATS, None, chosen, options.output, out)
    return EXIT_PASSED if any(sum(u.state_s.values()) for u in made.subjects) else EXIT_UNTESTED
