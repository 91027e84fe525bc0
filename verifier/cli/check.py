"""`check`."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from verifier.cli import options, output
from verifier.errors import EXIT_FAILED, EXIT_INPUT, EXIT_PASSED
from verifier.files.profiles import load_profiles
from verifier.model.problem import Problem
from verifier.report.plain import plain


@click.command()
@options.plan_argument
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
    with output.opened(out) as place:
        read, problems = options.all_problems(plan)
        load_profiles({d.profile for d in read.devices}, profile_folder)
        as_json = format_ == "json" or (format_ is None and out and out.suffix == ".json")
        if as_json:
            from verifier.report.json import plan_check  # noqa: PLC0415

            text = plan_check(problems)
        else:
            text = _text(plan, len(read.devices), problems)
        place.write(text)
        if out is None and not quiet:
            output.show(text)
    severities = {p.severity for p in problems}
    if "error" in severities:
        return EXIT_INPUT
    return EXIT_FAILED if strict and problems else EXIT_PASSED


def _text(plan: Path, devices: int, problems: tuple[Problem, ...]) -> str:
    lines = []
    for problem in problems:
        lines.append(f"{problem.severity.upper()}  {problem.rule}  {plain(problem.subject)}")
        if problem.origin:
            lines.append(f"    {plain(problem.origin)}")
        lines.append(f"    {plain(problem.message)}")
    errors = sum(p.severity == "error" for p in problems)
    lines.append(f"{plan}: {devices} devices, {errors} errors, {len(problems) - errors} warnings")
    return "\n".join(lines) + "\n"
