"""This laptop's addresses along a runbook: what it holds, and, where told so, setting them.

`--set-laptop` takes all of its addresses back and sets the next set anew: so there is one undo for
all ways out, that of `fit`.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from typing import Self

from verifier.errors import UsageError
from verifier.model.address import Interface
from verifier.rules.cable import laptop_without_link
from verifier.rules.fit.suggest import candidates
from verifier.session.world import LaptopAccess, Say


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
