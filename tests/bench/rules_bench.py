"""How long the offline rules take, by the number of devices.

Usage: python tests/bench/rules_bench.py [LARGEST]

The network: hops of two radios, sixteen devices to a subnet, subnets of three lengths in each other, a
few addresses twice. The first columns are doubled addresses and overlapping subnets alone; a time
divided by n log2 n that stays about the same says that the work grows as n log n.
"""

from __future__ import annotations

import datetime as dt
import math
import sys
import time
from collections.abc import Callable, Collection
from functools import partial
from typing import Any

from verifier.files.read_profile import load_profiles
from verifier.model.address import Address, Interface
from verifier.model.plan import Band, Carrier, Device, End, Link, Plan, Port, Site
from verifier.rules.plan import RULES, check
from verifier.rules.plan.addresses import address_doubled
from verifier.rules.plan.scope import Find, PlanScope, RuleProblem
from verifier.rules.plan.subnets import subnets_overlap

TODAY = dt.date(2026, 11, 25)
FIRST = int(Address.parse("198.18.0.0").ip)
BANDS: tuple[Band, Band] = ("low", "high")
SIZES = (1_000, 10_000, 100_000)


def address(value: int, prefix: int) -> Interface:
    octets = ".".join(str(value >> shift & 255) for shift in (24, 16, 8, 0))
    return Interface.parse(f"{octets}/{prefix}")


def network(several: int) -> Plan:
    """An invented network; one device in 500 has the address of another, one in 300 another prefix."""
    devices = []
    for n in range(several):
        block, host = divmod(n, 13)
        value = (10 << 24) + block * 16 + 2 + host
        prefix = 27 if n % 300 == 7 else 28
        value = value - 1 if n % 500 == 9 else value
        devices.append(
            Device(
                name=f"device-{n}", address=address(value, prefix), site=f"site-{n // 2}",
                gateway=address((10 << 24) + block * 16 + 1, 28).address, profile="hop-radio",
                tx_band=BANDS[n // 2 % 2], serial=f"{n:08}", uplink=(f"device-{n - 1}",) * (n > 0),
                ports=(Port(name="eth1", mtu=1500),),
            )
        )  # fmt: skip
    sites = tuple(
        Site(name=f"site-{n}", latitude=47 + n % 2 * 0.1, longitude=-20 + n * 0.0001)
        for n in range((several + 1) // 2)
    )
    links = tuple(hop(n, several) for n in range(1, several - 1, 2))
    return Plan(devices=tuple(devices), sites=sites, links=links)


def hop(n: int, devices: int) -> Link:
    """The radio at one site to the next one's; sites alternate between the halves of the band."""
    ends = [
        End(
            device=f"device-{(n + k) % devices}", tx_mhz=(12765, 13031)[((n + k) // 2) % 2],
            tx_power_dbm=18, antenna_dbi=36, max_eirp_dbm=60,
        )
        for k in (0, 1)
    ]  # fmt: skip
    carrier = Carrier(a=ends[0], b=ends[1], polarisation="V")
    return Link(
        name=f"hop-{n}", carriers=(carrier,), raster="F.497", duplex_spacing_mhz=266,
        bandwidth_mhz=28, modulation_max="256qam", capacity_mbps=190,
    )  # fmt: skip


def alone(find: Find, plan: Plan) -> list[RuleProblem]:
    """One rule, with all that it must prepare."""
    return list(find(PlanScope(plan)))


def took_s(work: Callable[[], Collection[Any]]) -> tuple[float, int]:
    """The shortest of three runs, and how much it found."""
    times, found = [], 0
    for _ in range(3):
        started = time.perf_counter()
        found = len(work())
        times.append(time.perf_counter() - started)
    return min(times), found


def main() -> None:
    largest = int(sys.argv[1]) if len(sys.argv) > 1 else SIZES[-1]
    profiles = load_profiles(["hop-radio"])
    print(f"{len(RULES)} rules")
    print(
        "  devices   doubled  found  ns/(n log n)  overlap  found  ns/(n log n)  all rules  problems"
    )
    for devices in (size for size in SIZES if size <= largest):
        plan = network(devices)
        work = devices * math.log2(devices)
        doubled, twice = took_s(partial(alone, address_doubled, plan))
        overlap, over = took_s(partial(alone, subnets_overlap, plan))
        every, problems = took_s(partial(check, plan, (), profiles, today=TODAY))
        print(
            f"{devices:7} {doubled:8.3f}s {twice:6} {doubled / work * 1e9:13.0f} {overlap:7.3f}s "
            f"{over:6} {overlap / work * 1e9:13.0f} {every:9.2f}s {problems:9}"
        )


if __name__ == "__main__":
    main()
