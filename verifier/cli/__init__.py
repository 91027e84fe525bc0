"""The command line: options in, one call, one report, one exit code. No rule lives here."""

from __future__ import annotations

import gc
import signal
import sys
from pathlib import Path

import click

from verifier import __version__
from verifier.cli import streams
from verifier.cli.help import COMMANDS, WIDTH, Commands
from verifier.errors import (
    EXIT_INTERRUPTED,
    EXIT_OURS,
    EXIT_PASSED,
    EXIT_USAGE,
    InputError,
    VerifierError,
)

_COLLECT_AFTER = 50_000
"""Objects made and not freed before cycles are looked for. At Python's own 700 a fifth of the time
of a large run goes into that, and plans and observations have none."""


@click.group(
    cls=Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": WIDTH},
)
@click.version_option(__version__, prog_name="plan-verifier")
def commands() -> None:
    """Checks live point-to-point links against the link plan they were built from.

    Exit codes: 0 all tested and passed; 1 something failed; 2 wrong command line; 3 something
    could not be tested; 4 a faulty input file, nothing was sent; 5 a fault of this program; 6
    nothing was done: another run holds the store, or it cannot be used now.
    """


__all__ = ["COMMANDS", "commands", "main"]


def main() -> None:
    """Runs the command line and ends the process with its exit code.

    SIGTERM is taken as Ctrl-C is: what was opened is closed, what was measured is written.
    """
    gc.set_threshold(_COLLECT_AFTER)
    out = streams.prepare()
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    code = _run()
    sys.stdout.flush()
    if out.fault is not None:
        click.echo(
            f"plan-verifier: the standard output cannot be written: {out.fault.strerror}", err=True
        )
        code = EXIT_USAGE
    sys.exit(code)


def _run() -> int:
    try:
        code = commands(prog_name="plan-verifier", standalone_mode=False)
    except click.exceptions.Exit as end:
        return end.exit_code
    except click.ClickException as fault:
        fault.show()
        return EXIT_USAGE
    except (click.Abort, KeyboardInterrupt):
        click.echo("interrupted", err=True)
        return EXIT_INTERRUPTED
    except VerifierError as fault:
        _complain(fault)
        return fault.exit_code
    except Exception as fault:  # noqa: BLE001 - whatever it is: one line, exit code 5
        return _own_fault(fault)
    return code if isinstance(code, int) else EXIT_PASSED


def _complain(fault: VerifierError) -> None:
    from verifier.report.style import paragraph  # noqa: PLC0415

    width = 100 if sys.stderr.isatty() else sys.maxsize  # a line a fault where a program reads
    problems = fault.problems if isinstance(fault, InputError) else ()
    told = [str(p) for p in problems]
    first, *others = told if str(fault) == "\n".join(told) else [str(fault)]
    lines = paragraph(f"plan-verifier: {first}", "", width)
    for other in others:
        lines += paragraph(other, "", width)
    for problem in problems:
        where = f"{problem.origin}: " if problem.origin else ""
        if problem.message not in str(fault):
            lines += paragraph(f"{problem.severity}: {where}{problem.message}", "  ", width)
    click.echo("\n".join(lines), err=True)


def _own_fault(fault: Exception) -> int:
    if "--verbose" in sys.argv:
        import traceback  # noqa: PLC0415 - seldom needed

        traceback.print_exception(fault)
    click.echo(
        f"plan-verifier: a fault of this program: {type(fault).__name__} in "
        f"{_place(fault)}; --verbose shows where. Nothing was changed on any device.",
        err=True,
    )
    return EXIT_OURS


def _place(fault: Exception) -> str:
    trace = fault.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    if trace is None:
        return "an unknown place"
    return f"{Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}"
