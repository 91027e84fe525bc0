"""A soak: echoes in two sizes in a thread, samples by SNMP in the event loop, a journal of both."""

from __future__ import annotations

import asyncio
import queue
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import AsyncExitStack, suppress
from dataclasses import asdict, dataclass
from typing import Final

from verifier.errors import CannotMeasureError
from verifier.files.journal import Journal
from verifier.model.address import Address
from verifier.model.laptop import Route
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.model.subject import Subject
from verifier.probes.icmp import Echoer, EchoTarget
from verifier.probes.icmp_watch import EchoWatch, Watched, elapsed
from verifier.probes.mtu import SMALL_BYTES, path_mtus, payload_bytes
from verifier.probes.snmp import SnmpClient, Target
from verifier.rules.compare.soak_traffic import pair_hosts
from verifier.session.probing import DEFAULT_PACKETS_PER_S, Paces, Probing
from verifier.session.recorder import Clock, Recorder
from verifier.session.soak_blocks import BLOCK_S, Block, EchoBlocks, Row, ValueBlocks
from verifier.session.soak_samples import Sampler, wanted

LARGE_BYTES: Final = 1500
"""Size of the large echoes where the plan names none: a full Ethernet frame (RFC 894)."""
SAMPLE_S: Final = 10.0
_SAMPLES: Final = 10
"""A soak shorter than so many samples is sampled more often, once a second at most."""
_SHARE: Final = 0.8
"""Part of the packet limit that echoes may take; the rest is left to SNMP."""
_BLOCKS: Final = 15
"""A soak shorter than so many minutes is cut into so many blocks."""
_WRITE_S: Final = 0.5
_FINISH_S: Final = 15.0


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a soak is: seconds done and asked, echoes counted and lost, the disk's fault."""

    done_s: float
    asked_s: float
    sent: int
    lost: int
    fault: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SoakRequest:
    """What is to be done.

    Attributes:
        asked_s: how long.
        journal: where samples go.
        progress: called about once a second.
    """

    asked_s: float
    journal: Journal
    progress: Callable[[Progress], None] | None = None


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
    routes: Callable[[Sequence[Address]], Mapping[Address, Route | None]]
    targets: Mapping[str, Target]
    probing: Probing
    paces: Paces
    clock: Clock


