"""What the status page shows, put together of a sweep, its plan and the last day of the store.

Its map shows the sites of the plan, and the devices at none.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from verifier.model.health import STATES, ReceivedLevel, State, StateChange, SweepReport
from verifier.model.plan import Link, Plan
from verifier.model.problem import Subject
from verifier.model.status import (
    MOST_CHANGES,
    Changed,
    LevelLine,
    LinkStatus,
    MapLine,
    MapNode,
    Recent,
    Status,
    SubjectStatus,
)
from verifier.rules.health.notices import Windows
from verifier.rules.status.layout import Where, layout
from verifier.rules.status.open_faults import open_faults, subject_status, weight, windows_now

NOWHERE = Subject("network", "")
"""The place of devices without a site that no link ends at."""

Statuses = Mapping[Subject, SubjectStatus]


class MapNodes:
    """The places of a plan by number: its sites in their order, then devices without one.

    Attributes:
        subjects: what each is; kind `site`, `device`, or `NOWHERE`.
    """

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        ends = {name for link in plan.links for end in link.devices() for name in end}
        order = {Subject("site", site.name): n for n, site in enumerate(plan.sites)}
        self._of: dict[str, int] = {}
        for device in plan.devices:
            node = Subject("device", device.name) if device.name in ends else NOWHERE
            if device.site is not None:
                node = Subject("site", device.site)
            self._of[device.name] = order.setdefault(node, len(order))
        self.subjects = tuple(order)

    def _ends(self, link: Link) -> tuple[int, int]:
        """The places of both ends, by the first carrier."""
        first = link.carriers[0]
        return self._of[first.a.device], self._of[first.b.device]

    def wheres(self) -> tuple[Where, ...]:
        """Coordinates of each place."""
        known: list[Where] = [(s.latitude, s.longitude) for s in self._plan.sites]
        known += [(None, None)] * (len(self.subjects) - len(known))
        return tuple(known)

    def joins(self) -> frozenset[tuple[int, int]]:
        """Pairs that a link joins, or the way of a device's management traffic."""
        ways = (
            (self._of[d.name], self._of[up])
            for d in self._plan.devices
            for up in d.uplink
            if up in self._of
        )
        return frozenset((*map(self._ends, self._plan.links), *ways))

    def entries(self) -> frozenset[int]:
        """Where management traffic comes in: at what others pass through and passes none itself."""
        passed = {up for d in self._plan.devices for up in d.uplink}
        return frozenset(
            self._of[d.name] for d in self._plan.devices if d.name in passed and not d.uplink
        )

    def lines(self, subjects: Statuses) -> tuple[MapLine, ...]:
        """A line for each link of the sweep that joins two places."""
        found = []
        for link in self._plan.links:
            subject = subjects.get(Subject("link", link.name))
            a, b = self._ends(link)
            if subject is not None and subject.state is not None and a != b:
                found.append(MapLine(link.name, a, b, subject.state))
        return tuple(found)

    def statuses(
        self, statuses: Statuses, levels: Mapping[str, Collection[ReceivedLevel]], recent: Recent
    ) -> tuple[MapNode, ...]:
        """What is at each place; also of those without a device in this sweep.

        Args:
            statuses: of the sweep, by subject.
            levels: of each link in this sweep, by its name.
            recent: the last day.
        """
        devices: list[list[SubjectStatus]] = [[] for _ in self.subjects]
        links: list[list[LinkStatus]] = [[] for _ in self.subjects]
        elsewhere: list[list[tuple[int, str]]] = [[] for _ in self.subjects]
        for device in self._plan.devices:
            if (status := statuses.get(Subject("device", device.name))) is not None:
                devices[self._of[device.name]].append(status)
        for link in self._plan.links:
            if (status := statuses.get(Subject("link", link.name))) is not None:
                a, b = self._ends(link)
                lines = _levels(link, levels.get(link.name, ()), recent)
                links[a].append(LinkStatus(status, self.subjects[b], lines))
                if a != b:
                    elsewhere[b].append((a, link.name))
        return tuple(
            MapNode(
                subject=subject,
                state=min((u.state for u in devices[n]), key=weight, default=None),
                devices=tuple(devices[n]),
                links=tuple(links[n]),
                elsewhere=tuple(elsewhere[n]),
            )
            for n, subject in enumerate(self.subjects)
        )


def _levels(link: Link, read: Collection[ReceivedLevel], recent: Recent) -> tuple[LevelLine, ...]:
    """A line for each end that a level is planned for, or was read at within the day."""
    past = recent.levels.get(link.name, {})
    now = {(level.carrier, level.end): level.rx_level_dbm for level in read}
    return tuple(
        LevelLine(
            carrier=carrier.carrier,
            end=name,
            device=end.device,
            now_dbm=now.get((carrier.carrier, name)),
            planned_dbm=end.rx_level_dbm,
            samples=past.get((carrier.carrier, name), ()),
        )
        for carrier in link.carriers
        for name, end in carrier.ends()
        if end.rx_level_dbm is not None
        or (carrier.carrier, name) in past
        or (carrier.carrier, name) in now
    )


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
