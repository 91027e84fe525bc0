"""Far end first: which devices must be at their planned address before another may be changed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from verifier.rules.readdress.placement import MovingDevice


@dataclass(frozen=True, slots=True)
class Waits:
    """By index of a mover: those that must be moved before it, and those that wait for it."""

    below: Mapping[int, Sequence[int]]
    above: Mapping[int, Sequence[int]]


def first_before(devices: Sequence[MovingDevice], movers: Sequence[MovingDevice]) -> Waits:
    """Who is moved before whom, so that nothing is changed that another's traffic passes through.

    Devices whose uplinks lead round in a ring have another way each, so none of them must be first;
    one that has a single uplink is still moved before it, if that can be.
    """
    number = {u.name: i for i, u in enumerate(movers)}
    uplinks = {u.name: [n for n in u.device.uplink if n != u.name] for u in devices}
    rings = _rings(uplinks)
    kept = {n: [v for v in ups if rings[v] != rings[n]] for n, ups in uplinks.items()}
    single = {
        n: [v for v in ups if rings[v] != rings[n] or len(ups) == 1] for n, ups in uplinks.items()
    }
    inner = _rings(single)
    sizes: dict[int, int] = defaultdict(int)
    for ring in inner.values():
        sizes[ring] += 1
    free = {n: ups for n, ups in single.items() if all(sizes[inner[v]] == 1 for v in (n, *ups))}
    kept |= free
    below: dict[int, list[int]] = defaultdict(list)
    above: dict[int, list[int]] = defaultdict(list)
    for name, i in number.items():
        for u in _nearest_movers(name, kept, number):
            below[u].append(i)
            above[i].append(u)
    return Waits(below, above)


def _nearest_movers(
    name: str, kept: Mapping[str, Sequence[str]], number: Mapping[str, int]
) -> list[int]:
    """The first movers on the ways from a device towards the laptop; those that stay are passed."""
    found: dict[int, None] = {}
    stack = list(reversed(kept[name]))
    seen: set[str] = set()
    while stack:
        up = stack.pop()
        if up in seen:
            continue
        seen.add(up)
        if up in number:
            found[number[up]] = None
        else:
            stack.extend(reversed(kept.get(up, ())))
    return list(found)


def _rings(graph: Mapping[str, Sequence[str]]) -> dict[str, int]:  # noqa: C901 - one algorithm
    """The strongly connected part that each device is in (Tarjan's method, no recursion)."""
    order: dict[str, int] = {}
    low: dict[str, int] = {}
    part: dict[str, int] = {}
    open_: list[str] = []
    for root in graph:
        if root in order:
            continue
        work = [(root, iter(graph[root]))]
        order[root] = low[root] = len(order)
        open_.append(root)
        while work:
            node, targets = work[-1]
            for target in targets:
                if target not in order:
                    order[target] = low[target] = len(order)
                    open_.append(target)
                    work.append((target, iter(graph.get(target, ()))))
                    break
                if target not in part:
                    low[node] = min(low[node], order[target])
            else:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[node])
                if low[node] == order[node]:
                    while True:
                        member = open_.pop()
                        part[member] = order[node]
                        if member == node:
                            break
    return part
