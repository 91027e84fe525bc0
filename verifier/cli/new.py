"""`new`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from click import Argument, Option

from verifier.cli.command import FILE, command
from verifier.cli.later import Later
from verifier.cli.options import OwnFaults
from verifier.errors import EXIT_PASSED, UsageError

if TYPE_CHECKING:
    from verifier.cli import output
    from verifier.files.read_plan import example_plan
    from verifier.files.write_plan import write_plan
    from verifier.model.plan import Plan
else:
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
            help="Propose a mapping (TOML) for a sheet that somebody already keeps.",
        ),
    ]
    verbose: OwnFaults


@command(NewOptions)
def new(options: NewOptions) -> int:
    """Writes an empty plan to fill in: FILE.xlsx, FILE.yaml, or a folder of CSV files.

    With --from, FILE is the mapping (.toml) that is proposed. Nothing is overwritten.
    """
    file = options.file
    if options.theirs is not None:
        if options.example:
            raise UsageError("--example and --from exclude each other")
        from verifier.files.propose_mapping import propose  # noqa: PLC0415

        output.show(f"{propose(options.theirs, file).rstrip()}\n")
        return EXIT_PASSED
    write_plan(example_plan() if options.example else Plan(), file)
    what = "an invented network" if options.example else "an empty plan; fill it in"
    output.show(f"{file}: {what}. Its faults: plan-verifier check {file}\n")
    return EXIT_PASSED
