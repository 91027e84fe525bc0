"""This laptop: how it stands to each device, and its addresses, set on demand and taken back.

`--set-laptop` takes all of its addresses back and sets the next set anew: so there is one undo for
all ways out, that of `fit`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from typing import Self

from verifier.errors import CannotMeasureError, UsageError
from verifier.model.address import Address, Interface
from verifier.model.laptop import FitReport, Laptop, Route, System
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.rules.fit.suggest import (
    AddressChange,
    Advisor,
    candidates,
    commands,
    present,
    taken_addresses,
)
from verifier.rules.fit.verdict import assumed_route, fit
from verifier.rules.fit.ways import advice, is_without_link, laptop_without_link
from verifier.rules.fit.words import laptop_notes
from verifier.session.world import LaptopAccess, Say

SYSTEMS: Mapping[str, System] = {"linux": "linux", "darwin": "macos", "win32": "windows"}
"""Operating systems by Python's name for them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FitQuestion:
    """Which devices are asked about, and from which laptop.

    Attributes:
        laptop: instead of this machine's own interfaces.
        present: ask about where the devices are now, not about where they are planned.
        system: whose commands are wanted.
        interface: the one they are for, where it is known already.
    """

    plan: Plan
    profiles: Mapping[str, Profile]
    devices: Sequence[Device]
    laptop: Laptop | None = None
    present: bool = False
    system: System = "linux"
    interface: str | None = None


def routes_of(
    laptop: Laptop, addresses: Iterable[Address], here: LaptopAccess
) -> dict[Address, Route | None]:
    """The laptop's route to each address: the kernel's choice, or what `--laptop` comes to.

    Where `--laptop` names an interface of this machine, the kernel is asked whether it would use
    another one, by a prefix that is no shorter. Raises CannotMeasureError.
    """
    if not laptop.assumed:
        return here.routes(addresses)
    routes = {a: assumed_route(laptop, a) for a in addresses}
    ours = {i.name for i in laptop.interfaces} & here.interface_names()
    asked = [a for a, r in routes.items() if r and r.interface in ours and not a.is_loopback]
    for address, (interface, prefix) in here.preferred(asked).items():
        route = routes[address]
        own = [a for i in laptop.interfaces for a in i.addresses if a.holds(address)]
        longest = max((a.prefix for a in own), default=address.bits + 1)
        if route is not None and interface != route.interface and prefix >= longest:
            routes[address] = replace(route, elsewhere=interface)
    return routes


def answer(question: FitQuestion, here: LaptopAccess) -> FitReport:
    """How the laptop stands to each device, and what to set. Raises CannotMeasureError."""
    laptop = question.laptop or here.look()
    places = [_place(question, device) for device in question.devices]
    routes = routes_of(laptop, (at.address for at, _ in places), here)
    target = question.interface or _target(laptop, question.system, here.platform)
    next_hops = {r.next_hop for r in routes.values() if r is not None and r.next_hop is not None}
    own = (a.address for i in laptop.interfaces for a in i.addresses)
    advisor = Advisor(
        laptop=laptop,
        taken=taken_addresses(
            question.plan, question.profiles, (*own, *laptop.gateways, *next_hops)
        ),
        wanted=question.plan.management.laptop,
        interface=target,
        system=question.system,
    )
    devices = tuple(
        advisor.advise(fit(device, laptop, routes[at.address], at=at, gateway=gateway), device)
        for device, (at, gateway) in zip(question.devices, places, strict=True)
    )
    out = any(is_without_link(f.explanation) for f in devices)
    return FitReport(
        plan=question.plan.network.name,
        laptop=laptop,
        system=question.system,
        notes=() if out else laptop_notes(laptop),
        target=target,
        devices=devices,
    )


def without_link(question: FitQuestion, here: LaptopAccess) -> str:
    """What is said where this laptop's cable towards every one of the devices is out; else empty.

    Raises CannotMeasureError where this machine cannot be read.
    """
    said = {f.explanation for f in answer(question, here).devices}
    return next(iter(said)) if said and all(map(is_without_link, said)) else ""


