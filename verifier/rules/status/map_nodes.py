"""The places of a plan: its sites, and devices at none; what is there, what joins them."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from verifier.model.health import ReceivedLevel
from verifier.model.plan import Link, Plan
from verifier.model.status import LevelLine, LinkStatus, MapLine, MapNode, Recent, SubjectStatus
from verifier.model.subject import Subject
from verifier.rules.status.layout import Where
from verifier.rules.status.open_faults import weight

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