class Soak:
    """One soak; `keep` writes to the journal while anything is measured, `run` measures."""

    def __init__(self, request: SoakRequest, around: Surroundings) -> None:
        self._request, self._around = request, around
        self._ready: queue.SimpleQueue[Block] = queue.SimpleQueue()
        self._stop = threading.Event()
        self._noted: dict[int, int] = {}
        self._rows: list[Row] = []
        self._watched: list[Watched] = []
        self._step_s = 1.0
        self._blocks: EchoBlocks | None = None
        self._state = "interrupted"
        self._fault = ""
        self._began_s: float | None = None

    # -- the journal ------------------------------------------------------------------------------

    async def keep(self) -> None:
        """Writes what was seen and measured until it is cancelled."""
        while True:
            await asyncio.sleep(_WRITE_S)
            await asyncio.to_thread(self.write)
            self._tell()

    def write(self, *, now: bool = False) -> None:
        """Writes what has come since the last time."""
        journal = self._request.journal
        for record in (self._around.laptop, *self._around.records.values()):
            seen = record.seen[self._noted.get(id(record), 0) :]
            if seen:
                self._noted[id(record)] = self._noted.get(id(record), 0) + len(seen)
                journal.add({"kind": "seen", "observations": [asdict(o) for o in seen]})
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
            Progress(min(b.now_s, asked_s), asked_s, b.sent, b.lost, self._request.journal.fault)
        )

    # -- measuring --------------------------------------------------------------------------------

    async def run(self) -> None:
        """Measures to the end, or until it is cancelled; says in the laptop's record how it went.

        A cancelled one leaves nothing running and all that was measured in the journal's queue.
        """
        await asyncio.to_thread(self._arrange)
        thread: asyncio.Future[None] | None = None
        try:
            await asyncio.to_thread(self._mtus)
            self._began_s = elapsed()
            thread = asyncio.ensure_future(asyncio.to_thread(self._echo))
            await self._sample_until(thread)
            self._state = "complete" if not self._fault else "not-measured"
        finally:
            self._stop.set()
            if thread is not None:
                await asyncio.wait([thread])
            self._note()

    def _note(self) -> None:
        lasted_s = self._blocks.now_s if self._blocks is not None else 0.0
        self._around.laptop.note(
            "laptop",
            "soak",
            value={
                "asked_s": self._request.asked_s,
                "lasted_s": round(min(lasted_s, self._request.asked_s), 3),
                "state": self._state,
                "step_s": self._step_s,
                "bytes": sorted({r.bytes for r in self._rows}),
            },
            raw=self._fault or None,
        )

    def _arrange(self) -> None:
        """The rows of the grid: each unit, and each host of a traffic pair, in two sizes."""
        around = self._around
        whom: dict[Subject, Address] = {
            Subject("device", d.name): d.address.address for d in around.devices
        }
        managed = len(whom)
        hosts = pair_hosts(around.plan)
        whom |= {Subject("host", name): a for name, a in hosts.items() if a is not None}
        routes = around.routes(list(whom.values()))
        for number, (subject, address) in enumerate(whom.items()):
            route = routes.get(address)
            for size in dict.fromkeys((SMALL_BYTES, self._large())):
                row = Row(
                    subject=subject,
                    path="management" if number < managed else "traffic",
                    bytes=size,
                    interface=route.interface if route is not None else None,
                )
                self._rows.append(row)
                target = EchoTarget(address=address)
                payload = payload_bytes(address.version, size)
                self._watched.append(
                    Watched(target=target, payload_bytes=payload, interface=row.interface)
                )
        self._step_s = self._slowest_step_s()

    def _block_s(self) -> float:
        """A minute; less in a short soak, so that a sudden end costs a small part of it."""
        return max(1.0, min(BLOCK_S, self._request.asked_s / _BLOCKS))

    def _large(self) -> int:
        return max(SMALL_BYTES, self._around.plan.acceptance.mtu_bytes or LARGE_BYTES)

    def _slowest_step_s(self) -> float:
        """Time between two echoes of a row: the plan's, or longer where the packet limit is met."""
        step_s = 1.0 / (self._around.plan.acceptance.echo_per_s or 1.0)
        limit = self._around.probing.max_packets_per_s
        if limit is None and all(w.target.address.is_loopback for w in self._watched):
            return step_s
        per_s = _SHARE * (limit or DEFAULT_PACKETS_PER_S)
        return max(step_s, round(len(self._watched) / per_s, 3))

    def _mtus(self) -> None:
        """Echoes of the planned size to each unit that must not be divided on the way."""
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
                with Echoer(
                    pace=paces.network,
                    on_link_pace=paces.on_link,
                    loopback_pace=paces.loopback,
                    whole=True,
                ) as echoer:
                    found = path_mtus(
                        echoer,
                        targets,
                        planned,
                        timeout_s=around.probing.timeout_s,
                        stop=self._stop,
                    )
            except CannotMeasureError as fault:
                for device in mine:
                    around.records[device.name].note("icmp", "mtu", raw=str(fault))
                continue
            if self._stop.is_set():
                return
            for device, mtu in zip(mine, found, strict=True):
                around.records[device.name].note("icmp", "mtu", value=asdict(mtu), unit="byte")

    def _echo(self) -> None:
        """The thread that sends and hears; what this machine cannot do is written down."""
        timeout_s = self._around.probing.timeout_s
        self._blocks = EchoBlocks(
            self._rows, self._step_s, timeout_s, self._ready, self._around.clock, self._block_s()
        )
        limit = self._around.probing.max_packets_per_s
        loopback = all(w.target.address.is_loopback for w in self._watched)
        pace = None if limit is None and loopback else self._around.paces.network
        try:
            with EchoWatch(
                self._watched, step_s=self._step_s, timeout_s=timeout_s, pace=pace
            ) as watch:
                watch.run(self._blocks, self._request.asked_s, self._stop)
        except CannotMeasureError as fault:
            self._fault = str(fault)
        finally:
            self._blocks.finish()

    async def _sample_until(self, thread: asyncio.Future[None]) -> None:
        """Samples every unit until the thread ends, and once more then."""
        end = asyncio.Event()
        every_s = min(SAMPLE_S, max(1.0, self._request.asked_s / _SAMPLES))
        async with AsyncExitStack() as opened:
            network = await opened.enter_async_context(SnmpClient(self._around.paces.network))
            loopback = await opened.enter_async_context(SnmpClient(self._around.paces.loopback))
            jobs = list(self._around.targets.items())
            take, clock, block_s = self._ready.put, self._around.clock, self._block_s()
            blocks = {n: ValueBlocks(Subject("device", n), take, clock, block_s) for n, _ in jobs}
            tasks = []
            for number, (name, target) in enumerate(jobs):
                client = loopback if target.address.is_loopback else network
                sampler = self._sampler(name, client, target, blocks[name])
                first_s = every_s * number / len(jobs)
                tasks.append(asyncio.create_task(sampler.run(first_s, every_s, end)))
            try:
                await asyncio.shield(thread)
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
        self, name: str, client: SnmpClient, target: Target, blocks: ValueBlocks
    ) -> Sampler:
        around = self._around
        device = next(d for d in around.devices if d.name == name)
        record = around.records[name]
        what = wanted(device, around.profiles[device.profile], record.seen)
        return Sampler(client, target, what, blocks, record, self._elapsed_s)

    def _elapsed_s(self) -> float:
        assert self._began_s is not None
        return elapsed() - self._began_s
