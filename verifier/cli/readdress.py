"""`readdress`."""

from __future__ import annotations

import difflib
import shutil
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from verifier.cli import guide, options, output
from verifier.errors import UsageError
from verifier.files.profile.read import load_profiles
from verifier.model.address import Address, Interface
from verifier.model.plan import Plan
from verifier.report.plain import plain

if TYPE_CHECKING:
    from verifier.model.runbook import Runbook
    from verifier.report.runbook.text import RunbookPaper
    from verifier.rules.readdress.request import Wish
    from verifier.rules.readdress.world import Task

_SYSTEMS = {"darwin": "macos", "win32": "windows"}
_ENDINGS = {".json": "json", ".html": "html", ".htm": "html"}
_SETTINGS = ("segment", "remote", "one_at_a_time")


@click.command()
@options.plan_argument
@click.option("--segment", is_flag=True, help="All devices are on one segment.  [default]")
@click.option("--remote", is_flag=True, help="The laptop stays; devices are reached by gateways.")
@click.option("--one-at-a-time", is_flag=True, help="On the bench: devices are attached in turn.")
@click.option(
    "--laptop-addresses",
    type=click.Choice(["one", "many"]),
    default="many",
    show_default=True,
    help="How many addresses the laptop may hold at a time.",
)
@options.laptop_options
@click.option(
    "--from",
    "old",
    type=click.Path(path_type=Path),
    metavar="OLD_PLAN",
    help="The devices are where this plan says.",
)
@click.option(
    "--change",
    "changes",
    multiple=True,
    metavar="NAME=ADDRESS/PREFIX[,GATEWAY]",
    help="A new address for one device; it is at the plan's address now.",
)
@click.option(
    "--renumber",
    "renumbers",
    multiple=True,
    metavar="OLD=NEW",
    help="All devices of one subnet go to another.",
)
@click.option("--done", multiple=True, metavar="NAME", help="This device is finished already.")
@click.option(
    "--write-plan",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write a plan that records where the devices are and are to be.",
)
@click.option(
    "--os",
    "system",
    type=click.Choice(["linux", "macos", "windows"]),
    help="Whose commands to print.  [default: this machine's]",
)
@click.option(
    "--format", "format_", type=click.Choice(["text", "json", "html"]), help="Of the report."
)
@options.profiles_option
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="FILE", help="Write the runbook here too."
)
@guide.guide_options
@click.option("--quiet", is_flag=True, help="Print nothing but faults.")
@click.option("--verbose", is_flag=True, help="Show faults of the program with their place.")
def readdress(**given: Any) -> int:
    """The ordered runbook from present to planned addresses of PLAN, and what else follows.

    Nothing is sent and nothing is changed. Exit code 1: a device cannot be moved; the runbook says
    why, and what helps. With --guide each step is told, then looked at: devices are asked, never
    changed; 1: a step failed, 3: something could not be told, 130: interrupted, --resume goes on.
    """  # fmt: skip
    given, story = guide.prepared(given)
    inputs = (given["plan"], given["old"])
    with output.opened(given["out"], inputs=inputs) as place:
        folder = given["profile_folder"]
        plan, _ = options.load_plan(given["plan"], folder)
        profiles = load_profiles({d.profile for d in plan.devices}, folder)
        from verifier.rules.readdress import readdress as planned  # noqa: PLC0415
        from verifier.rules.readdress.request import task as task_of  # noqa: PLC0415

        wish = _wish(given, plan)
        task = task_of(plan, profiles, wish)
        runbook = planned(plan, task)
        if given["write_plan"] is not None:
            _write_plan(plan, task, given)
        sheet = _sheet(given, plan, task, runbook)
        _draw(sheet, place, given)
        if given["guide"]:
            from verifier.cli.guide_run import run  # noqa: PLC0415 - needs probes

            return run(given, plan, task, sheet, story)
    return runbook.exit_code()


# -- what is asked ---------------------------------------------------------------------------------


def _wish(given: dict[str, Any], plan: Plan) -> Wish:
    from verifier.rules.readdress.request import Wish  # noqa: PLC0415

    asked = [s.replace("_", "-") for s in _SETTINGS if given[s]]
    if len(asked) > 1:
        raise UsageError(f"--{asked[0]} and --{asked[1]}: one run has one setting")
    old = None
    if given["old"] is not None:
        old, _ = options.load_plan(given["old"], given["profile_folder"])
    changes = tuple(_change(text) for text in given["changes"])
    names = [d.name for d in plan.devices]
    _known((*given["done"], *(c.device for c in changes)), names)
    if given["laptop_gateway"] is not None and not given["laptop"]:
        raise UsageError("--laptop-gateway needs --laptop")
    return Wish(
        setting=asked[0] if asked else "segment",  # type: ignore[arg-type]
        many=given["laptop_addresses"] == "many",
        laptop=tuple(a for i in given["laptop"] for a in i.addresses),
        laptop_gateway=given["laptop_gateway"],
        old=old,
        changes=changes,
        renumbers=tuple(_renumber(text) for text in given["renumbers"]),
        done=given["done"],
    )


