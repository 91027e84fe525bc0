"""Mutants that are the same program for everybody who looks at it, each with the reason."""

from __future__ import annotations

_TYPE = "None was excluded before: the figure stands there for the type only"
EQUIVALENT: dict[str, tuple[tuple[str, str, str], ...]] = {
    "rules/compare/radio/capacity.py": (
        ("figure(n.key or 0)", "0 ->", _TYPE),
        ("figure(n.planned_key or 0)", "0 ->", _TYPE),
        ("figure(n.planned or 0)", "0 ->", _TYPE),
        ("n.current or 0.0, n.planned or 0.0", "0.0 ->", _TYPE),
    ),
    "rules/compare/radio/tx_power.py": (
        ('_Said("pass", actual.number or 0.0', "0.0 ->", _TYPE),
        ("figure(lowest or 0.0)", "0.0 ->", _TYPE),
    ),
    "rules/compare/radio/quality.py": (
        ("(seen.number or 0.0) + raised, mode.threshold_dbm or 0.0", "0.0 ->", _TYPE),
    ),
    "rules/compare/radio/weather.py": (("figure(round(least or 0.0, 1))", "0.0 ->", _TYPE),),
}
"""Module: what stands in the line, how the change begins, why nobody can see it."""


def reason(module: str, line: str, change: str) -> str:
    """Why a change of a line of a module is none; empty where it is not known to be."""
    return next(
        (
            why
            for fragment, begins, why in EQUIVALENT.get(module, ())
            if fragment in line and change.startswith(begins)
        ),
        "",
    )
