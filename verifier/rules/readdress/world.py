"""What does not change while the steps are done: devices, holders of addresses, free addresses."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from verifier.model.address import Address, Interface
from verifier.model.runbook import Setting
from verifier.rules.fit.hosts import downwards, not_a_host, with_value
from verifier.rules.readdress.placement import (
    Key,
    MovingDevice,
    Net,
    Placement,
    View,
    first_before,
    host_in,
    inside,
    key_of,
    net_holds,
)

_MOST_TEMPORARY = 4
"""Number of temporary addresses kept free in a subnet, beside the laptop's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What is asked.

    Attributes:
        devices: every device of the plan, in plan order, those that stay where they are too.
        many: whether the laptop may hold several addresses at a time.
        laptop: what it holds before the first step.
        preferred: the technician's usual addresses.
        held: addresses of gateways, hosts and others that are always attached; who has them.
        avoid: addresses that neither laptop nor a device on its way takes without need.
    """

    devices: tuple[MovingDevice, ...]
    setting: Setting = "segment"
    many: bool = True
    laptop: tuple[Interface, ...] = ()
    laptop_gateway: Address | None = None
    preferred: tuple[Interface, ...] = ()
    held: Mapping[Key, str] = field(default_factory=dict)
    avoid: frozenset[Key] = frozenset()


class Segment:
    """A task with the devices that are to be moved; the others stay.

    Attributes:
        movers: the devices that are moved; everywhere else a number is an index into these.
        permanent: addresses that nobody on the way can have.
        stay: addresses of the devices that stay; they are attached when all are.
        nets: subnets the movers stand in, before and after, in the order of the plan.
        circles: movers that wait for each other's address in a ring (attached together only).
        tight: subnets without addresses to spare for the laptop and temporary use.
        awaited: movers whose planned address somebody has before the first step.
        contested: movers whose planned address the laptop may have to borrow.
    """

    def __init__(self, task: Task, blocked: Iterable[str] = ()) -> None:
        self.task = task
        self.remote = task.setting == "remote"
        self.apart = task.setting == "one-at-a-time"
        out = set(blocked)
        self.movers = tuple(u for u in task.devices if u.moves and u.name not in out)
        stay = [u for u in task.devices if not u.moves or u.name in out]
        self.stay = {u.present.key: u.name for u in stay}
        self.stay_doubled = len(self.stay) < len(stay)
        self.permanent = set(task.held) | (set() if self.apart else set(self.stay))
        self.target_of = {u.planned.key: i for i, u in enumerate(self.movers)}
        self.placements = [(u.present, u.planned) for u in self.movers]
        self.nets = list(dict.fromkeys(s.net for pair in self.placements for s in pair))
        self.samples = {s.net: s.at for u in task.devices for s in (u.present, u.planned)}
        self.circles = [] if self.apart else list(_circles(self.movers))
        self.circle_of = {i: c for c, circle in enumerate(self.circles) for i in circle}
        starts = {present.key for present, _ in self.placements} | set(self.stay)
        self.awaited = {
            i for i, (_, planned) in enumerate(self.placements) if planned.key in starts
        }
        self._views: dict[tuple[Interface, ...], View] = {}
        self._find_free()
        self.waits = first_before(task.devices, self.movers) if self.remote else None

    def towards_laptop(self, i: int) -> set[int]:
        """The movers that a mover's traffic passes through."""
        found: set[int] = set()
        stack = [i]
        while stack and self.waits is not None:
            for above in self.waits.above.get(stack.pop(), ()):
                if above not in found:
                    found.add(above)
                    stack.append(above)
        return found

    def view(self, laptop: tuple[Interface, ...]) -> View:
        """What the laptop reaches with these addresses."""
        if laptop not in self._views:
            self._views[laptop] = View(laptop)
        return self._views[laptop]

    @cached_property
    def device_gateways(self) -> set[Key]:
        """Gateways that are devices: there only while such a device has the address."""
        keys = {s.gateway_key for u in self.task.devices for s in (u.present, u.planned)}
        if self.task.laptop_gateway is not None:
            keys.add(key_of(self.task.laptop_gateway))
        return {k for k in keys if k is not None} - set(self.task.held)

    @cached_property
    def gateway_users(self) -> Mapping[Key, Sequence[int]]:
        """Movers by their present and by their planned gateway."""
        users: dict[Key, list[int]] = defaultdict(list)
        for i, pair in enumerate(self.placements):
            for key in {s.gateway_key for s in pair}:
                if key is not None:
                    users[key].append(i)
        return users

    # -- free addresses --------------------------------------------------------------------------

    def _find_free(self) -> None:
        used = set(self.task.held) | set(self.stay) | set(self.task.avoid)
        used.update(s.key for pair in self.placements for s in pair)
        need = 1 + min(len(self.circles), _MOST_TEMPORARY)
        by_family: dict[int, list[Net]] = defaultdict(list)
        for net in self.nets:
            by_family[net[0]].append(net)
        self.spare: dict[Net, list[Interface]] = {}
        self.wide: dict[Net, int] = {}
        self._around: dict[Net, list[Net]] = {}
        for net in sorted(self.samples, key=lambda n: -n[2]):
            around = [other for other in by_family[net[0]] if inside(net, other)]
            self.wide[net] = min([net[2], *(n[2] for n in around)])
            related = [o for o in by_family[net[0]] if inside(o, net) or inside(net, o)]
            self._around[net] = related
            self.spare[net] = self._some_free(net, used, need + len(self.circles))
            used.update(key_of(a.address) for a in self.spare[net])
        self._used = used
        self.tight = {net for net in self.nets if len(self.spare[net]) < need}
        self.hosts = {net: self._some_free(net, set(self.task.held), None) for net in self.tight}
        self.contested = {
            i
            for i, (_, planned) in enumerate(self.placements)
            if any(net == planned.net or net_holds(net, planned.key) for net in self.tight)
        }
        self.awaited |= self.contested

    def _some_free(self, net: Net, used: set[Key], most: int | None) -> list[Interface]:
        """Host addresses that nobody uses: the laptop's own and usual ones first, then highest."""
        like = Interface(self.samples[net].address, net[2])
        usual = (*self.task.laptop, *self.task.preferred)
        own = dict.fromkeys(a.address.value for a in usual if like.holds(a.address))
        others = (value for value in downwards(like) if value not in own)
        found: list[Interface] = []
        for value in itertools.chain(own, others):
            if most is not None and len(found) >= most:
                break
            if (net[0], value) not in used and self._can_be_host(net, value):
                candidate = with_value(like, value)
                if not_a_host(candidate.address) is None:
                    found.append(candidate)
        return found

    def near(self, net: Net, laptop: tuple[Interface, ...]) -> list[Interface]:
        """Free addresses of a subnet that the laptop reaches with a narrower mask than it has."""
        found = []
        for own in laptop:
            narrow = (own.version, own.first, own.prefix)
            if narrow != net and inside(narrow, net):
                free = (
                    value
                    for value in downwards(own, self.samples[net].address)
                    if (net[0], value) not in self._used
                    and value != own.address.value
                    and host_in(narrow, value)
                    and self._can_be_host(net, value)
                )
                like = Interface(own.address, net[2])
                found += [with_value(like, value) for value in itertools.islice(free, 1)]
        return found

    def _can_be_host(self, net: Net, value: int) -> bool:
        return host_in(net, value) and all(
            host_in(n, value) for n in self._around[net] if net_holds(n, (net[0], value))
        )


def _circles(movers: Sequence[MovingDevice]) -> Iterator[tuple[int, ...]]:
    """Movers that want each other's present address in a ring, each ring from its first in plan."""
    holder = {u.present.key: i for i, u in enumerate(movers)}
    seen: set[int] = set()
    for start in range(len(movers)):
        path: list[int] = []
        i: int | None = start
        while i is not None and i not in seen:
            seen.add(i)
            path.append(i)
            i = holder.get(movers[i].planned.key)
        if i is not None and i in path and len(ring := path[path.index(i) :]) > 1:
            lowest = ring.index(min(ring))
            yield tuple(ring[lowest:] + ring[:lowest])


def wants(placements: tuple[Placement, Placement]) -> tuple[Net, Net]:
    """The subnets the laptop must be in to move a device and to confirm it."""
    return placements[0].net, placements[1].net
