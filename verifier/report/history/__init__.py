"""The history of a period: text, JSON, CSV, or a page with pictures; one table of formats."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from verifier.model.history import HistoryDocument
from verifier.report.history.text import csv, json, text
from verifier.report.style import ReportStyle


def html(record: HistoryDocument, look: ReportStyle) -> str:
    """One page with pictures of the course of time."""
    del look
    from verifier.report.history.page import page  # noqa: PLC0415 - Jinja2 only when drawn

    return page(record)


FORMATS: Mapping[str, Callable[[HistoryDocument, ReportStyle], str]] = {
    "text": text,
    "json": json,
    "csv": csv,
    "html": html,
}
"""By name."""
