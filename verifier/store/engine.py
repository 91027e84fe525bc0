"""Engines: SQLite with a write-ahead log, PostgreSQL through psycopg; faults in words."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, SQLAlchemyError

from verifier.errors import NoStoreError, StoreError, UsageError

BUSY_S = 30.0
"""How long another writer is waited for."""
IMMEDIATE = {"immediate": True}
"""Execution option of transactions that write: SQLite then takes its lock at the beginning.
One that reads first and then wants to write fails at once where another has written meanwhile."""


def url_of(text: str) -> URL:
    """The URL of a store: a path is a SQLite file; PostgreSQL is reached by psycopg.

    Raises UsageError for other databases, for a store that has no file, and for a password in the
    text: command lines are seen by everybody on the machine.
    """
    if "://" not in text:
        return URL.create("sqlite", database=str(Path(text).absolute()))
    try:
        url = make_url(text)
    except ArgumentError as fault:
        raise UsageError(f"the store's URL cannot be read: {_first_line(fault)}") from None
    kind = url.get_backend_name()
    if kind == "sqlite":
        if url.database in {None, "", ":memory:"}:
            raise UsageError("a store needs a file: sqlite:///harbour.sweeps.db")
        return url.set(drivername="sqlite", database=str(Path(str(url.database)).absolute()))
    if kind != "postgresql":
        raise UsageError(f"a store is SQLite or PostgreSQL, not {kind!r}")
    return url.set(drivername="postgresql+psycopg")


def engine_of(url: URL) -> Engine:
    """An engine for `url`; nothing is opened yet. Raises UsageError without the driver."""
    try:
        if url.get_backend_name() == "sqlite":
            engine = create_engine(url, connect_args={"timeout": BUSY_S})
            event.listen(engine, "connect", _sqlite_connected)
            event.listen(engine, "begin", _sqlite_begins)
        else:
            engine = create_engine(
                url, pool_pre_ping=True, connect_args={"connect_timeout": int(BUSY_S)}
            )
    except (NoSuchModuleError, ModuleNotFoundError):
        raise UsageError(
            "PostgreSQL needs a further package: pip install 'plan-verifier[postgresql]'"
        ) from None
    return engine


def _sqlite_connected(connection: sqlite3.Connection, record: object) -> None:
    del record
    connection.isolation_level = None  # transactions begin where we say so, below
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
        connection.execute(f"PRAGMA {pragma}")


def _sqlite_begins(connection: Connection) -> None:
    writes = connection.get_execution_options().get("immediate", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def shown(url: URL) -> str:
    """The store's name for a person: a path, or the URL without its password."""
    if url.get_backend_name() == "sqlite":
        return os.path.relpath(str(url.database))
    return url.set(drivername="postgresql").render_as_string(hide_password=True)


def in_words(fault: SQLAlchemyError, url: URL) -> StoreError:
    """A database's refusal as one line for a person. It never holds a value or a password."""
    original = fault.orig if isinstance(fault, DBAPIError) else fault
    text = _first_line(original)
    code = getattr(original, "sqlite_errorcode", None)
    primary = None if code is None else code & 0xFF
    hint = _HINTS.get(primary, "") if primary is not None else ""
    kind = NoStoreError if primary in _NO_STORE else StoreError
    return kind(f"the store {shown(url)} cannot be used: {text}{hint}")


_NO_STORE = frozenset({
    sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_READONLY,
})  # fmt: skip
"""Waiting mends none of these: another file must be named."""


_HINTS = {
    sqlite3.SQLITE_FULL: "; make room on the disk",
    sqlite3.SQLITE_BUSY: f"; another program has been writing to it for over {BUSY_S:g} s",
    sqlite3.SQLITE_READONLY: "; it may only be read",
    sqlite3.SQLITE_CANTOPEN: "; does its folder exist, and may you write there?",
    sqlite3.SQLITE_NOTADB: "; this file is no store",
    sqlite3.SQLITE_IOERR: "; the disk may be full or failing",
}


def _first_line(fault: Any) -> str:
    lines = str(fault).strip().splitlines()
    return lines[0] if lines else type(fault).__name__
