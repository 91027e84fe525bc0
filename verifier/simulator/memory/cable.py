"""The cable between a laptop and its devices: who hears whom, and who answers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from verifier.model.address import Address, Mac
from verifier.simulator.memory.device import MemoryDevice

RTT_S = 0.002


class MemoryCable:
    """A cable, or a switch with everything that is plugged into it.

    Attributes:
        carrier: whether the laptop's end has a link.
        devices: those that are plugged in, in the order in which they answer.
        routers: addresses of gateways that stand on it and lead back to the laptop.
    """

    def __init__(self, devices: Iterable[MemoryDevice] = ()) -> None:
        self.carrier = True
        self.devices = list(devices)
        self.routers: frozenset[Address] = frozenset()

    def holders(self, address: Address, now_s: float) -> Iterator[MemoryDevice]:
        """Who holds an address and answers for it on the cable."""
        if self.carrier:
            for device in self.devices:
                if device.up(now_s) and any(h.address == address for h in device.running.held):
                    yield device

    def macs(self, address: Address, now_s: float) -> tuple[Mac, ...]:
        """Hardware addresses of those, once each."""
        return tuple(dict.fromkeys(d.mac for d in self.holders(address, now_s)))

    def answering(
        self, address: Address, source: Address | None, now_s: float
    ) -> MemoryDevice | None:
        """The device that a packet from `source` gets an answer of; None: no answer comes back."""
        device = next(self.holders(address, now_s), None)
        if device is None or source is None:
            return None
        if any(own.holds(source) for own in device.running.held):
            return device
        return device if device.running.gateway in self.routers else None
