"""Does the laptop's address fit each device's subnet, seen from both sides.

A way from X to Y is `on-link` if X's best route to Y has no next hop, `gateway` if it has one that
is on-link to X and is neither end, else `none`. The first relation of `RELATIONS` that applies is
the answer. Forwarding between two gateways cannot be seen from here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from verifier.model.address import Address, Interface
from verifier.model.laptop import Laptop, LaptopInterface, Route
from verifier.model.plan import Device
from verifier.rules.hosts import not_a_host, unusable

Relation = Literal["unusable", "clash", "shadowed", "direct", "routed", "one-way", "off-subnet"]
Way = Literal["on-link", "gateway", "none"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """How the laptop and one device stand to each other."""

    device: str
    address: Interface
    verdict: Literal["pass", "warn", "fail"]
    relation: Relation
    explanation: str
    interface: str | None = None
    laptop_address: str | None = None
    notes: tuple[str, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class _Pair:
    """One device at one address, and the laptop's route to it."""

    device: Device
    at: Interface
    gateway: Address | None
    laptop: Laptop
    route: Route | None

    def held(self) -> list[tuple[LaptopInterface, Interface]]:
        """The laptop's addresses of the device's family that belong to interfaces that are up."""
        return [
            (i, a)
            for i in self.laptop.interfaces
            if i.up
            for a in i.addresses
            if a.version == self.at.version and not a.address.is_loopback
        ]

    def source(self) -> Interface | None:
        """The laptop's address that packets to the device carry, or that it would answer."""
        held = self.held()
        if self.route is None:
            near = [a for _, a in held if self.at.holds(a.address)]
            return next(iter([*near, *(a for _, a in held)]), None)
        own = [a for i, a in held if i.name == self.route.interface]
        if self.route.source is not None:
            wanted = self.route.source.value
            own = [a for a in [*own, *(a for _, a in held)] if a.address.value == wanted]
        return own[0] if own else None


def assumed_route(laptop: Laptop, to: Address) -> Route | None:
    """The route a laptop described by hand would use: longest covering prefix, else its gateway."""
    covering = [(i, a) for i in laptop.interfaces if i.up for a in i.addresses if a.holds(to)]
    if covering:
        interface, own = max(covering, key=lambda pair: pair[1].prefix)
        return Route(interface=interface.name, source=own.address)
    for gateway in laptop.gateways:
        for interface in laptop.interfaces:
            for own in interface.addresses:
                if own.holds(gateway) and gateway.version == to.version:
                    return Route(interface=interface.name, source=own.address, next_hop=gateway)
    return None


def way_to_device(route: Route | None, device: Address) -> Way:
    """The laptop's way to the device, from the kernel's (or the assumed) route."""
    if route is None:
        return "none"
    if route.next_hop is None or route.next_hop == device:
        return "on-link"
    return "none" if route.next_hop == route.source else "gateway"


def way_to_laptop(
    device: Device, at: Interface, gateway: Address | None, laptop: Address | None
) -> Way:
    """The device's way to the laptop, from the addresses and the gateway it has."""
    if laptop is None:
        return "none"
    connected = [at, *(o.address for o in device.other_addresses)]
    if any(own.holds(laptop) for own in connected):
        return "on-link"
    if gateway is None or gateway == laptop or any(gateway == own.address for own in connected):
        return "none"
    inside = any(own.holds(gateway) for own in connected)
    return "gateway" if inside or gateway.is_link_local else "none"


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
    pair = _Pair(device, at, gateway, laptop, route)
    relation, explanation = next(
        (name, text) for name, rule in RELATIONS if (text := rule(pair)) is not None
    )
    source = pair.source()
    notes = _vlan_notes(pair)
    verdict = _verdict(relation, pair)
    return Fit(
        device=device.name,
        address=at,
        verdict="warn" if notes and verdict == "pass" else verdict,
        relation=relation,
        explanation=explanation,
        interface=route.interface if route else None,
        laptop_address=str(source) if source else None,
        notes=notes,
    )


def _verdict(relation: Relation, pair: _Pair) -> Literal["pass", "warn", "fail"]:
    if relation == "direct":
        return "pass"
    if relation == "shadowed":
        return "warn"
    if relation == "routed":
        return "pass" if _ways(pair) == ("gateway", "gateway") else "warn"
    return "fail"


