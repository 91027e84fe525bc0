"""The laptop in memory, its cable, and the world that a session gets of them."""

from __future__ import annotations

import random
import threading
from collections.abc import Callable, Collection, Coroutine, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Self, TypeVar

from verifier.errors import CannotMeasureError
from verifier.model.address import Address, Interface, Mac
from verifier.model.laptop import Laptop, LaptopInterface, Route
from verifier.probes.cable.frames import Frame
from verifier.probes.pace import Pace, Slots
from verifier.probes.tcp import TcpAnswer
from verifier.simulator.memory.device import RTT_S, MemoryCable, MemoryDevice
from verifier.simulator.memory.loop import MemoryClocks
from verifier.simulator.memory.probes import MemoryEchoes, MemorySnmpManager

_Value = TypeVar("_Value")
_PROBING_S = 0.6
"""How long it takes to see that nobody on the cable holds an address."""
_LLDP_S = 30.0
"""IEEE 802.1AB: msgTxInterval."""
_REMEMBERED_S = 60.0
"""How long the kernel keeps a neighbour's entry."""


class MemoryLaptop:
    """A laptop with one cable interface.

    Args:
        cable: what is in its socket.
        clocks: of the world.
        addresses: on its interface.

    Attributes:
        killed: whether the program was killed: then nothing is taken back at the end.
        leftover: what the way back is recorded of.
    """

    platform = "linux"
    own_name = "laptop"
    interface = "eth0"
    mac = Mac("02:00:5e:00:53:01")

    def __init__(
        self, cable: MemoryCable, clocks: MemoryClocks, addresses: Iterable[Interface] = ()
    ) -> None:
        self.addresses = list(addresses)
        self.killed = False
        self.leftover: tuple[Interface, ...] = ()
        self._cable, self._clocks = cable, clocks
        self._met: dict[Address, tuple[Mac, float]] = {}

    can_be_set = True

    def look(self) -> Laptop:
        """Its interfaces."""
        loopback = LaptopInterface(
            name="lo", medium="loopback", addresses=(Interface.parse("127.0.0.1/8"),)
        )
        cable = LaptopInterface(
            name=self.interface,
            medium="cable",
            up=self._cable.carrier,
            addresses=tuple(self.addresses),
        )
        return Laptop(interfaces=(cable, loopback))

    def routes(self, addresses: Iterable[Address]) -> dict[Address, Route | None]:
        """On its own subnets, by the longest prefix; else there is no way."""
        return {a: self._route(a) for a in addresses}

    def _route(self, address: Address) -> Route | None:
        own = [a for a in self.addresses if a.holds(address)]
        if not own:
            return None
        best = max(own, key=lambda a: a.prefix)
        return Route(interface=self.interface, source=best.address)

    def preferred(self, addresses: Iterable[Address]) -> dict[Address, tuple[str, int]]:
        """The interface and the prefix's length of each that it has a way to."""
        found = {a: [own.prefix for own in self.addresses if own.holds(a)] for a in addresses}
        return {a: (self.interface, max(lengths)) for a, lengths in found.items() if lengths}

    def interface_names(self) -> frozenset[str]:
        """Its interfaces' names."""
        return frozenset({"lo", self.interface})

    def neighbours(self) -> dict[Address, Mac]:
        """Hardware addresses that its kernel has learnt, for a minute."""
        now_s = self._clocks.monotonic_s()
        return {a: mac for a, (mac, at_s) in self._met.items() if now_s - at_s < _REMEMBERED_S}

    def reached(self, address: Address) -> MemoryDevice | str:
        """The device that a packet to an address gets an answer of; its neighbour is learnt."""
        route = self._route(address)
        if route is None or any(a.address == address for a in self.addresses):
            return "no-route"
        now_s = self._clocks.monotonic_s()
        for mac in self._cable.macs(address, now_s)[:1]:
            self._met[address] = mac, now_s
        return self._cable.answering(address, route.source, now_s) or "silent"

    @contextmanager
    def added(
        self, interface: str, addresses: Sequence[Interface], say: Callable[[str], None]
    ) -> Iterator[None]:
        """Has more addresses while the context lasts, unless the program is killed."""
        assert interface == self.interface
        for own in addresses:
            if any(own.address == a.address for a in self.addresses):
                raise CannotMeasureError(f"this laptop holds {own.address} already")
            self._clocks.pause(_PROBING_S)
            for mac in self._cable.macs(own.address, self._clocks.monotonic_s()):
                raise CannotMeasureError(f"{mac} on the cable holds {own.address}")
        self.leftover = tuple(addresses)
        self.addresses += addresses
        try:
            yield
        finally:
            if not self.killed:
                self.take_back_leftovers(say)

    def take_back_leftovers(self, say: Callable[[str], None]) -> None:
        """Takes back what was recorded."""
        for own in self.leftover:
            if own in self.addresses:
                self.addresses.remove(own)
                say(f"{own} on {self.interface} is taken back")
        self.leftover = ()

    @staticmethod
    def versions() -> dict[str, str]:
        """Of nothing: it is in memory."""
        return {"plan-verifier": "in memory"}


