"""Runs every probe of a request side by side, and holds what they saw."""

from __future__ import annotations

import asyncio
import sys
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress

from verifier.model.address import Address
from verifier.model.laptop import Route
from verifier.model.manual import Entered
from verifier.model.observations import (
    ACCEPTED,
    ANSWER,
    ANSWER_FIRST,
    DEADLINE,
    ECHO,
    ENTRIES,
    INTERFACES,
    NEIGHBOUR,
    ROUTE,
    SHEET,
    VERSIONS,
    FilledSheet,
    Observation,
    Unreadable,
)
from verifier.model.observations import tcp as tcp_kind
from verifier.model.plan import Device
from verifier.model.problem import Subject
from verifier.probes.echo.exchange import EchoTarget
from verifier.rules.compare.tcp import planned_services
from verifier.session.ask.job import Job, Poller
from verifier.session.ask.levels import sample_links, watch
from verifier.session.ask.pollers import LoopPoller
from verifier.session.elsewhere import Elsewhere
from verifier.session.laptop import routes_of
from verifier.session.reach import Arping, Echoing
from verifier.session.recorder import Recorder, numbered
from verifier.session.request import Paces, Request
from verifier.session.signals import cancelled_by_signals
from verifier.session.soak.run import Soak, Surroundings
from verifier.session.world import World

_SETTLE_S = 0.5
"""How long the other probes wait for the warm-up echo, which resolves the neighbour first."""
_AT_ONCE = 512
"""Devices that are asked by TCP and SNMP at the same time."""
_AGAIN_AFTER_S = 1.0
_AGAIN_PER_S = 50.0
"""A sweep asks devices that were silent by SNMP again after this pause, so many a second."""
_NOT_ASKED = "not asked: the device answers no echo"
_SWITCH_S = 0.001
"""At Python's usual 5 ms the echo thread falls to half its pace beside a busy event loop."""


@contextmanager
def _first_fault() -> Iterator[None]:
    """What went wrong in a group of tasks, without the group."""
    try:
        yield
    except BaseExceptionGroup as group:
        fault: BaseException = group
        while isinstance(fault, BaseExceptionGroup):
            fault = fault.exceptions[0]
        raise fault from None


@contextmanager
def short_switches() -> Iterator[None]:
    """Lets the echo thread keep its pace beside a busy event loop."""
    usual_s = sys.getswitchinterval()
    sys.setswitchinterval(_SWITCH_S)
    try:
        yield
    finally:
        sys.setswitchinterval(usual_s)


