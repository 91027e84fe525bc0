"""`check`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import click
from click import Option

from verifier.cli.command import command
from verifier.cli.later import Later
from verifier.cli.options import OutputOptions, PlanOptions, Strict, TextOrJson
from verifier.errors import EXIT_FAILED, EXIT_INPUT, EXIT_PASSED

if TYPE_CHECKING:
    from verifier.cli import inputs, output
    from verifier.files.output import opened
    from verifier.model.ledger import Ledger
    from verifier.rules.plan.gathered import gathered
else:
    inputs = Later("verifier.cli.inputs")
    gathered = Later("verifier.rules.plan.gathered:gathered")
    output = Later("verifier.cli.output")
    opened = Later("verifier.files.output:opened")


def _show_rules(ctx: click.Context, param: click.Parameter, value: bool) -> bool:  # noqa: FBT001 - click's
    """Prints the table of rules and ends."""
    del param
    if value and not ctx.resilient_parsing:
        from verifier.report.plan_check import table_of_rules  # noqa: PLC0415

        output.show(table_of_rules())
        ctx.exit()
    return value


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckOptions:
    """What `check` reads, and how its report looks."""

    plan: PlanOptions
    rules: Annotated[
        bool,
        Option(
            ["--rules"],
            is_flag=True,
            is_eager=True,
            callback=_show_rules,
            help="Print the table of all rules, and end.",
        ),
    ]
    format_: TextOrJson
    output: OutputOptions
    strict: Strict


def _page(name: str, mapping: str, ledger: Ledger) -> str:
    from verifier.report import read_sheet  # noqa: PLC0415 (its templates take time to load)

    return read_sheet.page(name, mapping, ledger)


@command(CheckOptions)
def check(options: CheckOptions) -> int:
    """Every fault of PLAN at once, each with its place. Nothing is sent.

    With --mapping, --out FILE.html draws the sheet as it looks: each cell with what became of it.
    """
    from verifier.report import plan_check  # noqa: PLC0415
    from verifier.report.result import json  # noqa: PLC0415

    path, out = options.plan.path, options.output.out
    with opened(out, inputs=[path]) as place:
        plan, found, ledger = inputs.all_read(options.plan)
        problems = gathered(found)
        formats = {
            "text": lambda: plan_check.text(path, len(plan.devices), problems),
            "json": lambda: json.plan_check(problems),
        }
        also = "; a page of a sheet is drawn where --mapping says how it is read"
        if options.plan.mapping is not None:
            mapping = options.plan.mapping.name
            formats["html"] = lambda: _page(path.name, mapping, ledger)
            also = ""
        chosen = output.chosen(formats, options.format_, out, also)
        if out is not None:
            place.write(formats[chosen]())
            chosen = "text"
        if options.output.quiet:
            output.show(plan_check.text(path, len(plan.devices), problems, only="error"))
        else:
            output.show(formats[chosen]())
    severities = {p.severity for p in problems}
    if "error" in severities:
        return EXIT_INPUT
    return EXIT_FAILED if options.strict and problems else EXIT_PASSED