@dataclass
class MemoryWire:
    """The laptop's interface, open for frames."""

    laptop: MemoryLaptop
    cable: MemoryCable
    clocks: MemoryClocks
    open: bool = True
    _take: Callable[[Frame], None] | None = None

    @property
    def interface(self) -> str:
        """Its name."""
        return self.laptop.interface

    @property
    def mac(self) -> Mac:
        """Its hardware address."""
        return self.laptop.mac

    def ask(self, address: Address, source: Address | None = None) -> None:
        """Everybody who holds the address answers."""
        del source
        what = "arp-reply" if address.is_v4 else "nd-advertisement"
        for mac in self.cable.macs(address, self.clocks.monotonic_s()):
            self._give(Frame(what=what, mac=mac, addresses=(address,)), RTT_S)  # type: ignore[arg-type]

    def hear(self, take: Callable[[Frame], None]) -> None:
        """Answers, and what each device sends by LLDP."""
        self._take = take
        self._later(_LLDP_S, self._lldp)

    def _lldp(self) -> None:
        if self.cable.carrier:
            for device in self.cable.devices:
                if device.up(self.clocks.monotonic_s()):
                    self._give(
                        Frame(
                            what="lldp",
                            mac=device.mac,
                            addresses=(device.running.address.address,),
                            name=device.running.name,
                            chassis=device.mac,
                        ),
                        0.0,
                    )
        self._later(_LLDP_S, self._lldp)

    def _give(self, frame: Frame, after_s: float) -> None:
        def give() -> None:
            if self._take is not None:
                self._take(frame)

        self._later(after_s, give)

    def _later(self, after_s: float, what: Callable[[], None]) -> None:
        def if_open() -> None:
            if self.open:
                what()

        self.clocks.call_at(self.clocks.monotonic_s() + after_s, if_open)


@dataclass
class MemoryWires:
    """Open interfaces."""

    opened: dict[str, MemoryWire] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)


class MemoryCableAccess:
    """Asking and hearing on the cable.

    Attributes:
        permitted: whether frames may be sent and heard.
    """

    def __init__(self, laptop: MemoryLaptop, cable: MemoryCable, clocks: MemoryClocks) -> None:
        self.permitted = True
        self._laptop, self._cable, self._clocks = laptop, cable, clocks

    @contextmanager
    def wires(
        self, interfaces: Iterable[str], *, everything: bool, of: Collection[Mac]
    ) -> Iterator[MemoryWires]:
        """Opens the laptop's interface."""
        del everything, of
        wires = MemoryWires()
        for name in interfaces:
            if self.permitted:
                wires.opened[name] = MemoryWire(self._laptop, self._cable, self._clocks)
            else:
                wires.refused.append("no frames can be heard or asked for: run it as root")
        try:
            yield wires
        finally:
            for wire in wires.opened.values():
                wire.open = False

    async def arp_responders(  # noqa: PLR0913, PLR0917
        self,
        interface: str,
        source: Address,
        addresses: Sequence[Address],
        unplanned: Sequence[Address],
        pace: Slots,
        stop: threading.Event,
    ) -> Mapping[Address, tuple[Mac, ...]]:
        """Everybody who answers by ARP for each address."""
        del interface, source, pace, stop
        if not self.permitted:
            raise PermissionError
        await self._clocks.sleep(0.4)
        now_s = self._clocks.monotonic_s()
        found = {a: self._cable.macs(a, now_s) for a in (*addresses, *unplanned)}
        return {a: macs for a, macs in found.items() if macs}


class MemoryWorld:
    """A world in memory; a context manager, which closes its event loop.

    Args:
        cable: with its devices.
        addresses: of the laptop.
        chance: draws lots.
    """

    def __init__(
        self,
        cable: MemoryCable,
        addresses: Iterable[Interface] = (),
        *,
        chance: random.Random | None = None,
    ) -> None:
        self.clocks = MemoryClocks()
        self.laptop = MemoryLaptop(cable, self.clocks, addresses)
        self.cable = MemoryCableAccess(self.laptop, cable, self.clocks)
        self.echoes = MemoryEchoes(self.clocks, self.laptop.reached)
        self.chance = chance or random.Random(0)  # noqa: S311 - the same each time

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.clocks.close()

    def pace(self, per_s: float | None, *, shared: bool = False) -> Pace:
        """Sending slots in simulated time."""
        del shared
        return Pace(per_s, clock=self.clocks.monotonic_s)

    def snmp(self, pace: Slots | None = None, *, values_only: bool = False) -> MemorySnmpManager:
        """Who asks agents."""
        del pace, values_only
        return MemorySnmpManager(self.clocks, self.laptop.reached)

    async def tcp(self, address: Address, port: int, *, timeout_s: float, pace: Slots) -> TcpAnswer:
        """Opens where the device's family or plan has the service."""
        del pace
        device = self.laptop.reached(address)
        if isinstance(device, MemoryDevice):
            await self.clocks.sleep(RTT_S)
            services = (*device.profile.services.open, *device.hardware.services.open)
            if any(s.port == port for s in services):
                return TcpAnswer("open", "connection opened", RTT_S * 1000)
            return TcpAnswer("closed", "connection refused", RTT_S * 1000)
        if device == "no-route":
            return TcpAnswer("unreachable", "network is unreachable", 0.0)
        await self.clocks.sleep(timeout_s)
        return TcpAnswer("filtered", f"no answer within {timeout_s:g} s", timeout_s * 1000)

    def run(self, work: Coroutine[Any, Any, _Value]) -> _Value:
        """Carries out `work` in simulated time."""
        return self.clocks.run(work)

    @staticmethod
    async def in_thread(work: Callable[[], _Value]) -> _Value:
        """At once: there is one thread."""
        return work()
