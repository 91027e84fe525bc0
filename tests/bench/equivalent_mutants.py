"""Mutants that are the same program for everybody who looks at it, each with the reason."""

from __future__ import annotations

EQUIVALENT: dict[str, dict[tuple[str, str], str]] = {}
"""Module, then the text of the line and the change ("*": every change of that line)."""
