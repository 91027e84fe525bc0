"""Short ways to rows as people write them, and to what is said of them."""

from __future__ import annotations

from typing import Any


def said_of(problems: Any) -> Any:
    return [(p.severity, p.rule) for p in problems]


DEVICE = ["Name", "Address"]


def unit_row(*cells: Any) -> Any:
    return [DEVICE, ["r", "198.18.0.1/24", *cells]]


def column_of(heading: str, value: Any) -> Any:
    return [[*DEVICE, heading], ["r", "198.18.0.1/24", value]]
