"""A network on the loopback range: SNMP agents that show what a plan says, and faults on demand.

Linux only. Serves nothing outside 127.0.0.0/8.
"""

from verifier.simulator.faults import KINDS, PlantedFault
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import Remote, running, running_process
from verifier.simulator.server import Server

__all__ = [
    "KINDS",
    "PlantedFault",
    "Remote",
    "Server",
    "SimulatedNetwork",
    "running",
    "running_process",
]
