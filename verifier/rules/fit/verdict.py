"""Does the laptop's address fit each device's subnet, seen from both sides.

The first relation of `RELATIONS` that applies is the answer; `rules.fit.ways` says what a way is.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from verifier.model.address import Address, Interface
from verifier.model.laptop import UNNAMED, Fit, Laptop, Relation, Route
from verifier.model.plan import Device
from verifier.rules.fit import words
from verifier.rules.fit.hosts import broadcast, unusable
from verifier.rules.fit.ways import PacketPath, assumed_route, no_link, way_to_device, way_to_laptop

__all__ = [
    "RELATIONS",
    "Fit",
    "Relation",
    "assumed_route",
    "fit",
    "way_to_device",
    "way_to_laptop",
]
_NOT_REACHED = {"unusable", "one-way", "off-subnet"}
_KERNELS_OWN = "lo"
"""The interface of a route to an address that the Linux kernel itself holds (ip-route(8))."""


def fit(
    device: Device,
    laptop: Laptop,
    route: Route | None,
    *,
    at: Interface | None = None,
    gateway: Address | None = None,
) -> Fit:
    """How `laptop` stands to `device`.

    Args:
        device: as planned.
        laptop: this machine, or what was given instead of it.
        route: the kernel's choice for the device's address, None where it has none.
        at: the address the device has, if not the planned one.
        gateway: the gateway it has with `at`.
    """
    if at is None:
        at, gateway = device.address, device.gateway
    pair = PacketPath.of(device, laptop, route, at, gateway)
    relation, explanation = next(
        (name, text) for name, rule in RELATIONS if (text := rule(pair)) is not None
    )
    out = no_link(laptop, route, at) if relation in _NOT_REACHED and unusable(at) is None else None
    if out is not None:
        return Fit(
            device=device.name, address=at, verdict="fail", relation=relation, explanation=out
        )
    verdict = _verdict(relation, pair)
    name = words.interface_name(pair)
    tagged = words.wrong_vlan(pair)
    return Fit(
        device=device.name,
        address=at,
        verdict="warn" if tagged and verdict == "pass" else verdict,
        relation=relation,
        explanation=explanation,
        interface=None if name == UNNAMED else name,
        laptop_address=str(pair.source) if pair.source else None,
        notes=(*tagged, *words.notes(pair, relation)),
    )


def _verdict(relation: Relation, pair: PacketPath) -> Literal["pass", "warn", "fail"]:
    if relation == "direct":
        return "pass"
    if relation == "shadowed":
        return "warn"
    if relation == "routed":
        return "pass" if pair.there == pair.back == "gateway" else "warn"
    return "fail"


def _unusable(pair: PacketPath) -> str | None:
    if (why := unusable(pair.at)) is not None:
        return f"{why}: no device can be reached there"
    if pair.at.address.is_loopback:
        return None
    held = [a for _, a in pair.held]
    if held and all(unusable(a) for a in held):
        return f"no address of this laptop can be a host's: {unusable(held[0])}"
    if held and not pair.at.address.is_link_local and all(a.address.is_link_local for a in held):
        return words.only_link_local(pair)
    return _broadcast_to_the_other(pair)


def _broadcast_to_the_other(pair: PacketPath) -> str | None:
    """One side's host address is the other's broadcast address (RFC 1122 3.2.1.3), by its mask."""
    for interface, own in pair.held:
        if broadcast(own) == pair.at.address.value:
            return (
                f"{pair.at.address} is the broadcast address of this laptop's subnet {own.subnet} "
                f"({interface.name}): {words.masks(own, pair.at)}"
            )
    if pair.source is not None and broadcast(pair.at) == pair.source.address.value:
        return (
            f"this laptop's {pair.source.address} is the broadcast address of the device's subnet "
            f"{pair.at.subnet}: {words.masks(pair.source, pair.at)}"
        )
    return None


def _clash(pair: PacketPath) -> str | None:
    if pair.at.address.is_loopback:
        return None
    theirs = {a.address.value for a in pair.own}
    for interface, own in pair.held:
        if own.address.value in theirs:
            return f"this laptop itself holds the device's address {own.address} ({interface.name})"
        if pair.gateway is not None and own.address.value == pair.gateway.value:
            return (
                f"this laptop holds the address of the device's gateway, {own.address} "
                f"({interface.name})"
            )
    if pair.route is not None and pair.route.interface == _KERNELS_OWN:
        return f"this laptop itself answers at the device's address {pair.at.address}"
    return None


def _shadowed(pair: PacketPath) -> str | None:
    if pair.at.address.is_loopback or (pair.there, pair.back) != ("on-link", "on-link"):
        return None
    return words.shadow(pair)


def _direct(pair: PacketPath) -> str | None:
    if pair.at.address.is_loopback:
        return "a device on this machine's own loopback range"
    if (pair.there, pair.back) == ("on-link", "on-link"):
        return f"{pair.source} and {pair.at} are in each other's subnet"
    return None


def _routed(pair: PacketPath) -> str | None:
    if "none" in (pair.there, pair.back):
        return None
    return words.routed(pair)


def _one_way(pair: PacketPath) -> str | None:
    return None if pair.there == pair.back == "none" else words.one_way(pair)


def _off_subnet(pair: PacketPath) -> str | None:
    return words.off_subnet(pair)


RELATIONS: tuple[tuple[Relation, Callable[[PacketPath], str | None]], ...] = (
    ("unusable", _unusable),
    ("clash", _clash),
    ("shadowed", _shadowed),
    ("direct", _direct),
    ("routed", _routed),
    ("one-way", _one_way),
    ("off-subnet", _off_subnet),
)
"""In this order; each rule returns the explanation where it applies."""
