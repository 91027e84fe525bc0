"""What `here` is asked for."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from verifier.model.address import Interface
from verifier.model.credentials import SnmpEntry
from verifier.model.manual import Observed
from verifier.model.plan import Device, Plan, Stage
from verifier.model.problem import Problem
from verifier.model.profile import Profile
from verifier.rules.here.seen import NextCommand

LOOKS_S = 8.0
"""Seconds to look for a device that is not where it should be."""


def _no(interface: str, addresses: Sequence[Interface]) -> bool:
    """Borrows nothing."""
    del interface, addresses
    return False


def _nothing(words: str) -> None:
    """Says nothing."""
    del words


@dataclass(frozen=True, slots=True, kw_only=True)
class HereRequest:
    """What is looked for, and how.

    Attributes:
        plan_sha256: hash of the plan's canonical JSON.
        device: the one that was asked for; None: whatever is there.
        profiles: by id, all the plan's.
        credentials: by entry name, those at hand.
        interfaces: those to ask on; none: every one with a link.
        looks_s: how long somebody is looked for who is not where they should be.
        may_borrow: asked before addresses are set at the laptop.
        leaving: what only a person can see belongs to it too.
        command: how the next command is typed.
    """

    plan: Plan
    plan_sha256: str
    problems: tuple[Problem, ...] = ()
    device: Device | None = None
    stage: Stage
    profiles: Mapping[str, Profile]
    credentials: Mapping[str, SnmpEntry] = field(default_factory=dict)
    interfaces: tuple[str, ...] = ()
    looks_s: float = LOOKS_S
    may_borrow: Callable[[str, Sequence[Interface]], bool] = _no
    leaving: bool = False
    observed: Observed | None = None
    command: NextCommand = field(default_factory=NextCommand)
    say: Callable[[str], None] = _nothing
