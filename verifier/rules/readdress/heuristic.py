"""A good order of steps where the best one is too far to search for."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterable, Iterator

from verifier.model.address import Interface
from verifier.rules.readdress.options import candidates, laptops
from verifier.rules.readdress.placement import Key, Net, Placement
from verifier.rules.readdress.run import ALL, DETOUR, DONE, NEW, START, Op, Run, SegmentState
from verifier.rules.readdress.search import done, start
from verifier.rules.readdress.settle import settle, temporary
from verifier.rules.readdress.world import Segment


def heuristic_order(world: Segment) -> tuple[list[Op] | None, SegmentState]:
    """The steps, None if not all devices are reached; and the state they end in.

    Goes where most is done, one laptop change after the other; apart, device after device until the
    rest can be attached together.
    """
    run = start(world)
    if world.apart:
        _one_by_one(run)
    if run.attached == ALL and not world.remote:
        _moves_that_may_spoil(run)
    while done(run.status) < len(run.status) and run.attached == ALL and not world.remote:
        if not _better_place(run):
            break
    state = run.state()
    if done(run.status) == len(run.status):
        return run.ops, state
    kept = bytes(s if s == DONE else START for s in run.status)
    return None, SegmentState(state.attached, kept, (), ())


def _moves_that_may_spoil(run: Run) -> None:
    """Takes addresses the laptop might want, and breaks circles, wherever the laptop is now."""
    world, before = run.world, len(run.ops)
    for i in sorted(world.contested):
        if run.status[i] in (START, DETOUR) and run.may_set(i, world.placements[i][1]):
            run.set(i, world.placements[i][1], temporary=False)
    for circle in run.unbroken():
        for i in circle:
            free = temporary(run, i, world.placements[i][1].net) or temporary(
                run, i, world.placements[i][0].net
            )
            if free and run.may_set(i, free[0]):
                run.set(i, free[0], temporary=True)
                break
    if len(run.ops) > before:
        settle(run)


def _better_place(run: Run) -> bool:
    """Takes the laptop where most can be changed next, of equals where most can be confirmed.

    A late confirm keeps nobody waiting, a late change does. An address that somebody waits for
    brings nobody further: then the next best place is tried. False if nothing is gained anywhere.
    """
    ready: dict[Net, list[Placement]] = {}
    changes: Counter[Net] = Counter()
    for i, status in enumerate(run.status):
        if status != DONE and (placement := _ready(run, i)) is not None:
            ready.setdefault(placement.net, []).append(placement)
            changes[placement.net] += status != NEW
    marks: list[tuple[int, int, tuple[Interface, ...]]] = []
    for laptop in _places(run, ready):
        view = run.world.view(laptop)
        nets = [net for net, placements in ready.items() if view.direct(placements[0])]
        if nets:
            changed, confirmed = sum(changes[n] for n in nets), sum(len(ready[n]) for n in nets)
            marks.append((changed, confirmed, laptop))
    before = bytes(run.status)
    for _, _, laptop in sorted(marks, key=lambda mark: (-mark[0], -mark[1])):
        run.set_laptop(laptop)
        settle(run)
        _moves_that_may_spoil(run)
        if bytes(run.status) != before:
            return True
    return False


def _places(run: Run, nets: Iterable[Net]) -> list[tuple[Interface, ...]]:
    if run.world.task.many:
        return laptops(run.world, run)
    return [(c,) for net in nets for c in candidates(run.world, run, net, wide=True)]


def _ready(run: Run, i: int) -> Placement | None:
    """Where a mover waits for nothing but the laptop."""
    placement = run.placement(i)
    if run.status[i] not in (START, DETOUR):
        return placement
    holder = run.holder(run.world.placements[i][1].key)
    circle = run.world.circle_of.get(i)
    unbroken = circle is not None and all(run.status[j] == START for j in run.world.circles[circle])
    return placement if holder in (None, i) or unbroken else None


# -- one at a time ---------------------------------------------------------------------------------


def _one_by_one(run: Run) -> None:
    """Attaches single devices until all can be attached together, or to the end."""
    queue = _Queue(run)
    while (i := queue.next()) is not None:
        if not run.may_connect(i):
            run.set_laptop(())
        if not run.may_connect(i):
            continue
        run.connect(i)
        _finish(run, i)
    if done(run.status) < len(run.status) and run.may_connect(ALL):
        run.connect(ALL)
        settle(run)


def _finish(run: Run, i: int) -> None:
    """Moves and confirms the device attached."""
    world = run.world
    while True:
        settle(run)
        if (
            i in world.contested
            and run.status[i] == START
            and run.may_set(i, world.placements[i][1])
        ):
            run.set(i, world.placements[i][1], temporary=False)
            continue
        if run.status[i] == DONE or not _nearer(run, i):
            return


def _nearer(run: Run, i: int) -> bool:
    """Gives the laptop the first addresses that bring the attached device further."""
    before = run.status[i]
    to = run.world.placements[i][1]
    for laptop in laptops(run.world, run):
        trial = Run(run.world, run.state())
        trial.set_laptop(laptop)
        settle(trial)
        if trial.status[i] != before or (before == START and trial.may_set(i, to)):
            run.set_laptop(laptop)
            return True
    return False


class _Queue:
    """Whom to attach next: devices that share an address, or wait in a ring; near ones first."""

    def __init__(self, run: Run) -> None:
        self._run = run
        starts = [run.placement(i).key for i in range(len(run.status))]
        self._rings = set(_in_rings(run.world, starts))
        self._left: dict[Net, deque[int]] = {}
        for i in self._singles(starts):
            self._left.setdefault(run.placement(i).net, deque()).append(i)
        self._order = deque(sorted(i for left in self._left.values() for i in left))

    def _singles(self, starts: list[Key]) -> Iterator[int]:
        """All but the last that share an address, all of a ring, and whom these wait for."""
        holders: dict[Key, list[int]] = {}
        for i, key in enumerate(starts):
            holders.setdefault(key, []).append(i)
        chosen = set(self._rings)
        if self._run.world.stay_doubled:
            chosen = set(range(len(starts)))
        for key, same in holders.items():
            chosen.update(same if key in self._run.world.stay else same[:-1])
        stack = list(chosen)
        while stack:
            for held in holders.get(self._run.world.placements[stack.pop()][1].key, ()):
                if held not in chosen:
                    chosen.add(held)
                    stack.append(held)
        yield from sorted(chosen)

    def next(self) -> int | None:
        """A device whose present address the laptop reaches, else the first in plan order."""
        for net, left in self._left.items():
            if left and self._run.view.direct(self._run.placement(left[0])):
                return self._taken(net)
        while self._order:
            i = self._order[0]
            if self._run.status[i] != START:
                self._order.popleft()
                continue
            net = self._run.world.placements[i][0].net
            if self._left[net]:
                return self._taken(net)
            self._order.popleft()
        return None

    def _taken(self, net: Net) -> int:
        return self._left[net].popleft()


def _in_rings(world: Segment, starts: list[Key]) -> Iterator[int]:
    """Devices that wait for one another's address in a ring, wherever several share one."""
    holders = {key: i for i, key in enumerate(starts)}
    state = [0] * len(starts)
    for first in range(len(starts)):
        path: list[int] = []
        i: int | None = first
        while i is not None and state[i] == 0:
            state[i] = 1
            path.append(i)
            i = holders.get(world.placements[i][1].key)
            if i == path[-1]:
                i = None
        if i in path:
            yield from path[path.index(i) :]
