"""A bench in memory for `here`: the two devices of one hop, and how they may stand."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

from verifier.model.address import Address, Interface, Mac
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.here import HereResult
from verifier.model.plan import Carrier, Device, End, Link, Network, Plan, Stage
from verifier.model.profile import Factory, Profile, ProfileReading
from verifier.session.here.request import HereRequest
from verifier.session.here.run import Hold, here
from verifier.simulator.memory import DeviceSettings, MemoryCable, MemoryDevice, MemoryWorld

FACTORY = Interface.parse("192.0.2.20/24")
PRESENT = Interface.parse("192.0.2.31/24")
LAPTOP = Interface.parse("198.18.20.250/24")
GATEWAY = Address.parse("198.18.20.1")
PROFILE = Profile(
    id="bench-radio",
    kind="radio",
    boot_s=45.0,
    object_id="1.3.6.1.4.1.32473.7.1",
    factory=Factory(address=FACTORY, snmp="factory"),
    reading=(ProfileReading(field="serial", oid="1.3.6.1.4.1.32473.7.2.0", type="text"),),
)
PROFILES = {PROFILE.id: PROFILE}
ENTRIES = {
    "field": SnmpEntry(name="field", version="2c", community=Secret("coastal-read")),
    "factory": SnmpEntry(name="factory", version="2c", community=Secret("as-delivered")),
}


def planned(name: str, site: str, host: int, serial: str, **more: object) -> Device:
    """A device of the plan."""
    made = Device(
        name=name,
        site=site,
        address=Interface.parse(f"198.18.20.{host}/24"),
        gateway=GATEWAY,
        profile=PROFILE.id,
        snmp="field",
        serial=serial,
        tx_band="high" if site == "Lighthouse" else "low",
    )
    return dataclasses.replace(made, **more)  # type: ignore[arg-type]


LIGHTHOUSE = planned("lighthouse-quarry", "Lighthouse", 11, "000123")
QUARRY = planned("quarry-lighthouse", "Quarry", 12, "000124", present_address=PRESENT)
PLAN = Plan(
    network=Network(name="Harbour ring"),
    devices=(LIGHTHOUSE, QUARRY),
    links=(
        Link(
            name="Hop 1",
            carriers=(
                Carrier(carrier=1, a=End(device=LIGHTHOUSE.name), b=End(device=QUARRY.name)),
            ),
        ),
    ),
)


def mac(n: int) -> Mac:
    return Mac(f"02:00:5e:10:00:{n:02x}")


def settings(device: Device, at: Interface | None = None, **more: object) -> DeviceSettings:
    """A device set as it is planned."""
    made = DeviceSettings(address=at or device.address, gateway=device.gateway, name=device.name)
    return dataclasses.replace(made, **more)  # type: ignore[arg-type]


def made(device: Device, n: int, set_to: DeviceSettings | None = None) -> MemoryDevice:
    """A device with the hardware of a planned one."""
    return MemoryDevice(
        hardware=device,
        profile=PROFILE,
        factory=DeviceSettings(address=FACTORY),
        entries=tuple(ENTRIES.values()),
        mac=mac(n),
        boot_s=45.0,
        settings=set_to or settings(device),
    )


@dataclass(kw_only=True)
class Scene:
    """A cable with devices, and a laptop that looks at it."""

    devices: Sequence[MemoryDevice]
    laptop: Sequence[Interface] = (LAPTOP,)
    plan: Plan = PLAN
    stage: Stage = "bench"
    asked: Device | None = None
    permitted: bool = True
    carrier: bool = True
    borrows: bool = False
    said: list[str] = field(default_factory=list)

    @contextmanager
    def world(self) -> Iterator[MemoryWorld]:
        cable = MemoryCable(self.devices)
        cable.carrier = self.carrier
        with MemoryWorld(cable, self.laptop) as world:
            world.cable.permitted = self.permitted
            yield world

    def request(self) -> HereRequest:
        return HereRequest(
            plan=self.plan,
            plan_sha256="0" * 64,
            stage=self.stage,
            device=self.asked,
            profiles=PROFILES,
            credentials=ENTRIES,
            may_borrow=lambda _interface, _addresses: self.borrows,
            say=self.said.append,
        )

    def look(self) -> HereResult:
        """What `here` comes to; the laptop has its own addresses again."""
        with self.world() as world:
            request = self.request()
            with Hold(request=request, world=world) as hold:
                result = here(request, world, hold)
            assert world.laptop.addresses == list(self.laptop)
            self.took_s = world.clocks.monotonic_s()
        return result
