"""The model as JSON values, and JSON in the one form that hashes are taken of (RFC 8785).

The package rfc8785 makes that form.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
from typing import Any

import rfc8785

from verifier.model.plan import Plan

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


# -- the model -------------------------------------------------------------------------------------


def plan_json(plan: Plan) -> dict[str, Any]:
    """The model as JSON values, without origins: addresses, dates and services as text."""
    made: dict[str, Any] = as_json(plan)
    return made


def plan_sha256(plan: Plan) -> str:
    """SHA-256 of the model's canonical JSON (RFC 8785): equal for equal plans of every kind."""
    return hashlib.sha256(rfc8785.dumps(plan_json(plan))).hexdigest()


def as_json(value: Any) -> Any:
    """A value of the model as JSON values; only what is part of equality is in it."""
    if isinstance(value, tuple):
        return [as_json(v) for v in value]
    if isinstance(value, dict):
        return {str(k): as_json(v) for k, v in value.items()}
    if isinstance(value, dt.date):  # a datetime is one, and always in UTC
        return value.isoformat().replace("+00:00", "Z")
    if not dataclasses.is_dataclass(value):
        return value
    if hasattr(value, "parse"):
        return str(value)
    fields = (f.name for f in dataclasses.fields(value) if f.compare)
    return {name: as_json(getattr(value, name)) for name in fields}
