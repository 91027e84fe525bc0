"""A result drawn for people or machines: pure callables in one table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from verifier.model.result import Result


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How a report is to look: width in columns, colour, everything or what matters."""

    width: int = 100
    colour: bool = False
    verbose: bool = False


def text(result: Result, look: Look) -> str:
    """For a terminal or a file of plain text."""
    from verifier.report.text import render  # noqa: PLC0415 - tabulate is loaded only when drawn

    return render(result, look)


def json(result: Result, look: Look) -> str:
    """The document `plan-verifier/result/1`."""
    from verifier.report.json import render  # noqa: PLC0415

    return render(result, look)


FORMATS: dict[str, Callable[[Result, Look], str]] = {"text": text, "json": json}
"""By name; a new format is one module and one line here."""

ENDINGS = {".txt": "text", ".json": "json"}
"""Format by the ending of an output file."""
