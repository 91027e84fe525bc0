"""`fit`."""

from __future__ import annotations

import dataclasses
import signal
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from click import Option

from verifier.cli.command import command
from verifier.cli.later import Later
from verifier.cli.options import (
    LaptopOptions,
    OperatingSystem,
    OutputOptions,
    PlanOptions,
    SelectionOptions,
    SetLaptop,
    Strict,
    TextOrJson,
)
from verifier.errors import EXIT_INTERRUPTED, CannotMeasureError, UsageError

if TYPE_CHECKING:
    from verifier.cli import inputs, output
    from verifier.files.output import Output, opened
    from verifier.model.laptop import FitReport
    from verifier.rules.fit.ways import is_without_link
    from verifier.session.laptop import FitQuestion
    from verifier.session.world import LaptopAccess
else:
    inputs = Later("verifier.cli.inputs")
    output = Later("verifier.cli.output")
    opened = Later("verifier.files.output:opened")
    is_without_link = Later("verifier.rules.fit.ways:is_without_link")


@dataclass(frozen=True, slots=True, kw_only=True)
class FitOptions:
    """Which devices are asked about, from which laptop, and whether it is set."""

    plan: PlanOptions
    selection: SelectionOptions
    laptop: LaptopOptions
    present: Annotated[
        bool, Option(["--present"], is_flag=True, help="Ask about present and factory addresses.")
    ]
    system: OperatingSystem
    set_laptop: SetLaptop
    format_: TextOrJson
    output: OutputOptions
    strict: Strict


@command(FitOptions)
def fit(options: FitOptions) -> int:
    """Does this laptop's address fit each device's subnet in PLAN; if not, what to set.

    Nothing is sent. With --set-laptop the address is held until Enter, Ctrl-C or the end of a pipe.
    """
    with opened(options.output.out) as place:
        output.chosen(_FORMATS, options.format_, options.output.out)
        question = _question(options)
        from verifier.probes.world import ThisMachine  # noqa: PLC0415 - bad input needs no probes
        from verifier.session import laptop as laptop_fit  # noqa: PLC0415

        here = ThisMachine().laptop
        here.take_back_leftovers(output.say)
        report = laptop_fit.answer(question, here)
        if options.set_laptop:
            return _with_address(question, report, here, place, options)
        _draw(report, place, options)
    return report.exit_code(strict=options.strict)


def _question(options: FitOptions) -> FitQuestion:
    plan, _ = inputs.load_plan(options.plan)
    devices = inputs.devices_of(plan, options.selection)
    laptop = inputs.assumed_laptop(options.laptop)
    profiles = inputs.profiles_of(plan.devices, options.plan)
    from verifier.session.laptop import SYSTEMS, FitQuestion  # noqa: PLC0415

    here = SYSTEMS.get(sys.platform, "linux")
    if options.set_laptop and (options.system or here) != here:
        raise UsageError("--set-laptop acts on this machine: leave --os out")
    return FitQuestion(
        plan=plan,
        profiles=profiles,
        devices=devices,
        laptop=laptop,
        present=options.present,
        system=options.system or here,
    )


def _with_address(
    question: FitQuestion,
    report: FitReport,
    here: LaptopAccess,
    place: Output,
    options: FitOptions,
) -> int:
    """Sets what is suggested, asks again, holds it until told to end, and takes it back."""
    from verifier.session import laptop as laptop_fit  # noqa: PLC0415
    from verifier.session.signals import Signals  # noqa: PLC0415

    addresses = laptop_fit.to_set(report)
    if not addresses:
        _draw(report, place, options)
        out = next((f.explanation for f in report.devices if is_without_link(f.explanation)), None)
        output.say(out or "nothing to add at this laptop")
        return report.exit_code(strict=options.strict)
    with Signals() as signals:
        try:
            with laptop_fit.with_addresses(report, addresses, output.say, here):
                report = laptop_fit.answer(dataclasses.replace(question, laptop=None), here)
                _draw(report, place, options)
                output.say("it is set; Enter or Ctrl-C takes it back")
                signals.read_line(sys.stdin)
        except CannotMeasureError as fault:
            _draw(report, place, options)
            output.say(str(fault))
    told_to_end = signals.first not in {None, signal.SIGINT}
    return EXIT_INTERRUPTED if told_to_end else report.exit_code(strict=options.strict)


_FORMATS = ("text", "json")


def _draw(report: FitReport, place: Output, options: FitOptions) -> None:
    from verifier.report import fit as drawn  # noqa: PLC0415

    chosen = output.chosen(_FORMATS, options.format_, options.output.out)
    formats = {"text": drawn.text, "json": drawn.json}
    output.draw(report, formats, drawn.brief, chosen, options.output, place)
