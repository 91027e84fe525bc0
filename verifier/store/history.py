"""What the store holds of a period, device by device.

Hours that are rolled up are read from the hourly tables, the running one is made up in the same way
from its sweeps: both together are the period, which therefore begins at a full hour. Outages are
read from the sweeps where these are kept, round trips and levels too where they are not too many.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, RowMapping, Select, Table, func, select

from verifier.model.health import StateChange
from verifier.model.history import LevelKey, Period, Sample, Spell, SubjectPast
from verifier.model.problem import Subject
from verifier.store import schema
from verifier.store.retention import HOUR_S, hour_of, hour_rows, spans_of

FINE_ROWS = 200_000
"""Number of readings shown one by one; more are shown by hours."""
_AT_ONCE = 100
"""Devices read together."""
_STATES = ("sound", "impaired", "silent", "untested")

Rows = dict[int, list[Any]]


class History:
    """A period of a store, as it stands in one transaction.

    Args:
        connection: in that transaction.
        devices: of which the past is asked.
        start_s: begin of the period; the hour it lies in counts as a whole.
        end_s: usually now.
    """

    def __init__(
        self, connection: Connection, subjects: Sequence[Subject], start_s: float, end_s: float
    ) -> None:
        self._connection = connection
        self._end_s = end_s
        known = {Subject(r["kind"], r["name"]): r["id"] for r in self._rows(select(schema.subject))}
        self._subjects = [(subject, known.get(subject)) for subject in subjects]
        s = schema.sweep.c
        first_s = connection.scalar(select(func.min(s.started_s)))
        start_s = hour_of(max(start_s, first_s if first_s is not None else end_s))
        self._sweeps = self._rows(
            select(s.id, s.started_s, s.valid_s, s.skipped, s.kept)
            .where(s.started_s >= start_s, s.started_s < end_s)
            .order_by(s.id)
        )
        self._spans = {
            row["id"]: min(span_s, end_s - row["started_s"])
            for row, span_s in zip(self._sweeps, spans_of(self._sweeps).values(), strict=True)
        }
        dropped = [row["started_s"] for row in self._sweeps if row["kept"] == schema.HOURLY]
        self._raw_s = hour_of(max(dropped)) + HOUR_S if dropped else start_s
        self._raw = {
            row["id"]: row["started_s"]
            for row in self._sweeps
            if row["kept"] != schema.HOURLY and row["started_s"] >= self._raw_s
        }
        fine = not dropped and len(self._raw) * len(subjects) <= FINE_ROWS
        self.period = Period(
            start_s=max(start_s, first_s if first_s is not None else end_s),
            end_s=end_s,
            sweeps=len(self._sweeps),
            skipped=sum(row["skipped"] for row in self._sweeps),
            resolution="sweep" if fine else "hour",
        )
        self._start_s = start_s
        self._open_hours: frozenset[int] = frozenset()
        self._open = self._running()

    def subjects(self) -> Iterator[SubjectPast]:
        """The past of each device, in the order they were asked for."""
        for n in range(0, len(self._subjects), _AT_ONCE):
            yield from self._some(self._subjects[n : n + _AT_ONCE])

    def _rows(self, statement: Select[Any]) -> list[RowMapping]:
        return list(self._connection.execute(statement).mappings())

    def _running(self) -> dict[Table, Rows]:
        """Hourly figures of the sweeps that are not rolled up yet, by table and subject."""
        hours: dict[int, dict[int, float]] = defaultdict(dict)
        for row in self._sweeps:
            if row["kept"] == schema.OPEN:
                hours[hour_of(row["started_s"])][row["id"]] = self._spans[row["id"]]
        self._open_hours = frozenset(hours)
        made: dict[Table, Rows] = defaultdict(lambda: defaultdict(list))
        for hour_s, spans in sorted(hours.items()):
            for table, figures in hour_rows(self._connection, hour_s, spans):
                for one in figures:
                    made[table][one["subject_id"]].append(one)
        return made

    def _by_subject(self, table: Table, ids: Sequence[int]) -> Rows:
        """Rows of an hourly table in the period, the running hour at the end."""
        rows: Rows = defaultdict(list)
        t = table.c
        for row in self._rows(
            select(table)
            .where(t.subject_id.in_(ids), t.hour_s >= self._start_s, t.hour_s < self._end_s)
            .order_by(t.hour_s)
        ):
            if row["hour_s"] not in self._open_hours:
                rows[row["subject_id"]].append(row)
        for id_ in ids:
            rows[id_] += self._open[table].get(id_, [])
        return rows

    def _some(self, subjects: Sequence[tuple[Subject, int | None]]) -> Iterator[SubjectPast]:
        ids = [id_ for _, id_ in subjects if id_ is not None]
        hours, levels, errors = (
            self._by_subject(t, ids) for t in (schema.hour, schema.hour_level, schema.hour_port)
        )
        gone = [i for i in ids if any(row["unanswered_s"] > 0 for row in hours[i])]
        spells, changes = self._spells(gone), self._changes(ids)
        fine = self.period.resolution == "sweep"
        rtt = self._fine_rtt(ids) if fine else {i: _rtt(hours[i]) for i in ids}
        fine_levels = self._fine_levels(ids) if fine else {}
        for subject, id_ in subjects:
            key = -1 if id_ is None else id_
            by_hour = _levels(levels[key])
            yield SubjectPast(
                subject=subject,
                first_s=self._first_s(hours[key], changes[key]),
                time_s={s: sum(row[f"{s}_s"] for row in hours[key]) for s in _STATES},
                answered_s=sum(row["answered_s"] for row in hours[key]),
                unanswered_s=sum(row["unanswered_s"] for row in hours[key]),
                raw_s=self._raw_s,
                spells=tuple(spells[key]),
                rtt=tuple(rtt.get(key, ())),
                levels=fine_levels.get(key, {}) if fine else by_hour,
                level_hours=by_hour,
                errors=_errors(errors[key]),
                changes=tuple(changes[key]),
            )

    @staticmethod
    def _first_s(hours: Sequence[Any], changes: Sequence[StateChange]) -> float | None:
        """A device's first change, kept for ever, tells when it came; else its first hour."""
        first = [float(changes[0].at_s)] if changes else []
        return min(first + [float(row["hour_s"]) for row in hours[:1] if not first], default=None)

    def _spells(self, ids: Sequence[int]) -> Rows:
        """Each kept sweep of these devices, oldest first."""
        spells: Rows = defaultdict(list)
        if not (ids and self._raw):
            return spells
        r = schema.reading.c
        for row in self._rows(
            select(r.subject_id, r.sweep_id, r.answered)
            .where(r.subject_id.in_(ids), r.sweep_id.between(min(self._raw), max(self._raw)))
            .order_by(r.subject_id, r.sweep_id)
        ):
            if row["sweep_id"] in self._raw:
                answered = None if row["answered"] is None else bool(row["answered"])
                at_s, for_s = self._raw[row["sweep_id"]], self._spans[row["sweep_id"]]
                spells[row["subject_id"]].append(Spell(at_s, for_s, answered))
        return spells

    def _changes(self, ids: Sequence[int]) -> Rows:
        c, u = schema.change.c, schema.subject.c
        changes: Rows = defaultdict(list)
        for row in self._rows(
            select(schema.change, u.kind, u.name)
            .join(schema.subject, u.id == c.subject_id)
            .where(c.subject_id.in_(ids), c.at_s < self._end_s)
            .order_by(c.id)
        ):
            changes[row["subject_id"]].append(change_of(row))
        return changes

    def _fine_rtt(self, ids: Sequence[int]) -> Rows:
        samples: Rows = defaultdict(list)
        r = schema.reading.c
        for row in self._rows(
            select(r.subject_id, r.sweep_id, r.rtt_ms)
            .where(r.subject_id.in_(ids), r.rtt_ms.is_not(None), self._kept(r.sweep_id))
            .order_by(r.sweep_id)
        ):
            if row["sweep_id"] in self._raw:
                samples[row["subject_id"]].append(_one(self._raw[row["sweep_id"]], row["rtt_ms"]))
        return samples

    def _fine_levels(self, ids: Sequence[int]) -> dict[int, dict[LevelKey, tuple[Sample, ...]]]:
        levels: dict[int, dict[LevelKey, list[Sample]]] = defaultdict(lambda: defaultdict(list))
        lv = schema.level
        for row in self._rows(
            select(lv)
            .where(lv.c.subject_id.in_(ids), self._kept(lv.c.sweep_id))
            .order_by(lv.c.sweep_id)
        ):
            if row["sweep_id"] in self._raw:
                sample = _one(self._raw[row["sweep_id"]], row["rx_level_dbm"])
                levels[row["subject_id"]][row["carrier"], row["end"]].append(sample)
        return {id_: {k: tuple(v) for k, v in sorted(of.items())} for id_, of in levels.items()}

    def _kept(self, column: Any) -> Any:
        return column.between(min(self._raw, default=0), max(self._raw, default=0))


