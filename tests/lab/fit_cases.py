"""Settings of a laptop, a device and their gateways, and what the standard library makes of them.

`expected` computes the relation a second time, from `ipaddress` alone.
"""

from __future__ import annotations

import ipaddress
import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

Ip = ipaddress.IPv4Address | ipaddress.IPv6Address
OwnAddress = ipaddress.IPv4Interface | ipaddress.IPv6Interface
V4, V6 = ipaddress.ip_network("198.18.20.0/22"), ipaddress.ip_network("2001:db8:20::/112")


@dataclass(frozen=True, kw_only=True)
class Case:
    """One setting.

    Attributes:
        laptop: its interfaces with their addresses; the first is the one that counts.
        via: the laptop's gateway.
        gateway: the device's.
    """

    laptop: tuple[tuple[str, str], ...]
    device: str
    via: str | None = None
    gateway: str | None = None

    def __str__(self) -> str:
        held = " ".join(f"{name}={address}" for name, address in self.laptop)
        return f"{held} via {self.via} - {self.device} via {self.gateway}"


def expected(case: Case) -> str:
    """The relation by `ipaddress`, and `routed?` where only one side uses a gateway."""
    own = [ipaddress.ip_interface(address) for _, address in case.laptop]
    device = ipaddress.ip_interface(case.device)
    gateway = ipaddress.ip_address(case.gateway) if case.gateway else None
    via = ipaddress.ip_address(case.via) if case.via else None
    near = [o for o in own if o.ip in device.network]
    source = _best(own, device.ip) or (_best(own, via) if via else None) or (near or own)[0]
    if _unusable(own, device, source):
        return "unusable"
    if any(o.ip in {device.ip, gateway} for o in own):
        return "clash"
    there = _way(own, via, device.ip)
    back = _way([device], gateway, source.ip)
    if there == back == "on-link":
        used = next(name for name, a in case.laptop if ipaddress.ip_interface(a) == source)
        others = [ipaddress.ip_interface(a) for name, a in case.laptop if name != used]
        return "shadowed" if any(device.ip in o.network for o in others) else "direct"
    if "" in {there, back}:
        return "one-way" if there or back else "off-subnet"
    return "routed" if there == back else "routed?"


def _best(own: list[OwnAddress], to: Ip) -> OwnAddress | None:
    covering = [o for o in own if to in o.network]
    return max(covering, key=lambda o: o.network.prefixlen, default=None)


def _way(own: list[OwnAddress], gateway: Ip | None, to: Ip) -> str:
    if any(to in o.network for o in own):
        return "on-link"
    if gateway is None or any(gateway == o.ip for o in own):
        return ""
    return "gateway" if any(gateway in o.network for o in own) else ""


def _unusable(own: list[OwnAddress], device: OwnAddress, source: OwnAddress) -> bool:
    """Neither end may be another's or its own broadcast address (RFC 1122 3.2.1.3)."""
    if not_a_host(device) or all(not_a_host(o) for o in own):
        return True
    if not device.ip.is_link_local and all(o.ip.is_link_local for o in own):
        return True
    return any(device.ip == broadcast(o) for o in own) or source.ip == broadcast(device)


def not_a_host(interface: OwnAddress) -> bool:
    """Network and broadcast, but where there are no such addresses (/31, /32, /127, /128)."""
    if interface.network.prefixlen >= interface.max_prefixlen - 1:
        return False
    return interface.ip in {interface.network.network_address, broadcast(interface)}


def broadcast(interface: OwnAddress) -> Ip | None:
    """IPv6, /31 and /32 have none; the library gives one all the same."""
    if interface.version == 6 or interface.network.prefixlen > 30:
        return None
    return interface.network.broadcast_address


def random_case(dice: random.Random) -> Case:
    """Any setting near enough to be interesting; every end can be a host's in its own subnet."""
    space = V6 if dice.random() < 0.2 else V4
    lengths = range(space.prefixlen, space.max_prefixlen + 1)
    laptop, device = (_host(dice, space, dice.choice(lengths)) for _ in "ab")
    second: tuple[tuple[str, str], ...] = ()
    if dice.random() < 0.15:
        second = (("eth1", str(_host(dice, space, dice.choice(lengths)))),)
    gateway = _gateway(dice, device, laptop, laptop)
    if dice.random() < 0.05:
        laptop = ipaddress.ip_interface(f"{device.ip}/{laptop.network.prefixlen}")
    elif dice.random() < 0.05 and gateway is not None and gateway.version == 4:  # ARP tells
        laptop = ipaddress.ip_interface(f"{gateway}/{laptop.network.prefixlen}")
    via = _gateway(dice, laptop, device, device)
    return Case(
        laptop=(("eth0", str(laptop)), *second),
        device=str(device),
        via=str(via) if via else None,
        gateway=str(gateway) if gateway else None,
    )


def _host(dice: random.Random, space: ipaddress.IPv4Network | ipaddress.IPv6Network, length: int) -> OwnAddress:  # fmt: skip
    while True:
        last = space.num_addresses - 1
        near = min(last, max(0, 300 + dice.choice((-1, 1)) * int(dice.expovariate(0.01))))
        found = ipaddress.ip_interface(f"{space[near]}/{length}")
        if not not_a_host(found):
            return found


def _gateway(
    dice: random.Random, own: OwnAddress, *others: OwnAddress
) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    """None, one of the subnet, or one outside it that no system will take."""
    if dice.random() < 0.35:
        return None
    width = own.network.num_addresses
    for _ in range(20):
        ip = own.network[dice.randrange(min(width, 512))] + (width if dice.random() < 0.1 else 0)
        found = ipaddress.ip_interface(f"{ip}/{own.network.prefixlen}")
        if not not_a_host(found) and found.ip not in {own.ip, *(o.ip for o in others)}:
            return found.ip
    return None


QUOTA = {"direct": 12, "shadowed": 7, "routed": 9, "routed?": 10, "one-way": 16, "off-subnet": 8, "clash": 8}  # fmt: skip
"""How many of each relation 70 cases have; what the kernel cannot judge is not among them."""


def chosen(count: int, seed: int) -> Iterator[Case]:
    """`count` random cases with every relation in its share."""
    dice = random.Random(seed)
    wanted = {k: -(-v * count // sum(QUOTA.values())) for k, v in QUOTA.items()}
    had: Counter[str] = Counter()
    while had.total() < count:
        case = random_case(dice)
        relation = expected(case)
        if had[relation] < wanted.get(relation, 0):
            had[relation] += 1
            yield case
