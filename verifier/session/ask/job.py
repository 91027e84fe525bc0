"""What to ask one device by SNMP, and who asks it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, Self

from verifier.model.address import Address
from verifier.model.plan import Device
from verifier.model.profile import Profile
from verifier.probes.snmp.values import SnmpTarget
from verifier.session.recorder import Recorder


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What to ask one device, and how.

    Attributes:
        deadline_s: time after which reading it is given up.
        default_community: whether to ask once with the community `public` too.
        hosts: management hosts outside its subnets.
        health: ask only what health needs, see `rules/health`.
    """

    device: Device
    profile: Profile
    target: SnmpTarget
    deadline_s: float
    default_community: bool = False
    hosts: tuple[Address, ...] = ()
    health: bool = False


class Poller(Protocol):
    """Asks devices; an async context manager."""

    async def poll(self, name: str, record: Recorder) -> None:
        """Asks the device `name` and writes down in `record` what came."""

    async def sample(self, name: str, record: Recorder) -> None:
        """Reads levels and powers of the device `name` several times, see `sampling`."""

    async def __aenter__(self) -> Self:
        """Ready to ask."""

    async def __aexit__(self, *exc: object) -> None:
        """Ends; what was seen of devices not asked to the end is in their records."""


class LevelPoller(Poller, Protocol):
    """Asks devices for what a modulation depends on, too."""

    async def look(self, name: str, record: Recorder) -> None:
        """Reads that once."""
