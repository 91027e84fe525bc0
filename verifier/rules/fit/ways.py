"""Which way packets take between the laptop and one device, and whether the cable is in.

The cable is in where the interface that packets to a device would leave by has a link.

A way from X to Y is `on-link` if X's best route to Y has no next hop, `gateway` if it has one that
is on-link to X and is neither end, else `none`. What lies between two gateways is not seen.

This laptop without a link is no relation of its own: what is said here replaces the explanation of
what does not reach, and all that would advise looks for it (`is_without_link`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from verifier.model.address import Address, Interface
from verifier.model.laptop import Laptop, LaptopInterface, Route
from verifier.model.plan import Device

Way = Literal["on-link", "gateway", "none"]
Held = tuple[LaptopInterface, Interface]


@dataclass(frozen=True, slots=True)
class PacketPath:
    """The laptop and one device at one address.

    Attributes:
        at: the address the device has.
        gateway: the device's.
        own: every address of the device, `at` first.
        route: the laptop's route to `at`.
        held: the laptop's addresses of the device's family, on interfaces that are up.
        source: what the laptop's packets to the device carry, or what it would answer.
        there: the laptop's way to the device.
        back: the device's way to the laptop.
    """

    device: Device
    at: Interface
    gateway: Address | None
    own: tuple[Interface, ...]
    laptop: Laptop
    route: Route | None
    held: tuple[Held, ...]
    source: Interface | None
    there: Way
    back: Way

    @classmethod
    def of(
        cls,
        device: Device,
        laptop: Laptop,
        route: Route | None,
        at: Interface,
        gateway: Address | None,
    ) -> PacketPath:
        """Both ways between `laptop` and `device`, which has `at`.

        A device that is not where the plan wants it has none of its other planned addresses yet.
        A route by an interface that is down or has no carrier is none, though kernels keep it.
        """
        if route is not None and any(
            i.name == route.interface and not i.up for i in laptop.interfaces
        ):
            route = None
        others = device.other_addresses if at == device.address else ()
        own = (at, *(o.address for o in others))
        held = tuple(_held(laptop, at.version))
        source = _source(laptop, route, held, at)
        there = way_to_device(route, at.address, (a.address for _, a in held))
        back = _way_back(own, gateway, source.address if source else None)
        return cls(device, at, gateway, own, laptop, route, held, source, there, back)

    def interface(self, name: str) -> LaptopInterface | None:
        """The laptop's interface of that name."""
        return next((i for i in self.laptop.interfaces if i.name == name), None)

    def elsewhere(self) -> tuple[Held, ...]:
        """What else covers the device: addresses of interfaces that the route does not use.

        A zone says which interface is meant (RFC 4007), so no other one counts.
        """
        if self.route is None or self.at.address.zone:
            return ()
        used, to = self.route.interface, self.at.address
        return tuple((i, a) for i, a in self.held if i.name != used and a.holds(to))


def assumed_route(laptop: Laptop, to: Address) -> Route | None:
    """The route a laptop described by hand would use: longest covering prefix, else its gateway."""
    held = [(i, a) for i, a in _held(laptop, to.version) if to.zone in {"", i.name, a.address.zone}]
    if (found := _covering(held, to)) is not None:
        return Route(interface=found[0].name, source=found[1].address)
    for gateway in laptop.gateways:
        if gateway.version != to.version:
            continue
        found = _covering(held, gateway)
        if found is None and gateway.is_link_local and not gateway.is_v4:
            found = next(iter(held), None)
        if found is not None:
            return Route(interface=found[0].name, source=found[1].address, next_hop=gateway)
    return None


def way_to_device(route: Route | None, device: Address, laptop: Iterable[Address] = ()) -> Way:
    """The laptop's way to the device, from the kernel's (or the assumed) route.

    A next hop that the laptop itself holds (`laptop`) leads nowhere.
    """
    if route is None:
        return "none"
    if route.next_hop is None or route.next_hop == device:
        return "on-link"
    own = {route.source, *laptop}
    return "none" if route.next_hop in own else "gateway"


def way_to_laptop(
    device: Device, at: Interface, gateway: Address | None, laptop: Address | None
) -> Way:
    """The device's way to the laptop, from the addresses and the gateway it has."""
    return _way_back((at, *(o.address for o in device.other_addresses)), gateway, laptop)


