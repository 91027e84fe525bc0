"""`history`."""

from __future__ import annotations

import datetime as dt
import shutil
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from verifier.cli import options, output
from verifier.cli.sweep import beside
from verifier.errors import EXIT_PASSED, EXIT_UNTESTED, InputError, UsageError
from verifier.files.read_plan import plan_sha256
from verifier.model.plan import Device, Plan
from verifier.model.subject import Subject
from verifier.report.history import FORMATS
from verifier.report.plain import plain
from verifier.report.result import format_of
from verifier.report.style import ReportStyle

if TYPE_CHECKING:
    from verifier.model.history import Baseline, HistoryDocument

_DAY_S = 86_400.0


class _Since(click.ParamType[float]):
    """`36h`, `7d` (ago), or a date or time (UTC unless it says otherwise): seconds since 1970."""

    name = "since"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The time meant."""
        try:
            at = dt.datetime.fromisoformat(value)
        except ValueError:
            pass
        else:
            since_s = (at if at.tzinfo else at.replace(tzinfo=dt.UTC)).timestamp()
            if since_s >= time.time():
                self.fail(f"{value!r} has not been yet", param, ctx)
            return since_s
        text, factor = (value[:-1], _DAY_S) if value.endswith("d") else (value, 1.0)
        try:
            return time.time() - factor * options.Duration().convert(text, param, ctx)
        except click.BadParameter:
            self.fail(
                f"{value!r}: write 36h or 7d (ago), or 2026-11-24 or 2026-11-24T08:00Z", param, ctx
            )


@click.command()
@options.plan_argument
@options.selection_options
@options.profiles_option
@options.store_option
@click.option(
    "--since",
    type=_Since(),
    default="30d",
    show_default=True,
    metavar="WHEN",
    help="Begin of the period: 36h or 7d ago, or a date or time in UTC; its hour counts whole.",
)
@click.option(
    "--baseline",
    type=click.Path(path_type=Path),
    metavar="EVIDENCE",
    help="Compare the levels of dry hours with those of this handover (verify --evidence).",
)
@click.option("--format", "format_", type=click.Choice(list(FORMATS)), help="Of the report.")
@options.output_options
def history(**given: Any) -> int:
    """What the store of health sweeps knows of PLAN: availability, outages, changes, levels.

    Reads only; nothing is sent. Ends with 3 where the store holds nothing of these devices.
    """
    if given["format_"] is None and format_of(None, given["out"]) not in FORMATS:
        raise UsageError(f"{given['out']}: a record is {', '.join(FORMATS)}; name it with --format")
    plan, _ = options.load_plan(given["plan"], given["profile_folder"])
    devices = options.select(plan, given["devices"], given["links"], given["sites"])
    where = given["store"] or str(beside(given["plan"]))
    if "://" not in where and not Path(where).is_file():
        raise UsageError(f"{where}: there is no store; `sweep` makes one, --store names another")
    with output.opened(given["out"], inputs=(given["plan"], given["baseline"])) as out:
        baseline = None if given["baseline"] is None else _baseline(given["baseline"], plan)
        made = _record(plan, devices, where, given["since"], baseline)
        _show(made, out, given)
    return EXIT_PASSED if any(sum(u.state_s.values()) for u in made.subjects) else EXIT_UNTESTED


def _subjects(plan: Plan, devices: tuple[Device, ...]) -> list[Subject]:
    """The devices asked for, and the links with all their ends among them."""
    names = {d.name for d in devices}
    links = [x.name for x in plan.links if frozenset().union(*x.devices()) <= names]
    return [*(Subject("device", d.name) for d in devices), *(Subject("link", x) for x in links)]


def _record(
    plan: Plan, devices: tuple[Device, ...], url: str, since_s: float, baseline: Baseline | None
) -> HistoryDocument:
    from verifier.rules.history.record import record as make  # noqa: PLC0415
    from verifier.store.history import History  # noqa: PLC0415
    from verifier.store.store import opened  # noqa: PLC0415 - SQLAlchemy only when the input is right

    subjects, now_s = _subjects(plan, devices), time.time()
    with opened(url) as store:
        memories = store.memories()

        def look(connection: Any) -> HistoryDocument:
            past = History(connection, subjects, since_s, now_s)
            return make(
                plan, plan_sha256(plan), past.period, past.subjects(), memories, baseline=baseline
            )

        return store.look(look)


def _baseline(path: Path, plan: Plan) -> Baseline:
    from verifier.cli.report import result_in  # noqa: PLC0415
    from verifier.model.history import Baseline  # noqa: PLC0415
    from verifier.rules.history import deviation  # noqa: PLC0415

    result = result_in(path)
    if result.stage not in deviation.HANDOVERS:
        raise InputError(
            f"{path}: was made at stage {result.stage}; levels are compared with those of stage "
            f"{' or '.join(deviation.HANDOVERS)}"
        )
    levels = deviation.baseline_of(result, plan)
    if not levels:
        raise InputError(f"{path}: holds no receive level of any link")
    if not deviation.links_of(result) & {link.name for link in plan.links}:
        raise InputError(
            f"{path}: is of {plain(result.plan.name or 'a plan without a name')}, and none of its "
            "links is in this plan"
        )
    return Baseline(
        started=result.started,
        plan=result.plan.name,
        levels_dbm=levels,
        remarks=deviation.remarks_of(result, plan),
    )


def _show(made: HistoryDocument, out: output.Output, given: dict[str, Any]) -> None:
    chosen = format_of(given["format_"], given["out"])
    if given["out"] is not None:
        out.write(FORMATS[chosen](made, ReportStyle(verbose=given["verbose"])))
        chosen = "text"
    if not given["quiet"]:
        columns = min(100, shutil.get_terminal_size((100, 24)).columns)
        look = ReportStyle(width=columns, colour=sys.stdout.isatty(), verbose=given["verbose"])
        output.show(FORMATS[chosen](made, look))
