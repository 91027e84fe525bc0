"""Random small cases, and the planner asked about them."""

from __future__ import annotations

import ipaddress
import random
from typing import Any

from verifier.model.address import Address, Interface
from verifier.model.plan import Device
from verifier.report.runbook.text import document
from verifier.rules.readdress import plan_steps
from verifier.rules.readdress.placement import MovingDevice, Placement, key_of
from verifier.rules.readdress.world import Task

SUBNETS = (
    "198.18.0.0/29", "198.18.1.0/30", "198.18.2.0/24", "198.18.3.0/31", "198.18.4.0/28",
    "198.18.4.0/29", "198.18.0.0/16", "198.18.2.0/25", "2001:db8::/64", "2001:db8::/126",
    "198.18.5.0/29",
)  # fmt: skip


def random_case(chance: random.Random) -> dict[str, Any]:
    """2 to 6 devices in 1 to 4 subnets: moves, swaps, chains, rings, shared addresses."""
    setting = chance.choice(("segment", "segment", "remote", "one-at-a-time"))
    nets = [
        ipaddress.ip_network(n)
        for n in chance.sample(SUBNETS, chance.randint(1, 3 + (chance.random() < 0.3)))
    ]
    count = chance.choice((2, 2, 3, 3, 3, 4, 4, 5, 6))
    pool = [f"{ip}/{n.prefixlen}" for n in nets for ip in _some_hosts(n)]
    devices: dict[str, dict[str, Any]] = {}
    before, after = _distinct(chance, pool, count), _distinct(chance, pool, count)
    count = min(len(before), len(after))
    if chance.random() < 0.3:  # within the same addresses: swaps and rings
        after = chance.sample(before[:count], count)
    if setting == "one-at-a-time" and chance.random() < 0.6:
        before = [chance.choice(before[: max(1, count // 2)]) for _ in range(count)]
    held = {}
    for net in nets:
        if chance.random() < 0.3 and str(_some_hosts(net)[0]) not in {
            b.split("/")[0] for b in before
        }:
            held[str(_some_hosts(net)[0])] = "the gateway"
    for i in range(count):
        stays = chance.random() < 0.1 and before[i].split("/")[0] not in {
            a.split("/")[0] for a in after
        }
        devices["abcdef"[i]] = {
            "present": before[i], "present_gateway": _gateway(before[i], held),
            "planned": before[i] if stays and before.count(before[i]) == 1 else after[i], "gateway": None, "uplink": [],
        }  # fmt: skip
        devices["abcdef"[i]]["gateway"] = _gateway(devices["abcdef"[i]]["planned"], held)
    case: dict[str, Any] = {
        "setting": setting, "many": chance.random() < 0.5, "laptop": [], "laptop_gateway": None,
        "held": held, "devices": devices,
    }  # fmt: skip
    if setting == "remote":
        names = list(devices)
        for i, name in enumerate(names[1:], start=1):
            if chance.random() < 0.5:
                devices[name]["uplink"] = [names[chance.randrange(i)]]
        case["laptop"] = ["203.0.113.9/24"]
        case["laptop_gateway"] = "203.0.113.1"
        held["203.0.113.1"] = "the laptop's gateway"
    elif chance.random() < 0.3:
        taken = {u[k].split("/")[0] for u in devices.values() for k in ("present", "planned")}
        free = [p for p in pool if p.split("/")[0] not in taken | set(held)]
        case["laptop"] = free[:1]
    return case


def _some_hosts(net: Any) -> list[Any]:
    if net.prefixlen >= net.max_prefixlen - 1:
        return list(net)
    first = net.network_address
    return [first + n for n in range(1, min(6, net.num_addresses - 1 - (net.version == 4)) + 1)]


def _distinct(chance: random.Random, pool: list[str], count: int) -> list[str]:
    """So many addresses with their mask, no address twice."""
    shuffled = chance.sample(pool, len(pool))
    return list({p.split("/")[0]: p for p in shuffled}.values())[:count]


def _gateway(address: str, held: dict[str, str]) -> str | None:
    at = ipaddress.ip_interface(address)
    inside = [g for g in held if ipaddress.ip_address(g) in at.network and g != str(at.ip)]
    return inside[0] if inside else None


def task(case: dict[str, Any]) -> Task:
    """The case as the planner takes it."""
    return Task(
        devices=tuple(
            MovingDevice(
                Device(name=n, address=Interface.parse(u["planned"]), uplink=tuple(u["uplink"])),
                _spot(u["present"], u["present_gateway"]),
                _spot(u["planned"], u["gateway"]),
            )
            for n, u in case["devices"].items()
        ),
        setting=case["setting"],
        many=case["many"],
        laptop=tuple(Interface.parse(a) for a in case["laptop"]),
        laptop_gateway=_address(case["laptop_gateway"]),
        held={key_of(Address.parse(a)): who for a, who in case["held"].items()},
    )


def _spot(at: str, gateway: str | None) -> Placement:
    return Placement(Interface.parse(at), _address(gateway))


def _address(text: str | None) -> Address | None:
    return None if text is None else Address.parse(text)


def planned(case: dict[str, Any]) -> dict[str, Any]:
    """The planner's runbook for a case, in its JSON form."""
    return document(plan_steps(task(case)))
