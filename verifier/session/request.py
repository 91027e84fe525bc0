"""What a run is to do, and what comes of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from verifier.model.credentials import SnmpEntry
from verifier.model.laptop import Laptop
from verifier.model.manual import Observed
from verifier.model.plan import Device, NotTestedOk, Plan, Stage
from verifier.model.problem import Problem
from verifier.model.profile import Profile
from verifier.model.result import Result
from verifier.session.limits import Probing
from verifier.session.soak.run import SoakRequest


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
