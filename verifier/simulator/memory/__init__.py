"""The world in memory: a laptop, a cable and devices in simulated time; no sockets, no root.

`MemoryWorld` is what `session/world.py` declares. Time passes only while somebody waits: the event
loop's clock jumps to the next timer, so that hours take milliseconds.
"""

from verifier.simulator.memory.device import DeviceSettings, MemoryCable, MemoryDevice
from verifier.simulator.memory.loop import MemoryClocks
from verifier.simulator.memory.world import MemoryLaptop, MemoryWorld

__all__ = [
    "DeviceSettings",
    "MemoryCable",
    "MemoryClocks",
    "MemoryDevice",
    "MemoryLaptop",
    "MemoryWorld",
]
