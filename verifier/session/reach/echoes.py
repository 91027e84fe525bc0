"""The echo phases of a run: warm-up, counted echoes, a second try."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from verifier.errors import CannotMeasureError
from verifier.model import observations as seen
from verifier.model.kind import KindOf
from verifier.probes.echo.series import EchoBurst, EchoTarget
from verifier.session.limits import Paces, Probing
from verifier.session.recorder import Recorder
from verifier.session.world import EchoAccess, EchoSender

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
