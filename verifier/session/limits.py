"""How a run probes: numbers a person may set."""

from __future__ import annotations

from dataclasses import dataclass

from verifier.probes.pace import Slots
from verifier.session.world import World


@dataclass(frozen=True, slots=True, kw_only=True)
class Probing:
    """Settings of all probes of a run.

    Attributes:
        echoes: counted echoes to each device; one warm-up echo before them is not counted.
        max_packets_per_s: echoes, TCP and SNMP requests together; None: the default, from which
            loopback addresses are exempt. A given number holds for them too.
        device_deadline_s: time after which reading one device by SNMP is given up.
    """

    echoes: int = 5
    interval_s: float = 0.2
    timeout_s: float = 1.0
    max_packets_per_s: float | None = None
    snmp_timeout_s: float = 2.0
    snmp_retries: int = 1
    device_deadline_s: float = 30.0


DEFAULT_PACKETS_PER_S = 500.0
ON_LINK_PER_S = 150.0
"""New on-link addresses a second: unresolved entries fill the kernel's neighbour table of 1024."""


@dataclass(frozen=True, slots=True)
class Paces:
    """The paces that all probes of one run share."""

    network: Slots
    on_link: Slots
    loopback: Slots

    @classmethod
    def of(cls, probing: Probing, world: World, *, shared: bool = False) -> Paces:
        """The paces for these settings; `shared` with processes that are forked later."""
        network = world.pace(probing.max_packets_per_s or DEFAULT_PACKETS_PER_S, shared=shared)
        return cls(
            network=network,
            on_link=world.pace(ON_LINK_PER_S),
            loopback=world.pace(None) if probing.max_packets_per_s is None else network,
        )

    def for_address(self, *, loopback: bool) -> Slots:
        """The pace of packets to one address."""
        return self.loopback if loopback else self.network
