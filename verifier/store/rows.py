"""Between the vocabulary and the rows of the tables."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any

from sqlalchemy import RowMapping

from verifier.model.health import HealthReading, Memory, Notice, StateChange, Sweep
from verifier.model.subject import Subject
from verifier.store import schema

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
