"""How a store is reached: engines, faults in words, and the lock of one sweep at a time.

SQLite has a write-ahead log, PostgreSQL is reached through psycopg. The kernel or the database lets
go of a lock when its holder dies, so nobody has to remove one: flock beside a SQLite file, a
session's advisory lock in PostgreSQL. Where the server went away, the lock is taken anew before
each transaction.
"""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from typing import Any, Protocol

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, SQLAlchemyError

from verifier.errors import NoStoreError, StoreBusyError, StoreError, UsageError

BUSY_S = 30.0
"""How long another writer is waited for."""
_KEY = 0x706C616E5F766572
"""Of the advisory lock, within its database: the octets of `plan_ver`."""
IMMEDIATE = {"immediate": True}
"""Execution option of transactions that write: SQLite then takes its lock at the beginning.
One that reads first and then wants to write fails at once where another has written meanwhile."""


def url_of(name: str) -> URL:
    """The URL of a store: a path is a SQLite file; PostgreSQL is reached by psycopg.

    Raises UsageError for other databases, for a store that has no file, and for a password in the
    name: command lines are seen by everybody on the machine.
    """
    if "://" not in name:
        return URL.create("sqlite", database=str(Path(name).absolute()))
    try:
        url = make_url(name)
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
    words = _first_line(original)
    code = getattr(original, "sqlite_errorcode", None)
    primary = None if code is None else code & 0xFF
    hint = _HINTS.get(primary, "") if primary is not None else ""
    kind = NoStoreError if primary in _NO_STORE else StoreError
    return kind(f"the store {shown(url)} cannot be used: {words}{hint}")


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


# --- the lock ----------------------------------------------------------------------------------


class Lock(Protocol):
    """Held from `take` to `release`, or to the end of the process."""

    def take(self) -> None:
        """Takes the lock. Raises StoreBusyError where another process holds it."""

    def keep(self) -> None:
        """Takes the lock again where it was lost. Raises StoreBusyError where another has it."""

    def release(self) -> None:
        """Lets go."""


def lock_of(engine: Engine, url: URL) -> Lock:
    """The lock of a store."""
    if url.get_backend_name() == "sqlite":
        return _FileLock(Path(f"{url.database}.lock"), url)
    return _AdvisoryLock(engine, url)


def _busy(url: URL) -> StoreBusyError:
    return StoreBusyError(
        f"another sweep into {shown(url)} is running; one at a time: wait for it, or stop it"
    )


class _FileLock:
    """flock(2) on a file beside the store: gone with the process, however that ends."""

    def __init__(self, path: Path, url: URL) -> None:
        self._path = path
        self._url = url
        self._file: int | None = None

    def take(self) -> None:
        import fcntl  # noqa: PLC0415 - not on every system

        try:
            file = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as fault:
            raise NoStoreError(f"{self._path} cannot be written: {fault.strerror}") from None
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(file)
            raise _busy(self._url) from None
        self._file = file

    def keep(self) -> None:
        if self._file is None:
            self.take()

    def release(self) -> None:
        if self._file is not None:
            os.close(self._file)
            self._file = None


class _AdvisoryLock:
    """PostgreSQL's session lock: gone with the connection."""

    def __init__(self, engine: Engine, url: URL) -> None:
        self._engine = engine
        self._url = url
        self._connection: Connection | None = None

    def take(self) -> None:
        try:
            connection = self._engine.connect().execution_options(isolation_level="AUTOCOMMIT")
            taken = connection.scalar(text("SELECT pg_try_advisory_lock(:key)"), {"key": _KEY})
        except SQLAlchemyError as fault:
            raise in_words(fault, self._url) from None
        if not taken:
            connection.close()
            raise _busy(self._url)
        self._connection = connection

    def keep(self) -> None:
        if self._connection is not None:
            try:
                self._connection.scalar(text("SELECT 1"))
            except SQLAlchemyError:
                self.release()
            else:
                return
        self.take()

    def release(self) -> None:
        if self._connection is not None:
            self._connection.invalidate()  # closes it: a pooled connection would keep the lock
            self._connection.close()
            self._connection = None
