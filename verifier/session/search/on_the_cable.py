"""What `find` does on the cable: notes every frame that tells something, and asks by ARP and ND.

IPv4 is asked by ARP probe, IPv6 from the link-local address. A probe teaches no cache anything. A
neighbour solicitation from `::` would make a device that is just trying the address give it up (RFC
4862 5.4.3); an ARP probe does so only to a device that probes for the same address in the same
second (RFC 5227 2.1.1).
"""

from __future__ import annotations

import asyncio
import dataclasses
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from typing import Self

from verifier.model.address import Address, Mac
from verifier.model.laptop import Laptop
from verifier.model.search import HeardFrames
from verifier.probes.cable.arp import PROBE_NUM
from verifier.probes.cable.frames import Frame, arp_request, nd_solicitation
from verifier.probes.cable.listen import Wire
from verifier.probes.pace import Pace
from verifier.rules.search.candidates import Key, key_of
from verifier.rules.search.identity import TENTATIVE

MAX_HEARD = 5000
"""Different things that are remembered; a busy cable has some hundred stations."""
_Said = tuple[object, ...]


class FrameListener:
    """Everything heard on some wires; reads them in the running event loop.

    Args:
        wires: by name of the interface.
        macs: the device's hardware addresses.
        now: the time of day as text.
    """

    def __init__(
        self, wires: Mapping[str, Wire], macs: frozenset[Mac], now: Callable[[], str]
    ) -> None:
        self._wires = wires
        self._macs = macs
        self._now = now
        self._own = {Mac(w.mac.hex(":")) for w in wires.values()}
        self._heard: dict[_Said, HeardFrames] = {}
        self._naming: dict[Key, list[_Said]] = {}
        self._loop = asyncio.get_running_loop()

    def __enter__(self) -> Self:
        for wire in self._wires.values():
            self._loop.add_reader(wire.fileno(), self._read, wire)
        return self

    def __exit__(self, *exc: object) -> None:
        for wire in self._wires.values():
            self._loop.remove_reader(wire.fileno())

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

    def _read(self, wire: Wire) -> None:
        try:
            for frame in wire.read():
                self._note(frame, wire.interface)
        except OSError:  # it went down: what was heard remains
            self._loop.remove_reader(wire.fileno())

    def _note(self, frame: Frame, interface: str) -> None:
        mac = frame.chassis if frame.chassis in self._macs and frame.chassis else frame.mac
        if mac in self._own:
            return
        now = self._now()
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
        self, wanted: Mapping[str, Sequence[bytes]], pace: Pace, spacing_s: float
    ) -> None:
        """Sends frames by interface, three times each, `spacing_s` apart or more; hears answers.

        Three is PROBE_NUM of RFC 5227 1.1, which MAX_MULTICAST_SOLICIT of RFC 4861 section 10
        equals.
        """
        questions = [(name, frame) for name, frames in wanted.items() for frame in frames]
        next_s = [0.0] * len(questions)
        for _ in range(PROBE_NUM):
            for n, (interface, frame) in enumerate(questions):
                due_s = max(pace.slot(), next_s[n])
                await asyncio.sleep(max(0.0, due_s - time.monotonic()))
                with suppress(OSError):  # its queue is full, or it went down
                    self._wires[interface].send(frame)
                next_s[n] = time.monotonic() + spacing_s
        await asyncio.sleep(max(0.0, max(next_s, default=0.0) - time.monotonic()))


def questions(
    addresses: Iterable[tuple[Address, Sequence[str]]], wires: Mapping[str, Wire], laptop: Laptop
) -> tuple[dict[str, list[bytes]], set[Key]]:
    """The frames that ask for some addresses, by interface; and which addresses they ask for.

    IPv6 is asked from the interface's link-local address; where it has none, it is not asked.

    Args:
        addresses: each with the interfaces it is to be asked on.
        wires: those that are open.
        laptop: its addresses.
    """
    local = {name: _link_local(laptop, name) for name in wires}
    frames: dict[str, list[bytes]] = {}
    asked: set[Key] = set()
    for address, interfaces in addresses:
        for name in interfaces:
            if name not in wires:
                continue
            source, mac = local[name], wires[name].mac
            if not address.is_v4 and source is None:
                continue
            frame = (
                arp_request(mac, address)
                if source is None or address.is_v4
                else nd_solicitation(mac, source, address)
            )
            frames.setdefault(name, []).append(frame)
            asked.add(key_of(address))
    return frames, asked


def _link_local(laptop: Laptop, name: str) -> Address | None:
    own = (a.address for i in laptop.interfaces if i.name == name for a in i.addresses)
    return next((a for a in own if not a.is_v4 and a.is_link_local), None)
