"""Where a device stands: address, prefix and gateway; which device has to be changed before which.

The far end comes first: a device behind another is at its planned address before the other changes.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from verifier.model.address import Address, Interface
from verifier.model.plan import Device

Key = tuple[int, int]
"""Family (4, 6) and number of an address: its identity."""
Net = tuple[int, int, int]
"""Family, number of the first address, prefix length."""


def key_of(address: Address) -> Key:
    """The identity of an address."""
    return address.version, address.value


@dataclass(frozen=True, slots=True)
class Placement:
    """An address with its gateway, as a device has it or is to have it."""

    at: Interface
    gateway: Address | None = None
    key: Key = field(init=False, compare=False)
    net: Net = field(init=False, compare=False)
    last: int = field(init=False, compare=False)
    gateway_key: Key | None = field(init=False, compare=False)

    def __post_init__(self) -> None:
        host_bits = self.at.address.bits - self.at.prefix
        version, value = key_of(self.at.address)
        first = value >> host_bits << host_bits
        put = object.__setattr__
        put(self, "key", (version, value))
        put(self, "net", (version, first, self.at.prefix))
        put(self, "last", first | ((1 << host_bits) - 1))
        put(self, "gateway_key", None if self.gateway is None else key_of(self.gateway))

    def holds(self, key: Key) -> bool:
        """Whether the subnet of this placement holds an address."""
        return key[0] == self.net[0] and self.net[1] <= key[1] <= self.last


@dataclass(frozen=True, slots=True)
class MovingDevice:
    """A device of the plan on its way.

    Attributes:
        device: as planned in the end.
        present: where it is before the first step.
        planned: where it is to be.
    """

    device: Device
    present: Placement
    planned: Placement

    @property
    def name(self) -> str:
        """The device's name."""
        return self.device.name

    @property
    def moves(self) -> bool:
        """Whether there is anything to change."""
        return self.present != self.planned


def host_in(net: Net, value: int) -> bool:
    """Whether a number can be a host's in a subnet: not its first, nor its IPv4 last address.

    Both addresses of a /31 or /127 can (RFC 3021 2.1, RFC 6164).
    """
    version, first, prefix = net
    bits = 32 if version == 4 else 128  # noqa: PLR2004
    if bits - prefix <= 1:
        return True
    return value != first and (version != 4 or value != first | ((1 << (bits - prefix)) - 1))  # noqa: PLR2004


def inside(inner: Net, outer: Net) -> bool:
    """Whether one subnet lies in another, or is it."""
    bits = 32 if outer[0] == 4 else 128  # noqa: PLR2004
    width = bits - outer[2]
    return inner[0] == outer[0] and inner[2] >= outer[2] and inner[1] >> width == outer[1] >> width


def net_holds(net: Net, key: Key) -> bool:
    """Whether an address lies in a subnet."""
    width = (32 if net[0] == 4 else 128) - net[2]  # noqa: PLR2004
    return net[0] == key[0] and key[1] >> width == net[1] >> width


class View:
    """What a set of laptop addresses reaches on-link, from both sides.

    The kernel takes the longest prefix that covers the destination, and as source the first
    address of that subnet.
    """

    def __init__(self, addresses: Iterable[Interface]) -> None:
        self.keys: set[Key] = set()
        self._sources: dict[Net, int] = {}
        for own in addresses:
            self.keys.add(key_of(own.address))
            self._sources.setdefault((own.version, own.first, own.prefix), own.address.value)
        lengths = sorted({(n[0], n[2]) for n in self._sources}, reverse=True)
        self._lengths = {v: [p for w, p in lengths if w == v] for v in (4, 6)}

    def source(self, key: Key) -> Key | None:
        """The laptop's address that packets to `key` carry; None where nothing covers it.

        To the first or last address of its own subnet the laptop sends nothing.
        """
        version, value = key
        bits = 32 if version == 4 else 128  # noqa: PLR2004
        for prefix in self._lengths[version]:
            width = bits - prefix
            net = (version, value >> width << width, prefix)
            found = self._sources.get(net)
            if found is not None:
                return (version, found) if host_in(net, value) else None
        return None

    def direct(self, placement: Placement) -> bool:
        """Whether the laptop and a device at `placement` are on-link to each other and no clash."""
        source = self.source(placement.key)
        return (
            source is not None
            and placement.holds(source)
            and host_in(placement.net, source[1])
            and placement.key not in self.keys
            and placement.gateway_key not in self.keys
        )


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
