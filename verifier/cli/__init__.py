"""The command line: options in, one call, one report, one exit code. No rule lives here."""

from __future__ import annotations

import gc
import io
import os
import signal
import sys
import traceback
from importlib import import_module
from pathlib import Path
from typing import TextIO

import click

from verifier import __version__
from verifier.errors import (
    EXIT_INTERRUPTED,
    EXIT_OURS,
    EXIT_PASSED,
    EXIT_USAGE,
    InputError,
    VerifierError,
)


class ClosableStream(io.FileIO):
    """A stream whose reader may go away: what is written after that is lost, and is no fault.

    Attributes:
        fault: why else something could not be written (a full disk), or None.
    """

    fault: OSError | None = None

    def write(self, data: object) -> int:
        """Writes `data`, or drops it; never raises OSError."""
        view = memoryview(data)  # type: ignore[arg-type]
        try:
            return super().write(view) or 0
        except BrokenPipeError:
            pass
        except OSError as fault:
            self.fault = fault
        return view.nbytes


def prepare() -> ClosableStream:
    """Puts tolerant streams in the place of stdin, stdout and stderr; returns that of stdout.

    A stream that the caller closed becomes the null device, so that no file opened later takes
    its descriptor and gets what is printed.
    """
    if sys.stdin is None:
        sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: PTH123, SIM115 - stays open
    out, sys.stdout = _tolerant(sys.stdout)
    _, sys.stderr = _tolerant(sys.stderr)
    return out


def _tolerant(stream: TextIO | None) -> tuple[ClosableStream, TextIO]:
    descriptor = os.open(os.devnull, os.O_WRONLY) if stream is None else stream.fileno()
    sink = ClosableStream(descriptor, "w", closefd=False)
    text = io.TextIOWrapper(
        io.BufferedWriter(sink),
        encoding="utf-8" if stream is None else stream.encoding,
        errors="backslashreplace",
        line_buffering=True,
    )
    return sink, text


COMMANDS = {
    "cards": ("cards", "Field cards and labels to print; the sheet of what only eyes can see."),
    "check": ("check", "Every fault of a plan at once; offline."),
    "demo": ("demo", "A simulated network on this machine: the real job without hardware."),
    "new": ("new", "An empty plan to fill in, or an example: workbook, YAML or CSV."),
    "here": ("here", "What is on this cable, and is it right; the one thing to do next."),
    "find": ("find", "Looks for a device that does not answer where it should."),
    "fit": ("fit", "Does this laptop's address fit each device's subnet; if not, what to set."),
    "align": ("align", "Both ends' receive level, once a second, while the antennas are aligned."),
    "powercycle": ("powercycle", "Were settings saved: reads devices before and after a restart."),
    "profiles": ("profiles", "Device profiles: those there are, and one for your own device."),
    "reach": ("verify", "Do the devices answer: echoes and TCP services only."),
    "readdress": ("readdress", "The ordered runbook from present to planned addresses."),
    "history": ("history", "What the sweeps knew: availability, outages, levels since handover."),
    "report": ("report", "A stored result drawn again, judged again, or compared; offline."),
    "schema": ("schema", "The JSON Schema of a kind of document."),
    "sweep": ("sweep", "How is every device: once or --every 5m, into the store; tells changes."),
    "verify": ("verify", "The live network against the plan: pass or fail, with the reason."),
}
"""Command: its module and its line of help. Modules are imported only when called."""
_COLLECT_AFTER = 50_000
"""Objects made and not freed before cycles are looked for. At Python's own 700 a fifth of the time
of a large run goes into that, and plans and observations have none."""


class _Commands(click.Group):
    """Imports a command's module when the command is called, so that help is quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """Their names, as help lists them."""
        return list(COMMANDS)

    def get_command(
        self,
        ctx: click.Context,  # noqa: ARG002 - click's signature
        cmd_name: str,
    ) -> click.Command | None:
        """The command, imported now; None where there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"verifier.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = getattr(module, cmd_name)
        return command

    def format_commands(
        self,
        ctx: click.Context,  # noqa: ARG002 - click's signature
        formatter: click.HelpFormatter,
    ) -> None:
        """Their names and lines of help, none imported."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, about) for name, (_, about) in COMMANDS.items()])


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="plan-verifier")
def commands() -> None:
    """Checks live point-to-point links against the link plan they were built from.

    Exit codes: 0 all tested and passed; 1 something failed; 2 wrong command line; 3 something
    could not be tested; 4 a faulty input file, nothing was sent; 5 a fault of this program; 6
    nothing was done: another run holds the store, or it cannot be used now.
    """


def main() -> None:
    """Runs the command line and ends the process with its exit code.

    SIGTERM is taken as Ctrl-C is: what was opened is closed, what was measured is written.
    """
    gc.set_threshold(_COLLECT_AFTER)
    out = prepare()
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
    except Exception as fault:  # noqa: BLE001 - the last door: one line, exit code 5
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
