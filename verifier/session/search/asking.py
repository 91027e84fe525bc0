"""Asks addresses by ARP and ND, echo and SNMP, and listens meanwhile: for `find` and `here`."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncIterator, Callable, Collection, Iterator, Mapping, Sequence
from contextlib import AsyncExitStack, asynccontextmanager, contextmanager
from dataclasses import dataclass, replace

from verifier.errors import CannotMeasureError
from verifier.model.address import Address, Mac
from verifier.model.credentials import SnmpEntry
from verifier.model.laptop import Laptop, Route
from verifier.model.search import Answer, Candidate, HeardFrames
from verifier.probes.cable.arp import PROBE_NUM
from verifier.probes.echo.exchange import EchoBurst, EchoTarget
from verifier.rules.search.candidates import Key, key_of
from verifier.session.recorder import timestamp
from verifier.session.search.by_snmp import Asker
from verifier.session.search.on_the_cable import FrameListener, questions
from verifier.session.world import SnmpManager, Wire, World

_NOT_YET = "it was found, or the search was ended, before"


@dataclass(frozen=True, slots=True, kw_only=True)
class Manner:
    """How addresses are asked.

    Attributes:
        packets_per_s: echoes, ARP probes and SNMP requests together.
        timeout_s: wait for an echo, and between two ARP probes for one address.
        probes: ARP probes or neighbour solicitations to each address, at most `PROBE_NUM`.
        echoes: to each address: the first may be lost to address resolution along the way (common
            practice).
        silent_too: whether SNMP asks where neither echo nor cable brought an answer.
        on_link_only: whether addresses behind a gateway are left alone.
    """

    packets_per_s: float
    timeout_s: float
    probes: int = PROBE_NUM
    echoes: int = 2
    silent_too: bool = True
    on_link_only: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedWith:
    """How who is at an address is asked by SNMP.

    Attributes:
        asker: asks at a candidate.
        entries: credentials to try there, the likeliest first.
    """

    asker: Callable[[SnmpManager, Candidate], Asker]
    entries: Callable[[Candidate], Sequence[SnmpEntry]]


class AddressAsker:
    """Asks addresses, and holds what came of it.

    Args:
        world: what is asked.
        laptop: this machine.
        with_: how SNMP asks.
        manner: how all of it asks; may be set anew between two groups.
        macs: hardware addresses that are looked for.
        stop: once set, echoes end with what was measured.

    Attributes:
        notes: what could not be done, and why.
        wires: the interfaces that are open for frames.
        asked_s: when each address was asked last, on the world's monotonic clock.
    """

    def __init__(  # noqa: PLR0913, PLR0917
        self,
        world: World,
        laptop: Laptop,
        with_: AskedWith,
        manner: Manner,
        macs: frozenset[Mac],
        stop: threading.Event,
    ) -> None:
        self.notes: list[str] = []
        self.wires: Mapping[str, Wire] = {}
        self.manner = manner
        self.asked_s: dict[Key, float] = {}
        self._world = world
        self._clocks = world.clocks
        self._laptop = laptop
        self._with = with_
        self._macs = macs
        self._stop = stop
        self._answers: dict[Key, Answer] = {}
        self._pace = world.pace(manner.packets_per_s)
        self._listener: FrameListener | None = None
        self._client: SnmpManager | None = None

    @asynccontextmanager
    async def opened(self, interfaces: Sequence[str], *, everything: bool) -> AsyncIterator[None]:
        """Ready to ask, and listening, while the context lasts.

        `everything`: hears what is sent to others too.
        """
        async with AsyncExitStack() as opened:
            opened.enter_context(self._hearing(interfaces, everything=everything))
            self._client = await opened.enter_async_context(self._world.snmp(self._pace))
            yield

    @contextmanager
    def _hearing(self, interfaces: Sequence[str], *, everything: bool) -> Iterator[None]:
        cable, macs = self._world.cable, self._macs
        with cable.wires(interfaces, everything=everything, of=macs if everything else ()) as wires:
            self.wires = wires.opened
            for why in wires.refused:
                self.note(why)
            if not interfaces:
                self.note(
                    "no interface of this laptop has a carrier: is the cable in at both ends?"
                )
            self._listener = FrameListener(self.wires, macs, self._clocks, self._listener)
            yield

    def moved(self, laptop: Laptop) -> None:
        """This machine has other addresses now."""
        self._laptop = laptop

    # -- what was seen ----------------------------------------------------------------------------

    @property
    def heard(self) -> tuple[HeardFrames, ...]:
        """Everything heard on the cable."""
        return () if self._listener is None else self._listener.heard

    def on(self, address: Address) -> str | None:
        """The interface on which an address was heard."""
        return None if self._listener is None else self._listener.on(address)

    def answer(self, candidate: Candidate) -> Answer:
        """What came of asking at a candidate, and of listening."""
        address = candidate.address.address
        answer = self._answers.get(key_of(address), Answer(not_asked=_NOT_YET))
        if self._listener is not None:
            macs = tuple(dict.fromkeys((*answer.macs, *self._listener.holders(address))))
            interface = self._listener.on(address) or answer.interface
            if (macs, interface) != (answer.macs, answer.interface):
                answer = replace(answer, macs=macs, interface=interface)
        return answer

    def note(self, words: str) -> None:
        """Something that could not be done, once."""
        if words not in self.notes:
            self.notes.append(words)

    # -- asking -----------------------------------------------------------------------------------

    async def ask(self, group: Sequence[Candidate]) -> None:
        """Asks some candidates on the cable, by echo, then by SNMP those that may be somebody."""
        if not group:
            return
        addresses = [c.address.address for c in group]
        routes = self._routes(addresses)
        for address in addresses:
            self.asked_s[key_of(address)] = self._clocks.monotonic_s()
            self._answers[key_of(address)] = self._first(address, routes[address])
        await asyncio.gather(self._on_wires(addresses, routes), self._echo(addresses, routes))
        self._neighbours(addresses, routes)
        await asyncio.gather(*(self._who(c, routes[c.address.address]) for c in group))

    def _routes(self, addresses: Sequence[Address]) -> dict[Address, Route | None]:
        routes = self._world.laptop.routes(addresses)
        if not self.manner.on_link_only:
            return routes
        return {a: r if r is None or r.next_hop is None else None for a, r in routes.items()}

    def _first(self, address: Address, route: Route | None) -> Answer:
        before = self._answers.get(key_of(address), Answer())
        why = "" if route is not None else "this laptop has no way to it"
        interface = route.interface if route is not None else before.interface
        return replace(before, not_asked=why, interface=interface)

    def _update(self, address: Address, **changes: object) -> None:
        key = key_of(address)
        answer = replace(self._answers[key], **changes)  # type: ignore[arg-type]
        if answer.somebody and answer.since is None:
            answer = replace(answer, since=timestamp(self._clocks.now()))
        self._answers[key] = answer

    def _how(self, address: Address, how: str) -> None:
        asked = self._answers[key_of(address)].asked
        self._update(address, asked=tuple(dict.fromkeys((*asked, how))))

    async def _on_wires(
        self, addresses: Sequence[Address], routes: Mapping[Address, Route | None]
    ) -> None:
        """By ARP probe or neighbour solicitation, wherever the device may be on a cable."""
        if self._listener is None or not self.wires:
            return
        wanted = [(a, self._wires_for(routes[a])) for a in addresses if not a.is_loopback]
        wanted_by_wire, asked = questions(wanted, self.wires, self._laptop)
        for address in addresses:
            if key_of(address) in asked:
                self._how(address, "arp" if address.is_v4 else "nd")
        if wanted_by_wire:
            manner = self.manner
            await self._listener.ask(wanted_by_wire, self._pace, manner.timeout_s, manner.probes)

    def _wires_for(self, route: Route | None) -> Sequence[str]:
        if route is not None and route.next_hop is None:
            return (route.interface,)
        return tuple(self.wires)

    async def _echo(
        self, addresses: Sequence[Address], routes: Mapping[Address, Route | None]
    ) -> None:
        for version in (4, 6):
            mine = [a for a in addresses if a.version == version and routes[a] is not None]
            if mine:
                try:
                    await self._echoes(mine)
                except CannotMeasureError as fault:
                    self.note(str(fault))

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
                count=self.manner.echoes,
                interval_s=self.manner.timeout_s,
                timeout_s=self.manner.timeout_s,
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
        entries = self._with.entries(candidate)
        if route is None or not entries or not self._worth(candidate, route):
            return
        assert self._client is not None
        silent = self._answers[key_of(address)].echo is False
        asker = self._with.asker(self._client, candidate)
        who = await asker.who(address, entries, at_once=silent)
        self._how(address, "snmp")
        self._update(address, **who.values)

    def _worth(self, candidate: Candidate, route: Route) -> bool:
        """Whether asking by SNMP may bring an answer: a silent agent costs seconds."""
        answer = self.answer(candidate)
        if answer.echo or answer.macs:
            return True
        if not self.manner.silent_too and answer.echo is False:
            return False
        on_wire = route.next_hop is None and route.interface in self.wires
        return candidate.kind != "slip" and not on_wire


def wires_of(interfaces: Collection[str], laptop: Laptop) -> tuple[str, ...]:
    """Those of the named interfaces, else of all, that are up and may have a device behind them."""
    known = {i.name: i for i in laptop.interfaces}
    media = {"cable", "wifi", "unknown"}
    return tuple(
        n for n in (interfaces or known) if n in known and known[n].up and known[n].medium in media
    )