class Conductor:
    """Runs all probes of a request and holds what they saw."""

    def __init__(
        self, request: Request, world: World, paces: Paces, asking: Poller, jobs: Mapping[str, Job]
    ) -> None:
        self.stop = threading.Event()
        self.faults: list[Exception] = []
        self._request = request
        self._world = world
        self._paces = paces
        self._jobs = jobs
        self._asking = asking
        self._laptop_record = Recorder(Subject("laptop", "laptop"), world.clocks.now)
        self._records = {
            d.name: Recorder(Subject("device", d.name), world.clocks.now) for d in request.devices
        }
        self._targets = {name: job.target for name, job in jobs.items()}
        self._finished = 0
        self._slowly = world.pace(_AGAIN_PER_S)

    def observations(self) -> tuple[Observation[object], ...]:
        """All that was seen, numbered; the laptop first, then the devices in plan order."""
        for record in self._records.values():
            if self.stop.is_set():
                self._note_interruption(record)
        return numbered([self._laptop_record, *self._records.values()])

    def _note_interruption(self, record: Recorder) -> None:
        seen = {o.kind for o in record.seen}
        why = Unreadable("interrupted before it was asked")
        if ECHO not in seen:
            record.note(ECHO, why)
        if ANSWER not in seen and self._request.command != "reach":
            record.note(ANSWER, why)

    async def probe(self) -> None:
        """Runs every probe; returns when all are done or a person interrupts."""
        routes = self._look()
        probes = asyncio.create_task(self._measure(routes))
        with (
            cancelled_by_signals(probes, self.stop),
            suppress(asyncio.CancelledError),
            _first_fault(),
        ):
            await probes
        if self._request.command == "verify":
            self._note_neighbours(routes)

    async def _measure(self, routes: Mapping[str, Route | None]) -> None:
        """Reads every device, then soaks where that was asked for; the journal grows meanwhile."""
        if self._request.soak is None:
            await self._probe_devices(routes)
            return
        soak = Soak(self._request.soak, self._surroundings())
        beside = [asyncio.create_task(soak.keep())]
        try:
            await self._probe_devices(routes)
            looking = LoopPoller(self._jobs, self._paces, self._world)
            beside.append(asyncio.create_task(self._watch(looking)))
            await soak.run()
        finally:
            for task in beside:
                task.cancel()
            await asyncio.gather(*beside, return_exceptions=True)
            soak.note()
            soak.write(now=True)

    async def _watch(self, looking: LoopPoller) -> None:
        clocks = self._world.clocks
        await watch(self._request.plan, self._jobs, self._records, looking, clocks)

    def _surroundings(self) -> Surroundings:
        request = self._request
        laptop = request.laptop or self._world.laptop.look()
        return Surroundings(
            plan=request.plan,
            devices=request.devices,
            profiles=request.profiles,
            records=self._records,
            laptop=self._laptop_record,
            routes=lambda addresses: routes_of(laptop, addresses, self._world.laptop),
            targets=self._targets,
            probing=request.probing,
            paces=self._paces,
            world=self._world,
        )

    def _look(self) -> Mapping[str, Route | None]:
        here = self._world.laptop
        laptop = self._request.laptop or here.look()
        self._laptop_record.note(INTERFACES, laptop)
        self._laptop_record.note(VERSIONS, here.versions())
        if accepted := tuple(self._request.accept_untested):
            self._laptop_record.note(ACCEPTED, accepted)
        self._note_observed()
        addresses = {d.name: d.address.address for d in self._request.devices}
        found = routes_of(laptop, addresses.values(), here)
        routes = {name: found[address] for name, address in addresses.items()}
        for name, route in routes.items():
            self._records[name].note(ROUTE, route)
        return routes

    def _note_observed(self) -> None:
        """What a person entered: which sheet it was, and each row of the devices asked for."""
        if (observed := self._request.observed) is None:
            return
        sheet = FilledSheet(
            file=observed.file, sha256=observed.sha256, rows=len(observed.entries),
            blank=observed.blank,
        )  # fmt: skip
        self._laptop_record.note(SHEET, sheet)
        for entry in observed.entries:
            if (record := self._records.get(entry.device)) is not None:
                record.note(
                    ENTRIES[entry.check], Entered.of(entry.value, entry.raw), unit=entry.unit,
                    raw=entry.raw, at=entry.at,
                )  # fmt: skip

    async def _probe_devices(self, routes: Mapping[str, Route | None]) -> None:
        request = self._request
        targets = {d.name: _echo_target(d.address.address, routes[d.name]) for d in request.devices}
        echoing = Echoing(
            self._world.echoes,
            targets,
            self._records,
            self._laptop_record,
            request.probing,
            self._paces,
            self.stop,
            ask_losers_again=request.command == "sweep",
        )
        gate = asyncio.Semaphore(_at_once(request.probing.max_packets_per_s))
        async with self._asking:
            async with asyncio.TaskGroup() as tasks:
                tasks.create_task(echoing.run())
                if request.command == "verify":
                    tasks.create_task(self._ask_the_cable(routes, echoing))
                for device in request.devices:
                    tasks.create_task(self._probe_device(device, echoing, gate))
            if request.command == "verify":
                sampling = sample_links(request.plan, self._jobs, self._records, self._asking)
                self.faults.extend(await sampling)
        if request.elsewhere and not self.stop.is_set():
            await self._look_elsewhere()

    async def _look_elsewhere(self) -> None:
        """Silent devices may be where they were before, or as they were delivered."""
        request, laptop = self._request, self._world.laptop.look()
        elsewhere = Elsewhere(
            request.plan, request.profiles, request.credentials, self._world, self.stop
        )
        await elsewhere.look(laptop, request.devices, self._records)

    async def _ask_the_cable(self, routes: Mapping[str, Route | None], echoing: Echoing) -> None:
        """Who holds each address, once the echoes have made the laptop's own acquaintances."""
        request = self._request
        for warm in echoing.warm.values():
            await warm.wait()
        arping = Arping(request.plan, request.profiles, request.devices, routes)
        cable, pace = self._world.cable, self._paces.network
        await arping.run(self._records, self._laptop_record, cable, pace, self.stop)

    async def _probe_device(
        self, device: Device, echoing: Echoing, gate: asyncio.Semaphore
    ) -> None:
        request, record = self._request, self._records[device.name]
        if not request.ask_all and not await echoing.may_answer(device.name):
            record.note(ANSWER, Unreadable(_NOT_ASKED))
        else:
            async with gate:
                with suppress(TimeoutError):
                    await asyncio.wait_for(echoing.warm[device.name].wait(), _SETTLE_S)
                async with asyncio.TaskGroup() as probes:
                    probes.create_task(self._services(device))
                    if request.command != "reach" and device.snmp is not None:
                        probes.create_task(self._poll(device.name))
            if request.command == "sweep" and _silent(record):
                await self._ask_again(device.name, record)
        self._finished += 1
        if self._request.progress is not None:
            self._request.progress(self._finished, len(self._request.devices))

    async def _poll(self, name: str) -> None:
        """Asks one device by SNMP; a fault of ours ends the reading of this device alone."""
        record = self._records[name]
        try:
            await self._asking.poll(name, record)
        except Exception as fault:  # noqa: BLE001 - it is told at the end, after the report
            self.faults.append(fault)
            raw = f"a fault of this program ended its reading ({type(fault).__name__})"
            record.note(DEADLINE, Unreadable(raw))

    async def _ask_again(self, name: str, record: Recorder) -> None:
        """A device that was silent by SNMP is asked once more, slowly, after the others.

        What it says then counts; the first silence stays written down under another name.
        """
        clocks = self._world.clocks
        earliest_s = clocks.monotonic_s() + _AGAIN_AFTER_S
        await clocks.sleep(self._slowly.slot(earliest_s) - clocks.monotonic_s())
        at = next(n for n, o in enumerate(record.seen) if o.kind is ANSWER)
        record.seen[at] = record.seen[at]._replace(kind=ANSWER_FIRST)
        await self._poll(name)

    async def _services(self, device: Device) -> None:
        request = self._request
        address = device.address.address
        pace = self._paces.for_address(loopback=address.is_loopback)
        for service in planned_services(device, request.profiles[device.profile]):
            answer = await self._world.tcp(
                address, service.port, timeout_s=request.probing.timeout_s, pace=pace
            )
            self._records[device.name].note(
                tcp_kind(service.port),
                answer.state,
                raw=answer.detail,
                took_ms=answer.took_ms,
            )

    def _note_neighbours(self, routes: Mapping[str, Route | None]) -> None:
        """Hardware addresses of devices that are on-link; of others an old entry may be left."""
        known = self._world.laptop.neighbours()
        for device in self._request.devices:
            route, mac = routes[device.name], known.get(device.address.address)
            if mac is not None and route is not None and route.next_hop is None:
                self._records[device.name].note(NEIGHBOUR, mac)


def _silent(record: Recorder) -> bool:
    return "silent" in record.of(ANSWER)


def _at_once(packets_per_s: float | None) -> int:
    """How many devices may wait for sending slots without their own time passing meanwhile."""
    return _AT_ONCE if packets_per_s is None else min(_AT_ONCE, max(1, int(packets_per_s)))


def _echo_target(address: Address, route: Route | None) -> EchoTarget:
    new = route is not None and route.next_hop is None and not address.is_loopback
    return EchoTarget(address=address, on_link_new=new)
