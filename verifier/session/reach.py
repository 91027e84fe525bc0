"""The echo phases of a run (warm-up, counted echoes, a second try), and who holds an address.

We ask by ARP ourselves: the kernel keeps the first of two answers. A router with proxy ARP answers
no probe without a sender (RFC 5227), so the questions carry the laptop's own address. Two addresses
of the subnet that nobody in the plan holds are asked too. Without permission for raw sockets
nothing is asked and nothing concluded.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from verifier.errors import CannotMeasureError
from verifier.model import observations as seen
from verifier.model.address import Address, Interface, Mac
from verifier.model.kind import KindOf
from verifier.model.laptop import Route
from verifier.model.observations import ARP_RESPONDERS, UNPLANNED_ANSWER, UnplannedAnswer
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.probes.echo.exchange import EchoBurst, EchoTarget
from verifier.probes.pace import Slots
from verifier.rules.fit.hosts import highest_free
from verifier.rules.fit.suggest import taken_addresses
from verifier.session.recorder import Recorder
from verifier.session.request import Paces, Probing
from verifier.session.world import CableAccess, EchoAccess, EchoSender

_ENOUGH = 5
"""Unanswered echoes, besides the warm-up, before a device counts as silent."""
_SLOW_INTERVAL_S = 0.5
"""Pace of those that are sent for this reason alone."""


class Echoing:
    """Warm-up, counted echoes, and a slow second try where few were sent and none was answered.

    Args:
        echoes: sends them.
        targets: whom to ask, by name of the device.
        records: takes what was seen, by name of the device.
        laptop: takes what was seen of this machine.
        probing, paces: settings of the run.
        stop: once set, the phases end with what was measured.
        ask_losers_again: devices that lost any echo are asked again, slowly, and only that counts;
            else only silent ones that were asked little are asked some more.
    """

    def __init__(  # noqa: PLR0913, PLR0917
        self,
        echoes: EchoAccess,
        targets: Mapping[str, EchoTarget],
        records: Mapping[str, Recorder],
        laptop: Recorder,
        probing: Probing,
        paces: Paces,
        stop: threading.Event,
        *,
        ask_losers_again: bool = False,
    ) -> None:
        self._echoes = echoes
        self._targets = dict(targets)
        self._records = records
        self._laptop = laptop
        self._probing = probing
        self._paces = paces
        self._stop = stop
        self.warm = {name: asyncio.Event() for name in targets}
        """Set once the warm-up echo to a device is answered or given up."""
        self._again = ask_losers_again
        self._settled = {name: asyncio.Event() for name in targets}
        self._silent: set[str] = set()
        self._replied: set[str] = set()

    async def run(self) -> None:
        """Runs all phases; never raises for want of permission, but writes that down.

        Who cancels it sets `stop` before, and waits for what was measured.
        """
        phases = asyncio.ensure_future(self._phases())
        try:
            await asyncio.shield(phases)
        except asyncio.CancelledError:
            await phases
            raise
        finally:
            for event in (*self.warm.values(), *self._settled.values()):
                event.set()

    async def may_answer(self, name: str) -> bool:
        """Whether a device answered any echo, once that is known; true where none was sent."""
        await self._settled[name].wait()
        return name not in self._silent

    async def _phases(self) -> None:
        names = list(self._targets)
        # One family without permission must not keep the other from being measured.
        for version in (4, 6):
            mine = [n for n in names if self._targets[n].address.version == version]
            if mine:
                await self._family(mine)

    async def _family(self, names: Sequence[str]) -> None:
        paces = self._paces
        try:
            with self._echoes.sender(
                pace=paces.network, on_link_pace=paces.on_link, loopback_pace=paces.loopback
            ) as sender:
                await self._measure(sender, names)
        except CannotMeasureError as fault:
            for name in names:
                self._records[name].note(seen.ECHO, seen.Unreadable(str(fault)))

    async def _measure(self, sender: EchoSender, names: Sequence[str]) -> None:
        try:
            await self._all_phases(sender, names)
        finally:
            if sender.kernel_drops:
                raw = "replies the kernel dropped; these echoes were sent again"
                self._laptop.note(seen.KERNEL_DROPS, sender.kernel_drops, raw=raw)

    async def _all_phases(self, sender: EchoSender, names: Sequence[str]) -> None:
        await self._warm_up(sender, names)
        if self._again:
            await self._with_second_try(sender, names)
            return
        probing = self._probing
        counted = await self._echo(sender, names, probing.echoes, probing.interval_s)
        silent = [n for n in names if counted[n].sent and not any(_received(counted[n]))]
        more = _ENOUGH - probing.echoes
        if silent and more > 0 and not self._stop.is_set():
            await self._echo(sender, silent, more, max(probing.interval_s, _SLOW_INTERVAL_S))

    async def _with_second_try(self, sender: EchoSender, names: Sequence[str]) -> None:
        """Counted echoes; whoever lost one is asked again, slowly, and that is what counts.

        Who did not answer the warm-up has lost one already: it goes straight to the slow ones.
        """
        probing = self._probing
        quick = [n for n in names if n in self._replied]
        first = await self._measured(sender, quick, probing.echoes, probing.interval_s)
        kept = {n: s for n, s in first.items() if all(_received(s))}
        self._note(seen.ECHO, kept)
        losers = [n for n in names if n not in kept]
        if not losers:
            return
        lost = {n: first[n] for n in losers if n in first}
        if self._stop.is_set():
            self._note(seen.ECHO, lost)
            return
        self._note(seen.ECHO_FIRST, lost)
        slow_s = max(probing.interval_s, _SLOW_INTERVAL_S)
        again = await self._measured(sender, losers, max(probing.echoes, _ENOUGH), slow_s)
        self._note(seen.ECHO, again)
        self._silent |= {n for n in losers if not any(_received(again[n]))} - self._replied
        self._settle(losers)

    def _settle(self, names: Iterable[str]) -> None:
        for name in names:
            self._settled[name].set()

    async def _warm_up(self, sender: EchoSender, names: Sequence[str]) -> None:
        """One echo each; after it a neighbour is known, or known not to be there."""

        def done(index: int, series: EchoBurst) -> None:
            name = names[index]
            warm_up = seen.WarmUp(replied=any(_received(series)), silence=_silence(series))
            self._records[name].note(seen.WARM_UP, warm_up)
            self.warm[name].set()
            if warm_up.replied:
                self._replied.add(name)
                self._settled[name].set()

        await sender.run(
            [self._targets[n] for n in names],
            count=1,
            interval_s=0.0,
            timeout_s=self._probing.timeout_s,
            on_done=done,
            stop=self._stop,
        )
        self._targets = {n: replace(t, on_link_new=False) for n, t in self._targets.items()}

    async def _echo(
        self, sender: EchoSender, names: Sequence[str], count: int, interval_s: float
    ) -> dict[str, EchoBurst]:
        measured = await self._measured(sender, names, count, interval_s)
        self._note(seen.ECHO, measured)
        if self._stop.is_set():
            self._note_interruption(measured, count)
        return measured

    def _note_interruption(self, measured: Mapping[str, EchoBurst], count: int) -> None:
        """Figures of a part are none of what was asked for."""
        for name, series in measured.items():
            if 0 < series.sent < count:
                why = seen.Unreadable(f"interrupted after {series.sent} of {count} echoes")
                self._records[name].note(seen.ECHO, why)

    async def _measured(
        self, sender: EchoSender, names: Sequence[str], count: int, interval_s: float
    ) -> dict[str, EchoBurst]:
        measured = await sender.run(
            [self._targets[n] for n in names],
            count=count,
            interval_s=interval_s,
            timeout_s=self._probing.timeout_s,
            stop=self._stop,
        )
        return dict(zip(names, measured, strict=True))

    def _note(self, kind: KindOf[seen.EchoSeries], measured: Mapping[str, EchoBurst]) -> None:
        for name, series in measured.items():
            if series.sent or series.silences:
                self._records[name].note(kind, _value(series))


def _received(series: EchoBurst) -> list[bool]:
    return [rtt is not None for rtt in series.rtt_ms]


def _silence(series: EchoBurst) -> tuple[seen.Silence, ...]:
    return tuple(dict.fromkeys(series.silences))


def _value(series: EchoBurst) -> seen.EchoSeries:
    return seen.EchoSeries(
        sent=series.sent,
        received=sum(_received(series)),
        rtt_ms=tuple(None if r is None else round(r, 4) for r in series.rtt_ms),
        duplicates=series.duplicates,
        reordered=series.reordered,
        foreign_id=series.foreign_id,
        payload_bytes=series.payload_bytes,
        silence=_silence(series),
        by=series.by,
    )


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
