"""One verification: look at the laptop, probe every unit, compare, explain."""

from __future__ import annotations

import asyncio
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from typing import Literal

from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.model.laptop import Laptop, Route
from verifier.model.manual import Observed
from verifier.model.observation import ACCEPTED, OBSERVED, Observation
from verifier.model.plan import Device, Plan, Stage
from verifier.model.problem import Problem
from verifier.model.profile import Profile
from verifier.model.result import PlanReference, Result
from verifier.model.subject import Subject
from verifier.probes import laptop as this_machine
from verifier.probes import tcp
from verifier.probes.icmp import EchoTarget
from verifier.probes.pace import Pace
from verifier.probes.snmp import Target
from verifier.rules.compare import REACH, VERIFY, compare
from verifier.rules.compare.reach import planned_services
from verifier.rules.compare.seen import laptop_value, route_value
from verifier.rules.health import HEALTH_CHECKS
from verifier.session.arping import Arping
from verifier.session.echoing import Echoing
from verifier.session.fitting import routes_of
from verifier.session.probing import Paces, Probing
from verifier.session.recorder import Clock, Recorder, numbered, timestamp, utc_now
from verifier.session.sampling import sample_links, watch
from verifier.session.signals import cancelled_by_signals
from verifier.session.soak import Soak, SoakRequest, Surroundings
from verifier.session.surveyor import InLoop, Job, Surveyor
from verifier.session.versions import versions
from verifier.session.workers import surveyor, worker_count

_SETTLE_S = 0.5
"""How long the other probes wait for the warm-up echo, which resolves the neighbour first."""
_AT_ONCE = 512
"""Units that are asked by TCP and SNMP at the same time."""
_AGAIN_AFTER_S = 1.0
_AGAIN_PER_S = 50.0
"""A sweep asks units that were silent by SNMP again after this pause, so many a second."""
_NOT_ASKED = "not asked: the unit answers no echo"
_SWITCH_S = 0.001
"""At Python's usual 5 ms the echo thread falls to half its pace beside a busy event loop."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What is to be verified.

    Attributes:
        plan_sha256: hash of the plan's canonical JSON.
        problems: the plan's warnings; each becomes a finding `plan.RULE`.
        devices: those asked for, in plan order.
        profiles: by id, every profile the devices name.
        credentials: by entry name, every entry the devices name.
        laptop: given instead of this machine's own interfaces.
        try_default_community: ask each unit once with the community `public`.
        ask_all: ask also units that answer no echo; a sweep may leave them out.
        observed: what a person entered.
        soak: what to measure for how long after the units were read; None: nothing.
        progress: called with units finished and units in all.
    """

    command: Literal["verify", "reach", "sweep"]
    plan: Plan
    plan_sha256: str
    problems: tuple[Problem, ...] = ()
    stage: Stage
    devices: Sequence[Device]
    profiles: Mapping[str, Profile]
    credentials: Mapping[str, SnmpEntry] = field(default_factory=dict)
    probing: Probing = field(default_factory=Probing)
    laptop: Laptop | None = None
    try_default_community: bool = False
    accept_untested: tuple[str, ...] = ()
    ask_all: bool = True
    observed: Observed | None = None
    soak: SoakRequest | None = None
    progress: Callable[[int, int], None] | None = None
    clock: Clock = utc_now


@dataclass(frozen=True, slots=True)
class Outcome:
    """A result, whether it was cut short by a person, and our own faults while units were read."""

    result: Result
    interrupted: bool
    faults: tuple[Exception, ...] = ()


def run(request: Request) -> Outcome:
    """Carries out `request`.

    An interrupt (Ctrl-C) ends it early; what was measured so far is in the result.
    Raises CannotMeasureError where not even this machine can be read.
    """
    started = timestamp(request.clock())
    observations, interrupted, faults = _probed(request)
    judged = compare(
        request.plan,
        request.profiles,
        observations,
        stage=request.stage,
        checks=REACH if request.command == "reach" else VERIFY,
        only=HEALTH_CHECKS if request.command == "sweep" else None,
        devices=request.devices,
        accept_untested=request.accept_untested,
        problems=request.problems,
        samples=request.soak.journal.samples() if request.soak is not None else (),
    )
    plan = request.plan
    result = Result(
        command=request.command,
        stage=request.stage,
        plan=PlanReference(
            name=plan.network.name,
            revision=plan.network.revision,
            sha256=request.plan_sha256,
            file_sha256=plan.file_sha256,
        ),
        started=started,
        finished=timestamp(request.clock()),
        findings=judged.findings,
        causes=judged.causes,
        observations=observations,
        not_in_stage=judged.not_in_stage,
    )
    return Outcome(result, interrupted, faults)


