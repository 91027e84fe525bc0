"""Hourly figures of what is past, and what is dropped when.

Both work in small portions, a few sweeps or hours with each sweep that is stored: no sweep takes
much longer than another, and a clock that jumped far ahead costs little before somebody notices.

A portion is three sweeps or hours. Nothing is dropped where the clock jumped by more than a day, so
that a wrong clock does not empty the store.
"""

from __future__ import annotations

import itertools
import statistics
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, RowMapping, Table, delete, func, select, update

from verifier.store import schema

HOUR_S = 3600
DAY_S = 86_400
_PORTION = 3
"""Sweeps, or hours, dropped at most with each sweep: more than come in, so it catches up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Retention:
    """How long to keep: what each sweep saw, and the hourly figures. Changes are kept for ever."""

    raw_s: float = 14.0 * DAY_S
    hourly_s: float = 400.0 * DAY_S


def tidy(connection: Connection, now_s: float, keep: Retention) -> None:
    """Rolls finished hours up and drops what is too old, a portion of each."""
    _roll_up(connection, now_s)
    if _jumped(connection, now_s):
        return
    _drop_raw(connection, now_s - keep.raw_s)
    _drop_reasons(connection)
    _drop_hours(connection, now_s - keep.hourly_s)
    _drop_messages(connection, now_s - keep.raw_s)


def _jumped(connection: Connection, now_s: float) -> bool:
    """Whether the sweep before this one is far off in time: a long pause, or a clock that was set.

    Then nothing is dropped yet: the next sweep shows whether it is so.
    """
    newest = select(schema.sweep.c.started_s).order_by(schema.sweep.c.id.desc()).limit(2)
    return any(abs(now_s - at_s) > DAY_S for at_s in connection.scalars(newest))


def _roll_up(connection: Connection, now_s: float) -> None:
    """Rolls up the oldest hours that are over; those of a clock set back are over as well."""
    s = schema.sweep.c
    open_ = list(
        connection.execute(
            select(s.id, s.started_s, s.valid_s).where(s.kept == schema.OPEN).order_by(s.id)
        ).mappings()
    )
    running = hour_of(now_s)
    spans = spans_of(open_)
    hours: dict[int, list[RowMapping]] = defaultdict(list)
    for row in open_:
        hours[hour_of(row["started_s"])].append(row)
    for hour_s in [h for h in hours if h != running][:_PORTION]:
        ids = [row["id"] for row in hours[hour_s]]
        _roll_up_hour(connection, hour_s, {i: spans[i] for i in ids})
        connection.execute(update(schema.sweep).where(s.id.in_(ids)).values(kept=schema.RAW))


def hour_of(at_s: float) -> int:
    """The start of the hour that a time lies in."""
    return int(at_s // HOUR_S) * HOUR_S


def spans_of(sweeps: Sequence[RowMapping]) -> dict[int, float]:
    """For how long each sweep speaks: until the next, never longer than it may, never below 0."""
    spans = {row["id"]: float(row["valid_s"]) for row in sweeps}
    for row, following in itertools.pairwise(sweeps):
        until = following["started_s"] - row["started_s"]
        spans[row["id"]] = min(spans[row["id"]], max(0.0, until))
    return spans


def _roll_up_hour(connection: Connection, hour_s: int, spans: Mapping[int, float]) -> None:
    for table, made in hour_rows(connection, hour_s, spans):
        # A clock set back brings an hour twice: its later figures count.
        connection.execute(delete(table).where(table.c.hour_s == hour_s))
        if made:
            connection.execute(table.insert(), made)


def hour_rows(
    connection: Connection, hour_s: int, spans: Mapping[int, float]
) -> list[tuple[Table, list[dict[str, Any]]]]:
    """What the hourly tables hold of an hour, from the sweeps in it and how long each speaks."""
    r, lv, pe = schema.reading.c, schema.level.c, schema.port_errors.c
    readings = _grouped(
        connection.execute(
            select(r.subject_id, r.sweep_id, r.state, r.answered, r.rtt_ms, r.loss_pct).where(
                r.sweep_id.in_(spans)
            )
        ).mappings(),
        ("subject_id",),
    )
    levels = _grouped(
        connection.execute(
            select(lv.subject_id, lv.carrier, lv.end, lv.rx_level_dbm).where(lv.sweep_id.in_(spans))
        ).mappings(),
        ("subject_id", "carrier", "end"),
    )
    errors = _grouped(
        connection.execute(
            select(pe.subject_id, pe.port, pe.in_added, pe.out_added).where(pe.sweep_id.in_(spans))
        ).mappings(),
        ("subject_id", "port"),
    )
    return [
        (
            table,
            [
                {"hour_s": hour_s, **dict(zip(keys, key, strict=True)), **figures(rows)}
                for key, rows in groups.items()
            ],
        )
        for table, keys, groups, figures in (
            (schema.hour, ("subject_id",), readings, lambda rows: _of_device(rows, spans)),
            (schema.hour_level, ("subject_id", "carrier", "end"), levels, _of_level),
            (schema.hour_port, ("subject_id", "port"), errors, _of_port),
        )
    ]


def _grouped(
    rows: Iterable[RowMapping], keys: tuple[str, ...]
) -> dict[tuple[Any, ...], list[RowMapping]]:
    groups: dict[tuple[Any, ...], list[RowMapping]] = defaultdict(list)
    for row in rows:
        groups[tuple(row[key] for key in keys)].append(row)
    return groups


def _of_device(rows: Sequence[RowMapping], spans: Mapping[int, float]) -> dict[str, Any]:
    time_s = dict.fromkeys(("sound", "impaired", "silent", "untested"), 0.0)
    answered_s = {0: 0.0, 1: 0.0, None: 0.0}
    for row in rows:
        time_s[row["state"]] += spans[row["sweep_id"]]
        answered_s[row["answered"]] += spans[row["sweep_id"]]
    rtts = [row["rtt_ms"] for row in rows if row["rtt_ms"] is not None]
    losses = [row["loss_pct"] for row in rows if row["loss_pct"] is not None]
    return {
        "sweeps": len(rows),
        **{f"{state}_s": value for state, value in time_s.items()},
        "answered_s": answered_s[1],
        "unanswered_s": answered_s[0],
        "rtt_median_ms": statistics.median(rtts) if rtts else None,
        "rtt_max_ms": max(rtts, default=None),
        "loss_mean_pct": statistics.fmean(losses) if losses else None,
    }


def _of_level(rows: Sequence[RowMapping]) -> dict[str, Any]:
    levels = [row["rx_level_dbm"] for row in rows]
    return {
        "samples": len(levels),
        "min_dbm": min(levels),
        "median_dbm": statistics.median(levels),
        "max_dbm": max(levels),
    }


def _of_port(rows: Sequence[RowMapping]) -> dict[str, Any]:
    return {name: sum(row[name] for row in rows) for name in ("in_added", "out_added")}


def _drop_raw(connection: Connection, before_s: float) -> None:
    """Drops what the oldest sweeps saw; the sweeps themselves stay as long as the hours do."""
    ids = _oldest(connection, schema.RAW, before_s)
    for table in (schema.reading, schema.level, schema.port_errors):
        connection.execute(delete(table).where(table.c.sweep_id.in_(ids)))
    gone = update(schema.sweep).where(schema.sweep.c.id.in_(ids))
    connection.execute(gone.values(kept=schema.HOURLY))


def _oldest(connection: Connection, kept: str, before_s: float) -> Sequence[int]:
    s = schema.sweep.c
    return connection.scalars(
        select(s.id).where(s.kept == kept, s.started_s < before_s).order_by(s.id).limit(_PORTION)
    ).all()


def _drop_reasons(connection: Connection) -> None:
    """Drops reasons that no kept reading has."""
    s, table = schema.sweep.c, schema.reasons
    oldest = select(func.min(s.id)).where(s.kept != schema.HOURLY).scalar_subquery()
    connection.execute(delete(table).where(table.c.used_sweep_id < oldest))


def _drop_hours(connection: Connection, before_s: float) -> None:
    h = schema.hour.c
    hours = connection.scalars(
        select(h.hour_s).where(h.hour_s < before_s).distinct().order_by(h.hour_s).limit(_PORTION)
    ).all()
    for table in (schema.hour, schema.hour_level, schema.hour_port):
        connection.execute(delete(table).where(table.c.hour_s.in_(hours)))
    old = _oldest(connection, schema.HOURLY, before_s)
    connection.execute(delete(schema.sweep).where(schema.sweep.c.id.in_(old)))


def _drop_messages(connection: Connection, before_s: float) -> None:
    """Drops messages that every delivery has delivered."""
    m, d = schema.message.c, schema.delivery.c
    waiting = select(d.message_id).where(d.message_id == m.id, d.delivered_s.is_(None)).exists()
    ids = connection.scalars(
        select(m.id).where(m.created_s < before_s, ~waiting).order_by(m.id).limit(100)
    ).all()
    connection.execute(delete(schema.delivery).where(d.message_id.in_(ids)))
    connection.execute(delete(schema.message).where(m.id.in_(ids)))
