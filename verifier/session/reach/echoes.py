"""The echo phases of a run, in a thread of their own next to the event loop."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, replace

from verifier.errors import CannotMeasureError
from verifier.probes.echo.burst import Echoer, EchoSeries, EchoTarget
from verifier.session.limits import Paces, Probing
from verifier.session.recorder import Recorder

_ENOUGH = 5
"""Unanswered echoes, besides the warm-up, before a device counts as silent."""
_SLOW_INTERVAL_S = 0.5
"""Pace of those that are sent for this reason alone."""


class Echoing:
    """Warm-up, counted echoes, and a slow second try where few were sent and none was answered.

    Args:
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
        targets: Mapping[str, EchoTarget],
        records: Mapping[str, Recorder],
        laptop: Recorder,
        probing: Probing,
        paces: Paces,
        stop: threading.Event,
        *,
        ask_losers_again: bool = False,
    ) -> None:
        self._targets = dict(targets)
        self._records = records
        self._laptop = laptop
        self._probing = probing
        self._paces = paces
        self._stop = stop
        self._loop = asyncio.get_running_loop()
        self.warm = {name: asyncio.Event() for name in targets}
        """Set once the warm-up echo to a device is answered or given up."""
        self._again = ask_losers_again
        self._settled = {name: asyncio.Event() for name in targets}
        self._silent: set[str] = set()
        self._replied: set[str] = set()

    async def run(self) -> None:
        """Runs all phases; never raises for want of permission, but writes that down."""
        try:
            await asyncio.to_thread(self._phases)
        finally:
            for event in (*self.warm.values(), *self._settled.values()):
                event.set()

    async def may_answer(self, name: str) -> bool:
        """Whether a device answered any echo, once that is known; true where none was sent."""
        await self._settled[name].wait()
        return name not in self._silent

    def _phases(self) -> None:
        names = list(self._targets)
        # One family without permission must not keep the other from being measured.
        for version in (4, 6):
            mine = [n for n in names if self._targets[n].address.version == version]
            if mine:
                self._family(mine)

    def _family(self, names: Sequence[str]) -> None:
        paces = self._paces
        try:
            with Echoer(
                pace=paces.network, on_link_pace=paces.on_link, loopback_pace=paces.loopback
            ) as echoer:
                self._measure(echoer, names)
        except CannotMeasureError as fault:
            for name in names:
                self._records[name].note("icmp", "echo", raw=str(fault))

    def _measure(self, echoer: Echoer, names: Sequence[str]) -> None:
        try:
            self._all_phases(echoer, names)
        finally:
            if echoer.kernel_drops:
                raw = "replies the kernel dropped; these echoes were sent again"
                self._laptop.note("icmp", "kernel-drops", value=echoer.kernel_drops, raw=raw)

    def _all_phases(self, echoer: Echoer, names: Sequence[str]) -> None:
        self._warm_up(echoer, names)
        if self._again:
            self._with_second_try(echoer, names)
            return
        probing = self._probing
        counted = self._echo(echoer, names, probing.echoes, probing.interval_s)
        silent = [n for n in names if counted[n].sent and not any(_received(counted[n]))]
        more = _ENOUGH - probing.echoes
        if silent and more > 0 and not self._stop.is_set():
            self._echo(echoer, silent, more, max(probing.interval_s, _SLOW_INTERVAL_S))

    def _with_second_try(self, echoer: Echoer, names: Sequence[str]) -> None:
        """Counted echoes; whoever lost one is asked again, slowly, and that is what counts.

        Who did not answer the warm-up has lost one already: it goes straight to the slow ones.
        """
        probing = self._probing
        quick = [n for n in names if n in self._replied]
        first = self._measured(echoer, quick, probing.echoes, probing.interval_s)
        kept = {n: s for n, s in first.items() if all(_received(s))}
        self._note("echo", kept)
        losers = [n for n in names if n not in kept]
        if not losers:
            return
        lost = {n: first[n] for n in losers if n in first}
        if self._stop.is_set():
            self._note("echo", lost)
            return
        self._note("echo-first", lost)
        slow_s = max(probing.interval_s, _SLOW_INTERVAL_S)
        again = self._measured(echoer, losers, max(probing.echoes, _ENOUGH), slow_s)
        self._note("echo", again)
        self._silent |= {n for n in losers if not any(_received(again[n]))} - self._replied
        self._settle(losers)

    def _settle(self, names: Iterable[str]) -> None:
        for name in names:
            self._loop.call_soon_threadsafe(self._settled[name].set)

    def _warm_up(self, echoer: Echoer, names: Sequence[str]) -> None:
        """One echo each; after it a neighbour is known, or known not to be there."""

        def done(index: int, series: EchoSeries) -> None:
            name = names[index]
            value = {"replied": any(_received(series)), "silence": _silence(series)}
            self._records[name].note("icmp", "warm-up", value=value)
            self._loop.call_soon_threadsafe(self.warm[name].set)
            if value["replied"]:
                self._replied.add(name)
                self._loop.call_soon_threadsafe(self._settled[name].set)

        echoer.run(
            [self._targets[n] for n in names],
            count=1,
            interval_s=0.0,
            timeout_s=self._probing.timeout_s,
            on_done=done,
            stop=self._stop,
        )
        self._targets = {n: replace(t, on_link_new=False) for n, t in self._targets.items()}

    def _echo(
        self, echoer: Echoer, names: Sequence[str], count: int, interval_s: float
    ) -> dict[str, EchoSeries]:
        measured = self._measured(echoer, names, count, interval_s)
        self._note("echo", measured)
        return measured

    def _measured(
        self, echoer: Echoer, names: Sequence[str], count: int, interval_s: float
    ) -> dict[str, EchoSeries]:
        measured = echoer.run(
            [self._targets[n] for n in names],
            count=count,
            interval_s=interval_s,
            timeout_s=self._probing.timeout_s,
            stop=self._stop,
        )
        return dict(zip(names, measured, strict=True))

    def _note(self, what: str, measured: Mapping[str, EchoSeries]) -> None:
        for name, series in measured.items():
            if series.sent or series.silences:
                self._records[name].note("icmp", what, value=_value(series), unit="ms")


def _received(series: EchoSeries) -> list[bool]:
    return [rtt is not None for rtt in series.rtt_ms]


def _silence(series: EchoSeries) -> list[dict[str, object]]:
    return [asdict(silence) for silence in dict.fromkeys(series.silences)]


def _value(series: EchoSeries) -> dict[str, object]:
    return {
        "sent": series.sent,
        "received": sum(_received(series)),
        "rtt_ms": [None if r is None else round(r, 4) for r in series.rtt_ms],
        "duplicates": series.duplicates,
        "reordered": series.reordered,
        "foreign_id": series.foreign_id,
        "payload_bytes": series.payload_bytes,
        "silence": _silence(series),
    }
