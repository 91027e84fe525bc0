"""A result drawn for people or machines: pure callables in one table."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import PurePath
from typing import Any

from verifier.model.plan import Plan
from verifier.model.result import Result


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A sheet of the plan: field path and heading of each column, and the rows below."""

    name: str
    columns: tuple[tuple[str, str], ...]
    rows: tuple[tuple[Any, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Annex:
    """What a document may show beside the result.

    Attributes:
        plan: what should be; None where only a result is left.
        sheets: the same as rows, for a workbook.
        samples: blocks of a soak, see `rules/soak`; gone through once.
        sha256: hash of each part of the evidence, by its name.
        signature: public key of the signature, in words; empty where it is not signed.
    """

    plan: Plan | None = None
    sheets: tuple[Sheet, ...] = ()
    samples: Iterable[Mapping[str, Any]] = ()
    sha256: Mapping[str, str] = field(default_factory=dict)
    signature: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How a report is to look: width in columns, colour, everything or what matters."""

    width: int = 100
    colour: bool = False
    verbose: bool = False
    annex: Annex = Annex()


def text(result: Result, look: Look) -> str:
    """For a terminal or a file of plain text."""
    from verifier.report.text import render  # noqa: PLC0415 - tabulate is loaded only when drawn

    return render(result, look)


def json(result: Result, look: Look) -> str:
    """The document `plan-verifier/result/1`."""
    from verifier.report.json import render  # noqa: PLC0415

    return render(result, look)


def csv(result: Result, look: Look) -> str:
    """One row a finding."""
    from verifier.report.csv import render  # noqa: PLC0415

    return render(result, look)


def junit(result: Result, look: Look) -> str:
    """For a build server: a suite for each subject, a case for each finding."""
    from verifier.report.junit import render  # noqa: PLC0415

    return render(result, look)


def xlsx(result: Result, look: Look) -> bytes:
    """A workbook: the summary, the findings, the plan with what was found beside it."""
    from verifier.report.xlsx import render  # noqa: PLC0415

    return render(result, look)


def html(result: Result, look: Look) -> str:
    """One file for reading, printing and signing."""
    from verifier.report.html import render  # noqa: PLC0415

    return render(result, look)


FORMATS: dict[str, Callable[[Result, Look], str | bytes]] = {
    "text": text,
    "json": json,
    "csv": csv,
    "html": html,
    "xlsx": xlsx,
    "junit": junit,
}
"""By name; a new format is one module and one line here. A text is written as UTF-8."""

ENDINGS = {
    ".txt": "text",
    ".json": "json",
    ".csv": "csv",
    ".html": "html",
    ".htm": "html",
    ".xlsx": "xlsx",
    ".xml": "junit",
}
"""Format by the ending of an output file."""


def format_of(named: str | None, path: PurePath | None) -> str:
    """The format that was named, else that of the file's ending, else text."""
    if named is not None:
        return named
    return ENDINGS.get(path.suffix.lower(), "text") if path is not None else "text"
