"""JSON in the one form that hashes are taken of (RFC 8785), whatever a device said.

The package rfc8785 makes that form.
"""

from __future__ import annotations

from typing import Any

import rfc8785

_LARGEST_EXACT = 2**53 - 1
"""RFC 8785 section 3.2.2.3: of larger numbers a double does not hold every one."""


def canonical_of(value: Any) -> bytes:
    """RFC 8785; what no JSON of that kind can hold goes in as text."""
    try:
        return rfc8785.dumps(value)
    except rfc8785.CanonicalizationError:
        return rfc8785.dumps(_held(value))


def _held(value: Any) -> Any:
    """A value of which every number is exact and every text is UTF-8."""
    if isinstance(value, dict):
        return {_held(k): _held(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_held(v) for v in value]
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode()
    if isinstance(value, int) and abs(value) > _LARGEST_EXACT:
        return str(value)
    if isinstance(value, float) and (value != value or value in (float("inf"), -float("inf"))):  # noqa: PLR0124
        return str(value)
    return value
