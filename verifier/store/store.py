"""A store that is open: what the package's docstring promises."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import (
    Connection,
    Engine,
    RowMapping,
    Select,
    select,
    update,
)
from sqlalchemy.engine import URL
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from verifier.errors import StoreError
from verifier.model.health import Counters, Memory, Notice, StateChange, Sweep
from verifier.model.problem import Subject
from verifier.store import schema, writing
from verifier.store.engine import IMMEDIATE, engine_of, in_words, lock_of, shown, url_of
from verifier.store.retention import Retention, tidy

T = TypeVar("T")

_PATIENCE_S = 60.0
"""How long a database server that went away is waited for: a restart takes seconds."""
_PAUSE_S = 0.5


@dataclass(frozen=True, slots=True)
class UndeliveredMessage:
    """A message that a delivery has not delivered yet.

    Attributes:
        attempts: how often that was tried.
        next_s: not before then.
    """

    id: int
    body: dict[str, Any]
    attempts: int
    next_s: float


@contextmanager
def opened(url: str) -> Iterator[Store]:
    """The store at `url` (a path is a SQLite file), created if it is not there.

    Raises UsageError for a URL that cannot be meant, StoreError where it cannot be opened,
    InputError where a tool with other tables wrote it.
    """
    place = url_of(url)
    store = Store(engine_of(place), place)
    try:
        store.prepare()
        yield store
    finally:
        store.close()


class Store:
    """See the package. Not for several threads at once; not to be used after a fork."""

    def __init__(self, engine: Engine, url: URL) -> None:
        self._engine = engine
        self._writer = engine.execution_options(**IMMEDIATE)
        self._url = url
        self._lock = lock_of(engine, url)
        self._locked = False
        self._subjects: dict[Subject, int] = {}

    @property
    def name(self) -> str:
        """The store's name for a person; no password is in it."""
        return shown(self._url)

    @property
    def path(self) -> str | None:
        """The file of a SQLite store."""
        return self._url.database if self._url.get_backend_name() == "sqlite" else None

    def prepare(self) -> None:
        """Creates the tables. Raises InputError where they are of another version."""
        self._write(lambda connection: schema.prepare(connection, self.name), locked=False)

    def close(self) -> None:
        """Lets go of the lock and of every connection."""
        self._lock.release()
        self._engine.dispose()

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Holds the one lock of the store. Raises StoreBusyError where another sweep has it."""
        self._lock.take()
        self._locked = True
        try:
            yield
        finally:
            self._locked = False
            self._lock.release()

    def rows(self, statement: Select[Any]) -> Sequence[RowMapping]:
        """Whatever a `select` over the tables of `schema` gives."""
        return self._read(lambda connection: connection.execute(statement).mappings().all())

    def look(self, do: Callable[[Connection], T]) -> T:
        """What `do` makes of the store as it stands at one moment, whoever writes meanwhile."""
        sqlite = self._engine.dialect.name == "sqlite"  # its readers see one moment anyway
        still = {} if sqlite else {"isolation_level": "REPEATABLE READ"}
        return self._patiently(self._engine.execution_options(**still), do)

    def memories(self) -> dict[Subject, Memory]:
        """What is remembered of every device, also of those no longer in the plan."""
        m, u = schema.memory, schema.subject
        stored = self.rows(select(m, u.c.kind, u.c.name).join(u, u.c.id == m.c.subject_id))
        return {memory.subject: memory for memory in map(writing.to_memory, stored)}

    def counters(self) -> dict[tuple[Subject, str], Counters]:
        """The error counters last read, by device and port."""
        p, u = schema.port, schema.subject
        stored = self.rows(select(p, u.c.kind, u.c.name).join(u, u.c.id == p.c.subject_id))
        return {
            (Subject(r["kind"], r["name"]), r["port"]): Counters(
                r["in_errors"], r["out_errors"], r["uptime_s"]
            )
            for r in stored
        }

    def save(  # noqa: PLR0913
        self,
        sweep: Sweep,
        memories: Iterable[Memory] = (),
        changes: Iterable[StateChange] = (),
        notices: Iterable[Notice] = (),
        *,
        deliveries: Sequence[str] = (),
        keep: Retention = Retention(),  # noqa: B008 - frozen
        refused: Callable[[Subject, str], None] = lambda *_: None,
    ) -> int:
        """Stores all that a sweep brought, in one transaction; returns its number.

        Args:
            sweep: one that is stored already, by its key, is left as it is.
            memories: of devices whose memory is another than before.
            changes: those that count from this sweep on.
            notices: messages to deliver.
            deliveries: names of what delivers each of them.
            keep: what is dropped meanwhile.
            refused: is told of each device whose rows the database does not take, and why; it is
                stored as not tested, and its memory stays as it was.
        """
        memories, changes, notices = tuple(memories), tuple(changes), tuple(notices)
        brought = writing.Brought(sweep, memories, changes)

        def write(connection: Connection) -> int:
            s = schema.sweep
            stored = connection.scalar(select(s.c.id).where(s.c.key == sweep.key))
            if stored is not None:
                return int(stored)
            self._learn_subjects(connection, {*(r.subject for r in sweep.readings)})
            ids = self._subjects.__getitem__
            inserted = connection.execute(s.insert().values(writing.of_sweep(sweep)))
            number = writing.key_of(inserted)
            writing.insert_subjects(connection, brought, number, ids, refused)
            writing.insert_notices(connection, notices, sweep.started_s, deliveries)
            tidy(connection, sweep.started_s, keep)
            return number

        return self._write(write)

    def _learn_subjects(self, connection: Connection, subjects: set[Subject]) -> None:
        """Numbers for devices that have none yet."""
        u = schema.subject
        if unknown := subjects - self._subjects.keys():
            known = self._known_subjects(connection)
            new = [{"kind": s.kind, "name": s.name} for s in unknown - known.keys()]
            writing.insert(connection, u, sorted(new, key=lambda row: (row["kind"], row["name"])))
            self._subjects = self._known_subjects(connection) if new else known

    @staticmethod
    def _known_subjects(connection: Connection) -> dict[Subject, int]:
        stored = connection.execute(select(schema.subject)).mappings()
        return {Subject(r["kind"], r["name"]): r["id"] for r in stored}

    def waiting(self, delivery: str) -> list[UndeliveredMessage]:
        """What `delivery` has still to deliver, oldest first."""
        d, m = schema.delivery.c, schema.message.c
        stored = self.rows(
            select(m.id, m.body, d.attempts, d.next_s)
            .join(schema.delivery, d.message_id == m.id)
            .where(d.name == delivery, d.delivered_s.is_(None))
            .order_by(m.id)
        )
        return [
            UndeliveredMessage(r["id"], json.loads(r["body"]), r["attempts"], r["next_s"])
            for r in stored
        ]

    def delivered(self, delivery: str, message: int, at_s: float) -> None:
        """Notes that `delivery` has delivered a message."""
        self._tried(delivery, message, {"delivered_s": at_s, "fault": None})

    def not_delivered(self, delivery: str, message: int, fault: str, next_s: float) -> None:
        """Notes that delivering a message failed, why, and when to try again."""
        self._tried(delivery, message, {"next_s": next_s, "fault": fault})

    def _tried(self, delivery: str, message: int, values: Mapping[str, Any]) -> None:
        d = schema.delivery
        one = update(d).where(d.c.message_id == message, d.c.name == delivery)
        self._write(
            lambda connection: (
                connection.execute(one.values(attempts=d.c.attempts + 1, **values)).rowcount
            )
        )

    def _read(self, do: Callable[[Connection], T]) -> T:
        return self._patiently(self._engine, do)

    def _write(self, do: Callable[[Connection], T], *, locked: bool | None = None) -> T:
        return self._patiently(self._writer, do, keep=self._locked if locked is None else locked)

    def _patiently(self, engine: Engine, do: Callable[[Connection], T], *, keep: bool = False) -> T:
        """Runs `do` in a transaction, again and again while a database server is away."""
        until = time.monotonic() + _PATIENCE_S
        while True:
            try:
                if keep:
                    self._lock.keep()
                with engine.begin() as connection:
                    return do(connection)
            except (SQLAlchemyError, StoreError) as fault:
                self._subjects = {}  # what was learnt in this transaction is not stored
                away = isinstance(fault, StoreError) or _away(fault)
                if engine.dialect.name == "sqlite" or not away or time.monotonic() > until:
                    raise (
                        fault if isinstance(fault, StoreError) else in_words(fault, self._url)
                    ) from None
            time.sleep(_PAUSE_S)


def _away(fault: SQLAlchemyError) -> bool:
    """Whether a server went away, or is not up yet: nothing is wrong with what was asked."""
    if not isinstance(fault, DBAPIError):
        return False
    state = getattr(fault.orig, "sqlstate", None) or ""
    # Class 08: connection; 57P01 to 57P03: shut down, crashed, starting up (PostgreSQL, app. A).
    return fault.connection_invalidated or state[:2] == "08" or state[:3] == "57P"
