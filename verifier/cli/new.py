"""`new`."""

from __future__ import annotations

from importlib.resources import as_file, files
from pathlib import Path

import click

from verifier.cli import output
from verifier.errors import EXIT_PASSED, UsageError
from verifier.files.read_plan import read_plan
from verifier.files.write_plan import write_plan
from verifier.model.plan import Plan


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--example", is_flag=True, help="Fill it with an invented network.")
@click.option(
    "--from",
    "theirs",
    type=click.Path(path_type=Path),
    metavar="THEIR_SHEET",
    help="Propose a mapping (TOML) for a sheet that somebody already keeps.",
)
@click.option("--verbose", is_flag=True, help="Faults of this program with their place.")
def new(*, file: Path, example: bool, theirs: Path | None, verbose: bool) -> int:
    """Writes an empty plan to fill in: FILE.xlsx, FILE.yaml, or a folder of CSV files.

    With --from, FILE is the mapping (.toml) that is proposed. Nothing is overwritten.
    """
    del verbose
    if theirs is not None:
        if example:
            raise UsageError("--example and --from exclude each other")
        from verifier.files.mapping.propose import propose  # noqa: PLC0415

        output.show(f"{propose(theirs, file).rstrip()}\n")
        return EXIT_PASSED
    plan = example_plan() if example else Plan()
    write_plan(plan, file)
    what = "an invented network" if example else "an empty plan; fill it in"
    output.show(f"{file}: {what}. Its faults: plan-verifier check {file}\n")
    return EXIT_PASSED


def example_plan() -> Plan:
    """The invented network that comes with the program."""
    with as_file(files("verifier.files") / "example.yaml") as path:
        return read_plan(path)[0]
