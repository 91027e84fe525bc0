"""Looks who is on the cable: at the addresses of the plan, at what is heard, then near them."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from itertools import chain

from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.model.laptop import Laptop
from verifier.model.plan import Device
from verifier.model.search import Candidate, HeardFrames
from verifier.rules import routes
from verifier.rules.here.places import Occupied, Places, occupied, places, slips
from verifier.rules.search import heard as heard_candidate
from verifier.rules.search.candidates import Key, key_of
from verifier.session.here.request import HereRequest
from verifier.session.search.asking import AddressAsker, AskedWith, Manner
from verifier.session.search.by_snmp import Asker
from verifier.session.world import SnmpManager, World

_QUICK = Manner(
    packets_per_s=150.0, timeout_s=0.3, probes=1, echoes=1, silent_too=False, on_link_only=True
)
"""The first round: who is where they should be answers within milliseconds. At most 150 new
on-link addresses a second (contract)."""
_THOROUGH = Manner(packets_per_s=150.0, timeout_s=0.5, on_link_only=True)
_EVERY_S = 0.25
_AGAIN_S = 2.0
"""How often addresses where nobody was are asked again: a device may be starting."""
_SNMP_TIMEOUT_S = 0.8
_MOST_ENTRIES = 4


class HereLook:
    """One look; asks more than once, with or without borrowed addresses.

    Args:
        request: what is looked for.
        world: what is asked.
        laptop: this machine.
        interfaces: where frames may be sent and heard.
    """

    def __init__(
        self, request: HereRequest, world: World, laptop: Laptop, interfaces: Sequence[str]
    ) -> None:
        self._request = request
        self._world = world
        self._clocks = world.clocks
        self._interfaces = tuple(interfaces)
        self._own = [a.address for i in laptop.interfaces for a in i.addresses]
        self._where = places(request.plan, request.profiles, first=request.device, own=self._own)
        self._candidates = list(self._where.candidates)
        macs = frozenset(d.mac for d in request.plan.devices if d.mac is not None)
        with_ = AskedWith(asker=self._asker, entries=self._entries)
        self._asking = AddressAsker(world, laptop, with_, _QUICK, macs, threading.Event())

    @property
    def notes(self) -> list[str]:
        """What could not be asked, and why."""
        return self._asking.notes

    @property
    def heard(self) -> tuple[HeardFrames, ...]:
        """Everything heard on the cable."""
        return self._asking.heard

    @property
    def where(self) -> Places:
        """The addresses of the plan."""
        return self._where

    def found(self) -> tuple[Occupied, ...]:
        """Who is there."""
        request = self._request
        pairs = [(c, self._asking.answer(c)) for c in self._candidates]
        return occupied(request.plan, request.profiles, self._where, pairs, self._asking.heard)

    def moved(self, laptop: Laptop) -> None:
        """This machine has other addresses now."""
        self._asking.moved(laptop)

    async def first(self) -> None:
        """Asks every address of the plan once."""
        self._asking.manner = _QUICK
        async with self._asking.opened(self._interfaces, everything=True):
            mine = self._mine()
            await self._asking.ask(mine)
            if not mine or not self.found():
                await self._asking.ask([c for c in self._candidates if c not in mine])
            await self._ask_heard()

    def _mine(self) -> list[Candidate]:
        """The addresses of the device that was asked for; none where none was."""
        device = self._request.device
        if device is None:
            return []
        of = self._where.of
        return [
            c for c in self._candidates if any(d.device is device for d in of(c.address.address))
        ]

    async def again(self, group: Sequence[Candidate]) -> None:
        """Asks some addresses again, from an address beside them."""
        self._asking.manner = _QUICK
        async with self._asking.opened(self._interfaces, everything=True):
            await self._asking.ask(group)

    async def longer(self, seconds: float) -> None:
        """Asks and listens until somebody is there, `seconds` at most: near slips too."""
        self._asking.manner = _THOROUGH
        ends_s = self._clocks.monotonic_s() + seconds
        async with self._asking.opened(self._interfaces, everything=True):
            await self._asking.ask(self._candidates)
            if not self.found():
                await self._ask_slips()
            asked_s = self._clocks.monotonic_s()
            while not self.found() and (left_s := ends_s - self._clocks.monotonic_s()) > 0:
                await self._clocks.sleep(min(_EVERY_S, left_s))
                await self._ask_heard()
                if self._clocks.monotonic_s() - asked_s > _AGAIN_S and left_s > _AGAIN_S:
                    self._asking.manner = _QUICK
                    await self._asking.ask(self._where.candidates)
                    asked_s = self._clocks.monotonic_s()

    async def _ask_slips(self) -> None:
        request = self._request
        devices: Sequence[Device] = (
            request.plan.devices if request.device is None else (request.device,)
        )
        near = slips(request.plan, devices, request.profiles, self._own)
        self._candidates += near
        await self._asking.ask(near)

    async def _ask_heard(self) -> None:
        """Asks at addresses that devices of the plan were heard at, and are not known at yet."""
        known: set[Key] = {key_of(c.address.address) for c in self._candidates}
        new: list[Candidate] = []
        for frame in self._asking.heard:
            if frame.address is None or key_of(frame.address) in known:
                continue
            device = self._sender(frame.mac, frame.name if frame.what == "lldp" else "")
            if device is None or frame.address.is_link_local:
                continue
            candidate = self._heard_at(device, frame.address)
            if candidate is not None:
                known.add(key_of(frame.address))
                new.append(candidate)
        self._candidates += new
        await self._asking.ask(new)

    def _sender(self, mac: object, name: str) -> Device | None:
        devices = self._request.plan.devices
        by_mac = next((d for d in devices if d.mac is not None and d.mac == mac), None)
        return by_mac or next((d for d in devices if name and d.name == name), None)

    def _heard_at(self, device: Device, address: Address) -> Candidate | None:
        request = self._request
        return heard_candidate(request.plan, device, request.profiles, address, sure=True)

    # -- by SNMP ----------------------------------------------------------------------------------

    def _asker(self, client: SnmpManager, candidate: Candidate) -> Asker:
        request = self._request
        claims = self._where.of(candidate.address.address)
        device = claims[0].device if claims else (request.device or request.plan.devices[0])
        return Asker(
            client=client,
            profile=request.profiles.get(device.profile),
            timeout_s=_SNMP_TIMEOUT_S,
            retries=1,
            clock=self._clocks.now,
            hosts=routes.hosts_outside(request.plan, device),
        )

    def _entries(self, candidate: Candidate) -> list[SnmpEntry]:
        """Credentials to try: those of whose address it is, the factory's, then the plan's."""
        request = self._request
        claims = self._where.of(candidate.address.address)
        own = [c.device.snmp for c in claims]
        factory = [
            request.profiles[c.device.profile].factory.snmp
            for c in claims
            if c.device.profile in request.profiles
        ]
        first = [*factory, *own] if candidate.kind == "factory" else [*own, *factory]
        names = dict.fromkeys(chain(first, (d.snmp for d in request.plan.devices)))
        wanted = [
            request.credentials[n] for n in names if n is not None and n in request.credentials
        ]
        return wanted[:_MOST_ENTRIES]
