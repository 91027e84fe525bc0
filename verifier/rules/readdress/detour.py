"""Circles: devices that want each other's addresses, one of which must step aside for a while."""

from __future__ import annotations

import itertools
from heapq import heappush
from typing import TYPE_CHECKING

from verifier.model.address import Address
from verifier.rules.readdress.placement import Net, Placement, net_holds

if TYPE_CHECKING:
    from verifier.rules.readdress.run import Run


def temporary(run: Run, i: int, net: Net, *, borrowed: bool = False) -> list[Placement]:
    """Free addresses of a subnet for a mover on its way; `borrowed`: any that is free now."""
    spare, hosts = run.world.spare.get(net, []), run.world.hosts.get(net)
    present, planned = run.world.spots[i]
    gateway = _gateway_for(net, present, planned)
    any_host = borrowed and hosts is not None
    spots = (Placement(host, gateway) for host in (hosts if any_host and hosts else spare[1:]))
    free = (s for s in spots if s.key not in run.view.keys and not run.is_held(s.key))
    if any_host:
        return list(free)
    near = run.world.near(net, run.laptop) if borrowed else ()
    return [*itertools.islice(free, 1), *(Placement(host, gateway) for host in near)]


def break_a_circle(run: Run, heap: list[int]) -> bool:
    """Moves one device aside where the laptop then reaches all the circle without moving."""
    if not run.world.circles or not run.together:
        return False
    for circle in run.unbroken():
        if not all(run.reaches(i, s) for i in circle for s in run.world.spots[i]):
            continue
        for i in _first_aside(run, circle):
            if _step_aside(run, i, heap):
                return True
    return False


def _first_aside(run: Run, circle: tuple[int, ...]) -> list[int]:
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


def _step_aside(run: Run, i: int, heap: list[int]) -> bool:
    """Moves one mover aside to where the laptop reaches it."""
    own = (s.net for s in run.world.spots[i])
    for net in dict.fromkeys((*own, *run.world.nets)):
        for spot in temporary(run, i, net) if net not in run.world.tight else ():
            if run.reaches(i, spot) and run.may_set(i, spot):
                old = run.spot(i)
                run.set(i, spot, temporary=True)
                run.wake(i, old, spot, heap)
                heappush(heap, i)
                return True
    return False


def _gateway_for(net: Net, present: Placement, planned: Placement) -> Address | None:
    """The gateway a mover has while it is aside in a subnet: its own, if that lies in there."""
    for spot in (present, planned):
        if spot.gateway_key is not None and net_holds(net, spot.gateway_key):
            return spot.gateway
    return None
