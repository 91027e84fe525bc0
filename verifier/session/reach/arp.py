"""Asks the cable who holds the devices' addresses, and some that nobody should hold.

We ask by ARP ourselves: the kernel keeps the first of two answers. A router with proxy ARP answers
no probe without a sender (RFC 5227), so the questions carry the laptop's own address. Two addresses
of the subnet that nobody in the plan holds are asked too. Without permission for raw sockets
nothing is asked and nothing concluded.
"""

from __future__ import annotations

import contextlib
import threading
from collections import defaultdict
from collections.abc import Iterable, Mapping

from verifier.model.address import Address, Interface, Mac
from verifier.model.laptop import Route
from verifier.model.observations import ARP_RESPONDERS, UNPLANNED_ANSWER, UnplannedAnswer
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.probes.pace import Slots
from verifier.rules.fit.hosts import highest_free
from verifier.rules.fit.suggest import taken_addresses
from verifier.session.recorder import Recorder
from verifier.session.world import CableAccess

_UNPLANNED = 2
"""Addresses of each subnet that nobody in the plan holds and that are asked for too."""

_Way = tuple[str, Address]
"""An interface and the address that packets leave with."""


class Arping:
    """One pass over the devices that are on-link by IPv4; Linux, and with permission only.

    Args:
        plan, profiles: what is taken.
        devices: whom to ask for.
        routes: where packets to each leave, by name.
    """

    def __init__(
        self,
        plan: Plan,
        profiles: Mapping[str, Profile],
        devices: Iterable[Device],
        routes: Mapping[str, Route | None],
    ) -> None:
        self._asked: dict[_Way, dict[Address, str]] = defaultdict(dict)
        subnets: dict[tuple[_Way, int, int], Interface] = {}
        for device in devices:
            route, address = routes[device.name], device.address.address
            if route is None or route.next_hop is not None or route.source is None:
                continue
            if address.is_v4 and not address.is_loopback:
                way, at = (route.interface, route.source), device.address
                self._asked[way].setdefault(address, device.name)
                subnets.setdefault((way, at.first, at.prefix), at)
        own = [r.source for r in routes.values() if r is not None and r.source is not None]
        if plan.management.laptop is not None:
            own.append(plan.management.laptop.address)
        taken = set(taken_addresses(plan, profiles, own)) if subnets else set()
        self._free: dict[_Way, list[Address]] = defaultdict(list)
        for (way, _, _), subnet in subnets.items():
            for _ in range(_UNPLANNED):
                if (free := highest_free(subnet, taken)) is not None:
                    taken.add((4, free.address.value))
                    self._free[way].append(free.address)

    async def run(
        self,
        records: Mapping[str, Recorder],
        laptop: Recorder,
        cable: CableAccess,
        pace: Slots,
        stop: threading.Event,
    ) -> None:
        """Writes down who answered for each device, and for what nobody in the plan holds."""
        for way, devices in self._asked.items():
            free = self._free[way]
            found: Mapping[Address, tuple[Mac, ...]] = {}
            with contextlib.suppress(OSError):
                found = await cable.arp_responders(*way, list(devices), free, pace, stop)
            for address, macs in found.items():
                if address in devices:
                    records[devices[address]].note(ARP_RESPONDERS, macs)
                else:
                    answer = UnplannedAnswer(address=address, macs=macs)
                    laptop.note(UNPLANNED_ANSWER, answer)
