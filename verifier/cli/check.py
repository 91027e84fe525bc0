"""`check`."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from verifier.cli import options, output
from verifier.errors import EXIT_FAILED, EXIT_INPUT, EXIT_PASSED
from verifier.model.problem import Problem
from verifier.report.plain import paragraph, plain


def _show_rules(ctx: click.Context, param: click.Parameter, value: bool) -> None:  # noqa: FBT001 - click's
    """Prints the table of rules and ends."""
    del param
    if not value or ctx.resilient_parsing:
        return
    from verifier.rules.plan import READING, RULES  # noqa: PLC0415

    rows: list[tuple[str, ...]] = [("RULE", "SEVERITY", "NEEDS", "WHAT IT FINDS")]
    rows += [(r.name, r.severity, "file", r.about) for r in READING]
    rows += [(r.name, r.severity, r.needs or "plan", r.about) for r in RULES]
    widths = [max(len(row[n]) for row in rows) for n in range(3)]
    for row in rows:
        cells = (cell.ljust(width) for cell, width in zip(row[:3], widths, strict=True))
        click.echo("  ".join((*cells, row[3])))
    ctx.exit()


@click.command()
@options.plan_argument
@click.option(
    "--rules", is_flag=True, is_eager=True, expose_value=False, callback=_show_rules,
    help="Print the table of all rules, and end.",
)  # fmt: skip
@options.profiles_option
@click.option("--format", "format_", type=click.Choice(["text", "json"]), help="Of the report.")
@options.output_options
def check(  # noqa: PLR0913
    *,
    plan: Path,
    profile_folder: Path | None,
    format_: Literal["text", "json"] | None,
    out: Path | None,
    quiet: bool,
    verbose: bool,
    strict: bool,
) -> int:
    """Every fault of PLAN at once, each with its place. Nothing is sent."""
    del verbose
    with output.opened(out, inputs=[plan]) as place:
        read, problems = options.all_problems(plan, profile_folder)
        text = _text(plan, len(read.devices), problems)
        chosen = format_ or ("json" if out and out.suffix.lower() == ".json" else "text")
        report = _json(problems) if chosen == "json" else text
        place.write(report)
        if quiet:
            output.show(_text(plan, len(read.devices), problems, only="error"))
        else:
            output.show(report if out is None else text)
    severities = {p.severity for p in problems}
    if "error" in severities:
        return EXIT_INPUT
    return EXIT_FAILED if strict and problems else EXIT_PASSED


def _json(problems: tuple[Problem, ...]) -> str:
    from verifier.report.result.json import plan_check  # noqa: PLC0415

    return plan_check(problems)


def _text(
    plan: Path, devices: int, problems: tuple[Problem, ...], *, only: str | None = None
) -> str:
    """Every problem, or those of one severity, and the counts of all."""
    lines = []
    for problem in problems:
        if only not in {None, problem.severity}:
            continue
        lines.append(f"{problem.severity.upper()}  {problem.rule}  {plain(problem.subject)}")
        if problem.origin:
            lines += paragraph(problem.origin)
        message, *sums = problem.message.split("\n")
        lines += paragraph(message)
        lines += (line for row in sums for line in paragraph(row, "      "))
    errors = sum(p.severity == "error" for p in problems)
    counts = (_count(devices, "device"), _count(errors, "error"))
    warnings = _count(len(problems) - errors, "warning")
    lines.append(f"{plain(plan)}: {', '.join(counts)}, {warnings}")
    return "\n".join(lines) + "\n"


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
