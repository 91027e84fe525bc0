"""`explain`: what the program means, offline, from the pages that are shipped with it."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import click
from click import Argument, Choice, Option

from verifier.cli import output
from verifier.cli.command import FILE, command
from verifier.errors import EXIT_PASSED, UsageError

if TYPE_CHECKING:
    from verifier.files.explain import Topics
    from verifier.model.topic import Block, Topic

_CONTENTS = (
    ("Topics", "topic"),
    ("Commands", "command"),
)
_LISTS = (
    ("checks", "what `verify` compares", "check"),
    ("rules", "what `check` looks for in the plan", "rule"),
    ("causes", "what failures have in common", "cause"),
    ("states", "states of a sweep", "state"),
    ("stages", "stages of the work", "stage"),
    ("exit-codes", "exit codes", "exit"),
    ("words", "words that reports use", "word"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExplainOptions:
    """Which topic, and how it is shown."""

    topic: Annotated[tuple[str, ...], Argument(["topic"], nargs=-1, metavar="[TOPIC]")]
    format_: Annotated[
        Literal["text", "html", "man"] | None,
        Option(
            ["--format"],
            type=Choice(("text", "html", "man")),
            help="Text, a page, or a manual page (of the whole program).",
        ),
    ]
    out: Annotated[
        Path | None,
        Option(["--out"], type=FILE, metavar="FILE", help="Write it here instead."),
    ]


@command(ExplainOptions)
def explain(options: ExplainOptions) -> int:
    """What a topic means: a check, a rule, a cause, a state, a stage, an exit code, a command.

    Without TOPIC: the list of topics. Offline; the pages are part of the program.
    """
    from verifier.cli.handbook import Handbook  # noqa: PLC0415 - help needs no pages
    from verifier.files.output import opened  # noqa: PLC0415

    book = Handbook.load()
    words = " ".join(options.topic)
    chosen = output.chosen(("text", "html", "man"), options.format_, options.out)
    topic = None if not words else book.find(words)
    if chosen == "man":
        drawn = book.manual()
    elif chosen == "html":
        drawn = book.page(topic)
    else:
        drawn = book.contents(output.columns()) if topic is None else book.text(topic, output.columns())
    with opened(options.out) as place:
        place.write(drawn)
    if options.out is None:
        _show(drawn, paged=chosen == "text")
    return EXIT_PASSED
