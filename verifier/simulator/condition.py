"""How a simulated device departs from its plan."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import Literal

from verifier.model.address import Address, Interface, Mac
from verifier.model.plan import Device
from verifier.simulator.radio import Setting

Damage = Literal["truncated", "garbage"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """How a device departs from its plan; by default in nothing.

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
    def lean(self) -> bool:
        """Whether its answers may be prepared once and sent again."""
        return not (self.silent or self.delay_s or self.responder or self.damage)

    def hardware_of(self, device: Device) -> Device:
        """The device with what is another's about its hardware."""
        return dataclasses.replace(device, **dict(self.hardware))  # type: ignore[arg-type]