def change_of(row: RowMapping) -> StateChange:
    """A change, from its row joined with `subject`."""
    return StateChange(
        subject=Subject(row["kind"], row["name"]),
        before=row["before"],
        after=row["after"],
        at_s=row["at_s"],
        confirmed_s=row["confirmed_s"],
        root=Subject(row["root_kind"], row["root_name"]),
        reason=row["reason"],
        held=row["held"],
    )


def _one(at_s: float, value: float) -> Sample:
    return Sample(at_s, value, value, value)


def _rtt(hours: Sequence[Any]) -> list[Sample]:
    """By hours; of these no lowest is kept."""
    return [
        Sample(
            row["hour_s"] + HOUR_S / 2,
            row["rtt_median_ms"],
            row["rtt_median_ms"],
            row["rtt_max_ms"],
            row["sweeps"],
        )
        for row in hours
        if row["rtt_median_ms"] is not None
    ]


def _levels(hours: Sequence[Any]) -> dict[LevelKey, tuple[Sample, ...]]:
    levels: dict[LevelKey, list[Sample]] = defaultdict(list)
    for row in hours:
        levels[row["carrier"], row["end"]].append(
            Sample(
                row["hour_s"] + HOUR_S / 2,
                row["min_dbm"],
                row["median_dbm"],
                row["max_dbm"],
                row["samples"],
            )
        )
    return {key: tuple(samples) for key, samples in sorted(levels.items())}


def _errors(hours: Sequence[Any]) -> dict[str, tuple[int, int]]:
    ordered = sorted(hours, key=lambda row: str(row["port"]))
    return {
        port: (sum(r["in_added"] for r in rows), sum(r["out_added"] for r in rows))
        for port, group in itertools.groupby(ordered, key=lambda row: str(row["port"]))
        for rows in [list(group)]
    }
