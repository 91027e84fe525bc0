"""The machine the tool runs on, as its kernel sees it, and how it stands to each device."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from verifier.errors import EXIT_FAILED, EXIT_PASSED
from verifier.model.address import Address, Interface

UNNAMED = "laptop"
"""Stands for the interface where `--laptop` names none."""

Medium = Literal["cable", "wifi", "tunnel", "loopback", "unknown"]
Duplex = Literal["full", "half"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LaptopInterface:
    """One network interface; `up` means administratively up with a carrier.

    Attributes:
        switched_on: administratively up, with a carrier or without.
        speed_mbps, duplex: of its link; None where the operating system does not say.
    """

    name: str
    up: bool = True
    switched_on: bool = True
    addresses: tuple[Interface, ...] = ()
    vlan: int | None = None
    medium: Medium = "unknown"
    speed_mbps: int | None = None
    duplex: Duplex | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Laptop:
    """All interfaces.

    Attributes:
        gateways: default gateways that were given instead of asked from the kernel.
        assumed: True where `--laptop` described it, so that nothing was asked from this machine.
    """

    interfaces: tuple[LaptopInterface, ...] = ()
    gateways: tuple[Address, ...] = ()
    assumed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """The choice for one destination; `next_hop` is None where it is on-link.

    Attributes:
        elsewhere: the interface this machine's kernel would use instead of the one that was named.
    """

    interface: str
    source: Address | None = None
    next_hop: Address | None = None
    elsewhere: str | None = None


Relation = Literal["unusable", "clash", "shadowed", "direct", "routed", "one-way", "off-subnet"]
System = Literal["linux", "macos", "windows"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """How the laptop and one device stand to each other.

    Attributes:
        address: where the device is taken to be.
        interface: where the laptop's packets to it leave; None where that is not known.
        laptop_address: with its prefix; None where the laptop has none of the device's family.
        suggested: what to set at the laptop; None where nothing is to be set or nothing is free.
        commands: how to set it, in order, each to be run as root (Windows: as administrator).
    """

    device: str
    address: Interface
    verdict: Literal["pass", "warn", "fail"]
    relation: Relation
    interface: str | None = None
    laptop_address: str | None = None
    suggested: Interface | None = None
    commands: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())
    explanation: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FitReport:
    """The answer for all devices that were asked about.

    Attributes:
        plan: its name.
        notes: what is odd about the laptop as a whole.
        target: the interface that the commands are for; None: it is for a person to name.
    """

    plan: str
    laptop: Laptop
    system: System
    notes: tuple[str, ...] = ()
    target: str | None = None
    devices: tuple[Fit, ...] = ()

    def exit_code(self, *, strict: bool = False) -> int:
        """1 if a relation failed, or if one warns and `strict` is asked; else 0."""
        bad = {"fail", "warn"} if strict else {"fail"}
        return EXIT_FAILED if any(f.verdict in bad for f in self.devices) else EXIT_PASSED