def _probed(request: Request) -> tuple[tuple[Observation, ...], bool, tuple[Exception, ...]]:
    """What was seen, whether a person ended it, and our own faults."""
    jobs = _jobs(request)
    workers = worker_count(len(jobs))
    paces = Paces.of(request.probing, shared=workers > 0)
    with surveyor(jobs, paces, request.clock, workers) as asking, _short_switches():
        conductor = _Conductor(request, paces, asking, jobs)
        asyncio.run(conductor.probe())
    return conductor.observations(), conductor.stop.is_set(), tuple(conductor.faults)


def _jobs(request: Request) -> dict[str, Job]:
    """What to ask by SNMP, by device."""
    if request.command == "reach":
        return {}
    probing = request.probing
    return {
        device.name: Job(
            device=device,
            profile=request.profiles[device.profile],
            target=Target(
                address=device.address.address,
                entry=request.credentials[device.snmp],
                timeout_s=probing.snmp_timeout_s,
                retries=probing.snmp_retries,
            ),
            deadline_s=probing.device_deadline_s,
            default_community=request.try_default_community,
            health=request.command == "sweep",
        )
        for device in request.devices
        if device.snmp is not None
    }


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
def _short_switches() -> Iterator[None]:
    """Lets the echo thread keep its pace beside a busy event loop."""
    usual_s = sys.getswitchinterval()
    sys.setswitchinterval(_SWITCH_S)
    try:
        yield
    finally:
        sys.setswitchinterval(usual_s)


