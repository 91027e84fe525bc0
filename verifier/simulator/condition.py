"""How a simulated device differs from its plan, and what it shows then, before tables are made."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import Literal

from verifier.model.address import Address, Interface, Mac
from verifier.model.plan import Device, End, Link, OtherAddress, Plan, Port
from verifier.model.profile import Profile
from verifier.simulator.radio import RadioView, Setting

Damage = Literal["truncated", "garbage"]
MANAGEMENT = "mgmt0"
"""Name of the interface that holds the management address, unless the plan has a port so called."""
_SPEED_MBPS, _MTU = 1000, 1500


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """How a device differs from its plan; by default in nothing.

    Attributes:
        stands_for: it is this other device, with its settings, at the address of its own.
        hardware: serial number, part number, software and hardware address instead of the planned.
        gateway_lost: it has no default route.
        extra_addresses: held besides those that are planned.
        restarts: how often it was restarted.
        ports: speed in Mbit/s of the ports that run slow; 0: the port is down.
        half_duplex, mtus: ports that run so.
        counting: its error counters run.
        forced: its protection switch is forced or locked out.
        radio: of all its radios.
        silent, delay_s, refuses, responder, stuck, most, damage: how its agent answers: not at
            all; late; to other credentials; from another address; the object asked for as its own
            successor; so many objects at once; with damaged octets.
    """

    name: str | None = None
    location: str | None = None
    stands_for: str | None = None
    hardware: tuple[tuple[str, str | Mac | None], ...] = ()
    prefix: int | None = None
    gateway: Address | None = None
    gateway_lost: bool = False
    extra_addresses: tuple[Interface, ...] = ()
    ports: tuple[tuple[str, int], ...] = ()
    half_duplex: tuple[str, ...] = ()
    mtus: tuple[tuple[str, int], ...] = ()
    alarm: bool = False
    clock_free: bool = False
    counting: bool = False
    unsaved: bool = False
    forced: bool = False
    restarts: int = 0
    radio: Setting = field(default_factory=Setting)
    silent: bool = False
    delay_s: float = 0.0
    refuses: bool = False
    responder: Address | None = None
    stuck: bool = False
    most: int | None = None
    damage: Damage | None = None

    @property
    def keeps_replies(self) -> bool:
        """Whether its answers may be kept and sent again."""
        return not (self.silent or self.delay_s or self.responder or self.damage)

    def hardware_of(self, device: Device) -> Device:
        """The device with what is another's about its hardware."""
        return dataclasses.replace(device, **dict(self.hardware))  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownPort:
    """A row of the interface table. `mac`: six octets. `physical`: not the management interface."""

    index: int
    name: str
    mac: bytes
    physical: bool = True
    enabled: bool = True
    up: bool = True
    speed_mbps: int = _SPEED_MBPS
    full_duplex: bool = True
    mtu: int = _MTU
    errors: bool = False
    neighbour: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownRadio:
    """A radio. `setting`: how it is set. `far_name`: what the far device calls itself."""

    number: int
    link: Link
    polarisation: str | None
    planned: End
    far_planned: End
    setting: Setting
    seen: RadioView
    far_name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownDevice:
    """A device as it is.

    Attributes:
        device: its settings, with what is wrong in them.
        addresses: every address it holds with the ifIndex, the management address first.
        location: text of sysLocation.
    """

    plan: Plan
    device: Device
    profile: Profile
    condition: Condition
    location: str
    engine_id: bytes
    boots: int
    ports: tuple[ShownPort, ...]
    addresses: tuple[tuple[Interface, int], ...]
    radios: tuple[ShownRadio, ...]


def settings_of(own: Device, occupant: Device, condition: Condition) -> Device:
    """The settings of the device that stands at the place of `own`, which may be another's."""
    prefix = own.address.prefix if condition.prefix is None else condition.prefix
    gateway = condition.gateway or own.gateway
    extra = tuple(OtherAddress(address=a) for a in condition.extra_addresses)
    name = occupant.name if condition.name is None else condition.name
    return dataclasses.replace(
        condition.hardware_of(occupant),
        name=name,
        address=Interface.of(own.address.address, prefix),
        gateway=None if condition.gateway_lost else gateway,
        other_addresses=(*own.other_addresses, *extra),
    )


def ports_of(device: Device, condition: Condition) -> tuple[ShownPort, ...]:
    """The device's interfaces: one for management unless it is planned, and those of the plan."""
    speeds = dict(condition.ports)
    names = {p.name for p in device.ports}
    planned = [_port(device, p, n, condition, speeds) for n, p in enumerate(device.ports, start=2)]
    if MANAGEMENT in names:
        return tuple(planned)
    own = ShownPort(index=1, name=MANAGEMENT, mac=management_mac(device), physical=False)
    return (own, *planned)


def _port(
    device: Device, port: Port, index: int, condition: Condition, speeds: dict[str, int]
) -> ShownPort:
    nominal = port.speed_mbps or _SPEED_MBPS
    speed = speeds.get(port.name, nominal)
    enabled = port.status != "down"
    own = port.name == MANAGEMENT
    half = port.duplex == "half" or port.name in condition.half_duplex
    return ShownPort(
        index=index,
        name=port.name,
        mac=management_mac(device) if own else _mac(device, index),
        enabled=enabled,
        up=enabled and speed > 0,
        speed_mbps=speed or nominal,
        full_duplex=not half,
        mtu=dict(condition.mtus).get(port.name, port.mtu or _MTU),
        errors=condition.counting,
        neighbour=port.neighbour,
    )


def management_mac(device: Device) -> bytes:
    """The planned hardware address, else a locally administered one made from the address."""
    if device.mac is None:
        return _mac(device, 1)
    return bytes.fromhex(device.mac.text.replace(":", ""))


def _mac(device: Device, index: int) -> bytes:
    return bytes((0x02, index & 0xFF)) + device.address.address.ip.packed[-4:]


def addresses_of(device: Device, ports: tuple[ShownPort, ...]) -> tuple[tuple[Interface, int], ...]:
    """The management address on its interface, and the others on their ports."""
    by_name = {p.name: p.index for p in ports}
    own = by_name[MANAGEMENT]
    others = [(o.address, by_name.get(o.port or "", own)) for o in device.other_addresses]
    return ((device.address, own), *others)
