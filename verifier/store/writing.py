"""Rows that a sweep adds or replaces; all within the transaction of a connection."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, CursorResult, bindparam, delete, select, update
from sqlalchemy.exc import (
    DataError,
    DBAPIError,
    IntegrityError,
    ProgrammingError,
    StatementError,
)

from verifier.model.health import (
    HealthReading,
    Memory,
    NewPortErrors,
    Notice,
    Reason,
    StateChange,
    Sweep,
)
from verifier.model.subject import Subject
from verifier.store import rows, schema


def key_of(inserted: CursorResult[Any]) -> int:
    """The number that a row was given."""
    key = inserted.inserted_primary_key
    assert key is not None
    return int(key[0])


def insert(connection: Connection, table: Any, made: Sequence[Mapping[str, Any]]) -> None:
    """Adds rows to a table."""
    if made:
        connection.execute(table.insert(), made)


@dataclass(frozen=True, slots=True)
class Brought:
    """What a sweep brought of its devices."""

    sweep: Sweep
    memories: Sequence[Memory]
    changes: Sequence[StateChange]

    def of(self, reading: HealthReading) -> Brought:
        """The part of one device."""
        return Brought(
            dataclasses.replace(
                self.sweep,
                readings=(reading,),
                added=tuple(a for a in self.sweep.added if a.subject == reading.subject),
            ),
            [m for m in self.memories if m.subject == reading.subject],
            [c for c in self.changes if c.subject == reading.subject],
        )

    def untested(self) -> Brought:
        """The same of a device whose rows were refused: that nothing of it could be kept."""
        (reading,) = self.sweep.readings
        bare = HealthReading(
            subject=reading.subject,
            state="untested",
            root=reading.subject,
            answered=reading.answered,
            reasons=(Reason("", "not-tested", "what it showed could not be stored"),),
        )
        return Brought(dataclasses.replace(self.sweep, readings=(bare,), added=()), (), ())


def insert_subjects(
    connection: Connection,
    brought: Brought,
    number: int,
    ids: rows.Ids,
    refused: Callable[[Subject, str], None],
) -> None:
    """Rows of all devices; where the database does not take them together, device by device."""
    if _taken(connection, brought, number, ids) is None:
        return
    for reading in brought.sweep.readings:
        own = brought.of(reading)
        if (why := _taken(connection, own, number, ids)) is not None:
            _insert(connection, own.untested(), number, ids)
            refused(reading.subject, why)


def _taken(connection: Connection, brought: Brought, number: int, ids: rows.Ids) -> str | None:
    """Inserts rows; else none of them, and what the database has against a value of theirs."""
    try:
        with connection.begin_nested():
            _insert(connection, brought, number, ids)
    except (ArithmeticError, ValueError, TypeError) as fault:
        return type(fault).__name__
    except StatementError as fault:
        if isinstance(fault, DBAPIError) and not _of_values(fault):
            raise
        return type(fault.orig or fault).__name__
    return None


def _of_values(fault: DBAPIError) -> bool:
    """Whether a value was refused: by the database, or by its driver, which asks no server."""
    by_driver = isinstance(fault, ProgrammingError) and not getattr(fault.orig, "sqlstate", None)
    return by_driver or isinstance(fault, DataError | IntegrityError)


def _insert(connection: Connection, brought: Brought, number: int, ids: rows.Ids) -> None:
    readings = brought.sweep.readings
    insert_readings(connection, readings, number, ids)
    replace_counters(connection, readings, ids)
    insert(connection, schema.port_errors, error_rows(brought.sweep.added, number, ids))
    replace_memories(connection, [rows.of_memory(m, ids) for m in brought.memories])
    insert(connection, schema.change, [rows.of_change(c, number, ids) for c in brought.changes])


def insert_readings(
    connection: Connection, readings: Sequence[HealthReading], number: int, ids: rows.Ids
) -> None:
    """What a sweep saw of each device; reasons, which many share, stand in a table of their own."""
    reasons = _learn_reasons(connection, {rows.reasons_of(r) for r in readings} - {None}, number)
    made = [rows.of_reading(r, number, ids, reasons) for r in readings]
    insert(connection, schema.reading, made)
    insert(
        connection,
        schema.level,
        [
            {
                "sweep_id": number,
                "subject_id": ids(r.subject),
                "carrier": level.carrier,
                "end": level.end,
                "rx_level_dbm": level.rx_level_dbm,
            }
            for r in readings
            for level in r.levels
        ],
    )


def _learn_reasons(
    connection: Connection, texts: set[str | None], number: int
) -> dict[str | None, int]:
    """Numbers of reasons by their text; what has none yet gets one."""
    table = schema.reasons
    digests = {hashlib.sha256(str(text).encode()).hexdigest(): text for text in texts}
    known = connection.execute(select(table.c.id, table.c.digest)).all() if digests else []
    numbers = {digests[digest]: id_ for id_, digest in known if digest in digests}
    if numbers:
        used = update(table).where(table.c.id == bindparam("of"))
        connection.execute(
            used.values(used_sweep_id=number), [{"of": id_} for id_ in numbers.values()]
        )
    for digest, text in digests.items():
        if text not in numbers:
            row = {"digest": digest, "text": text, "used_sweep_id": number}
            numbers[text] = key_of(connection.execute(table.insert().values(row)))
    return numbers


def error_rows(added: Iterable[NewPortErrors], number: int, ids: rows.Ids) -> list[rows.Row]:
    """Rows of `port_errors`."""
    return [
        {
            "sweep_id": number,
            "subject_id": ids(a.subject),
            "port": a.port,
            "in_added": a.in_added,
            "out_added": a.out_added,
        }
        for a in added
    ]


def replace_counters(
    connection: Connection, readings: Sequence[HealthReading], ids: rows.Ids
) -> None:
    """The counters last read, in place of those before."""
    p = schema.port
    now = [
        {
            "subject_id": ids(r.subject),
            "port": port.port,
            "in_errors": port.in_errors,
            "out_errors": port.out_errors,
            "uptime_s": r.uptime_s,
        }
        for r in readings
        for port in r.ports
    ]
    _forget(connection, p, ("subject_id", "port"), now)
    insert(connection, p, now)


def replace_memories(connection: Connection, now: Sequence[rows.Row]) -> None:
    """What is remembered now, in place of what was."""
    _forget(connection, schema.memory, ("subject_id",), now)
    insert(connection, schema.memory, now)


def _forget(
    connection: Connection, table: Any, keys: Sequence[str], made: Sequence[rows.Row]
) -> None:
    if made:
        match = [table.c[key] == bindparam(f"of_{key}") for key in keys]
        connection.execute(
            delete(table).where(*match), [{f"of_{key}": row[key] for key in keys} for row in made]
        )


def insert_notices(
    connection: Connection, notices: Iterable[Notice], now_s: float, deliveries: Sequence[str]
) -> None:
    """The outbox: each message, and who is to tell it."""
    for notice in notices if deliveries else ():
        text = json.dumps(rows.body(notice), ensure_ascii=False)
        inserted = connection.execute(
            schema.message.insert().values(notice_id=notice.id, created_s=now_s, body=text)
        )
        number = key_of(inserted)
        waiting = [
            {"message_id": number, "name": name, "attempts": 0, "next_s": 0.0}
            for name in deliveries
        ]
        insert(connection, schema.delivery, waiting)
