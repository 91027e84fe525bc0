"""Doing all that costs nothing: no further connect and no further laptop change.

`trimmed` leaves the laptop the addresses that are used before the next change, with narrow masks.

A device is changed as soon as it can be, and confirmed as soon as it can be: neither ever spoils
anything for another device, except where an address is taken that the laptop may have to borrow
(`World.contested`); that one is left to the search. Devices that want each other's addresses stand
in a circle: one of them takes a temporary address first, a detour.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from heapq import heapify, heappop, heappush

from verifier.model.address import Address, Interface
from verifier.rules.readdress.placement import Net, Placement, View, net_holds
from verifier.rules.readdress.run import ALL, DETOUR_NEW, DONE, NEW, NONE, Op, Run
from verifier.rules.readdress.world import Segment


def settle(run: Run) -> None:
    """Does everything that can be done without a further connect or laptop change."""
    heap = _active(run)
    while True:
        while heap:
            _advance(run, heappop(heap), heap)
        if not _break_a_circle(run, heap):
            return


def _active(run: Run) -> list[int]:
    if run.attached == ALL:
        heap = [i for i, status in enumerate(run.status) if status != DONE]
        heapify(heap)
        return heap
    unfinished = run.attached != NONE and run.status[run.attached] != DONE
    return [run.attached] if unfinished else []


def _advance(run: Run, i: int, heap: list[int]) -> None:
    """Takes one mover as far as it goes; puts those it made way for on the heap."""
    while run.status[i] != DONE:
        if run.status[i] in (DETOUR_NEW, NEW):
            if not run.confirm(i):
                return
            continue
        old, to = run.placement(i), run.world.placements[i][1]
        if i in run.world.contested or not run.may_set(i, to):
            return
        run.set(i, to, temporary=False)
        run.wake(i, old, to, heap)


def temporary(run: Run, i: int, net: Net, *, borrowed: bool = False) -> list[Placement]:
    """Free addresses of a subnet for a mover on its way; `borrowed`: any that is free now."""
    spare, hosts = run.world.spare.get(net, []), run.world.hosts.get(net)
    present, planned = run.world.placements[i]
    gateway = _gateway_for(net, present, planned)
    any_host = borrowed and hosts is not None
    placements = (Placement(host, gateway) for host in (hosts if any_host and hosts else spare[1:]))
    free = (s for s in placements if s.key not in run.view.keys and not run.is_held(s.key))
    if any_host:
        return list(free)
    near = run.world.near(net, run.laptop) if borrowed else ()
    return [*itertools.islice(free, 1), *(Placement(host, gateway) for host in near)]


def _break_a_circle(run: Run, heap: list[int]) -> bool:
    """Sends one device on a detour where the laptop then reaches all the circle without moving."""
    if not run.world.circles or not run.together:
        return False
    for circle in run.unbroken():
        if not all(run.reaches(i, s) for i in circle for s in run.world.placements[i]):
            continue
        for i in _first_to_leave(run, circle):
            if _detour(run, i, heap):
                return True
    return False


def _first_to_leave(run: Run, circle: tuple[int, ...]) -> list[int]:
    """Those that may go first: the others then follow one by one, and far end first."""
    if not run.world.remote:
        return list(circle)
    passes = {i: run.world.towards_laptop(i) for i in circle}
    found = []
    for first in range(len(circle)):
        order = [circle[first - n] for n in range(1, len(circle) + 1)]
        if not any(i in passes[later] for n, i in enumerate(order) for later in order[n:]):
            found.append(circle[first])
    return found


def _detour(run: Run, i: int, heap: list[int]) -> bool:
    """Gives one mover a temporary address where the laptop reaches it."""
    own = (s.net for s in run.world.placements[i])
    for net in dict.fromkeys((*own, *run.world.nets)):
        for placement in temporary(run, i, net) if net not in run.world.tight else ():
            if run.reaches(i, placement) and run.may_set(i, placement):
                old = run.placement(i)
                run.set(i, placement, temporary=True)
                run.wake(i, old, placement, heap)
                heappush(heap, i)
                return True
    return False


def _gateway_for(net: Net, present: Placement, planned: Placement) -> Address | None:
    """The gateway a mover has on its detour in a subnet: its own, if that lies in there."""
    for placement in (present, planned):
        if placement.gateway_key is not None and net_holds(net, placement.gateway_key):
            return placement.gateway
    return None


def trimmed(world: Segment, ops: list[Op]) -> list[Op]:
    """The same steps; each set of laptop addresses reduced to what is used until the next."""
    if world.remote:
        return ops
    made: list[Op] = []
    for laptop, stay in _stays(ops):
        if laptop is not None:
            made.append(laptop._replace(laptop=_reduced(laptop.laptop, list(_met(stay)))))
        made.extend(stay)
    return made


def _stays(ops: list[Op]) -> Iterator[tuple[Op | None, list[Op]]]:
    laptop: Op | None = None
    stay: list[Op] = []
    for op in ops:
        if op.action == "set-laptop":
            yield laptop, stay
            laptop, stay = op, []
        else:
            stay.append(op)
    yield laptop, stay


def _met(stay: list[Op]) -> Iterator[Placement]:
    """Where devices are met during a stay: before a change, and when confirmed."""
    for op in stay:
        placement = op.old if op.action == "set-device" else op.new
        if op.action != "connect" and placement is not None:
            yield placement


def _reduced(laptop: tuple[Interface, ...], met: list[Placement]) -> tuple[Interface, ...]:
    view = View(laptop)
    used = {view.source(placement.key) for placement in met}
    kept = tuple(a for a in laptop if (a.version, a.address.value) in used)
    if len(laptop) == 1 and met:
        kept = (_narrowed(laptop[0], met),)
    fewer = View(kept)
    return kept if all(fewer.direct(placement) for placement in met) else laptop


def _narrowed(own: Interface, met: list[Placement]) -> Interface:
    """The longest prefix among those of the devices met that still covers them all."""
    for prefix in sorted({placement.net[2] for placement in met}, reverse=True):
        narrow = Interface(own.address, prefix)
        view = View((narrow,))
        if all(view.direct(placement) for placement in met):
            return narrow
    return own
