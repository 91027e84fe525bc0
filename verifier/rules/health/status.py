"""What the status page shows, put together of a sweep, its plan and the last day of the store."""

from __future__ import annotations

from collections.abc import Iterable

from verifier.model.health import STATES, Change, State, SweepReport
from verifier.model.plan import Plan
from verifier.model.status import MOST_CHANGES, Changed, Recent, Status, UnitStatus
from verifier.model.subject import Subject
from verifier.rules.health.layout import layout
from verifier.rules.health.places import Places
from verifier.rules.health.troubles import troubles, unit_status, weight, windows_now
from verifier.rules.health.windows import Windows

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
    units = _units(plan, done, confirm)
    places = Places(plan)
    levels = {r.unit.name: r.levels for r in sweep.readings if r.unit.kind == "link"}
    found, alike = troubles(sweep.readings, units, memories)
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
        counts=_counts(units.values()),
        pending_n=sum(u.pending is not None for u in units.values()),
        changed=tuple(sorted(_by_root(counted), key=lambda c: weight(c.head.after))),
        new_n=len(done.changes) - len(counted),
        earlier=_by_root(earlier),
        earlier_more=max(0, recent.changes_n - len(counted) - len(earlier)),
        earlier_at_least=recent.at_least,
        troubles=found,
        alike=alike,
        windows=windows_now(plan, memories.values(), units, sweep.started_s),
        places=places.statuses(units, levels, recent),
        lines=places.lines(units),
        layout=layout(places.wheres(), places.joins(), places.entries()),
    )


def _units(plan: Plan, done: SweepReport, confirm: int) -> dict[Subject, UnitStatus]:
    """Each unit of the sweep, with the window that holds telling of it."""
    windows, found = Windows(plan), {}
    for reading in done.sweep.readings:
        memory = done.memories[reading.unit]
        untold = memory.state != memory.told
        held = windows.at(memory, done.sweep.started_s) if untold else None
        found[reading.unit] = unit_status(reading, memory, confirm=confirm, held=held)
    return found


def _earlier(recent: Iterable[Change], now: Iterable[Change]) -> tuple[Change, ...]:
    """Those of the last day without those of this sweep, which stand before them."""
    shown = {(c.unit, c.confirmed_s) for c in now}
    return tuple(c for c in recent if (c.unit, c.confirmed_s) not in shown)[:MOST_CHANGES]


def _by_root(changes: Iterable[Change]) -> tuple[Changed, ...]:
    """Changes of one sweep with one root together, in the order of the first of each."""
    groups: dict[tuple[float, Subject], list[Change]] = {}
    for change in changes:
        groups.setdefault((change.confirmed_s, change.root), []).append(change)
    found = []
    for (_, root), group in groups.items():
        head, *rest = sorted(group, key=lambda c: (c.unit != root, weight(c.after)))
        found.append(Changed(head, tuple(rest)))
    return tuple(found)


def _counts(units: Iterable[UnitStatus]) -> dict[State, tuple[int, int]]:
    found = {state: [0, 0] for state in STATES}
    for unit in units:
        if unit.state is not None:
            found[unit.state][unit.unit.kind == "link"] += 1
    return {state: (devices, links) for state, (devices, links) in found.items()}
