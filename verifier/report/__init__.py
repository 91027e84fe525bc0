"""A result drawn for people or machines: pure callables in one table."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import PurePath
from typing import Any

from verifier.model.plan import Plan
from verifier.model.result import Result


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportSheet:
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
        samples: blocks of a soak, see `rules/soak/tally`; gone through once.
        sha256: hash of each part of the evidence, by its name.
        signature: public key of the signature, in words; empty where it is not signed.
    """

    plan: Plan | None = None
    sheets: tuple[ReportSheet, ...] = ()
    samples: Iterable[Mapping[str, Any]] = ()
    sha256: Mapping[str, str] = field(default_factory=dict)
    signature: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportStyle:
    """How a report is to look: width in columns, colour, everything or what matters."""

    width: int = 100
    colour: bool = False
    verbose: bool = False
    annex: Annex = Annex()


Format = Callable[[Result, ReportStyle], str | bytes]


def _drawn_by(module: str) -> Format:
    """That module's `render`; the module is imported only when it draws."""

    def render(result: Result, look: ReportStyle) -> str | bytes:
        """As the module draws it."""
        drawn: str | bytes = import_module(f"{__name__}.result.{module}").render(result, look)
        return drawn

    return render


FORMATS: Mapping[str, Format] = {
    name: _drawn_by(name) for name in ("text", "json", "csv", "html", "xlsx", "junit")
}
"""By name; a new format is one module with a `render`, and its name here.

A text is written as UTF-8.
"""


def brief(result: Result, look: ReportStyle) -> str:
    """The verdict line and what failed, see `text.brief`."""
    drawn: str = import_module(f"{__name__}.result.text").brief(result, look)
    return drawn


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
