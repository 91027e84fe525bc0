"""What `find` does on the cable: notes every frame that tells something, and asks by ARP and ND.

IPv4 is asked by ARP probe, IPv6 from the link-local address. An ARP probe makes a device that is
just trying the address give it up only where it probes for it in the same second (RFC 5227 2.1.1).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from functools import partial

from verifier.model.address import Address, Mac
from verifier.model.laptop import Laptop
from verifier.model.search import HeardFrames
from verifier.probes.cable.arp import PROBE_NUM
from verifier.probes.cable.frames import Frame
from verifier.probes.pace import Slots
from verifier.rules.search.candidates import Key, key_of
from verifier.rules.search.identity import TENTATIVE
from verifier.session.recorder import timestamp
from verifier.session.world import Clocks, Wire

MAX_HEARD = 5000
"""Different things that are remembered; a busy cable has some hundred stations."""
_Said = tuple[object, ...]


Question = tuple[Address, Address | None]
"""An address that is asked for, and where from; None: from nowhere, by ARP probe."""


class FrameListener:
    """Everything heard on some wires, from its making on, in the running event loop.

    Args:
        wires: by name of the interface.
        macs: the device's hardware addresses.
        clocks: of the session.
        before: what an earlier one has heard stays heard.
    """

    def __init__(
        self,
        wires: Mapping[str, Wire],
        macs: frozenset[Mac],
        clocks: Clocks,
        before: FrameListener | None = None,
    ) -> None:
        self._wires = wires
        self._macs = macs
        self._clocks = clocks
        self._own = {w.mac for w in wires.values()}
        self._heard: dict[_Said, HeardFrames] = {}
        self._naming: dict[Key, list[_Said]] = {}
        if before is not None:
            before.hand_over(self._heard, self._naming)
        for wire in wires.values():
            wire.hear(partial(self._note, wire.interface))

    def hand_over(self, heard: dict[_Said, HeardFrames], naming: dict[Key, list[_Said]]) -> None:
        """Puts what was heard into the memory of another one."""
        heard.update(self._heard)
        naming.update((key, list(said)) for key, said in self._naming.items())

    @property
    def heard(self) -> tuple[HeardFrames, ...]:
        """What was heard, in the order it was first heard."""
        return tuple(self._heard.values())

    def holders(self, address: Address) -> tuple[Mac, ...]:
        """Who says on the cable that it holds an address."""
        found = (
            h.mac
            for h in self._for(address)
            if h.what.startswith(("arp-", "nd-")) and h.what not in TENTATIVE
        )
        return tuple(dict.fromkeys(found))

    def on(self, address: Address) -> str | None:
        """The interface on which an address was heard first."""
        return next((h.interface for h in self._for(address)), None)

    def _for(self, address: Address) -> list[HeardFrames]:
        """What names an address, in the order it was first heard."""
        return [self._heard[said] for said in self._naming.get(key_of(address), ())]

    def _note(self, interface: str, frame: Frame) -> None:
        mac = frame.chassis if frame.chassis in self._macs and frame.chassis else frame.mac
        if mac in self._own:
            return
        now = timestamp(self._clocks.now())
        for address in frame.addresses or (None,):
            said = (interface, mac, frame.what, address and key_of(address), frame.name, frame.vlan)
            before = self._heard.get(said)
            if before is not None:
                self._heard[said] = dataclasses.replace(before, last=now, count=before.count + 1)
            elif len(self._heard) < MAX_HEARD:
                self._heard[said] = HeardFrames(
                    interface=interface,
                    mac=mac,
                    what=frame.what,
                    address=address,
                    name=frame.name,
                    port=frame.port,
                    vlan=frame.vlan,
                    first=now,
                    last=now,
                    count=1,
                )
                if address is not None:
                    self._naming.setdefault(key_of(address), []).append(said)

    async def ask(
        self,
        wanted: Mapping[str, Sequence[Question]],
        pace: Slots,
        spacing_s: float,
        times: int = PROBE_NUM,
    ) -> None:
        """Asks by interface, `times` each, `spacing_s` apart or more; hears answers.

        The three of PROBE_NUM (RFC 5227 1.1) are those of MAX_MULTICAST_SOLICIT (RFC 4861
        section 10).
        """
        clocks = self._clocks
        asked = [(name, one) for name, several in wanted.items() for one in several]
        next_s = [0.0] * len(asked)
        for _ in range(times):
            for n, (interface, (address, source)) in enumerate(asked):
                due_s = max(pace.slot(), next_s[n])
                await clocks.sleep(due_s - clocks.monotonic_s())
                with suppress(OSError):  # its queue is full, or it went down
                    self._wires[interface].ask(address, source)
                next_s[n] = clocks.monotonic_s() + spacing_s
        await clocks.sleep(max(next_s, default=0.0) - clocks.monotonic_s())


def questions(
    addresses: Iterable[tuple[Address, Sequence[str]]], wires: Mapping[str, Wire], laptop: Laptop
) -> tuple[dict[str, list[Question]], set[Key]]:
    """What is asked for some addresses, by interface; and which addresses that is.

    IPv6 is asked from the interface's link-local address; where it has none, it is not asked.

    Args:
        addresses: each with the interfaces it is to be asked on.
        wires: those that are open.
        laptop: its addresses.
    """
    local = {name: _link_local(laptop, name) for name in wires}
    found: dict[str, list[Question]] = {}
    asked: set[Key] = set()
    for address, interfaces in addresses:
        for name in interfaces:
            if name not in wires or not (address.is_v4 or local[name] is not None):
                continue
            source = None if address.is_v4 else local[name]
            found.setdefault(name, []).append((address, source))
            asked.add(key_of(address))
    return found, asked


def _link_local(laptop: Laptop, name: str) -> Address | None:
    own = (a.address for i in laptop.interfaces if i.name == name for a in i.addresses)
    return next((a for a in own if not a.is_v4 and a.is_link_local), None)
