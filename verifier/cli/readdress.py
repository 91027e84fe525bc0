"""`readdress`."""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.cli.command import command
from verifier.cli.later import Later
from verifier.cli.readdress_options import FORMATS, ReaddressOptions
from verifier.errors import UsageError

if TYPE_CHECKING:
    from verifier.cli import guide, inputs, output
    from verifier.files.output import Output, opened
    from verifier.model.laptop import System
    from verifier.model.plan import Plan
    from verifier.model.runbook import Runbook
    from verifier.report.runbook.text import RunbookPaper
    from verifier.report.style import ReportStyle
    from verifier.rules.readdress.request import Wish
    from verifier.rules.readdress.world import Task
else:
    guide = Later("verifier.cli.guide")
    inputs = Later("verifier.cli.inputs")
    output = Later("verifier.cli.output")
    opened = Later("verifier.files.output:opened")
    ReportStyle = Later("verifier.report.style:ReportStyle")

_SYSTEMS: dict[str, System] = {"darwin": "macos", "win32": "windows"}


@command(ReaddressOptions)
def readdress(options: ReaddressOptions) -> int:
    """The ordered runbook from present to planned addresses of PLAN, and what else follows.

    Nothing is sent and nothing is changed. Exit code 1: a device cannot be moved; the runbook says
    why, and what helps. With --guide each step is told, then looked at: devices are asked, never
    changed; 1: a step failed, 3: something could not be told, 130: interrupted, --resume goes on.
    """
    options.refuse_with_guide()
    start = guide.guide_start(options.plan, options.runbook, options.guide)
    options = dataclasses.replace(options, runbook=start.runbook)
    output.chosen(FORMATS, options.format_, options.output.out)
    with opened(options.output.out, inputs=(options.plan.path, options.runbook.old)) as place:
        plan, _ = inputs.load_plan(options.plan)
        profiles = inputs.profiles_of(plan.devices, options.plan)
        from verifier.rules.readdress import readdress as planned  # noqa: PLC0415
        from verifier.rules.readdress.request import task as task_of  # noqa: PLC0415

        task = task_of(plan, profiles, _wish(options, plan))
        runbook = planned(plan, task)
        if options.write_plan is not None:
            _write_plan(plan, task, options.runbook.done, options.write_plan)
        paper = _paper(options, plan, task, runbook)
        _draw(paper, place, options)
        if start.journal is not None:
            from verifier.cli.guide_run import run  # noqa: PLC0415 - needs probes

            return run(options, plan, task, paper, start)
    return runbook.exit_code()


def _wish(options: ReaddressOptions, plan: Plan) -> Wish:
    """What is asked for. Raises UsageError where it cannot be meant."""
    from verifier.rules.readdress.renumber import Renumber, Renumbering  # noqa: PLC0415
    from verifier.rules.readdress.request import Wish  # noqa: PLC0415
    from verifier.rules.selection import refuse_unknown  # noqa: PLC0415

    asked = options.runbook
    settings = asked.settings
    if len(settings) > 1:
        raise UsageError(f"--{settings[0]} and --{settings[1]}: one run has one setting")
    old = None
    if asked.old is not None:
        old, _ = inputs.load_plan(dataclasses.replace(options.plan, path=asked.old))
    changes = tuple(Renumbering.parse(text) for text in asked.changes)
    names = [d.name for d in plan.devices]
    refuse_unknown("device", (*asked.done, *(c.device for c in changes)), names)
    inputs.assumed_laptop(asked.laptop)  # refuses a gateway without it
    return Wish(
        setting=settings[0] if settings else "segment",
        many=asked.laptop_addresses == "many",
        laptop=tuple(a for i in asked.laptop.laptop for a in i.addresses),
        laptop_gateway=asked.laptop.laptop_gateway,
        old=old,
        changes=changes,
        renumbers=tuple(Renumber.parse(text) for text in asked.renumbers),
        done=asked.done,
    )


# -- what comes of it ------------------------------------------------------------------------------


def _write_plan(plan: Plan, task: Task, done: tuple[str, ...], path: Path) -> None:
    from verifier.files.write_plan import write_plan  # noqa: PLC0415
    from verifier.rules.readdress.request import finished  # noqa: PLC0415

    write_plan(finished(plan, task, done), path)


def _paper(options: ReaddressOptions, plan: Plan, task: Task, runbook: Runbook) -> RunbookPaper:
    from verifier.report.runbook.text import RunbookPaper, shared_addresses  # noqa: PLC0415
    from verifier.rules.readdress.renumber import behind  # noqa: PLC0415
    from verifier.rules.readdress.request import sharing  # noqa: PLC0415

    name, revision = plan.network.name or "Unnamed plan", plan.network.revision
    blocked = {b.device for b in runbook.blocked}
    forced = runbook.setting == "one-at-a-time" and not options.runbook.one_at_a_time
    return RunbookPaper(
        plan=f"{name}, revision {revision}" if revision else name,
        runbook=runbook,
        system=options.system or _SYSTEMS.get(sys.platform, "linux"),
        interface=guide.interface_named(options.runbook.laptop),
        notes=(shared_addresses([d.name for d in sharing(task.devices)]),) if forced else (),
        behind=behind(plan) if runbook.setting == "remote" else {},
        staying={d.name: d.present.at for d in task.devices if d.name in blocked},
    )


def _draw(paper: RunbookPaper, place: Output, options: ReaddressOptions) -> None:
    """Writes the runbook to --out, and prints it unless a guide speaks instead."""
    path = options.output.out
    chosen = output.chosen(FORMATS, options.format_, path)
    if path is not None:
        place.write(_drawn(paper, chosen, ReportStyle(width=output.WIDEST)))
        chosen = "text"
    if not options.output.quiet and not options.guide.guide:
        output.show(_drawn(paper, chosen, output.on_screen()))


def _drawn(paper: RunbookPaper, chosen: str, style: ReportStyle) -> str:
    if chosen == "json":
        from verifier.report.runbook.text import json as render  # noqa: PLC0415

        return render(paper.runbook)
    if chosen == "html":
        from verifier.report.runbook.page import page  # noqa: PLC0415

        return page(paper)
    from verifier.report.runbook.text import text  # noqa: PLC0415

    return text(paper, style.width)
