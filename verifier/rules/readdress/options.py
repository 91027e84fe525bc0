"""What may be tried next: laptop addresses, connects, and the moves that are not free."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from verifier.model.address import Interface
from verifier.rules.readdress.placement import Net, Placement, inside, key_of
from verifier.rules.readdress.run import ALL, DETOUR, DONE, NEW, NONE, START, Run, SegmentState
from verifier.rules.readdress.settle import settle, temporary
from verifier.rules.readdress.world import Segment

_FEW = 8
"""Up to so many devices every order is tried; beyond, devices of one kind go in plan order."""
_MOST_HOSTS = 2 * _FEW
_MOST_SETS = 1024


def successors(world: Segment, state: SegmentState) -> Iterator[Run]:
    """Every way on from a settled state, each settled again; better ones first where known."""
    yield from _free_moves(world, state)
    if world.remote:
        return
    for laptop in laptops(world, Run(world, state)):
        run = Run(world, state)
        run.set_laptop(laptop)
        settle(run)
        if not world.apart or len(run.ops) > 1 or _may_help(world, state):
            yield run
    if world.apart:
        for attached in _connects(world, state):
            run = Run(world, state)
            run.connect(attached)
            settle(run)
            yield run


def needs(run: Run, i: int) -> list[Placement]:
    """Where the laptop must still reach a mover."""
    present, planned = run.world.placements[i]
    status = run.status[i]
    if status == DONE:
        return []
    if status == NEW:
        return [planned]
    return [present if status == START else run.detours[i], planned]


# -- laptop ----------------------------------------------------------------------------------------


def laptops(world: Segment, run: Run) -> list[tuple[Interface, ...]]:
    """The sets of addresses that the laptop may usefully be given now."""
    everybody = range(len(run.status))
    alone = world.apart and run.attached not in (ALL, NONE)
    conflict = world.apart and run.attached != ALL and _in_the_way(run)
    wanted = list(dict.fromkeys(s.net for i in everybody for s in needs(run, i)))
    if alone and not world.task.many and not conflict:
        here = {s.net for s in needs(run, run.attached)}
        wanted = [n for n in wanted if any(inside(n, h) for h in here)]
    if world.task.many:
        sets = _sets(world, run, wanted)
    else:
        sets = [(c,) for net in wanted for c in candidates(world, run, net, wide=True)]
    if conflict:
        sets.append(())
    return [s for s in dict.fromkeys(sets) if s != run.laptop]


def _sets(world: Segment, run: Run, wanted: list[Net]) -> list[tuple[Interface, ...]]:
    """Many at a time: one in every subnet that has one to spare, choices in the others."""
    roomy = [n for n in wanted if n not in world.tight]
    if unbroken := run.unbroken():
        roomy += _aside_nets(world, unbroken, roomy)
    fixed = [world.spare[n][0] for n in roomy]
    tight = [n for n in wanted if n in world.tight]
    choices: list[list[Interface | None]] = []
    for net in tight:
        found = candidates(world, run, net, wide=False)
        settled = len(found) == 1 and _forever(world, run, found[0])
        choices.append([*found] if settled else [*found, None])
    made = (
        (*fixed, *(c for c in chosen if c is not None))
        for chosen in itertools.islice(itertools.product(*choices), _MOST_SETS)
    )
    return [s for s in made if len({a.address for a in s}) == len(s)]


def _aside_nets(world: Segment, unbroken: list[tuple[int, ...]], roomy: list[Net]) -> list[Net]:
    """A further subnet to move aside to, where a circle's own subnets have no room for that."""
    own = {s.net for circle in unbroken for i in circle for s in world.placements[i]}
    if any(len(world.spare[n]) > 1 for n in own if n not in world.tight):
        return []
    known = {*roomy, *world.tight}
    others = (n for n, spare in world.spare.items() if len(spare) > 1 and n not in known)
    return list(itertools.islice(others, 1))


