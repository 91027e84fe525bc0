"""Which device is looked for, and how."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from verifier.model.address import Interface, Mac
from verifier.model.credentials import SnmpEntry
from verifier.model.plan import Device, Plan
from verifier.model.profile import Profile
from verifier.model.search import Candidate
from verifier.probes.cable.arp import PROBE_MIN_S
from verifier.rules.search.identity import Sought

PACKETS_PER_S = 20.0
"""Echoes, ARP probes and SNMP requests together: low, for a device's processor is small."""


def _nothing(what: object) -> None:
    """Says nothing."""
    del what


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """Which device is looked for, and how.

    Attributes:
        profiles: by id, all the plan's.
        credentials: by entry name: the device's, the factory's of its profile, those of others.
        temporary: addresses it may have been given on its way, besides those of the runbook.
        macs, engine_ids: what was seen of the device before, besides the plan's.
        interfaces: of this laptop, to be asked and heard on; all with a cable if empty.
        timeout_s: wait for an echo, and between two ARP probes for one address.
        routes_at: who has this address is asked for its default route too.
        listen_s: how long to listen if asking has not found it; None: not at all.
        show: called with all candidates before anything is sent.
        say: called with what is going on.
    """

    plan: Plan
    device: Device
    profiles: Mapping[str, Profile]
    credentials: Mapping[str, SnmpEntry] = field(default_factory=dict)
    temporary: tuple[Interface, ...] = ()
    macs: frozenset[Mac] = frozenset()
    engine_ids: frozenset[str] = frozenset()
    interfaces: tuple[str, ...] = ()
    routes_at: Interface | None = None
    listen_s: float | None = None
    packets_per_s: float = PACKETS_PER_S
    timeout_s: float = PROBE_MIN_S
    snmp_timeout_s: float = 2.0
    snmp_retries: int = 1
    show: Callable[[Sequence[Candidate]], None] = _nothing
    say: Callable[[str], None] = _nothing

    @property
    def sought(self) -> Sought:
        """The device, for the rules."""
        device = self.device
        return Sought(
            plan=self.plan,
            device=device,
            profile=self.profiles.get(device.profile),
            macs=self.macs | ({device.mac} if device.mac is not None else frozenset()),
            engine_ids=self.engine_ids,
        )
