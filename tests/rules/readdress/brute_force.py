"""The best figures of a small case, by trying everything; knows nothing of the planner.

Best-first search over raw states, one step at a time. What it takes for granted: a change is
confirmed as soon as it can be; of addresses that nobody ever has and that reach the same devices, a
few stand for all; only devices of a ring are moved aside, once for each ring.
"""

from __future__ import annotations

import heapq
import ipaddress
import itertools
from typing import Any

Figures = tuple[int, int, int, int]
STATES = 20_000


class TooBigError(Exception):
    """There is too much to try."""


class Brute:
    def __init__(self, case: dict[str, Any]) -> None:
        self.case = case
        self.names = list(case["devices"])
        face = ipaddress.ip_interface
        self.start = [face(u["present"]) for u in case["devices"].values()]
        self.goal = [face(u["planned"]) for u in case["devices"].values()]
        self.gates = [(u["present_gateway"], u["gateway"]) for u in case["devices"].values()]
        self.stay = [
            (u["present"], u["present_gateway"]) == (u["planned"], u["gateway"])
            for u in case["devices"].values()
        ]
        self.held = {ipaddress.ip_address(a) for a in case["held"]}
        self.apart = case["setting"] == "one-at-a-time"
        ever = self.held | {i.ip for i in (*self.start, *self.goal)}
        self.laptop0 = tuple(face(a) for a in case["laptop"])
        self.nets = list(dict.fromkeys(i.network for i in (*self.start, *self.goal)))
        self.ring = self.in_rings()
        self.few = 1 + min(2, len(self.ring))
        self.hosts: dict[Any, list[Any]] = {}
        for net in self.nets:
            inner = [n for n in self.nets if n.version == net.version and n.subnet_of(net)]  # type: ignore[arg-type]
            groups: dict[Any, int] = {}
            kept = []
            for ip in self.some_hosts(net):
                if ip in self.held:
                    continue
                if ip not in ever:
                    kind = tuple(self.is_host(ip, n) for n in inner)
                    groups[kind] = groups.get(kind, 0) + 1
                    if groups[kind] > self.few:
                        continue
                kept.append(ip)
            self.hosts[net] = kept
        self.prefixes = sorted({n.prefixlen for n in self.nets})
        self.ring_count = self.count_rings()

    def some_hosts(self, net: Any) -> list[Any]:
        """The first 40 addresses of a subnet that can be hosts': more than a small case uses."""
        first = range(min(40, net.num_addresses))
        return [net[n] for n in first if self.is_host(net[n], net)]

    @staticmethod
    def is_host(ip: Any, net: Any) -> bool:
        if ip not in net:
            return False
        if net.prefixlen >= net.max_prefixlen - 1:
            return True
        return ip != net[0] and (net.version == 6 or ip != net[-1])  # type: ignore[no-any-return]

    def in_rings(self) -> set[int]:
        if self.apart:
            return set()
        found = set()
        for first in range(len(self.names)):
            i, path = first, []
            while i is not None and i not in path:
                path.append(i)
                i = next(  # type: ignore[assignment]
                    (
                        j
                        for j in range(len(self.names))
                        if j != i and self.start[j].ip == self.goal[i].ip
                    ),
                    None,
                )
            if i == first and len(path) > 1:
                found.add(first)
        return found

    def ring_of(self, i: int) -> list[int]:
        at = {s.ip: j for j, s in enumerate(self.start)}
        ring = [i]
        while (j := at[self.goal[ring[-1]].ip]) != i:
            ring.append(j)
        return ring

    def count_rings(self) -> int:
        at = {s.ip: i for i, s in enumerate(self.start)}
        left, count = set(self.ring), 0
        while left:
            count += 1
            i = next(iter(left))
            while i in left:
                left.remove(i)
                i = at[self.goal[i].ip]
        return count

    def faces(self) -> list[Any]:
        """Every address with every mask the laptop might be given."""
        faces = []
        for ip in dict.fromkeys(ip for hosts in self.hosts.values() for ip in hosts):
            for prefix in self.prefixes:
                if prefix > ip.max_prefixlen:
                    continue
                face = ipaddress.ip_interface(f"{ip}/{prefix}")
                if self.is_host(ip, face.network) and any(
                    n.overlaps(face.network) for n in self.nets if n.version == ip.version
                ):
                    faces.append(face)
        ever = {i.ip for i in (*self.start, *self.goal)}
        kept: dict[Any, list[Any]] = {}
        for face in faces:
            if self.case["many"] and face.network not in self.nets:
                continue
            use = tuple(
                self.direct(at, via, (face,))
                for i in range(len(self.names))
                for at, via in zip((self.start[i], self.goal[i]), self.gates[i], strict=True)
            )
            who = face.ip if face.ip in ever else None
            if any(use) or self.ring:
                kept.setdefault((use, who, face.network if self.ring else None), []).append(face)
        return [f for same in kept.values() for f in same[: self.few]]

    def laptops(self) -> list[tuple[Any, ...]]:
        if self.case["setting"] == "remote":
            return []
        faces = self.faces()
        if not self.case["many"]:
            return [(), *((f,) for f in faces)]
        by_net: dict[Any, list[Any]] = {}
        for f in faces:
            by_net.setdefault(f.network, [None]).append(f)
        return [tuple(f for f in chosen if f) for chosen in itertools.product(*by_net.values())]

    def direct(self, at: Any, via: Any, laptop: tuple[Any, ...]) -> bool:
        on = [f for f in laptop if f.version == at.version and at.ip in f.network]
        if not on or any(f.ip == at.ip or str(f.ip) == via for f in laptop):
            return False
        own = max(on, key=lambda f: f.network.prefixlen)
        return self.is_host(own.ip, at.network) and self.is_host(at.ip, own.network)

    def reached(self, at: Any, via: Any, laptop: tuple[Any, ...]) -> bool:
        if self.direct(at, via, laptop):
            return True
        if self.case["setting"] != "remote" or any(
            f.ip == at.ip or str(f.ip) == via for f in laptop
        ):
            return False
        out = self.case.get("laptop_gateway")
        towards = (
            at.ip
            if any(at.ip in f.network for f in laptop)
            else ipaddress.ip_address(out)
            if out
            else None
        )
        on = [f for f in laptop if towards is not None and towards in f.network]
        if not on or on[0].version != at.version or (out == str(at.ip) and towards != at.ip):
            return False
        source = max(on, key=lambda f: f.network.prefixlen).ip
        if source in at.network:
            return True
        return via is not None and ipaddress.ip_address(via) in at.network and via != str(at.ip)

    # -- states: (attached, spots, laptop); a spot is ("p" | "g" | number of an aside, old key or
    #    None if confirmed); a laptop is a number; addresses are compared by key

    def prepare(self) -> None:
        self.sets = [self.laptop0, *(s for s in self.laptops() if s != self.laptop0)]
        self.mine = [frozenset(_key(f.ip) for f in s) for s in self.sets]
        self.aside = [
            ipaddress.ip_interface(f"{ip}/{net.prefixlen}")
            for net, hosts in self.hosts.items()
            for ip in hosts
        ]
        self.held_keys = frozenset(map(_key, self.held))
        n = len(self.names)
        spots = ["p", "g", *range(len(self.aside))] if self.ring else ["p", "g"]
        self.keys = {(i, s): _key(self.at(i, s).ip) for i in range(n) for s in spots}
        self.known: dict[Any, bool] = {}

    def run(self) -> tuple[Figures | None, int]:
        """The best figures, None where not all can be moved; and the most that can be."""
        self.prepare()
        n = len(self.names)
        attached0: Any = () if self.apart else tuple(range(n))
        first = (attached0, tuple(("p", None) for _ in range(n)), 0)
        open_: list[Any] = [((0, 0, 0, 0), 0, (0, 0, 0, 0), first)]
        best = {first: (0, 0, 0, 0)}
        count = most = 0
        to_move = sum(not s for s in self.stay)
        while open_:
            _, _, cost, state = heapq.heappop(open_)
            if best[state] < cost:
                continue
            finished = sum(s == ("g", None) for s in state[1])
            if all(s[0] in ("p", "g") and s[1] is None for s in state[1]):
                most = max(most, finished)
            if finished == to_move:
                return cost, most
            if len(best) > STATES:
                raise TooBigError
            for kind, new in self.steps(state):
                price = (
                    cost[0] + (kind == "set"), cost[1] + (kind == "connect"),
                    cost[2] + (kind == "laptop"), cost[3] + 1,
                )  # fmt: skip
                spots = zip(new[1], self.stay, strict=True)
                left = sum(s[0] != "g" for s, stays in spots if not stays)
                if price[0] + left > to_move + self.ring_count:
                    continue
                if new not in best or price < best[new]:
                    best[new] = price
                    count += 1
                    least = (price[0] + left, price[1], price[2], price[3] + 2 * left)
                    heapq.heappush(open_, (least, count, price, new))
        return None, most

    def at(self, i: int, spot: Any) -> Any:
        return {"p": self.start[i], "g": self.goal[i]}.get(spot) or self.aside[spot]

    def via(self, i: int, spot: Any) -> Any:
        if isinstance(spot, str):
            return self.gates[i]["pg".index(spot)]
        net = self.aside[spot].network
        return next((g for g in self.gates[i] if g and ipaddress.ip_address(g) in net), None)

    def contact(self, i: int, spot: Any, laptop: int) -> bool:
        key = (i, spot, laptop)
        if key not in self.known:
            sets = self.sets[laptop]
            self.known[key] = self.reached(self.at(i, spot), self.via(i, spot), sets)
        return self.known[key]

    def attached_keys(self, attached: Any, spots: Any) -> list[int]:
        return [self.keys[i, spots[i][0]] for i in attached]

    def sound(self, keys: list[int], laptop: int) -> bool:
        """No two that are attached, nor the laptop, have one address."""
        if len(set(keys)) < len(keys) or not self.held_keys.isdisjoint(keys):
            return False
        return self.mine[laptop].isdisjoint(keys) and self.mine[laptop].isdisjoint(self.held_keys)

    def steps(self, state: Any) -> Any:  # noqa: C901, PLR0912 - all steps in one place
        attached, spots, laptop = state
        keys = self.attached_keys(attached, spots)
        for i in attached:
            spot, old = spots[i]
            if old is not None and self.contact(i, spot, laptop):
                others = [self.keys[j, spots[j][0]] for j in attached if j != i]
                if old != self.keys[i, spot] and old not in others and old in self.mine[laptop]:
                    continue
                yield "confirm", (attached, _with(spots, i, (spot, None)), laptop)
                return
        for i in attached:
            spot, old = spots[i]
            if old is not None or spot == "g" or self.stay[i]:
                continue
            if not self.contact(i, spot, laptop) or not self.allowed(i, spots):
                continue
            whole = i in self.ring and all(spots[j][0] == "p" for j in self.ring_of(i))
            asides = range(len(self.aside)) if whole else ()
            for to in ("g", *asides):
                new = _with(spots, i, (to, self.keys[i, spot]))
                if self.sound(self.attached_keys(attached, new), laptop):
                    yield "set", (attached, new, laptop)
        for other in range(len(self.sets)) if self.case["setting"] != "remote" else ():
            if other != laptop and self.sound(keys, other):
                yield "laptop", (attached, spots, other)
        if self.apart:
            everybody = tuple(range(len(self.names)))
            for group in [*((i,) for i in everybody), everybody]:
                if group != attached and self.sound(self.attached_keys(group, spots), laptop):
                    yield "connect", (group, spots, laptop)

    def allowed(self, i: int, spots: Any) -> bool:
        """Far end first, over single uplinks."""
        if self.case["setting"] != "remote":
            return True
        devices = list(self.case["devices"].values())
        for j in range(len(devices)):
            up, seen = j, set()
            while len(devices[up].get("uplink", ())) == 1 and up not in seen:
                seen.add(up)
                up = self.names.index(devices[up]["uplink"][0])
                if up == i and j != i and not self.stay[j] and spots[j][0] != "g":
                    return False
        return True


def _key(ip: Any) -> int:
    return int(ip) + (ip.version << 128)  # type: ignore[no-any-return]


def _with(spots: Any, i: int, new: Any) -> Any:
    return (*spots[:i], new, *spots[i + 1 :])


def best(case: dict[str, Any]) -> tuple[Figures | None, int]:
    """The least (device changes, connects, laptop changes, steps), and how many can be moved."""
    return Brute(case).run()