def candidates(world: Segment, run: Run, net: Net, *, wide: bool) -> list[Interface]:
    """Addresses for the laptop in a subnet; `wide`: with the mask of the widest around it."""
    found = _tight_hosts(world, run, net) if net in world.tight else world.spare[net][:1]
    return [Interface(f.address, world.wide[net]) for f in found] if wide else found


def _tight_hosts(world: Segment, run: Run, net: Net) -> list[Interface]:
    free = [h for h in world.hosts[net] if not run.is_held(key_of(h.address))]
    if run.attached != ALL:
        return world.spare[net][:1] or free[:_MOST_HOSTS]
    lasting = [h for h in free if _forever(world, run, h)]
    if len(lasting) > (1 if run.unbroken() else 0):
        held = [h for h in lasting if key_of(h.address) in run.view.keys]
        return (held or lasting)[:1]
    return free[:_MOST_HOSTS]


def _forever(world: Segment, run: Run, host: Interface) -> bool:
    """Whether no device still to come takes an address."""
    coming = world.target_of.get(key_of(host.address))
    return run.attached == ALL and (coming is None or run.status[coming] >= NEW)


def _in_the_way(run: Run) -> bool:
    """Whether the laptop has borrowed an address that a device has."""
    placements = [run.placement(i).key for i in range(len(run.status))]
    return not run.view.keys.isdisjoint([*placements, *run.world.stay])


def _may_help(world: Segment, state: SegmentState) -> bool:
    """Whether a laptop change that leads to nothing at once can still be of use (apart only)."""
    run = Run(world, state)
    return bool(world.tight) or _in_the_way(run) or state.attached in (NONE, ALL)


# -- connects and moves ---------------------------------------------------------------------------


def _connects(world: Segment, state: SegmentState) -> Iterator[int]:
    run = Run(world, state)
    if state.attached != ALL and run.may_connect(ALL):
        yield ALL
    seen: set[object] = set()
    for i, status in enumerate(state.status):
        if status == DONE or i == state.attached or not run.may_connect(i):
            continue
        if not _few(world) and status == START and i not in world.awaited:
            present, planned = world.placements[i]
            kind = (present, planned.net, planned.gateway)
            if kind in seen:
                continue
            seen.add(kind)
        yield i


def _free_moves(world: Segment, state: SegmentState) -> Iterator[Run]:
    """Moves that cost no laptop change, but may spoil something."""
    now = Run(world, state)
    if state.attached == NONE:
        return
    movers = range(len(state.status)) if state.attached == ALL else [state.attached]
    for i in movers:
        if i in world.contested and state.status[i] in (START, DETOUR):
            to = world.placements[i][1]
            if now.may_set(i, to):
                yield _moved(world, state, i, to, temporary=False)
    if state.attached != ALL:
        return
    yield from itertools.islice(_asides(world, state, now), None if _few(world) else _FEW)


def _asides(world: Segment, state: SegmentState, now: Run) -> Iterator[Run]:
    """Circles broken at each of their devices that the laptop reaches, into each subnet."""
    for circle in now.unbroken():
        for i in circle:
            if not now.reaches(i, now.placement(i)):
                continue
            for net in _aside_choices(world, i):
                for placement in temporary(now, i, net, borrowed=True):
                    if now.may_set(i, placement):
                        yield _moved(world, state, i, placement, temporary=True)


def _few(world: Segment) -> bool:
    return len(world.movers) <= _FEW


def _aside_choices(world: Segment, i: int) -> list[Net]:
    own = [s.net for s in reversed(world.placements[i])]
    return list(dict.fromkeys([*own, *world.samples] if _few(world) else own))


def _moved(world: Segment, state: SegmentState, i: int, to: Placement, *, temporary: bool) -> Run:
    run = Run(world, state)
    run.set(i, to, temporary=temporary)
    settle(run)
    return run
