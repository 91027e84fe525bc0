"""The result of a run, drawn for people or machines: pure callables in one table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from pathlib import PurePath
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from verifier.model.result import Result
    from verifier.report.style import ReportStyle

Format = Callable[["Result", "ReportStyle"], str | bytes]


def _drawn_by(module: str) -> Format:
    """That module's `render`; the module is imported only when it draws."""

    def render(result: Result, look: ReportStyle) -> str | bytes:
        """As the module draws it."""
        drawn: str | bytes = import_module(f"{__name__}.{module}").render(result, look)
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
    drawn: str = import_module(f"{__name__}.text").brief(result, look)
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


def format_of(name: str | None, path: PurePath | None) -> str:
    """The format that was named, else that of the file's ending, else text."""
    if name is not None:
        return name
    return ENDINGS.get(path.suffix.lower(), "text") if path is not None else "text"
