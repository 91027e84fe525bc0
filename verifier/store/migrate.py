"""Brings the tables of an older tool forward, one step a version; refuses those of a newer one."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping

from sqlalchemy import Connection, inspect, select, text, update

from verifier.errors import InputError
from verifier.store import schema


def _reasons_apart(connection: Connection) -> None:
    """Version 2: the same reasons of many sweeps are stored once."""
    identity = (
        "INTEGER PRIMARY KEY" if connection.dialect.name == "sqlite" else "BIGSERIAL PRIMARY KEY"
    )
    columns = (
        "digest VARCHAR(64) NOT NULL UNIQUE, text TEXT NOT NULL, used_sweep_id BIGINT NOT NULL"
    )
    connection.execute(text(f"CREATE TABLE reasons (id {identity}, {columns})"))
    connection.execute(text("ALTER TABLE reading ADD COLUMN reasons_id BIGINT"))
    found = connection.execute(
        text(
            "SELECT reasons, max(sweep_id) FROM reading WHERE reasons IS NOT NULL GROUP BY reasons"
        )
    ).all()
    insert = text("INSERT INTO reasons VALUES (:id, :digest, :text, :newest)")
    point = text("UPDATE reading SET reasons_id = :id WHERE reasons = :text")
    for number, (words, newest) in enumerate(found, start=1):
        digest = hashlib.sha256(words.encode()).hexdigest()
        row = {"id": number, "digest": digest, "text": words, "newest": newest}
        connection.execute(insert, row)
        connection.execute(point, {"id": number, "text": words})
    if connection.dialect.name == "postgresql":  # whose numbers come from a sequence
        connection.execute(
            text("SELECT setval(pg_get_serial_sequence('reasons', 'id'), :n)"),
            {"n": len(found) + 1},
        )
    connection.execute(text("ALTER TABLE reading DROP COLUMN reasons"))


_COUNTS = {
    "port": "unit_id BIGINT NOT NULL, port TEXT NOT NULL, in_errors BLOB NOT NULL, "
    "out_errors BLOB NOT NULL, uptime_s DOUBLE, PRIMARY KEY (unit_id, port)",
    "port_errors": "sweep_id INTEGER NOT NULL, unit_id INTEGER NOT NULL, port TEXT NOT NULL, "
    "in_added BLOB NOT NULL, out_added BLOB NOT NULL, PRIMARY KEY (sweep_id, unit_id, port)",
    "hour_port": "hour_s BIGINT NOT NULL, unit_id INTEGER NOT NULL, port TEXT NOT NULL, "
    "in_added BLOB NOT NULL, out_added BLOB NOT NULL, PRIMARY KEY (hour_s, unit_id, port)",
}
_KEYED = {"port_errors": ("subject_id", "sweep_id"), "hour_port": ("subject_id", "hour_s")}


def _counts_whole(connection: Connection) -> None:
    """Version 3: counts hold every Counter64. SQLite changes no type of a column: it is copied."""
    for table, columns in _COUNTS.items():
        names = [c.split()[0] for c in columns.partition(", PRIMARY KEY")[0].split(", ")]
        if connection.dialect.name == "postgresql":
            for name in (n for n in names if n.endswith(("_errors", "_added"))):
                change = f"ALTER TABLE {table} ALTER COLUMN {name} TYPE NUMERIC(40)"
                connection.execute(text(change))
            continue
        rowid = " WITHOUT ROWID" if table in _KEYED else ""
        listed = ", ".join(names)
        connection.execute(text(f"ALTER TABLE {table} RENAME TO {table}_before"))
        connection.execute(text(f"CREATE TABLE {table} ({columns}){rowid}"))
        copy = f"INSERT INTO {table} ({listed}) SELECT {listed} FROM {table}_before"  # noqa: S608 - names of our own
        connection.execute(text(copy))
        connection.execute(text(f"DROP TABLE {table}_before"))
        if table in _KEYED:
            keys = ", ".join(_KEYED[table])
            connection.execute(text(f"CREATE INDEX {table}_unit ON {table} ({keys})"))


STEPS: Mapping[int, Callable[[Connection], None]] = {1: _reasons_apart, 2: _counts_whole}
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
