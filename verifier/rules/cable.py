"""Is the cable in: whether the interface that packets to a device would leave by has a link.

This laptop without a link is no relation of its own: what is said here replaces the explanation of
what does not reach, and all that would advise looks for it (`is_without_link`).
"""

from __future__ import annotations

from collections.abc import Iterable

from verifier.model.address import Interface
from verifier.model.laptop import Laptop, LaptopInterface, Route

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
    for chosen in (_of_route(laptop, route), _covering(laptop, at), _cables(laptop)):
        if chosen is not None:
            return _words(chosen) if chosen and not any(i.up for i in chosen) else None
    return None


def _of_route(laptop: Laptop, route: Route | None) -> list[LaptopInterface] | None:
    named = [i for i in laptop.interfaces if route is not None and i.name == route.interface]
    direct = route is not None and (route.next_hop is None or not any(i.up for i in named))
    return named if named and direct else None


def _covering(laptop: Laptop, at: Interface) -> list[LaptopInterface] | None:
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
