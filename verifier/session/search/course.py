"""Asks at each candidate in turn and listens on: the conductor of one `find`."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Sequence

from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.model.laptop import Laptop
from verifier.model.search import Candidate, HeardFrames, SearchedPlace
from verifier.rules import search as rules
from verifier.rules.routes import hosts_outside
from verifier.rules.search.candidates import Key, key_of
from verifier.session.search.asking import AddressAsker, AskedWith, Manner
from verifier.session.search.by_snmp import Asker
from verifier.session.search.request import Search
from verifier.session.signals import cancelled_by_signals
from verifier.session.world import SnmpManager, World

_ASK_AGAIN_S = 10.0
"""Who was heard without being identified is asked again after so long: it may be starting."""
_LOOK_S = 0.5
"""How often what was heard is looked at."""


class SearchRun:
    """One search.

    Args:
        search: what is wanted.
        world: what it is asked of.
        laptop: this machine.
        interfaces: where frames may be sent and heard.
        wanted: where to ask, the likeliest first.

    Attributes:
        listened_on: the interfaces that were listened on.
    """

    def __init__(
        self,
        search: Search,
        world: World,
        laptop: Laptop,
        interfaces: Sequence[str],
        wanted: Sequence[Candidate],
    ) -> None:
        self.listened_on: tuple[str, ...] = ()
        self._search = search
        self._clocks = world.clocks
        self._sought = search.sought
        self._interfaces = interfaces
        self._candidates = list(wanted)
        self._stop = threading.Event()
        manner = Manner(packets_per_s=search.packets_per_s, timeout_s=search.timeout_s)
        with_ = AskedWith(asker=self._asker, entries=self._entries)
        self._asking = AddressAsker(world, laptop, with_, manner, self._sought.macs, self._stop)

    # -- what was seen ----------------------------------------------------------------------------

    @property
    def notes(self) -> list[str]:
        """What could not be done, and why."""
        return self._asking.notes

    def heard(self) -> tuple[HeardFrames, ...]:
        """Everything heard on the cable."""
        return self._asking.heard

    def on(self, address: Address) -> str | None:
        """The interface on which an address was heard."""
        return self._asking.on(address)

    def places(self) -> tuple[SearchedPlace, ...]:
        """Each candidate with what came of it and who is there."""
        pairs = [(c, self._asking.answer(c)) for c in self._candidates]
        for mac in rules.routers(self._sought, (answer for _, answer in pairs)):
            self._asking.note(
                f"{mac} answers for many addresses: a router (proxy ARP), not a device at each"
            )
        return rules.identify(self._sought, pairs, self.heard())

    def _located(self) -> bool:
        return any(p.identity == "device" for p in self.places())

    # -- the course of it -------------------------------------------------------------------------

    async def run(self) -> bool:
        """Looks until the device is found or all is done; whether a person ended it early."""
        course = asyncio.create_task(self._course())
        with cancelled_by_signals(course, self._stop):
            try:
                await course
            except asyncio.CancelledError:
                return True
            finally:
                self._stop.set()
        return False

    async def glance(self) -> None:
        """Asks all once; signals are the caller's."""
        try:
            await self._course()
        finally:
            self._stop.set()

    async def _course(self) -> None:
        """Shows and asks named addresses, then slips, then listens; ends as soon as it is found."""
        search = self._search
        listening = search.listen_s is not None
        search.show(tuple(self._candidates))
        async with self._asking.opened(self._interfaces, everything=listening):
            self.listened_on = tuple(self._asking.wires) if listening else ()
            await self._rounds()
            if listening and self._asking.wires and not self._located():
                await self._listen(search.listen_s or 0.0)

    def _asker(self, client: SnmpManager, candidate: Candidate) -> Asker:
        del candidate
        search = self._search
        return Asker(
            client=client,
            profile=self._sought.profile,
            timeout_s=search.snmp_timeout_s,
            retries=search.snmp_retries,
            clock=self._clocks.now,
            routes_at=search.routes_at,
            hosts=hosts_outside(search.plan, search.device, search.routes_at),
        )

    async def _rounds(self) -> None:
        named = [c for c in self._candidates if c.kind != "slip"]
        slips = [c for c in self._candidates if c.kind == "slip"]
        for group in (named, slips):
            if group and not self._located():
                await self._asking.ask(group)

    async def _listen(self, wait_s: float) -> None:
        """Hears what comes; asks who was heard without being known."""
        self._search.say(
            f"listening on {', '.join(self._asking.wires)} for {wait_s:g} s; Ctrl-C ends it"
        )
        ends_s = self._clocks.monotonic_s() + wait_s
        while (left_s := ends_s - self._clocks.monotonic_s()) > 0:
            await self._asking.ask(self._heard_candidates())
            if self._located():
                return
            await self._clocks.sleep(min(_LOOK_S, left_s))

    def _heard_candidates(self) -> list[Candidate]:
        """Addresses heard on the cable that are to be asked now; new ones become candidates."""
        known: dict[Key, Candidate | None] = {
            key_of(c.address.address): c for c in self._candidates
        }
        due: dict[Key, Candidate] = {}
        now_s = self._clocks.monotonic_s()
        for each in self.heard():
            if each.address is None:
                continue
            key = key_of(each.address)
            if key not in known:
                known[key] = self._new(each.address, sure=self._sought.is_it(each))
            candidate = known[key]
            rested = now_s - self._asking.asked_s.get(key, -_ASK_AGAIN_S) >= _ASK_AGAIN_S
            if candidate is not None and rested:
                due[key] = candidate
        return list(due.values())

    def _new(self, address: Address, *, sure: bool) -> Candidate | None:
        search = self._search
        if len(self._candidates) >= rules.MAX_CANDIDATES and not sure:
            return None
        found = rules.heard(search.plan, search.device, search.profiles, address, sure=sure)
        if found is not None:
            self._candidates.append(found)
        return found

    def _entries(self, candidate: Candidate) -> list[SnmpEntry]:
        """Credentials to try: the device's, the factory's, those of whoever owns the address."""
        search, profile = self._search, self._sought.profile
        names = [search.device.snmp, profile.factory.snmp if profile is not None else None]
        if candidate.kind == "factory":
            names.reverse()
        owner = next((d for d in search.plan.devices if d.name == candidate.owner), None)
        names.append(owner.snmp if owner is not None else None)
        wanted = [n for n in dict.fromkeys(names) if n is not None]
        return [search.credentials[n] for n in wanted if n in search.credentials]
