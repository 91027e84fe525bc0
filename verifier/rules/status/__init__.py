"""What the status page shows, put together of a sweep, its plan and the last day of the store."""

from __future__ import annotations

from collections.abc import Iterable

from verifier.model.health import STATES, State, StateChange, SweepReport
from verifier.model.plan import Plan
from verifier.model.status import MOST_CHANGES, Changed, Recent, Status, SubjectStatus
from verifier.model.subject import Subject
from verifier.rules.health.windows import Windows
from verifier.rules.status.layout import layout
from verifier.rules.status.map_nodes import MapNodes
from verifier.rules.status.open_faults import open_faults, subject_status, weight, windows_now

STALE_INTERVALS = 2
"""A page is too old from so many intervals on: one sweep may be late, two are not."""


def status(
    plan: Plan, done: SweepReport, recent: Recent, *, every_s: float | None, confirm: int
) -> Status:
    """The page's values.

    Args:
        plan: as it was swept.
        done: the sweep as stored.
        recent: what the store has of the last day.
        every_s: the interval of a series.
        confirm: in how many sweeps a state must be seen to count.
    """
    sweep, memories = done.sweep, done.memories
    subjects = _subjects(plan, done, confirm)
    map_nodes = MapNodes(plan)
    levels = {r.subject.name: r.levels for r in sweep.readings if r.subject.kind == "link"}
    found, alike = open_faults(sweep.readings, subjects, memories)
    earlier = _earlier(recent.changes, done.changes)
    counted = [c for c in done.changes if c.before is not None]
    return Status(
        network=plan.network.name,
        revision=plan.network.revision,
        number=done.number,
        started_s=sweep.started_s,
        took_s=sweep.took_s,
        skipped=sweep.skipped,
        every_s=every_s,
        stale_s=STALE_INTERVALS * every_s if every_s is not None else sweep.valid_s,
        confirm=confirm,
        tool_version=sweep.tool_version,
        counts=_counts(subjects.values()),
        pending_n=sum(u.pending is not None for u in subjects.values()),
        changed=tuple(sorted(_by_root(counted), key=lambda c: weight(c.head.after))),
        new_n=len(done.changes) - len(counted),
        earlier=_by_root(earlier),
        earlier_more=max(0, recent.changes_n - len(counted) - len(earlier)),
        earlier_at_least=recent.at_least,
        open_faults=found,
        alike=alike,
        windows=windows_now(plan, memories.values(), subjects, sweep.started_s),
        map_nodes=map_nodes.statuses(subjects, levels, recent),
        lines=map_nodes.lines(subjects),
        layout=layout(map_nodes.wheres(), map_nodes.joins(), map_nodes.entries()),
    )


def _subjects(plan: Plan, done: SweepReport, confirm: int) -> dict[Subject, SubjectStatus]:
    """Each device of the sweep, with the window that holds telling of it."""
    windows, found = Windows(plan), {}
    for reading in done.sweep.readings:
        memory = done.memories[reading.subject]
        not_notified = memory.state != memory.notified
        held = windows.at(memory, done.sweep.started_s) if not_notified else None
        found[reading.subject] = subject_status(reading, memory, confirm=confirm, held=held)
    return found


def _earlier(recent: Iterable[StateChange], now: Iterable[StateChange]) -> tuple[StateChange, ...]:
    """Those of the last day without those of this sweep, which stand before them."""
    shown = {(c.subject, c.confirmed_s) for c in now}
    return tuple(c for c in recent if (c.subject, c.confirmed_s) not in shown)[:MOST_CHANGES]


def _by_root(changes: Iterable[StateChange]) -> tuple[Changed, ...]:
    """Changes of one sweep with one root together, in the order of the first of each."""
    groups: dict[tuple[float, Subject], list[StateChange]] = {}
    for change in changes:
        groups.setdefault((change.confirmed_s, change.root), []).append(change)
    found = []
    for (_, root), group in groups.items():
        head, *rest = sorted(group, key=lambda c: (c.subject != root, weight(c.after)))
        found.append(Changed(head, tuple(rest)))
    return tuple(found)


def _counts(subjects: Iterable[SubjectStatus]) -> dict[State, tuple[int, int]]:
    found = {state: [0, 0] for state in STATES}
    for subject in subjects:
        if subject.state is not None:
            found[subject.state][subject.subject.kind == "link"] += 1
    return {state: (devices, links) for state, (devices, links) in found.items()}
