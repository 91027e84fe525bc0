"""What a sweep brings, as rows of the tables; all within the transaction of a connection."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from sqlalchemy import Connection, CursorResult, RowMapping, bindparam, delete, select, update
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
from verifier.model.problem import Subject
from verifier.store import schema

# --- rows --------------------------------------------------------------------------------------

Row = dict[str, Any]
Ids = Callable[[Subject], int]


def of_sweep(sweep: Sweep) -> Row:
    """The row of a sweep."""
    return {
        "key": sweep.key,
        "started_s": sweep.started_s,
        "took_s": sweep.took_s,
        "valid_s": sweep.valid_s,
        "skipped": sweep.skipped,
        "clock_step_s": sweep.clock_step_s,
        "plan_name": sweep.plan_name,
        "plan_revision": sweep.plan_revision,
        "plan_sha256": sweep.plan_sha256,
        "tool_version": sweep.tool_version,
        "kept": schema.OPEN,
    }


def reasons_of(reading: HealthReading) -> str | None:
    """The text of a reading's reasons."""
    return json.dumps([asdict(r) for r in reading.reasons]) if reading.reasons else None


def of_reading(
    reading: HealthReading, sweep_id: int, ids: Ids, reasons: Mapping[str | None, int]
) -> Row:
    """The row of a device in a sweep; `reasons` are numbers by text."""
    rooted = reading.root != reading.subject
    return {
        "sweep_id": sweep_id,
        "subject_id": ids(reading.subject),
        "state": reading.state,
        "answered": None if reading.answered is None else int(reading.answered),
        "rtt_ms": reading.rtt_ms,
        "loss_pct": reading.loss_pct,
        "uptime_s": reading.uptime_s,
        "root_kind": reading.root.kind if rooted else None,
        "root_name": reading.root.name if rooted else None,
        "reasons_id": reasons.get(reasons_of(reading)),
    }


def of_memory(memory: Memory, ids: Ids) -> Row:
    """The row of what is remembered of a device."""
    return {
        "subject_id": ids(memory.subject),
        "state": memory.state,
        "since_s": memory.since_s,
        "notified": memory.notified,
        "root_kind": memory.root.kind,
        "root_name": memory.root.name,
        "pending": memory.pending,
        "pending_n": memory.pending_n,
        "pending_since_s": memory.pending_since_s,
        "recent": " ".join(memory.recent),
        "reason": memory.reason,
        "try_first": memory.try_first,
    }


def to_memory(row: RowMapping) -> Memory:
    """What is remembered of a subject, from its row joined with `subject`."""
    return Memory(
        subject=Subject(row["kind"], row["name"]),
        state=row["state"],
        since_s=row["since_s"],
        notified=row["notified"],
        root=Subject(row["root_kind"], row["root_name"]),
        pending=row["pending"],
        pending_n=row["pending_n"],
        pending_since_s=row["pending_since_s"],
        recent=tuple(row["recent"].split()),
        reason=row["reason"],
        try_first=row["try_first"],
    )


def of_change(change: StateChange, sweep_id: int, ids: Ids) -> Row:
    """The row of a change."""
    return {
        "sweep_id": sweep_id,
        "subject_id": ids(change.subject),
        "before": change.before,
        "after": change.after,
        "at_s": change.at_s,
        "confirmed_s": change.confirmed_s,
        "root_kind": change.root.kind,
        "root_name": change.root.name,
        "reason": change.reason,
        "held": change.held,
    }


def body(notice: Notice) -> Row:
    """The JSON document of a message."""
    made = asdict(notice)
    for subject in (made["root"], *(c["subject"] for c in made["changes"])):
        for name in ("port", "carrier", "end"):
            subject.pop(name)
    return {"format": "plan-verifier/change/1", **made}


# --- writing them ------------------------------------------------------------------------------


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
    ids: Ids,
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


def _taken(connection: Connection, brought: Brought, number: int, ids: Ids) -> str | None:
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


def _insert(connection: Connection, brought: Brought, number: int, ids: Ids) -> None:
    readings = brought.sweep.readings
    insert_readings(connection, readings, number, ids)
    replace_counters(connection, readings, ids)
    insert(connection, schema.port_errors, error_rows(brought.sweep.added, number, ids))
    replace_memories(connection, [of_memory(m, ids) for m in brought.memories])
    insert(connection, schema.change, [of_change(c, number, ids) for c in brought.changes])


def insert_readings(
    connection: Connection, readings: Sequence[HealthReading], number: int, ids: Ids
) -> None:
    """What a sweep saw of each device; reasons, which many share, stand in a table of their own."""
    reasons = _learn_reasons(connection, {reasons_of(r) for r in readings} - {None}, number)
    made = [of_reading(r, number, ids, reasons) for r in readings]
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


def error_rows(added: Iterable[NewPortErrors], number: int, ids: Ids) -> list[Row]:
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


def replace_counters(connection: Connection, readings: Sequence[HealthReading], ids: Ids) -> None:
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


def replace_memories(connection: Connection, now: Sequence[Row]) -> None:
    """What is remembered now, in place of what was."""
    _forget(connection, schema.memory, ("subject_id",), now)
    insert(connection, schema.memory, now)


def _forget(connection: Connection, table: Any, keys: Sequence[str], made: Sequence[Row]) -> None:
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
        text = json.dumps(body(notice), ensure_ascii=False)
        inserted = connection.execute(
            schema.message.insert().values(notice_id=notice.id, created_s=now_s, body=text)
        )
        number = key_of(inserted)
        waiting = [
            {"message_id": number, "name": name, "attempts": 0, "next_s": 0.0}
            for name in deliveries
        ]
        insert(connection, schema.delivery, waiting)
