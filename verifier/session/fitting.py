"""Looks at this laptop, asks the rules how it stands to each device, and sets it on demand."""

from __future__ import annotations

import os
import select
import signal
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from types import FrameType
from typing import IO, Any, Self

from verifier.errors import CannotMeasureError
from verifier.model.address import Address, Interface
from verifier.model.fit import FitReport, System
from verifier.model.laptop import Laptop, Route
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.probes import laptop as this_machine
from verifier.rules.fit_words import laptop_notes
from verifier.rules.laptop_commands import Change, commands
from verifier.rules.subnet import assumed_route, fit
from verifier.rules.suggest import Advisor, candidates, present, taken_addresses

Say = Callable[[str], None]
SYSTEMS: Mapping[str, System] = {"linux": "linux", "darwin": "macos", "win32": "windows"}
"""Operating systems by Python's name for them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
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


def routes_of(laptop: Laptop, addresses: Iterable[Address]) -> dict[Address, Route | None]:
    """The laptop's route to each address: the kernel's choice, or what `--laptop` comes to.

    Where `--laptop` names an interface of this machine, the kernel is asked whether it would use
    another one, by a prefix that is no shorter. Raises CannotMeasureError.
    """
    if not laptop.assumed:
        return this_machine.routes(addresses)
    routes = {a: assumed_route(laptop, a) for a in addresses}
    ours = {i.name for i in laptop.interfaces} & this_machine.interface_names()
    asked = [a for a, r in routes.items() if r and r.interface in ours and not a.is_loopback]
    for address, (interface, prefix) in this_machine.preferred(asked).items():
        route = routes[address]
        own = [a for i in laptop.interfaces for a in i.addresses if a.holds(address)]
        longest = max((a.prefix for a in own), default=address.bits + 1)
        if route is not None and interface != route.interface and prefix >= longest:
            routes[address] = replace(route, elsewhere=interface)
    return routes


def answer(question: Question) -> FitReport:
    """How the laptop stands to each device, and what to set. Raises CannotMeasureError."""
    laptop = question.laptop or this_machine.look()
    places = [_place(question, device) for device in question.devices]
    routes = routes_of(laptop, (at.address for at, _ in places))
    target = question.interface or _target(laptop, question.system)
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
    return FitReport(
        plan=question.plan.network.name,
        laptop=laptop,
        system=question.system,
        notes=laptop_notes(laptop),
        target=target,
        devices=tuple(
            advisor.advise(
                fit(device, laptop, routes[at.address], at=at, gateway=gateway), device
            )
            for device, (at, gateway) in zip(question.devices, places, strict=True)
        ),
    )  # fmt: skip


def _place(question: Question, device: Device) -> tuple[Interface, Address | None]:
    if question.present:
        return present(device, question.profiles.get(device.profile))
    return device.address, device.gateway


def _target(laptop: Laptop, system: System) -> str | None:
    """The one interface that can be meant; None where there are several, or none of that system."""
    if not laptop.assumed and system != SYSTEMS.get(sys.platform):
        return None
    names = candidates(laptop)
    return names[0] if len(names) == 1 else None


def take_back_leftovers(say: Say) -> None:
    """Takes back what a killed run has set at this laptop (Linux); says what it does."""
    if sys.platform == "linux":
        from verifier.probes import laptop_set  # noqa: PLC0415 - needs fcntl

        laptop_set.take_back_leftovers(say)


def to_set(report: FitReport) -> tuple[Interface, ...]:
    """The suggested addresses that need only be added: taking others off is for a person."""
    return tuple(
        dict.fromkeys(
            f.suggested
            for f in report.devices
            if f.suggested is not None
            and f.commands == commands(Change(report.target, f.suggested), report.system)
        )
    )


@contextmanager
def with_addresses(report: FitReport, addresses: Sequence[Interface], say: Say) -> Iterator[None]:
    """Has the suggested addresses set at this laptop while the context lasts.

    Raises CannotMeasureError: not Linux, no single interface, no permission, and what else keeps
    them from being set.
    """
    if sys.platform != "linux":
        raise CannotMeasureError("--set-laptop works on Linux only: use the commands it prints")
    from verifier.probes import laptop_set  # noqa: PLC0415 - needs fcntl

    if report.target is None:
        names = candidates(report.laptop) or sorted(this_machine.interface_names())
        raise CannotMeasureError(
            "which interface is to be set? Name it: --laptop ADDRESS/PREFIX@INTERFACE; there are "
            + ", ".join(names)
        )
    listed = ", ".join(str(a) for a in addresses)
    say(f"adding {listed} to {report.target}; taken back at the end, whatever happens")
    with laptop_set.added(report.target, addresses, say):
        yield


class Signals:
    """Notes interrupts and requests to end instead of being ended by them, so that all is undone.

    A context manager. `got` is the first signal that came.
    """

    def __init__(self) -> None:
        self.got: int | None = None
        self._typed = b""
        self._previous: dict[int, Any] = {}

    def __enter__(self) -> Self:
        self._reader, self._writer = os.pipe()
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            if hasattr(signal, name):
                number = getattr(signal, name)
                self._previous[number] = signal.signal(number, self._note)
        return self

    def __exit__(self, *exc: object) -> None:
        for number, handler in self._previous.items():
            signal.signal(number, handler)
        os.close(self._reader)
        os.close(self._writer)

    def note(self) -> None:
        """Notes an interrupt that somebody else has taken."""
        self._note(signal.SIGINT, None)

    def _note(self, number: int, frame: FrameType | None) -> None:
        del frame
        self.got = self.got or number
        with suppress(OSError):
            os.write(self._writer, b".")

    def await_line(self, stream: IO[str]) -> None:
        """Returns at a line or the end of `stream`, or at a signal."""
        self.read_line(stream)

    def read_line(self, stream: IO[str]) -> str | None:
        """The next line of `stream`, without its end; None at the stream's end or at a signal."""
        while self.got is None and b"\n" not in self._typed:
            ready, _, _ = select.select([stream.fileno(), self._reader], [], [])
            if stream.fileno() in ready:
                read = os.read(stream.fileno(), 4096)
                if not read:
                    break
                self._typed += read
        line, ended, rest = self._typed.partition(b"\n")
        if self.got is not None or not (line or ended):
            return None
        self._typed = rest
        return line.decode(errors="replace").strip()

    def pause(self, seconds: float) -> None:
        """Waits so long, or until a signal comes."""
        if self.got is None and seconds > 0:
            select.select([self._reader], [], [], seconds)