class _Conductor:
    """Runs all probes of a request and holds what they saw."""

    def __init__(
        self, request: Request, paces: Paces, asking: Surveyor, jobs: Mapping[str, Job]
    ) -> None:
        self.stop = threading.Event()
        self.faults: list[Exception] = []
        self._request = request
        self._paces = paces
        self._jobs = jobs
        self._asking = asking
        self._laptop_record = Recorder(Subject("laptop", "laptop"), request.clock)
        self._records = {
            d.name: Recorder(Subject("device", d.name), request.clock) for d in request.devices
        }
        self._targets = {name: job.target for name, job in jobs.items()}
        self._finished = 0
        self._slowly = Pace(_AGAIN_PER_S)

    def observations(self) -> tuple[Observation, ...]:
        """All that was seen, numbered; the laptop first, then the units in plan order."""
        for record in self._records.values():
            if self.stop.is_set():
                self._note_interruption(record)
        return numbered([self._laptop_record, *self._records.values()])

    def _note_interruption(self, record: Recorder) -> None:
        seen = {o.what for o in record.seen}
        for probe, what in (("icmp", "echo"), ("snmp", "answer")):
            if what not in seen and (what != "answer" or self._request.command != "reach"):
                record.note(probe, what, raw="interrupted before it was asked")  # type: ignore[arg-type]

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
        """Reads every unit, then soaks where that was asked for; the journal grows meanwhile."""
        if self._request.soak is None:
            await self._probe_units(routes)
            return
        soak = Soak(self._request.soak, self._surroundings())
        beside = [asyncio.create_task(soak.keep())]
        try:
            await self._probe_units(routes)
            looking = InLoop(self._jobs, self._paces)
            beside.append(
                asyncio.create_task(watch(self._request.plan, self._jobs, self._records, looking))
            )
            await soak.run()
        finally:
            for task in beside:
                task.cancel()
            await asyncio.gather(*beside, return_exceptions=True)
            soak.note()
            soak.write(now=True)

    def _surroundings(self) -> Surroundings:
        request = self._request
        laptop = request.laptop or this_machine.look()
        return Surroundings(
            plan=request.plan,
            devices=request.devices,
            profiles=request.profiles,
            records=self._records,
            laptop=self._laptop_record,
            routes=lambda addresses: routes_of(laptop, addresses),
            targets=self._targets,
            probing=request.probing,
            paces=self._paces,
            clock=request.clock,
        )

    def _look(self) -> Mapping[str, Route | None]:
        laptop = self._request.laptop or this_machine.look()
        self._laptop_record.note("laptop", "interfaces", value=laptop_value(laptop))
        self._laptop_record.note("laptop", "versions", value=versions())
        if accepted := list(self._request.accept_untested):
            self._laptop_record.note("person", ACCEPTED, value=accepted)
        self._note_observed()
        addresses = {d.name: d.address.address for d in self._request.devices}
        found = routes_of(laptop, addresses.values())
        routes = {name: found[address] for name, address in addresses.items()}
        for name, route in routes.items():
            self._records[name].note("laptop", "route", value=route_value(route))
        return routes

    def _note_observed(self) -> None:
        """What a person entered: which sheet it was, and each row of the units asked for."""
        if (observed := self._request.observed) is None:
            return
        sheet = {"file": observed.file, "sha256": observed.sha256, "rows": len(observed.entries)}
        self._laptop_record.note("person", OBSERVED, value=sheet)
        for entry in observed.entries:
            if (record := self._records.get(entry.device)) is not None:
                record.note(
                    "person", entry.check, value=entry.value, unit=entry.unit, raw=entry.raw,
                    at=entry.at,
                )  # fmt: skip

    async def _probe_units(self, routes: Mapping[str, Route | None]) -> None:
        request = self._request
        targets = {d.name: _echo_target(d.address.address, routes[d.name]) for d in request.devices}
        echoing = Echoing(
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
                    tasks.create_task(self._probe_unit(device, echoing, gate))
            if request.command == "verify":
                sampling = sample_links(request.plan, self._jobs, self._records, self._asking)
                self.faults.extend(await sampling)

    async def _ask_the_cable(self, routes: Mapping[str, Route | None], echoing: Echoing) -> None:
        """Who holds each address, once the echoes have made the laptop's own acquaintances."""
        request = self._request
        for warm in echoing.warm.values():
            await warm.wait()
        arping = Arping(request.plan, request.profiles, request.devices, routes)
        await arping.run(self._records, self._laptop_record, self._paces.network, self.stop)

    async def _probe_unit(self, device: Device, echoing: Echoing, gate: asyncio.Semaphore) -> None:
        request, record = self._request, self._records[device.name]
        if not request.ask_all and not await echoing.may_answer(device.name):
            record.note("snmp", "answer", raw=_NOT_ASKED)
        else:
            async with gate:
                with suppress(TimeoutError):
                    await asyncio.wait_for(echoing.warm[device.name].wait(), _SETTLE_S)
                async with asyncio.TaskGroup() as probes:
                    probes.create_task(self._services(device))
                    if request.command != "reach" and device.snmp is not None:
                        probes.create_task(self._survey(device.name))
            if request.command == "sweep" and _silent(record):
                await self._ask_again(device.name, record)
        self._finished += 1
        if self._request.progress is not None:
            self._request.progress(self._finished, len(self._request.devices))

    async def _survey(self, name: str) -> None:
        """Asks one unit by SNMP; a fault of ours ends the reading of this unit and of no other."""
        record = self._records[name]
        try:
            await self._asking.survey(name, record)
        except Exception as fault:  # noqa: BLE001 - it is told at the end, after the report
            self.faults.append(fault)
            raw = f"a fault of this program ended its reading ({type(fault).__name__})"
            record.note("snmp", "deadline", raw=raw)

    async def _ask_again(self, name: str, record: Recorder) -> None:
        """A unit that was silent by SNMP is asked once more, when the rush is over, at a low rate.

        What it says then counts; the first silence stays written down under another name.
        """
        earliest_s = time.monotonic() + _AGAIN_AFTER_S
        await asyncio.sleep(self._slowly.slot(earliest_s) - time.monotonic())
        at = next(n for n, o in enumerate(record.seen) if o.what == "answer")
        record.seen[at] = record.seen[at]._replace(what="answer-first")
        await self._survey(name)

    async def _services(self, device: Device) -> None:
        request = self._request
        address = device.address.address
        pace = self._paces.for_address(loopback=address.is_loopback)
        for service in planned_services(device, request.profiles[device.profile]):
            answer = await tcp.connect(
                address, service.port, timeout_s=request.probing.timeout_s, pace=pace
            )
            self._records[device.name].note(
                "tcp",
                f"tcp/{service.port}",
                value=answer.state,
                raw=answer.detail,
                took_ms=answer.took_ms,
            )

    def _note_neighbours(self, routes: Mapping[str, Route | None]) -> None:
        """Hardware addresses of units that are on-link; of others an old entry may be left."""
        known = this_machine.neighbours()
        for device in self._request.devices:
            route, mac = routes[device.name], known.get(device.address.address)
            if mac is not None and route is not None and route.next_hop is None:
                self._records[device.name].note("neighbour", "neighbour", value=str(mac))


def _silent(record: Recorder) -> bool:
    return any(o.what == "answer" and o.value == "silent" for o in record.seen)


def _at_once(packets_per_s: float | None) -> int:
    """How many units may wait for sending slots without their own time passing meanwhile."""
    return _AT_ONCE if packets_per_s is None else min(_AT_ONCE, max(1, int(packets_per_s)))


def _echo_target(address: Address, route: Route | None) -> EchoTarget:
    new = route is not None and route.next_hop is None and not address.is_loopback
    return EchoTarget(address=address, on_link_new=new)