def refuse_without_link(question: FitQuestion, here: LaptopAccess, also: str = "") -> None:
    """Raises CannotMeasureError where this laptop's cable towards all of them is out.

    `also` ends the sentence: what is not to be done before.
    """
    if out := without_link(question, here):
        raise CannotMeasureError(f"{out}: {advice(out)}{also}")


def _place(question: FitQuestion, device: Device) -> tuple[Interface, Address | None]:
    if question.present:
        return present(device, question.profiles.get(device.profile))
    return device.address, device.gateway


def _target(laptop: Laptop, system: System, platform: str) -> str | None:
    """The one interface that can be meant; None where there are several, or none of that system."""
    if not laptop.assumed and system != SYSTEMS.get(platform):
        return None
    names = candidates(laptop)
    return names[0] if len(names) == 1 else None


def to_set(report: FitReport) -> tuple[Interface, ...]:
    """The suggested addresses that need only be added: taking others off is for a person."""
    return tuple(
        dict.fromkeys(
            f.suggested
            for f in report.devices
            if f.suggested is not None
            and f.commands == commands(AddressChange(report.target, f.suggested), report.system)
        )
    )


@contextmanager
def with_addresses(
    report: FitReport, addresses: Sequence[Interface], say: Say, here: LaptopAccess
) -> Iterator[None]:
    """Has the suggested addresses set at this laptop while the context lasts.

    Raises CannotMeasureError: not Linux, no single interface, no permission, and what else keeps
    them from being set.
    """
    if here.platform != "linux":
        raise CannotMeasureError("--set-laptop works on Linux only: use the commands it prints")
    if report.target is None:
        names = candidates(report.laptop) or sorted(here.interface_names())
        raise CannotMeasureError(
            "which interface is to be set? Name it: --laptop ADDRESS/PREFIX@INTERFACE; there are "
            + ", ".join(names)
        )
    listed = ", ".join(str(a) for a in addresses)
    say(f"adding {listed} to {report.target}; taken back at the end, whatever happens")
    with here.added(report.target, addresses, say):
        yield


def held(here: LaptopAccess) -> dict[Interface, str]:
    """This laptop's addresses on interfaces that are up, with the interface of each."""
    return {
        own: interface.name
        for interface in here.look().interfaces
        if interface.up and interface.medium != "loopback"
        for own in interface.addresses
        if not own.address.is_link_local
    }


def lacking(addresses: Sequence[Interface], here: LaptopAccess) -> list[Interface]:
    """Those of the addresses that this laptop does not hold."""
    there = {_key(own) for own in held(here)}
    return [a for a in addresses if _key(a) not in there]


def link_lost(interface: str | None, here: LaptopAccess) -> str | None:
    """What is said where this laptop has no link (on that interface); else None."""
    return laptop_without_link(here.look(), interface)


def cables(here: LaptopAccess) -> tuple[str, ...]:
    """Interfaces that an address could be set on."""
    return candidates(here.look())


def _key(own: Interface) -> tuple[int, int, int]:
    return own.version, own.address.value, own.prefix


class LaptopAddresses:
    """Sets this laptop's addresses as a runbook wants them; a context manager that undoes it all.

    What the laptop holds by itself is left alone. Linux only.

    Args:
        interface: where addresses are set.
        say: told what is done, before it is done.
        here: this laptop.
    """

    def __init__(self, interface: str, say: Say, here: LaptopAccess) -> None:
        if here.platform != "linux":
            raise UsageError("--set-laptop works on Linux only: use the commands that are printed")
        self.interface = interface
        self._say = say
        self._here = here
        self._ours: tuple[Interface, ...] = ()
        self._until = ExitStack()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self._until.close()

    def hold(self, addresses: Sequence[Interface]) -> None:
        """Sets these addresses and removes those set before.

        Raises CannotMeasureError: no permission, an address is another's, ...
        """
        mine = {_key(own) for own in self._ours}
        theirs = {_key(own) for own in held(self._here)} - mine
        wanted = tuple(a for a in addresses if _key(a) not in theirs)
        if wanted == self._ours:
            return
        self._until.close()
        self._ours = ()
        if wanted:
            listed = ", ".join(map(str, wanted))
            self._say(
                f"adding {listed} to {self.interface}; taken back at the end, whatever happens"
            )
            self._until.enter_context(self._here.added(self.interface, wanted, self._say))
            self._ours = wanted