def _way_back(own: Iterable[Interface], gateway: Address | None, laptop: Address | None) -> Way:
    if laptop is None:
        return "none"
    if any(a.holds(laptop) for a in own):
        return "on-link"
    if gateway is None or gateway.version != laptop.version or gateway.value == laptop.value:
        return "none"
    if any(gateway.value == a.address.value for a in own):
        return "none"
    inside = any(a.holds(gateway) for a in own)
    return "gateway" if inside or (gateway.is_link_local and not gateway.is_v4) else "none"


def _held(laptop: Laptop, version: int) -> Iterable[Held]:
    for interface in laptop.interfaces:
        if interface.up:
            for own in interface.addresses:
                if own.version == version and not own.address.is_loopback:
                    yield interface, own


def _covering(held: Iterable[Held], to: Address) -> Held | None:
    """The longest prefix that covers `to`; among equal ones the first, as the kernel does."""
    covering = [pair for pair in held if pair[1].holds(to)]
    return max(covering, key=lambda pair: pair[1].prefix, default=None)


def _source(
    laptop: Laptop, route: Route | None, held: tuple[Held, ...], at: Interface
) -> Interface | None:
    if route is None:
        near = [a for _, a in held if at.holds(a.address)]
        return next(iter([*near, *(a for _, a in held)]), None)
    if route.source is None:
        return next((a for i, a in held if i.name == route.interface), None)
    wanted = route.source.value
    every = [(i.name, a) for i in laptop.interfaces if i.up for a in i.addresses]
    fitting = [(n, a) for n, a in every if a.version == at.version and a.address.value == wanted]
    here = [a for name, a in fitting if name == route.interface]
    return next(iter([*here, *(a for _, a in fitting)]), None)


_MARK = "no link on "
PLUG_IN = "plug this laptop's cable in at both ends, and see that the far port is on"
_OFF = "is switched off"
_SWITCH_ON = "switch the interface on, then see that the cable is in"


def no_link(laptop: Laptop, route: Route | None, at: Interface) -> str | None:
    """Why nothing can be said of a device at `at` from here: no link, in words; else None.

    The interface that would be used is that of the kernel's route; else the one whose own prefix
    covers the device; else, where no cable at all has a link, those that a cable could be in: an
    interface may lose its addresses with its link. A laptop that was given by hand has a link.
    """
    if laptop.assumed or at.address.is_loopback:
        return None
    for chosen in (_of_route(laptop, route), _same_subnet(laptop, at), _cables(laptop)):
        if chosen is not None:
            return _words(chosen) if chosen and not any(i.up for i in chosen) else None
    return None


def _of_route(laptop: Laptop, route: Route | None) -> list[LaptopInterface] | None:
    named = [i for i in laptop.interfaces if route is not None and i.name == route.interface]
    direct = route is not None and (route.next_hop is None or not any(i.up for i in named))
    return named if named and direct else None


def _same_subnet(laptop: Laptop, at: Interface) -> list[LaptopInterface] | None:
    found = [i for i in laptop.interfaces if any(a.holds(at.address) for a in i.addresses)]
    return found or None


def _cables(laptop: Laptop) -> list[LaptopInterface] | None:
    cables = [i for i in laptop.interfaces if i.medium == "cable"]
    return cables or None


def laptop_without_link(laptop: Laptop, interface: str | None = None) -> str | None:
    """The same where it is not about one device: of that interface, else of all with a cable."""
    if laptop.assumed:
        return None
    chosen = [i for i in laptop.interfaces if i.name == interface] if interface else None
    cables = _cables(laptop) if chosen is None else chosen
    return _words(cables) if cables and not any(i.up for i in cables) else None


def _words(interfaces: Iterable[LaptopInterface]) -> str:
    found = list(interfaces)
    names = ", ".join(i.name for i in found)
    if not any(i.switched_on for i in found):
        return f"{names} {_OFF} at this laptop: {_MARK}{names}"
    return f"the cable is out: {_MARK}{names}"


def is_without_link(words: str) -> bool:
    """Whether words of this module are at the beginning of others."""
    return words.startswith("the cable is out: ") or f" {_OFF} at this laptop: {_MARK}" in words


def advice(words: str) -> str:
    """What to do about it, and nothing else."""
    return _SWITCH_ON if f" {_OFF} " in words else PLUG_IN
