"""Brings the tables of an older tool forward, one step a version; refuses those of a newer one."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from sqlalchemy import Connection, inspect, select, update

from verifier.errors import InputError
from verifier.store import schema

STEPS: Mapping[int, Callable[[Connection], None]] = {}
"""What makes version N + 1 of version N, by N. A step is written in SQL, never changed later."""


def bring_forward(connection: Connection, name: str) -> None:
    """Creates the tables, or changes them to `schema.VERSION`, within one transaction.

    Raises InputError where a newer tool made them, and where they are not a store's.
    """
    found = version_of(connection, name)
    if found is None:
        schema.metadata.create_all(connection)
        connection.execute(schema.meta.insert().values(key="schema", value=str(schema.VERSION)))
        return
    if found > schema.VERSION:
        raise InputError(
            f"the store {name} was written by a newer plan-verifier (its schema is {found}, this "
            f"one knows {schema.VERSION}): use that one, or another store"
        )
    for version in range(found, schema.VERSION):
        STEPS[version](connection)
    if found < schema.VERSION:
        connection.execute(
            update(schema.meta)
            .where(schema.meta.c.key == "schema")
            .values(value=str(schema.VERSION))
        )


def version_of(connection: Connection, name: str) -> int | None:
    """The version of the tables; None where there are none. Raises InputError for no store."""
    tables = set(inspect(connection).get_table_names())
    if not tables:
        return None
    if "meta" in tables:
        value = connection.scalar(select(schema.meta.c.value).where(schema.meta.c.key == "schema"))
        if value is not None and value.isdecimal():
            return int(value)
    if tables & set(schema.metadata.tables):
        raise InputError(f"{name} holds tables of a store, but does not say of which version")
    return None
