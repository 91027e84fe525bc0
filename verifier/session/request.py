"""What a run is to do, how it probes (numbers that a person may set), and what comes of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from verifier.files.journals.soak import Journal
from verifier.model.credentials import SnmpEntry
from verifier.model.laptop import Laptop
from verifier.model.manual import Observed
from verifier.model.plan import Device, NotTestedOk, Plan, Stage
from verifier.model.problem import Problem
from verifier.model.profile import Profile
from verifier.model.result import Result
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


@dataclass(frozen=True, slots=True)
class SoakProgress:
    """How far a soak is: seconds done and asked, echoes counted and lost, the disk's fault."""

    done_s: float
    asked_s: float
    sent: int
    lost: int
    fault: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SoakRequest:
    """The soak of a run: what is to be measured besides, and for how long.

    Attributes:
        asked_s: how long.
        journal: where samples go.
        progress: called about once a second.
    """

    asked_s: float
    journal: Journal
    progress: Callable[[SoakProgress], None] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What is to be verified.

    Attributes:
        plan_sha256: hash of the plan's canonical JSON.
        problems: the plan's warnings; each becomes a finding `plan.RULE`.
        devices: those asked for, in plan order.
        names: what a person named to choose them; none: the whole plan.
        profiles: by id, every profile the devices name.
        credentials: by entry name, every entry the devices name.
        laptop: given instead of this machine's own interfaces.
        try_default_community: ask each device once with the community `public`.
        ask_all: ask also devices that answer no echo; a sweep may leave them out.
        elsewhere: look at the present and factory addresses of silent devices.
        observed: what a person entered.
        soak: what to measure for how long after the devices were read; None: nothing.
        progress: called with devices finished and devices in all.
    """

    command: Literal["verify", "reach", "sweep"]
    plan: Plan
    plan_sha256: str
    problems: tuple[Problem, ...] = ()
    stage: Stage
    devices: Sequence[Device]
    profiles: Mapping[str, Profile]
    credentials: Mapping[str, SnmpEntry] = field(default_factory=dict)
    probing: Probing = field(default_factory=Probing)
    laptop: Laptop | None = None
    try_default_community: bool = False
    names: tuple[str, ...] = ()
    accept_untested: tuple[NotTestedOk, ...] = ()
    ask_all: bool = True
    elsewhere: bool = False
    observed: Observed | None = None
    soak: SoakRequest | None = None
    progress: Callable[[int, int], None] | None = None


@dataclass(frozen=True, slots=True)
class Outcome:
    """A result, whether a person cut it short, and our own faults while devices were read."""

    result: Result
    interrupted: bool
    faults: tuple[Exception, ...] = ()


What = Literal["ask", "gone", "ping", "snmp", "restarted", "found", "late", "reading"]
Tell = Callable[[str, What, str], None]
"""Called with a device's name, what happened, and words for it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """What is to be done.

    Attributes:
        request: the devices to restart and how to read them; its command is `verify`.
        wait_s: by device, how long it may take to go, and then to come back.
        tell: hears of every step.
    """

    request: Request
    wait_s: Mapping[str, float]
    tell: Tell