def _ways(pair: _Pair) -> tuple[Way, Way]:
    source = pair.source()
    return (
        way_to_device(pair.route, pair.at.address),
        way_to_laptop(pair.device, pair.at, pair.gateway, source.address if source else None),
    )


def _unusable(pair: _Pair) -> str | None:
    if (why := unusable(pair.at)) is not None:
        return f"{why}: no device can be reached there"
    if pair.at.address.is_loopback:
        return None
    held = [a for _, a in pair.held()]
    if held and all(unusable(a) for a in held):
        return f"no address of this laptop can be a host's: {unusable(held[0])}"
    if held and not pair.at.address.is_link_local and all(a.address.is_link_local for a in held):
        return (
            f"this laptop has only link-local addresses ({held[0].address}): "
            "no fixed address is set and no address server answered"
        )
    return None


def _clash(pair: _Pair) -> str | None:
    if pair.at.address.is_loopback:
        return None
    for interface, own in pair.held():
        if own.address.value == pair.at.address.value:
            return f"this laptop itself holds the device's address {own.address} ({interface.name})"
        if pair.gateway is not None and own.address.value == pair.gateway.value:
            return f"this laptop holds the address of the device's gateway {own.address}"
    return None


def _shadowed(pair: _Pair) -> str | None:
    if pair.at.address.is_loopback or _ways(pair) != ("on-link", "on-link"):
        return None
    route = pair.route
    assert route is not None
    for interface, own in pair.held():
        if interface.name != route.interface and own.holds(pair.at.address):
            return (
                f"{interface.name} ({own}) also covers {pair.at.address}; packets leave by "
                f"{route.interface}: take one of the two out of the subnet"
            )
    return None


def _direct(pair: _Pair) -> str | None:
    if pair.at.address.is_loopback:
        return "a unit on this machine's own loopback range"
    if _ways(pair) == ("on-link", "on-link"):
        return f"{pair.source()} and {pair.at} are in each other's subnet"
    return None


def _routed(pair: _Pair) -> str | None:
    there, back = _ways(pair)
    if "none" in (there, back):
        return None
    text = f"laptop to device: {_by(there, pair.route.next_hop if pair.route else None)}; "
    text += f"device to laptop: {_by(back, pair.gateway)}. Forwarding in between is not seen"
    if there != back:
        text += "; only one side uses a gateway: " + _mask_hint(pair)
    return text


def _one_way(pair: _Pair) -> str | None:
    there, back = _ways(pair)
    if there == back == "none":
        return None
    source = pair.source()
    if there == "none":
        return f"{pair.at} could answer {source}, but this laptop has no way to it"
    return (
        f"this laptop's packets reach {pair.at}, but the device has no way back to "
        f"{source.address if source else 'this laptop'}: {_mask_hint(pair)}"
    )


def _off_subnet(pair: _Pair) -> str | None:
    held = ", ".join(str(a) for _, a in pair.held()) or f"no IPv{pair.at.version} address"
    return f"this laptop has {held}; the device is in {pair.at.subnet}: neither has a way"


def _by(way: Way, next_hop: Address | None) -> str:
    if way == "on-link":
        return "on-link"
    return f"by gateway {next_hop}" if next_hop is not None and next_hop.value else "by a gateway"


def _mask_hint(pair: _Pair) -> str:
    source = pair.source()
    if source is None:
        return "set an address in the device's subnet"
    if not_a_host(source.address) is None and source.prefix != pair.at.prefix:
        return f"the laptop has /{source.prefix}, the device /{pair.at.prefix}"
    return f"set an address in {pair.at.subnet}, or a gateway in the device"


def _vlan_notes(pair: _Pair) -> tuple[str, ...]:
    device, route = pair.device, pair.route
    if not device.management_tagged or device.management_vlan is None or route is None:
        return ()
    vlan = next((i.vlan for i in pair.laptop.interfaces if i.name == route.interface), None)
    if vlan == device.management_vlan:
        return ()
    return (
        (
            f"the device wants its management tagged with VLAN {device.management_vlan}: "
            "works only behind a switch port that tags"
        ),
    )


RELATIONS: tuple[tuple[Relation, Callable[[_Pair], str | None]], ...] = (
    ("unusable", _unusable),
    ("clash", _clash),
    ("shadowed", _shadowed),
    ("direct", _direct),
    ("routed", _routed),
    ("one-way", _one_way),
    ("off-subnet", _off_subnet),
)
"""In this order; each rule returns the explanation where it applies."""
