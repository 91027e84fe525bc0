"""What stories are told of: a plan, its devices on a cable, and what is drawn of it by chance.

A story takes a `random.Random`, so that its seed tells the same story again.
"""

from __future__ import annotations

import dataclasses
import random
from dataclasses import dataclass, field

from verifier.model.address import Address, Interface, Mac
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.plan import Device, Network, Plan
from verifier.model.profile import Factory, Profile, ProfileReading
from verifier.simulator.memory import DeviceSettings, MemoryCable, MemoryDevice

FACTORY = Interface.parse("192.0.2.1/24")
BOOT_S = 3.0
PROFILE = Profile(
    id="bench-radio",
    title="Bench radio",
    kind="radio",
    boot_s=BOOT_S,
    object_id="1.3.6.1.4.1.32473.7.1",
    factory=Factory(address=FACTORY, snmp="factory"),
    reading=(ProfileReading(field="serial", oid="1.3.6.1.4.1.32473.7.2.0", type="text"),),
)
SIMPLE = dataclasses.replace(PROFILE, id="bench-simple", reading=(), factory=Factory())
PROFILES = {PROFILE.id: PROFILE, SIMPLE.id: SIMPLE}
ENTRIES = {
    "field": SnmpEntry(name="field", version="2c", community=Secret("coastal-read")),
    "factory": SnmpEntry(name="factory", version="2c", community=Secret("as-delivered")),
    "third": SnmpEntry(name="third", version="3", user="reader", auth_key=Secret("pier-lantern")),
}
NAMES = ("quarry", "lighthouse", "mill", "ferry")
PREFIXES = (24, 25, 26, 28)
_FEW_HOSTS = 62
"""In a larger subnet so many addresses are tried."""


@dataclass(frozen=True, kw_only=True)
class Bench:
    """A plan and the devices that stand for it.

    Attributes:
        strangers: devices on the bench that no plan knows.
    """

    plan: Plan
    devices: dict[str, MemoryDevice]
    strangers: list[MemoryDevice] = field(default_factory=list)

    @property
    def everything(self) -> list[MemoryDevice]:
        """Every device there is."""
        return [*self.devices.values(), *self.strangers]


def drawn(chance: random.Random, *, most: int = 3, factory: bool = True) -> Bench:
    """A plan of some devices; each is where the plan says that it is at present."""
    subnet, prefix = chance.choice(("198.18.20", "198.18.30")), chance.choice(PREFIXES)
    count = chance.randint(1, most)
    hosts = chance.sample(range(2, 14), count)
    gateway = Address.parse(f"{subnet}.1") if chance.random() < 0.5 else None
    profile = chance.choice((PROFILE, PROFILE, SIMPLE))
    knows = chance.choice(("mac", "serial", "name", "name"))
    if knows == "serial" and not profile.reading:
        knows = "mac"
    planned, made = [], {}
    for n, (name, host) in enumerate(zip(NAMES, hosts, strict=False), start=1):
        device = Device(
            name=name,
            address=Interface.parse(f"{subnet}.{host}/{prefix}"),
            gateway=gateway,
            profile=profile.id,
            snmp=chance.choice(("field", "field", "third")),
            mac=Mac(f"02:00:5e:00:53:{0x10 + n:02x}") if knows == "mac" else None,
            serial=f"S-100{n}" if knows == "serial" else None,
        )
        if factory:
            device = dataclasses.replace(device, present_address=_present(chance, n, profile))
        planned.append(device)
        made[name] = device_for(device, n, profile, chance)
    return Bench(plan=Plan(network=Network(name="Bench"), devices=tuple(planned)), devices=made)


def _present(chance: random.Random, n: int, profile: Profile) -> Interface | None:
    kind = chance.random()
    if kind < 0.4 and profile.factory.address is not None:
        return None  # where its family leaves the factory
    if kind < 0.8:
        return Interface.parse(f"198.18.{chance.choice((20, 40))}.{50 + n}/24")
    return Interface.parse(f"203.0.113.{10 + n}/24")


def device_for(device: Device, n: int, profile: Profile, chance: random.Random) -> MemoryDevice:
    """A device in memory with the hardware of a planned one, where that one is at present."""
    at = device.present_address or profile.factory.address or device.address
    delivered = DeviceSettings(address=profile.factory.address or FACTORY)
    settings = DeviceSettings(address=at, name=device.name if at != FACTORY else "")
    hardware = dataclasses.replace(device, serial=device.serial or f"S-100{n}")
    return MemoryDevice(
        hardware=hardware,
        profile=profile,
        factory=delivered,
        entries=tuple(ENTRIES.values()),
        mac=Mac(f"02:00:5e:00:53:{0x10 + n:02x}"),
        boot_s=BOOT_S * chance.choice((0.3, 0.8, 1.0, 2.5)),
        settings=settings,
    )


def slipped(chance: random.Random, at: Interface) -> Interface:
    """An address that a person types by mistake: another octet, or two swapped figures."""
    octets = [int(o) for o in str(at.address).split(".")]
    n = chance.choice((2, 3, 3))
    if chance.random() < 0.3 and octets[3] > 9:
        octets[3] = min(254, int(str(octets[3])[::-1]))
    else:
        octets[n] = max(1, min(254, octets[n] + chance.choice((-10, -1, 1, 10, 100))))
    return Interface.of(Address.parse(".".join(map(str, octets))), at.prefix)


def masked(chance: random.Random, at: Interface) -> Interface:
    """The same address with another mask."""
    return Interface.of(
        at.address, chance.choice([p for p in (*PREFIXES, 16, 30) if p != at.prefix])
    )


def clone(of: MemoryDevice, chance: random.Random, n: int) -> MemoryDevice:
    """Another device with the settings of one: somebody copied its configuration."""
    made = device_for(of.hardware, n, of.profile, chance)
    made.hardware = dataclasses.replace(of.hardware, serial=f"S-100{n}")
    made.running = made.saved = of.running
    return made


def beside(chance: random.Random, at: Interface, taken: set[Address]) -> Interface | None:
    """An address for a laptop beside another one, in its subnet; None where none is free."""
    wide = range(at.first + 1, at.last)
    tries = wide if len(wide) <= _FEW_HOSTS else (chance.choice(wide) for _ in range(_FEW_HOSTS))
    free = [host for host in map(_host, tries) if host not in taken]
    return Interface.of(chance.choice(free), at.prefix) if free else None


def _host(value: int) -> Address:
    return Address.parse(".".join(str(value >> shift & 0xFF) for shift in (24, 16, 8, 0)))


def cable(bench: Bench) -> MemoryCable:
    """A switch with all devices of the bench."""
    return MemoryCable(bench.everything)
