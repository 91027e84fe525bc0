"""The best order of steps: a search (A*) over settled states, with a lower bound.

The number of device changes is known beforehand: one a device, and one more a circle whose devices
are attached together. So a state's price is its connects, then its laptop changes.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from heapq import heappop, heappush
from typing import NamedTuple

from verifier.rules.readdress.options import needs, successors
from verifier.rules.readdress.placement import Net, Placement, inside
from verifier.rules.readdress.run import ALL, DONE, NONE, START, Op, Run, SegmentState
from verifier.rules.readdress.settle import settle
from verifier.rules.readdress.world import Segment

Price = tuple[int, int]
"""Connects, laptop changes."""

_NEVER_CUT = 8
"""Up to so many devices the search runs to its end."""
_WORK = 100_000
"""Beyond: so many states times devices, about 2 s on two cores."""
_LEAST_STATES = 24


class SearchOutcome(NamedTuple):
    """What a search came to.

    Attributes:
        ops: the steps; None if the search did not reach the end.
        bound: no way to the end costs less; None if there is no way at all.
        reached: of all states seen, that with most devices done, and none on its way if possible.
    """

    ops: list[Op] | None
    bound: Price | None
    reached: SegmentState


class _Node(NamedTuple):
    state: SegmentState
    price: Price
    before: int
    ops: list[Op]


def start(world: Segment) -> Run:
    """The state before the first step, with what can be done at once already done."""
    attached = NONE if world.apart else ALL
    run = Run(world, SegmentState(attached, bytes(len(world.movers)), (), world.task.laptop))
    settle(run)
    return run


def best_order(world: Segment) -> SearchOutcome:
    """The best way from the start to all devices confirmed."""
    devices = max(1, len(world.movers))
    most = None if devices <= _NEVER_CUT else max(_LEAST_STATES, _WORK // devices)
    first = start(world)
    nodes = [_Node(first.state(), (0, 0), -1, first.ops)]
    best: dict[SegmentState, Price] = {nodes[0].state: (0, 0)}
    open_: list[tuple[Price, int, int]] = [(at_least(world, first), -done(first.status), 0)]
    reached = nodes[0].state
    while open_:
        bound, _, number = heappop(open_)
        node = nodes[number]
        if done(node.state.status) == len(world.movers):
            return SearchOutcome(_way(nodes, number), bound, node.state)
        if best[node.state] < node.price:
            continue
        for run in successors(world, node.state):
            if most is not None and len(nodes) > most:
                return SearchOutcome(None, bound, reached)
            state, price = run.state(), add(node.price, run.ops)
            if best.get(state, (price[0] + 1, 0)) <= price:
                continue
            best[state] = price
            nodes.append(_Node(state, price, number, run.ops))
            reached = max(reached, state, key=_far)
            left = at_least(world, run)
            total = (price[0] + left[0], price[1] + left[1])
            heappush(open_, (total, -done(state.status), len(nodes) - 1))
    return SearchOutcome(None, None, reached)


def done(status: bytes | bytearray) -> int:
    """How many devices are at their planned address and confirmed."""
    return status.count(DONE)


def add(price: Price, ops: list[Op]) -> Price:
    """A price with some steps more."""
    return (
        price[0] + sum(op.action == "connect" for op in ops),
        price[1] + sum(op.action == "set-laptop" for op in ops),
    )


def _far(state: SegmentState) -> tuple[bool, int]:
    """How far a state is: first those where devices are done and none is on its way."""
    count = done(state.status)
    return count > 0 and all(s in (START, DONE) for s in state.status), count


def _way(nodes: list[_Node], number: int) -> list[Op]:
    parts = []
    while number >= 0:
        parts.append(nodes[number].ops)
        number = nodes[number].before
    return [op for part in reversed(parts) for op in part]


# -- what is still needed at least -----------------------------------------------------------------


def at_least(world: Segment, run: Run) -> Price:
    """Connects and laptop changes that every way to the end still takes; never too much."""
    left = [i for i, status in enumerate(run.status) if status != DONE]
    if not left:
        return 0, 0
    return (_connects_left(world, run, left) if world.apart else 0, _laptops_left(world, run, left))


def _connects_left(world: Segment, run: Run, left: list[int]) -> int:
    """Devices that cannot be attached together are attached one by one, the others in one go."""
    placements = [run.placement(i).key for i in range(len(run.status))]
    ring = _rings(world, run, placements, left)
    if run.attached == ALL:
        return len(ring)
    waiting = [i for i in left if i != run.attached]
    if not waiting:
        return 0
    going = run.attached != NONE and run.status[run.attached] == START
    shared = Counter(key for i, key in enumerate(placements) if not (going and i == run.attached))
    by_key: dict[object, list[int]] = defaultdict(list)
    for i in waiting:
        by_key[placements[i]].append(i)
    alone, rest = 0, 0
    for key, same in by_key.items():
        others = shared[placements[same[0]]] - len(same)
        if others or key in world.stay:
            alone += len(same)
        elif len(same) > 1:
            alone += len(same) - 1
            rest += 1
        elif same[0] in ring:
            alone += 1
        else:
            rest += 1
    return alone + (1 if rest else 0)


def _rings(
    world: Segment, run: Run, placements: list[tuple[int, int]], left: list[int]
) -> set[int]:
    """Devices, alone at their address, that want each other's in a ring."""
    counts = Counter(placements)
    at = {key: i for i, key in enumerate(placements) if counts[key] == 1}
    found: set[int] = set()
    seen: set[int] = set()
    for first in left:
        path: list[int] = []
        i: int | None = first
        while (
            i is not None
            and i not in seen
            and run.status[i] == START
            and counts[placements[i]] == 1
        ):
            seen.add(i)
            path.append(i)
            i = at.get(world.placements[i][1].key)
        if i in path and len(ring := path[path.index(i) :]) > 1:
            found.update(ring)
    return found


def _laptops_left(world: Segment, run: Run, left: list[int]) -> int:
    if world.remote:
        return 0
    stuck = not world.apart and not world.tight and not run.unbroken()
    unmet = {i: _unmet(run, i, stuck=stuck) for i in left}
    wanted = {s.net for placements in unmet.values() for s in placements}
    if world.task.many:
        return 1 if wanted else 0
    leaves = {n for n in wanted if not any(o != n and inside(o, n) for o in wanted)}
    return len(leaves) + _there_and_back(run, unmet, leaves)


def _unmet(run: Run, i: int, *, stuck: bool) -> list[Placement]:
    """Where the laptop must come to for a device, and is not.

    Where nothing more can be done without a laptop change (`stuck`), it must come back even to
    where it is.
    """
    return [s for s in needs(run, i) if stuck or not run.view.direct(s)]


def _there_and_back(run: Run, unmet: Mapping[int, Sequence[Placement]], leaves: set[Net]) -> int:
    """Pairs of subnets, none twice, that devices change between in both directions."""
    pairs = set()
    for i, placements in unmet.items():
        if run.status[i] == START and len(placements) == 2:  # noqa: PLR2004
            present, planned = (s.net for s in placements)
            if present != planned and present in leaves and planned in leaves:
                pairs.add((present, planned))
    taken: set[Net] = set()
    count = 0
    for a, b in sorted(pairs):
        if a < b and (b, a) in pairs and not {a, b} & taken:
            taken |= {a, b}
            count += 1
    return count
