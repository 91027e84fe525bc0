"""A soak: echoes in two sizes, samples by SNMP, a journal of both."""

from __future__ import annotations

import asyncio
import queue
import threading
from collections.abc import Mapping, Sequence
from contextlib import AsyncExitStack, suppress
from dataclasses import dataclass
from typing import Final

from verifier.errors import CannotMeasureError
from verifier.model.observations import MTU, SOAK, Unreadable
from verifier.model.plan import Device, Plan
from verifier.model.problem import Subject
from verifier.model.profile import Profile
from verifier.model.samples import Block, SoakCourse, SoakState
from verifier.probes.echo.exchange import EchoTarget
from verifier.probes.echo.mtu import SMALL_BYTES
from verifier.probes.snmp.values import SnmpTarget
from verifier.report.result.json import as_row
from verifier.session.recorder import Recorder, numbered
from verifier.session.request import Paces, Probing, SoakProgress, SoakRequest
from verifier.session.soak.blocks import BLOCK_S, EchoBlocks, EchoGrid, Routes, ValueBlocks, grid
from verifier.session.soak.samples import Sampler, wanted
from verifier.session.world import SnmpManager, World

SAMPLE_S: Final = 10.0
_SAMPLES: Final = 10
"""A soak shorter than so many samples is sampled more often, once a second at most."""
_BLOCKS: Final = 15
"""A soak shorter than so many minutes is cut into so many blocks."""
_WRITE_S: Final = 0.5
_FINISH_S: Final = 15.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What a soak is told of the run it is part of.

    Attributes:
        records: by device; `laptop` is this machine's.
        routes: by address.
        targets: whom to ask by SNMP and how, by device.
    """

    plan: Plan
    devices: Sequence[Device]
    profiles: Mapping[str, Profile]
    records: Mapping[str, Recorder]
    laptop: Recorder
    routes: Routes
    targets: Mapping[str, SnmpTarget]
    probing: Probing
    paces: Paces
    world: World


class Soak:
    """One soak; `keep` writes to the journal while anything is measured, `run` measures."""

    def __init__(self, request: SoakRequest, around: Surroundings) -> None:
        self._request, self._around = request, around
        self._ready: queue.SimpleQueue[Block] = queue.SimpleQueue()
        self._stop = threading.Event()
        self._noted: dict[int, int] = {}
        self._grid = EchoGrid()
        self._blocks: EchoBlocks | None = None
        self._state: SoakState = "interrupted"
        self._began_s: float | None = None
        self._clocks = around.world.clocks

    # -- the journal ------------------------------------------------------------------------------

    async def keep(self) -> None:
        """Writes what was seen and measured until it is cancelled."""
        while True:
            await self._clocks.sleep(_WRITE_S)
            await self._around.world.in_thread(self.write)
            self._tell()

    def write(self, *, now: bool = False) -> None:
        """Writes what has come since the last time."""
        journal = self._request.journal
        for record in (self._around.laptop, *self._around.records.values()):
            seen = record.seen[self._noted.get(id(record), 0) :]
            if seen:
                self._noted[id(record)] = self._noted.get(id(record), 0) + len(seen)
                observations = [as_row(row.observation(0, record.subject)) for row in seen]
                journal.add({"kind": "seen", "observations": observations})
        blocks = []
        with suppress(queue.Empty):
            while True:
                blocks.append(self._ready.get_nowait())
        journal.add(*blocks)
        journal.sync(now=now)

    def _tell(self) -> None:
        if self._request.progress is None or self._blocks is None:
            return
        b = self._blocks
        asked_s = self._request.asked_s
        self._request.progress(
            SoakProgress(
                min(b.now_s, asked_s), asked_s, b.sent, b.lost, self._request.journal.fault
            )
        )

    # -- measuring --------------------------------------------------------------------------------

    async def run(self) -> None:
        """Measures to the end, or until it is cancelled.

        A cancelled one leaves nothing running and all that was measured in the journal's queue.
        """
        around = self._around
        limit_per_s, echoes = around.probing.max_packets_per_s, around.world.echoes
        self._grid = await around.world.in_thread(
            lambda: grid(around.plan, around.devices, around.routes, echoes, limit_per_s)
        )
        echoing: asyncio.Future[None] | None = None
        try:
            await self._mtus()
            if not self._grid.rows:
                self._state = "not-measured"
                return
            self._began_s = self._clocks.elapsed_s()
            echoing = asyncio.ensure_future(self._echo())
            await self._sample_until(echoing)
            self._state = "complete"
        finally:
            self._stop.set()
            if echoing is not None:
                await asyncio.wait([echoing])

    def note(self) -> None:
        """Says in the laptop's record how it went, also where it was never begun."""
        lasted_s = self._blocks.now_s if self._blocks is not None else 0.0
        self._around.laptop.note(
            SOAK,
            SoakCourse(
                asked_s=self._request.asked_s,
                lasted_s=round(min(lasted_s, self._request.asked_s), 3),
                state=self._state,
                step_s=self._grid.step_s,
                bytes=tuple(sorted({r.bytes for r in self._grid.rows})),
            ),
            raw=self._grid.fault or None,
        )

    def _block_s(self) -> float:
        """A minute; less in a short soak, so that a sudden end costs a small part of it."""
        return max(1.0, min(BLOCK_S, self._request.asked_s / _BLOCKS))

    async def _mtus(self) -> None:
        """Echoes of the planned size to each device that must not be divided on the way."""
        around, planned = self._around, self._around.plan.acceptance.mtu_bytes
        if planned is None:
            return
        for version in (4, 6):
            mine = [d for d in around.devices if d.address.version == version]
            targets = [EchoTarget(address=d.address.address) for d in mine]
            if not mine or planned <= SMALL_BYTES:
                continue
            paces = around.paces
            try:
                found = await around.world.echoes.path_mtus(
                    targets,
                    planned,
                    timeout_s=around.probing.timeout_s,
                    pace=paces.network,
                    on_link_pace=paces.on_link,
                    loopback_pace=paces.loopback,
                    stop=self._stop,
                )
            except CannotMeasureError as fault:
                for device in mine:
                    around.records[device.name].note(MTU, Unreadable(str(fault)))
                continue
            if self._stop.is_set():
                return
            for device, mtu in zip(mine, found, strict=True):
                around.records[device.name].note(MTU, mtu)

    async def _echo(self) -> None:
        """Sends and hears until its time is over, or `_stop` is set."""
        timeout_s = self._around.probing.timeout_s
        self._blocks = EchoBlocks(
            self._grid.rows,
            self._grid.step_s,
            timeout_s,
            self._ready,
            self._clocks.now,
            self._block_s(),
        )
        free = self._around.probing.max_packets_per_s is None and self._grid.loopback
        pace = None if free else self._around.paces.network
        await self._around.world.echoes.watch(
            self._grid.watched,
            self._blocks,
            step_s=self._grid.step_s,
            timeout_s=timeout_s,
            long_s=self._request.asked_s,
            stop=self._stop,
            pace=pace,
        )
        self._blocks.finish()

    async def _sample_until(self, echoing: asyncio.Future[None]) -> None:
        """Samples every device until the echoes end, and once more then."""
        end = asyncio.Event()
        every_s = min(SAMPLE_S, max(1.0, self._request.asked_s / _SAMPLES))
        snmp = self._around.world.snmp
        async with AsyncExitStack() as opened:
            network = await opened.enter_async_context(snmp(self._around.paces.network))
            loopback = await opened.enter_async_context(snmp(self._around.paces.loopback))
            jobs = list(self._around.targets.items())
            take, clock, block_s = self._ready.put, self._clocks.now, self._block_s()
            blocks = {n: ValueBlocks(Subject("device", n), take, clock, block_s) for n, _ in jobs}
            tasks = []
            for number, (name, target) in enumerate(jobs):
                client = loopback if target.address.is_loopback else network
                sampler = self._sampler(name, client, target, blocks[name])
                first_s = every_s * number / len(jobs)
                tasks.append(asyncio.create_task(sampler.run(first_s, every_s, end)))
            try:
                await asyncio.shield(echoing)
                end.set()
                if tasks:
                    await asyncio.wait(tasks, timeout=_FINISH_S)
            finally:
                for task in tasks:
                    task.cancel()
                for result in await asyncio.gather(*tasks, return_exceptions=True):
                    if isinstance(result, Exception):
                        raise result
                for each in blocks.values():
                    each.hand_over(self._elapsed_s())

    def _sampler(
        self, name: str, client: SnmpManager, target: SnmpTarget, blocks: ValueBlocks
    ) -> Sampler:
        around = self._around
        device = next(d for d in around.devices if d.name == name)
        record = around.records[name]
        what = wanted(device, around.profiles[device.profile], numbered([record]))
        return Sampler(client, target, what, blocks, record, self._elapsed_s)

    def _elapsed_s(self) -> float:
        assert self._began_s is not None
        return self._clocks.elapsed_s() - self._began_s
