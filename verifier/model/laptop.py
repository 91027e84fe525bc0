"""The machine the tool runs on, as its kernel sees it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

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
