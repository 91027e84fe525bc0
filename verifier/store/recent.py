"""What the store holds of the last day, for a page that each sweep draws anew.

However long the history is, what is read here is bounded: hourly levels by the hours asked for,
those of the running hour in at most `PARTS` groups, changes among the newest `NEWEST`.

Levels are those of hours (lowest, median and highest), and of sweeps only in the running hour: the
hourly table is small and keyed by time, and a short fade is still in it. Changes are kept for ever
and have no index by time; so the newest are looked at, and the page says "at least" where there may
be more.
"""

from __future__ import annotations

import math
from collections import defaultdict
from typing import Any, Final

from sqlalchemy import Connection, func, select

from verifier.model.health import StateChange
from verifier.model.history import LevelKey, Sample
from verifier.model.status import Recent
from verifier.store import schema
from verifier.store.history import change_of
from verifier.store.retention import HOUR_S, hour_of

NEWEST: Final = 5_000
"""Changes that are looked at; they have an index by their number only, and are kept for ever."""
PARTS: Final = 24
"""Of the running hour: a sweep more often than every 150 s shares its part with others."""

Levels = dict[str, dict[LevelKey, tuple[Sample, ...]]]


def recent(connection: Connection, since_s: float, end_s: float, most: int) -> Recent:
    """Changes and levels from `since_s` on, before `end_s`; at most so many changes."""
    changes, number = recent_changes(connection, since_s, most)
    return Recent(changes, number, number >= NEWEST, recent_levels(connection, since_s, end_s))


def recent_changes(
    connection: Connection, since_s: float, most: int
) -> tuple[tuple[StateChange, ...], int]:
    """The newest changes that counted since then, newest first, and how many there are in all.

    Only the newest `NEWEST` are looked at.
    """
    newest = select(schema.change).order_by(schema.change.c.id.desc()).limit(NEWEST).subquery()
    c, u = newest.c, schema.subject.c
    conditions = (c.confirmed_s >= since_s, c.before.is_not(None))
    rows = connection.execute(
        select(newest, u.kind, u.name)
        .join(schema.subject, u.id == c.subject_id)
        .where(*conditions)
        .order_by(c.id.desc())
        .limit(most)
    ).mappings()
    number = connection.scalar(select(func.count()).select_from(newest).where(*conditions))
    return tuple(map(change_of, rows)), number or 0


def recent_levels(connection: Connection, since_s: float, end_s: float) -> Levels:
    """The receive levels of each link, oldest first: by hours, the running one by sweeps."""
    hl = schema.hour_level.c
    levels: dict[int, dict[LevelKey, list[Sample]]] = defaultdict(lambda: defaultdict(list))
    for subject, carrier, end, hour_s, low, middle, high, n in connection.execute(
        select(
            hl.subject_id, hl.carrier, hl.end, hl.hour_s,
            hl.min_dbm, hl.median_dbm, hl.max_dbm, hl.samples,
        ).where(hl.hour_s >= hour_of(since_s), hl.hour_s < end_s)
    ):  # fmt: skip
        levels[subject][carrier, end].append(Sample(hour_s + HOUR_S / 2, low, middle, high, n))
    for subject, carrier, end, sample in _running(connection, since_s, end_s):
        levels[subject][carrier, end].append(sample)
    names = {row.id: row.name for row in connection.execute(_names())} if levels else {}
    return {
        names[subject]: {
            key: tuple(sorted(samples, key=lambda sample: sample.at_s))
            for key, samples in sorted(of.items())
        }
        for subject, of in levels.items()
    }


def _names() -> Any:
    return select(schema.subject.c.id, schema.subject.c.name).where(schema.subject.c.kind == "link")


def _running(connection: Connection, since_s: float, end_s: float) -> list[tuple[Any, ...]]:
    """Levels of the sweeps that are not rolled up yet: device, carrier, end, sample."""
    s, lv = schema.sweep.c, schema.level.c
    open_ = connection.execute(
        select(s.id, s.started_s)
        .where(s.kept == schema.OPEN, s.started_s >= since_s, s.started_s <= end_s)
        .order_by(s.id)
    ).all()
    if not open_:
        return []
    at_s, first, last = {row.id: row.started_s for row in open_}, open_[0].id, open_[-1].id
    step = math.ceil((last - first + 1) / PARTS)
    part = (lv.sweep_id - first) // step
    rows = connection.execute(
        select(
            lv.subject_id, lv.carrier, lv.end, func.max(lv.sweep_id), func.min(lv.rx_level_dbm),
            func.avg(lv.rx_level_dbm), func.max(lv.rx_level_dbm), func.count(),
        )
        .where(lv.sweep_id.between(first, last))
        .group_by(lv.subject_id, lv.carrier, lv.end, part)
    )  # fmt: skip
    return [
        (subject, carrier, end, Sample(at_s[newest], low, middle, high, n))
        for subject, carrier, end, newest, low, middle, high, n in rows
        if newest in at_s
    ]
