"""`explain`: what the program means, offline, from the pages that are shipped with it."""

from __future__ import annotations

import shutil
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import click
from click import Argument, Choice, Option

from verifier.cli import complete
from verifier.cli.command import FILE, command
from verifier.cli.later import Later
from verifier.cli.options import HOW_WRITTEN, OUT_HELP
from verifier.errors import EXIT_PASSED

if TYPE_CHECKING:
    from verifier.cli import output
    from verifier.files.output import opened
else:
    output = Later("verifier.cli.output")
    opened = Later("verifier.files.output:opened")


@dataclass(frozen=True, slots=True, kw_only=True)
class ExplainOptions:
    """Which topic, and how it is shown."""

    topic: Annotated[
        tuple[str, ...],
        Argument(["topic"], nargs=-1, metavar="[TOPIC]", shell_complete=complete.topics),
    ]
    format_: Annotated[
        Literal["text", "html", "man"] | None,
        Option(
            ["--format"],
            type=Choice(("text", "html", "man")),
            help=HOW_WRITTEN,
        ),
    ]
    out: Annotated[
        Path | None,
        Option(["--out"], type=FILE, metavar="FILE", help=OUT_HELP),
    ]


@command(ExplainOptions, settings={"ignore_unknown_options": True})
def explain(options: ExplainOptions) -> int:
    """What a topic means: a check, a rule, a cause, a state, a stage, an exit code, a command.

    Without TOPIC: the list of topics. Offline; the pages are part of the program.
    """
    from verifier.cli.handbook import Handbook  # noqa: PLC0415 - help needs no pages

    book, words = Handbook.load(), " ".join(options.topic)
    chosen = output.chosen(("text", "html", "man"), options.format_, options.out)
    topic = book.find(words) if words else None
    if chosen == "man":
        drawn = book.manual()
    elif chosen == "html":
        drawn = book.page(topic)
    else:
        drawn = book.text(topic, output.columns())
    with opened(options.out) as place:
        place.write(drawn)
    if options.out is None:
        _show(drawn, paged=chosen == "text")
    return EXIT_PASSED


def _show(drawn: str, *, paged: bool) -> None:
    """Prints it; on a terminal that is shorter, a page at a time."""
    lines = shutil.get_terminal_size((100, 24)).lines
    if paged and sys.stdout.isatty() and drawn.count("\n") >= lines:
        click.echo_via_pager(drawn)
    else:
        output.show(drawn)
