"""Columns for counts: every Counter64 exactly, and sums of them.

Rows of one device that the database does not take are left out and told; the others are stored.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from sqlalchemy import Dialect, Numeric
from sqlalchemy.types import TypeDecorator, TypeEngine, UserDefinedType

_DIGITS = 40
"""A Counter64 has 20 (RFC 2578 section 7.1.10); the rest is for sums."""
_LARGEST_INTEGER = 2**63 - 1
"""SQLite's INTEGER (sqlite.org/datatype3.html); what is larger is stored as its digits."""


class _AsGiven(UserDefinedType[Any]):
    """A column of SQLite that converts nothing: numbers stay numbers, digits stay text."""

    cache_ok = True

    def get_col_spec(self, **_: Any) -> str:
        return "BLOB"


class Count(TypeDecorator[int]):
    """A whole number from 0 to 10^40 - 1."""

    impl = Numeric
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """NUMERIC(40), and what converts nothing in SQLite."""
        kind: TypeEngine[Any] = _AsGiven() if dialect.name == "sqlite" else Numeric(_DIGITS, 0)
        return dialect.type_descriptor(kind)

    def process_bind_param(self, value: int | None, dialect: Dialect) -> Any:
        """For the database."""
        if value is None or (dialect.name == "sqlite" and value <= _LARGEST_INTEGER):
            return value
        return str(value) if dialect.name == "sqlite" else Decimal(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> int | None:
        """From the database."""
        del dialect
        return None if value is None else int(value)
