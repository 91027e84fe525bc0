"""Sees devices go and come back, by echoes and by SNMP."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Final

from verifier.errors import CannotMeasureError
from verifier.model import mib
from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.model.observations import ENGINE_ID, NEIGHBOUR, RESTART, Observation, RestartTimes
from verifier.model.plan import Device
from verifier.probes.echo.exchange import EchoTarget
from verifier.probes.echo.mtu import SMALL_BYTES
from verifier.probes.echo.watch import Unheard, Watched
from verifier.probes.snmp.values import SnmpTarget
from verifier.rules import decode
from verifier.rules.observations import Observations
from verifier.rules.powercycle import fallback_addresses
from verifier.rules.soak.counters import restarted
from verifier.session.recorder import Recorder
from verifier.session.request import ON_LINK_PER_S, Cycle, What
from verifier.session.search.request import Search
from verifier.session.search.run import located
from verifier.session.world import SnmpManager, World

_ECHO_STEP_S: Final = 0.25
_ECHO_TIMEOUT_S: Final = 1.0
_MISSED: Final = 3
"""Number of echoes or requests in a row without an answer after which a device is gone."""
_ASK_S: Final = 0.5
_SNMP_TIMEOUT_S: Final = 1.0
_LOOK_S: Final = 5.0


@dataclass(slots=True)
class _WatchedDevice:
    """What is known of a device that is being watched; times since the person was asked."""

    device: Device
    wait_s: float
    boot_s: float
    missed: int = 0
    unasked: int = 0
    heard: bool = False
    answered: bool = False
    gone_s: float | None = None
    ping_gone_s: float | None = None
    snmp_gone_s: float | None = None
    ping_s: float | None = None
    snmp_s: float | None = None
    restarted: bool | None = None
    found: tuple[str, str] | None = None
    last: tuple[float, int, int | None] | None = None
    looked_s: float = 0.0
    told: set[str] = field(default_factory=set)

    @property
    def by_snmp(self) -> bool:
        """Whether it has an agent that answered before."""
        return self.device.snmp is not None and self.answered

    def goes_again(self, at_s: float | None) -> bool:
        """Whether it went again at `at_s`, after it was back with its uptime going on.

        It is waited for anew then: what it went for before was no restart, but a cable or a link.
        """
        if at_s is None or self.restarted is not False or self.snmp_s is None or at_s < self.snmp_s:
            return False
        self.gone_s = self.snmp_gone_s = at_s
        self.snmp_s = None
        self.told -= {"gone", "ping", "snmp"}
        return True

    def went(self, waited_s: float) -> RestartTimes:
        """How it went, as an observation has it."""
        gone_s = self.gone_s
        return RestartTimes(
            gone_s=None if gone_s is None else round(gone_s, 2),
            ping_s=_after(self.ping_s, gone_s),
            snmp_s=_after(self.snmp_s, gone_s),
            restarted=self.restarted,
            ping_held=self.heard and self.ping_gone_s is None,
            waited_s=round(waited_s, 1),
            found_at=self.found[0] if self.found else None,
            found_as=self.found[1] if self.found else None,
        )


def _after(back_s: float | None, gone_s: float | None) -> float | None:
    return None if back_s is None or gone_s is None else round(back_s - gone_s, 2)


class Watch:
    """Watches devices go and come back, by echoes and by SNMP."""

    def __init__(
        self,
        cycle: Cycle,
        world: World,
        records: Mapping[str, Recorder],
        seen: Sequence[Observation[object]],
    ) -> None:
        request = cycle.request
        self._world = world
        self._cycle, self._records, self._seen = cycle, records, seen
        self._devices = [
            _WatchedDevice(d, cycle.wait_s[d.name], request.profiles[d.profile].boot_s)
            for d in request.devices
        ]
        self._stop = threading.Event()
        self._began_s = 0.0

    # -- echoes; they may come from another thread ------------------------------------------------

    def heard(self, index: int, slot: int, rtt_us: int) -> None:
        """See `probes.echo.watch.EchoSink`."""
        del rtt_us
        device = self._devices[index]
        device.missed = 0
        device.heard = True
        if device.ping_gone_s is not None and device.ping_s is None:
            device.ping_s = slot * _ECHO_STEP_S

    def unheard(self, index: int, slot: int, what: Unheard, why: str) -> None:
        """See `probes.echo.watch.EchoSink`."""
        del why
        device = self._devices[index]
        if what != "lost":
            return
        device.missed += 1
        if device.missed == _MISSED and device.heard:
            device.ping_gone_s = max(0.0, (slot - _MISSED + 1) * _ECHO_STEP_S)
            device.ping_s = None

    def again(self, index: int, what: str) -> None:
        """See `probes.echo.watch.EchoSink`."""

    def gap(self, start_s: float, end_s: float, interface: str | None) -> None:
        """See `probes.echo.watch.EchoSink`."""

    def tick(self, now_s: float) -> None:
        """See `probes.echo.watch.EchoSink`."""

    async def _echo(self) -> None:
        watched = [
            Watched(target=EchoTarget(address=u.device.address.address), packet_bytes=SMALL_BYTES)
            for u in self._devices
        ]
        longest_s = 2 * max(u.wait_s for u in self._devices)
        with suppress(CannotMeasureError):
            await self._world.echoes.watch(
                watched,
                self,
                step_s=_ECHO_STEP_S,
                timeout_s=_ECHO_TIMEOUT_S,
                long_s=longest_s + _ECHO_TIMEOUT_S,
                stop=self._stop,
            )

    # -- SNMP -------------------------------------------------------------------------------------

    async def run(self) -> None:
        """Watches until every device is back, or was waited for long enough."""
        self._began_s = self._world.clocks.monotonic_s()
        echoing = asyncio.ensure_future(self._echo())
        try:
            async with self._world.snmp() as client:
                await asyncio.gather(*(self._first(client, u) for u in self._devices))
                for device in self._devices:
                    self._tell(device, "ask", f"{device.wait_s:.0f}")
                await asyncio.gather(*(self._watch(client, u) for u in self._devices))
        finally:
            self._stop.set()
            await asyncio.wait([echoing])
            for device in self._devices:
                went = device.went(device.wait_s)
                self._records[device.device.name].note(RESTART, went)

    def _now_s(self) -> float:
        return self._world.clocks.monotonic_s() - self._began_s

    def _tell(self, device: _WatchedDevice, what: What, words: str) -> None:
        if what not in device.told:
            device.told.add(what)
            self._cycle.tell(device.device.name, what, words)

    async def _first(self, client: SnmpManager, device: _WatchedDevice) -> None:
        if device.device.snmp is not None:
            await self._uptime(client, device)

    async def _watch(self, client: SnmpManager, device: _WatchedDevice) -> None:
        gone_by_s = self._now_s() + device.wait_s
        while True:
            await self._world.clocks.sleep(_ASK_S)
            if device.device.snmp is not None:
                await self._uptime(client, device)
            self._take_stock(device)
            now_s = self._now_s()
            if device.gone_s is None:
                if now_s > gone_by_s:
                    self._tell(device, "late", "it never went away")
                    return
                continue
            if self._back(device):
                return
            if now_s > device.gone_s + device.wait_s:
                if not self._answers_here(device):
                    await self._look_elsewhere(device)
                up = device.snmp_s is not None and device.restarted is False
                self._tell(device, "late", "its uptime went on" if up else "it is not back")
                return
            late = now_s > device.gone_s + device.boot_s and now_s > device.looked_s + _LOOK_S
            if late and not self._answers_here(device):
                device.looked_s = now_s
                if await self._look_elsewhere(device):
                    return

    def _take_stock(self, device: _WatchedDevice) -> None:
        gone = [t for t in (device.ping_gone_s, device.snmp_gone_s) if t is not None]
        if gone and device.gone_s is None:
            device.gone_s = min(gone)
            self._tell(device, "gone", f"{device.gone_s:.1f}")
        if device.gone_s is None:
            return
        if device.goes_again(device.ping_gone_s):
            self._tell(device, "gone", f"{device.gone_s:.1f}")
        if device.ping_s is not None:
            self._tell(device, "ping", f"{device.ping_s - device.gone_s:.1f}")
        if device.snmp_s is not None:
            self._tell(device, "snmp", f"{device.snmp_s - device.gone_s:.1f}")

    def _back(self, device: _WatchedDevice) -> bool:
        """Whether it went and is back; one whose uptime went on may yet be restarted."""
        if device.ping_gone_s is not None and device.ping_s is None:
            return False
        if device.by_snmp:
            return device.snmp_s is not None and device.restarted is True
        return device.ping_s is not None

    async def _uptime(self, client: SnmpManager, device: _WatchedDevice) -> None:
        """Asks for the uptime: is it there, and did it begin anew?"""
        target = self._target(device.device.address.address, device.device.snmp)
        oids = [mib.UPTIMES["sysUpTime"], mib.UPTIMES["snmpEngineBoots"]]
        asked_s = self._now_s()
        reply = await client.get(target, oids)
        ticks, boots = (
            b.value if (b := reply.binding(o)) is not None and isinstance(b.value, int) else None
            for o in oids
        )
        if ticks is None:
            device.unasked += 1
            if device.unasked == _MISSED - 1 and device.answered:
                gone_s = max(0.0, asked_s - _SNMP_TIMEOUT_S)
                device.goes_again(gone_s)
                device.snmp_gone_s = device.snmp_gone_s or gone_s
                device.snmp_s = None
            return
        now_s = self._now_s()
        device.unasked = 0
        device.answered = True
        if device.last is not None:
            before_s, before_ticks, before_boots = device.last
            anew = restarted(before_ticks, ticks, now_s - before_s)
            more = boots is not None and before_boots is not None and boots > before_boots
            if anew or more:
                device.restarted = True
                device.snmp_gone_s = device.snmp_gone_s or before_s
                self._tell(device, "restarted", f"{ticks / 100:.1f}")
            elif device.restarted is None:
                device.restarted = False
        device.last = now_s, ticks, boots
        if device.snmp_gone_s is not None and device.snmp_s is None:
            device.snmp_s = now_s

    def _target(self, address: Address, entry: str | None) -> SnmpTarget:
        assert entry is not None
        credentials: Mapping[str, SnmpEntry] = self._cycle.request.credentials
        return SnmpTarget(
            address=address, entry=credentials[entry], timeout_s=_SNMP_TIMEOUT_S, retries=0
        )

    # -- elsewhere --------------------------------------------------------------------------------

    @staticmethod
    def _answers_here(device: _WatchedDevice) -> bool:
        return (device.missed == 0 and device.heard) or (device.unasked == 0 and device.answered)

    async def _look_elsewhere(self, device: _WatchedDevice) -> bool:
        """Whether it answers at an address that it had before, or left the factory with."""
        profile = self._cycle.request.profiles[device.device.profile]
        for kind, address in fallback_addresses(device.device, profile).items():
            if self._world.laptop.routes([address])[address] is None:
                continue
            if await self._answers(address) and await self._is_it(device, address):
                device.found = str(address), kind
                self._tell(device, "found", f"{address}, its {kind} address")
                return True
        return False

    async def _is_it(self, device: _WatchedDevice, address: Address) -> bool:
        """Whether the one who answers there is the device: an echo proves nothing."""
        mine = Observations(o for o in self._seen if o.subject.name == device.device.name)
        itself = map(decode.hardware_address, mine.values(mib.IF_PHYS_ADDRESS))
        macs = (*mine.values(NEIGHBOUR), *itself)
        search = Search(
            plan=self._cycle.request.plan,
            device=device.device,
            profiles=self._cycle.request.profiles,
            credentials=self._cycle.request.credentials,
            macs=frozenset(mac for mac in macs if mac is not None),
            engine_ids=frozenset(engine for engine in mine.values(ENGINE_ID) if engine),
            snmp_timeout_s=_SNMP_TIMEOUT_S,
        )
        places = await located(search, self._world)
        return any(
            place.candidate.address.address.value == address.value
            and place.identity in {"device", "likely"}
            for place in places
        )

    async def _answers(self, address: Address) -> bool:
        pace = self._world.pace
        with (
            suppress(CannotMeasureError),
            self._world.echoes.sender(pace=pace(None), on_link_pace=pace(ON_LINK_PER_S)) as sender,
        ):
            (series,) = await sender.run(
                [EchoTarget(address=address, on_link_new=True)],
                count=2,
                interval_s=_ECHO_STEP_S,
                timeout_s=_ECHO_TIMEOUT_S,
            )
            return any(rtt is not None for rtt in series.rtt_ms)
        return False
