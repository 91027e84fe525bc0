"""Asks at each candidate in turn and listens on: the conductor of one `find`."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterable, Mapping, Sequence
from contextlib import AsyncExitStack
from dataclasses import replace

from verifier.errors import CannotMeasureError
from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.model.laptop import Laptop, Route
from verifier.model.search import Answer, Candidate, HeardFrames, SearchedPlace
from verifier.probes.echo.exchange import EchoBurst, EchoTarget
from verifier.rules import search as rules
from verifier.rules.routes import hosts_outside
from verifier.rules.search.candidates import Key, key_of
from verifier.session.recorder import timestamp
from verifier.session.search.by_snmp import Asker
from verifier.session.search.on_the_cable import FrameListener, questions
from verifier.session.search.request import Search
from verifier.session.signals import cancelled_by_signals
from verifier.session.world import SnmpManager, Wire, World

_ECHOES = 2
"""The first may be lost to address resolution along the way (common practice)."""
_ASK_AGAIN_S = 10.0
"""Who was heard without being identified is asked again after so long: it may be starting."""
_NOT_YET = "it was found, or the search was ended, before"
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
        notes: what could not be done, and why.
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
        self.notes: list[str] = []
        self.listened_on: tuple[str, ...] = ()
        self._search = search
        self._world = world
        self._clocks = world.clocks
        self._sought = search.sought
        self._laptop = laptop
        self._interfaces = interfaces
        self._candidates = list(wanted)
        self._answers: dict[Key, Answer] = {}
        self._asked_s: dict[Key, float] = {}
        self._stop = threading.Event()
        self._pace = world.pace(search.packets_per_s)
        self._wires: Mapping[str, Wire] = {}
        self._ears: FrameListener | None = None
        self._asker: Asker | None = None

    # -- what was seen ----------------------------------------------------------------------------

    def heard(self) -> tuple[HeardFrames, ...]:
        """Everything heard on the cable."""
        return () if self._ears is None else self._ears.heard

    def on(self, address: Address) -> str | None:
        """The interface on which an address was heard."""
        return None if self._ears is None else self._ears.on(address)

    def places(self) -> tuple[SearchedPlace, ...]:
        """Each candidate with what came of it and who is there."""
        pairs = [(c, self._answer(c)) for c in self._candidates]
        for mac in rules.routers(self._sought, (answer for _, answer in pairs)):
            self._note(
                f"{mac} answers for many addresses: a router (proxy ARP), not a device at each"
            )
        return rules.identify(self._sought, pairs, self.heard())

    def _answer(self, candidate: Candidate) -> Answer:
        address = candidate.address.address
        answer = self._answers.get(key_of(address), Answer(not_asked=_NOT_YET))
        if self._ears is not None:
            macs = tuple(dict.fromkeys((*answer.macs, *self._ears.holders(address))))
            interface = self._ears.on(address) or answer.interface
            if (macs, interface) != (answer.macs, answer.interface):
                answer = replace(answer, macs=macs, interface=interface)
        return answer

    def _located(self) -> bool:
        return any(p.identity == "device" for p in self.places())

    def _note(self, words: str) -> None:
        if words not in self.notes:
            self.notes.append(words)

    def _now(self) -> str:
        return timestamp(self._clocks.now())

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
        async with AsyncExitStack() as opened:
            wires = opened.enter_context(
                self._world.cable.wires(
                    self._interfaces,
                    everything=listening,
                    of=self._sought.macs if listening else (),
                )
            )
            self._wires = wires.opened
            self.listened_on = tuple(self._wires) if listening else ()
            self._tell_wires(wires.refused)
            self._ears = FrameListener(self._wires, self._sought.macs, self._clocks)
            client = await opened.enter_async_context(self._world.snmp(self._pace))
            self._asker = self._make_asker(client)
            await self._rounds()
            if listening and self._wires and not self._located():
                await self._listen(search.listen_s or 0.0)

    def _tell_wires(self, refused: Iterable[str]) -> None:
        for why in refused:
            self._note(why)
        if not self._interfaces:
            self._note("no interface of this laptop has a carrier: is the cable in at both ends?")

    def _make_asker(self, client: SnmpManager) -> Asker:
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
                await self._ask(group)

    async def _listen(self, wait_s: float) -> None:
        """Hears what comes; asks who was heard without being known."""
        self._search.say(f"listening on {', '.join(self._wires)} for {wait_s:g} s; Ctrl-C ends it")
        ends_s = self._clocks.monotonic_s() + wait_s
        while (left_s := ends_s - self._clocks.monotonic_s()) > 0:
            await self._ask(self._heard_candidates())
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
            rested = now_s - self._asked_s.get(key, -_ASK_AGAIN_S) >= _ASK_AGAIN_S
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

    # -- asking -----------------------------------------------------------------------------------

    async def _ask(self, group: Sequence[Candidate]) -> None:
        """Asks some candidates on the cable, by echo, then by SNMP those that may be somebody."""
        if not group:
            return
        addresses = [c.address.address for c in group]
        routes = self._world.laptop.routes(addresses)
        for address in addresses:
            self._asked_s[key_of(address)] = self._clocks.monotonic_s()
            self._answers[key_of(address)] = self._first(address, routes[address])
        await asyncio.gather(self._on_wires(addresses, routes), self._echo(addresses, routes))
        self._neighbours(addresses, routes)
        await asyncio.gather(*(self._who(c, routes[c.address.address]) for c in group))

    def _first(self, address: Address, route: Route | None) -> Answer:
        before = self._answers.get(key_of(address), Answer())
        why = "" if route is not None else "this laptop has no way to it"
        interface = route.interface if route is not None else before.interface
        return replace(before, not_asked=why, interface=interface)

    def _update(self, address: Address, **changes: object) -> None:
        key = key_of(address)
        answer = replace(self._answers[key], **changes)  # type: ignore[arg-type]
        if answer.somebody and answer.since is None:
            answer = replace(answer, since=self._now())
        self._answers[key] = answer

    def _how(self, address: Address, how: str) -> None:
        asked = self._answers[key_of(address)].asked
        self._update(address, asked=tuple(dict.fromkeys((*asked, how))))

    async def _on_wires(
        self, addresses: Sequence[Address], routes: Mapping[Address, Route | None]
    ) -> None:
        """By ARP probe or neighbour solicitation, wherever the device may be on a cable."""
        if self._ears is None or not self._wires:
            return
        wanted = [(a, self._wires_for(routes[a])) for a in addresses if not a.is_loopback]
        wanted_by_wire, asked = questions(wanted, self._wires, self._laptop)
        for address in addresses:
            if key_of(address) in asked:
                self._how(address, "arp" if address.is_v4 else "nd")
        if wanted_by_wire:
            await self._ears.ask(wanted_by_wire, self._pace, self._search.timeout_s)

    def _wires_for(self, route: Route | None) -> Sequence[str]:
        if route is not None and route.next_hop is None:
            return (route.interface,)
        return tuple(self._wires)

    async def _echo(
        self, addresses: Sequence[Address], routes: Mapping[Address, Route | None]
    ) -> None:
        for version in (4, 6):
            mine = [a for a in addresses if a.version == version and routes[a] is not None]
            if mine:
                try:
                    await self._echoes(mine)
                except CannotMeasureError as fault:
                    self._note(str(fault))

    async def _echoes(self, addresses: Sequence[Address]) -> None:
        def done(index: int, series: EchoBurst) -> None:
            replied = any(rtt is not None for rtt in series.rtt_ms)
            self._echoed(addresses[index], replied=replied)

        world, pace = self._world, self._pace
        with world.echoes.sender(
            pace=pace, on_link_pace=world.pace(None), loopback_pace=pace
        ) as sender:
            await sender.run(
                [EchoTarget(address=a) for a in addresses],
                count=_ECHOES,
                interval_s=self._search.timeout_s,
                timeout_s=self._search.timeout_s,
                on_done=done,
                stop=self._stop,
            )

    def _echoed(self, address: Address, *, replied: bool) -> None:
        self._how(address, "echo")
        self._update(address, echo=replied)

    def _neighbours(
        self, addresses: Sequence[Address], routes: Mapping[Address, Route | None]
    ) -> None:
        """Hardware addresses that the kernel learnt while it sent the echoes.

        Where the cable was asked and nobody answered, the kernel's entry is of before.
        """
        known = self._world.laptop.neighbours()
        for address in addresses:
            route, mac = routes[address], known.get(address)
            answer = self._answers[key_of(address)]
            fresh = answer.echo or not {"arp", "nd"} & set(answer.asked)
            if mac is not None and route is not None and route.next_hop is None and fresh:
                self._update(
                    address, macs=tuple(dict.fromkeys((*self._answers[key_of(address)].macs, mac)))
                )

    async def _who(self, candidate: Candidate, route: Route | None) -> None:
        address = candidate.address.address
        entries = self._entries(candidate)
        if route is None or not entries or not self._worth(candidate, route):
            return
        assert self._asker is not None
        silent = self._answers[key_of(address)].echo is False
        who = await self._asker.who(address, entries, at_once=silent)
        self._how(address, "snmp")
        self._update(address, **who.values)

    def _worth(self, candidate: Candidate, route: Route) -> bool:
        """Whether asking by SNMP may bring an answer: a silent agent costs seconds."""
        answer = self._answer(candidate)
        if answer.echo or answer.macs:
            return True
        on_wire = route.next_hop is None and route.interface in self._wires
        return candidate.kind != "slip" and not on_wire

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
