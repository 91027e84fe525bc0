"""Devices in memory: what each is, how it is set, what it has saved; and the cable they are on."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from verifier.model.address import Address, Interface, Mac
from verifier.model.credentials import SnmpEntry
from verifier.model.plan import Device, OtherAddress, Plan
from verifier.model.profile import Profile
from verifier.probes.snmp.values import Type, VarBind
from verifier.simulator.agent import cells
from verifier.simulator.agent.cells import BerReader, Cell, Oid
from verifier.simulator.condition import Condition, ShownDevice, addresses_of, ports_of
from verifier.simulator.mib import addresses, readings, standard

RTT_S = 0.002

_TABLES = (
    standard.system, standard.engine, standard.lldp, standard.interfaces, addresses.addresses,
    addresses.routes, readings.readings,
)  # fmt: skip
_TYPES: dict[int, Type] = {
    cells.INTEGER: "Integer32", cells.OCTETS: "OctetString", cells.OBJECT_ID: "ObjectIdentifier",
    cells.IP_ADDRESS: "IpAddress", cells.COUNTER32: "Counter32", cells.GAUGE32: "Gauge32",
    cells.TIME_TICKS: "TimeTicks", cells.COUNTER64: "Counter64",
}  # fmt: skip
_ENGINE_BY_MAC = bytes.fromhex("80007ed903")
"""The enterprise for examples (RFC 5612), then a hardware address (RFC 3411 section 5)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceSettings:
    """What a person sets in a device.

    Attributes:
        second: a further address, left behind beside the first.
    """

    address: Interface
    gateway: Address | None = None
    name: str = ""
    second: Interface | None = None

    @property
    def held(self) -> tuple[Interface, ...]:
        """Every address it holds."""
        return (self.address,) if self.second is None else (self.address, self.second)


class MemoryDevice:
    """A device on a cable.

    Args:
        hardware: the plan's device: ports, serial number, ...
        profile: its family.
        factory: what it is set to after a reset.
        entries: credentials that its agent takes; none: it has no agent.
        mac: its hardware address.
        boot_s: from power to answer.
        settings: what it runs with and has saved; None: the factory's.

    Attributes:
        running, saved: its settings now, and those it starts with.
        powered: whether its supply is on.
        up_s: when it has started, or will have, on the world's monotonic clock.
        boots: how often it was started.
        echoes_twice: whether it answers each echo twice.
        dull: whether it takes no new settings: what is set is shown, and lost.
    """

    def __init__(  # noqa: PLR0913
        self,
        *,
        hardware: Device,
        profile: Profile,
        factory: DeviceSettings,
        entries: Sequence[SnmpEntry],
        mac: Mac,
        boot_s: float,
        settings: DeviceSettings | None = None,
    ) -> None:
        self.hardware, self.profile, self.factory = hardware, profile, factory
        self.entries, self.mac, self.boot_s = tuple(entries), mac, boot_s
        self.running = self.saved = settings or factory
        self.powered = True
        self.up_s = -86_400.0
        self.boots = 3
        self.echoes_twice = False
        self._table: tuple[DeviceSettings, int, MibTable] | None = None

    @property
    def engine_id(self) -> bytes:
        """Its SNMP engine id, made of its hardware address."""
        return _ENGINE_BY_MAC + bytes.fromhex(self.mac.text.replace(":", ""))

    def up(self, now_s: float) -> bool:
        """Whether it answers."""
        return self.powered and now_s >= self.up_s

    def set(self, settings: DeviceSettings) -> None:
        """A person sets it; it is not saved."""
        self.running = settings

    def save(self) -> None:
        """A person saves what it runs with."""
        self.saved = self.running

    def reset(self) -> None:
        """A person sets it back to its factory settings; they are saved."""
        self.running = self.saved = self.factory

    def power(self, now_s: float, *, on: bool) -> None:
        """Its supply is switched; on, it starts with what it has saved."""
        if on and not self.powered:
            self.running = self.saved
            self.up_s = now_s + self.boot_s
            self.boots += 1
        self.powered = on

    def table(self) -> MibTable:
        """All that its agent shows."""
        if self._table is None or self._table[:2] != (self.running, self.boots):
            self._table = self.running, self.boots, MibTable(self._shown())
        return self._table[2]

    def _shown(self) -> ShownDevice:
        settings = self.running
        second = (OtherAddress(address=settings.second),) if settings.second is not None else ()
        device = dataclasses.replace(
            self.hardware,
            name=settings.name,
            address=settings.address,
            gateway=settings.gateway,
            mac=self.mac,
            other_addresses=second,
        )
        ports = ports_of(device, Condition())
        return ShownDevice(
            plan=Plan(devices=(device,)),
            device=device,
            profile=self.profile,
            condition=Condition(),
            location=device.location or device.site or "",
            engine_id=self.engine_id,
            boots=self.boots,
            ports=ports,
            addresses=addresses_of(device, ports),
            radios=(),
        )


class MibTable:
    """The objects of an agent: names in ascending order, and the value of each."""

    def __init__(self, shown: ShownDevice) -> None:
        self._cells: dict[Oid, Cell] = dict(
            itertools.chain.from_iterable(table(shown) for table in _TABLES)
        )
        self.names = sorted(self._cells)

    def at(self, name: Oid, up_s: float) -> VarBind | None:
        """The object of that name; None where there is none."""
        cell = self._cells.get(name)
        if cell is None:
            return None
        return _decoded(name, cell(up_s) if callable(cell) else cell)


def _decoded(name: Oid, cell: bytes) -> VarBind:
    """A cell of the simulator's MIB as the client would give it."""
    tag, start, stop = BerReader(cell).element()
    content = cell[start:stop]
    value: int | bytes | str
    if tag == cells.OCTETS:
        value = content
    elif tag == cells.OBJECT_ID:
        value = ".".join(map(str, cells.arcs_of(content)))
    elif tag == cells.IP_ADDRESS:
        value = ".".join(map(str, content))
    else:
        value = int.from_bytes(content, "big", signed=True)
    return VarBind(".".join(map(str, name)), _TYPES[tag], value)


class MemoryCable:
    """A cable, or a switch with everything that is plugged into it.

    Attributes:
        carrier: whether the laptop's end has a link.
        devices: those that are plugged in, in the order in which they answer.
        routers: addresses of gateways that stand on it and lead back to the laptop.
    """

    def __init__(self, devices: Iterable[MemoryDevice] = ()) -> None:
        self.carrier = True
        self.devices = list(devices)
        self.routers: frozenset[Address] = frozenset()

    def arp_responders(self, address: Address, now_s: float) -> Iterator[MemoryDevice]:
        """Who holds an address and answers for it on the cable."""
        if self.carrier:
            for device in self.devices:
                if device.up(now_s) and any(h.address == address for h in device.running.held):
                    yield device

    def macs(self, address: Address, now_s: float) -> tuple[Mac, ...]:
        """Hardware addresses of those, once each."""
        return tuple(dict.fromkeys(d.mac for d in self.arp_responders(address, now_s)))

    def answering(
        self, address: Address, source: Address | None, now_s: float
    ) -> MemoryDevice | None:
        """The device that a packet from `source` gets an answer of; None: no answer comes back."""
        device = next(self.arp_responders(address, now_s), None)
        if device is None or source is None:
            return None
        if any(own.holds(source) for own in device.running.held):
            return device
        return device if device.running.gateway in self.routers else None
