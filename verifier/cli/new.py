"""`new`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from click import Argument, Option

from verifier.cli.command import FILE, command
from verifier.cli.later import Later
from verifier.cli.options import MAPPING_HELP, OwnFaults, PlanOptions
from verifier.errors import EXIT_PASSED, InputError, UsageError

if TYPE_CHECKING:
    from verifier.cli import output
    from verifier.files.read_plan import example_plan
    from verifier.files.write_plan import write_plan
    from verifier.model.plan import Plan
    from verifier.rules.plan.gathered import gathered
else:
    gathered = Later("verifier.rules.plan.gathered:gathered")
    output = Later("verifier.cli.output")
    example_plan = Later("verifier.files.read_plan:example_plan")
    write_plan = Later("verifier.files.write_plan:write_plan")
    Plan = Later("verifier.model.plan:Plan")


@dataclass(frozen=True, slots=True, kw_only=True)
class NewOptions:
    """What `new` writes, and where."""

    file: Annotated[Path, Argument(["file"], type=FILE)]
    example: Annotated[
        bool, Option(["--example"], is_flag=True, help="Fill it with an invented network.")
    ]
    theirs: Annotated[
        Path | None,
        Option(
            ["--from"],
            type=FILE,
            metavar="THEIR_SHEET",
            help="Propose a mapping (FILE.toml) for a sheet that somebody already keeps, or "
            "write the plan that it holds.",
        ),
    ]
    mapping: Annotated[
        Path | None,
        Option(
            ["--mapping"],
            type=FILE,
            metavar="FILE",
            help=MAPPING_HELP,
        ),
    ]
    verbose: OwnFaults


@command(NewOptions)
def new(options: NewOptions) -> int:
    """Writes an empty plan to fill in: FILE.xlsx, FILE.yaml, or a folder of CSV files.

    With --from, FILE.toml is the mapping that is proposed for that sheet; any other FILE is the
    plan that it holds, each value with its origin in a comment. Nothing is overwritten.
    """
    file = options.file
    if options.theirs is not None:
        if options.example:
            raise UsageError("--example and --from exclude each other")
        if file.suffix.lower() == ".toml":
            return _mapping(options.theirs, file)
        return _converted(options.theirs, options.mapping, file)
    if options.mapping is not None:
        raise UsageError("--mapping says how the sheet of --from is read: name that too")
    write_plan(example_plan() if options.example else Plan(), file)
    what = "an invented network" if options.example else "an empty plan; fill it in"
    output.show(f"{file}: {what}. Its faults: plan-verifier check {file}\n")
    return EXIT_PASSED


def _mapping(theirs: Path, file: Path) -> int:
    """Proposes a mapping, shows what it says, and reads the sheet by it as `check` does."""
    from verifier.cli import inputs  # noqa: PLC0415
    from verifier.files.propose_mapping import propose  # noqa: PLC0415
    from verifier.report import proposal as report  # noqa: PLC0415
    from verifier.report.plan_check import counts  # noqa: PLC0415

    made = propose(theirs, file)
    output.show(report.text(made))
    options = PlanOptions(path=theirs, mapping=file, profile_folder=None)
    try:
        plan, problems = inputs.all_problems(options)
        read = counts(len(plan.devices), gathered(problems))
    except InputError as fault:
        read = counts(0, gathered(fault.problems))
    unsure = f"{made.unsure} unsure line{'' if made.unsure == 1 else 's'}"
    todo = f"settle the {unsure} in it, then" if made.unsure else "look it through, then"
    output.show(
        f"{file}: {unsure}; read by it: {read}\n"
        f"Next: {todo} plan-verifier check {theirs} --mapping {file}\n"
    )
    return EXIT_PASSED


def _converted(theirs: Path, mapping: Path | None, file: Path) -> int:
    """Writes the plan that a sheet holds in another form. Raises InputError where it has errors."""
    from verifier.cli import inputs  # noqa: PLC0415
    from verifier.report import plan_check  # noqa: PLC0415

    options = PlanOptions(path=theirs, mapping=mapping, profile_folder=None)
    plan, problems = inputs.load_plan(options)
    write_plan(plan, file, origins=True)
    output.show(plan_check.text(theirs, len(plan.devices), gathered(problems)))
    output.show(
        f"{file}: the plan of {theirs}, each value with its origin\n"
        f"Next: plan-verifier check {file}\n"
    )
    return EXIT_PASSED