def _change(text: str) -> Any:
    from verifier.rules.readdress.renumber import Renumbering  # noqa: PLC0415

    name, equals, value = text.rpartition("=")
    at, comma, gateway = value.partition(",")
    if not (name and equals and at and (gateway or not comma)):
        raise UsageError(
            f"--change {text!r}: write NAME=ADDRESS/PREFIX or NAME=ADDRESS/PREFIX,GATEWAY"
        )
    try:
        return Renumbering(
            device=name,
            address=Interface.parse(at),
            gateway=Address.parse(gateway) if gateway else None,
        )
    except ValueError as fault:
        raise UsageError(f"--change {text!r}: {fault}") from fault


def _renumber(text: str) -> Any:
    from verifier.rules.readdress.renumber import Renumber  # noqa: PLC0415

    old, equals, new = text.partition("=")
    if not equals:
        raise UsageError(
            f"--renumber {text!r}: write OLD=NEW, such as 198.18.20.0/24=198.18.30.0/24"
        )
    try:
        return Renumber(old=Interface.parse(old), new=Interface.parse(new))
    except ValueError as fault:
        raise UsageError(f"--renumber {text!r}: {fault}") from fault


def _known(asked: Iterable[str], names: list[str]) -> None:
    known = set(names)
    for name in asked:
        if name not in known:
            near = difflib.get_close_matches(name, names, n=1)
            hint = f"; did you mean {near[0]!r}?" if near else f"; it has {len(names)}"
            raise UsageError(f"no device {name!r} in the plan{hint}")


# -- what comes of it ------------------------------------------------------------------------------


def _write_plan(plan: Plan, task: Task, given: dict[str, Any]) -> None:
    from verifier.files.write_plan import write_plan  # noqa: PLC0415
    from verifier.rules.readdress.request import finished  # noqa: PLC0415

    write_plan(finished(plan, task, given["done"]), given["write_plan"])


def _sheet(given: dict[str, Any], plan: Plan, task: Task, runbook: Runbook) -> RunbookPaper:
    from verifier.model.laptop import UNNAMED  # noqa: PLC0415
    from verifier.report.runbook.text import RunbookPaper  # noqa: PLC0415
    from verifier.rules.readdress.follow_ups import behind  # noqa: PLC0415
    from verifier.rules.readdress.request import sharing  # noqa: PLC0415

    name = plan.network.name or "Unnamed plan"
    blocked = {b.device for b in runbook.blocked}
    interfaces = [i.name for i in given["laptop"] if i.name != UNNAMED]
    notes: tuple[str, ...] = ()
    if runbook.setting == "one-at-a-time" and not given["one_at_a_time"]:
        alike = sharing(task.devices)
        named = ", ".join(plain(u.name) for u in alike[:6]) + (" ..." if len(alike) > 6 else "")  # noqa: PLR2004
        why = f"One at a time, because {named} share a present address: attached together they "
        notes = (why + "could not be told apart.",)
    return RunbookPaper(
        plan=f"{name}, revision {plan.network.revision}" if plan.network.revision else name,
        runbook=runbook,
        system=given["system"] or _SYSTEMS.get(sys.platform, "linux"),  # type: ignore[arg-type]
        interface=interfaces[0] if interfaces else None,
        notes=notes,
        behind=behind(plan) if runbook.setting == "remote" else {},
        staying={u.name: u.present.at for u in task.devices if u.name in blocked},
    )


def _draw(sheet: RunbookPaper, place: output.Output, given: dict[str, Any]) -> None:
    path: Path | None = given["out"]
    chosen = given["format_"] or (_ENDINGS.get(path.suffix.lower(), "text") if path else "text")
    if path is not None:
        place.write(_drawn(sheet, chosen, 100))
        chosen = "text"
    if not given["quiet"] and not given["guide"]:
        columns = min(100, shutil.get_terminal_size((100, 24)).columns)
        output.show(_drawn(sheet, chosen, columns))


def _drawn(sheet: RunbookPaper, chosen: str, columns: int) -> str:
    if chosen == "json":
        from verifier.report.runbook.json import render  # noqa: PLC0415

        return render(sheet.runbook)
    if chosen == "html":
        from verifier.report.runbook.page import page  # noqa: PLC0415

        return page(sheet)
    from verifier.report.runbook.text import text  # noqa: PLC0415

    return text(sheet, columns)
