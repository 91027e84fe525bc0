"""The version of a store's tables: creates them, and refuses those of another version."""

from __future__ import annotations

from sqlalchemy import Connection, inspect, select

from verifier.errors import InputError
from verifier.store import schema


def prepare(connection: Connection, name: str) -> None:
    """Creates the tables of `schema.VERSION` where there are none.

    Raises InputError where they are of another version, and where they are not a store's.
    """
    found = version_of(connection, name)
    if found is None:
        schema.metadata.create_all(connection)
        connection.execute(schema.meta.insert().values(key="schema", value=str(schema.VERSION)))
        return
    if found != schema.VERSION:
        raise InputError(
            f"the store {name} was written by another plan-verifier (its schema is {found}, this "
            f"one knows {schema.VERSION}): use that one, or another store"
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
