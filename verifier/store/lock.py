"""One sweep at a time: locks that the kernel or the database lets go of when their holder dies.

Nobody has to remove them: flock beside a SQLite file, a session's advisory lock in PostgreSQL.
Where the server went away, the lock is taken anew before each transaction.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Protocol

from sqlalchemy import Connection, Engine, text
from sqlalchemy.engine import URL
from sqlalchemy.exc import SQLAlchemyError

from verifier.errors import NoStoreError, StoreBusyError
from verifier.store.engine import in_words, shown

_KEY = 0x706C616E5F766572
"""Of the advisory lock, within its database: the octets of `plan_ver`."""


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
            got = connection.scalar(text("SELECT pg_try_advisory_lock(:key)"), {"key": _KEY})
        except SQLAlchemyError as fault:
            raise in_words(fault, self._url) from None
        if not got:
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
