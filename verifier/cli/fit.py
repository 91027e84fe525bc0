"""`fit`."""

from __future__ import annotations

import dataclasses
import shutil
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from verifier.cli import options, output
from verifier.errors import EXIT_INTERRUPTED, CannotMeasureError, UsageError
from verifier.model.fit import FitReport
from verifier.report.plain import plain
from verifier.report.result import ENDINGS
from verifier.report.style import ReportStyle
from verifier.rules.cable import is_without_link

if TYPE_CHECKING:
    from verifier.session.laptop.fit import FitQuestion
    from verifier.session.world import LaptopAccess


@click.command()
@options.plan_argument
@options.selection_options
@options.profiles_option
@options.laptop_options
@click.option("--present", is_flag=True, help="Ask about present and factory addresses.")
@click.option(
    "--os",
    "system",
    type=click.Choice(["linux", "macos", "windows"]),
    help="Whose commands to print.  [default: this machine's]",
)
@click.option(
    "--set-laptop",
    is_flag=True,
    help="Add the suggested address to this laptop (Linux, as root); it is taken back at the end.",
)
@click.option("--format", "format_", type=click.Choice(["text", "json"]), help="Of the report.")
@options.output_options
def fit(**given: Any) -> int:
    """Does this laptop's address fit each device's subnet in PLAN; if not, what to set.

    Nothing is sent. With --set-laptop the address is held until Enter, Ctrl-C or the end of a pipe.
    """
    with output.opened(given["out"]) as place:
        question = _question(given)
        from verifier.probes.world import ThisMachine  # noqa: PLC0415 - help needs no probes
        from verifier.session.laptop import fit as laptop_fit  # noqa: PLC0415

        here = ThisMachine().laptop
        here.take_back_leftovers(_say)
        report = laptop_fit.answer(question, here)
        if given["set_laptop"]:
            return _with_address(question, report, here, place, given)
        _draw(report, place, given)
    return report.exit_code(strict=given["strict"])


def _question(given: dict[str, Any]) -> FitQuestion:
    plan, _ = options.load_plan(given["plan"], given["profile_folder"])
    devices = options.select(plan, given["devices"], given["links"], given["sites"])
    laptop = options.assumed_laptop(given["laptop"], given["laptop_gateway"])
    profiles, _ = options.load_needs(
        plan.devices, given["profile_folder"], None, with_credentials=False
    )
    from verifier.session.laptop.fit import SYSTEMS, FitQuestion  # noqa: PLC0415

    here = SYSTEMS.get(sys.platform, "linux")
    if given["set_laptop"] and (given["system"] or here) != here:
        raise UsageError("--set-laptop acts on this machine: leave --os out")
    return FitQuestion(
        plan=plan,
        profiles=profiles,
        devices=devices,
        laptop=laptop,
        present=given["present"],
        system=given["system"] or here,
    )


def _with_address(
    question: FitQuestion,
    report: FitReport,
    here: LaptopAccess,
    place: output.Output,
    given: dict[str, Any],
) -> int:
    """Sets what is suggested, asks again, holds it until told to end, and takes it back."""
    from verifier.session.laptop import fit as laptop_fit  # noqa: PLC0415
    from verifier.session.signals import Signals  # noqa: PLC0415

    strict = given["strict"]
    addresses = laptop_fit.to_set(report)
    if not addresses:
        _draw(report, place, given)
        out = next((f.explanation for f in report.devices if is_without_link(f.explanation)), None)
        _say(out or "nothing to add at this laptop")
        return report.exit_code(strict=strict)
    with Signals() as signals:
        try:
            with laptop_fit.with_addresses(report, addresses, _say, here):
                report = laptop_fit.answer(dataclasses.replace(question, laptop=None), here)
                _draw(report, place, given)
                _say("it is set; Enter or Ctrl-C takes it back")
                signals.read_line(sys.stdin)
        except CannotMeasureError as fault:
            _draw(report, place, given)
            _say(str(fault))
    told_to_end = signals.first not in {None, signal.SIGINT}
    return EXIT_INTERRUPTED if told_to_end else report.exit_code(strict=strict)


def _draw(report: FitReport, place: output.Output, given: dict[str, Any]) -> None:
    from verifier.report import fit as drawn  # noqa: PLC0415

    formats = {"text": drawn.text, "json": drawn.json}
    path: Path | None = given["out"]
    chosen = given["format_"] or (ENDINGS.get(path.suffix.lower(), "text") if path else "text")
    if path is not None:
        place.write(formats[chosen](report, ReportStyle(verbose=given["verbose"])))
        chosen = "text"
    columns = min(100, shutil.get_terminal_size((100, 24)).columns)
    look = ReportStyle(width=columns, colour=sys.stdout.isatty(), verbose=given["verbose"])
    draw = drawn.brief if given["quiet"] else formats[chosen]
    output.show(draw(report, look))


def _say(words: str) -> None:
    click.echo(f"plan-verifier: {plain(words)}", err=True)
