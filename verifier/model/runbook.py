"""The answer of `readdress`: ordered steps, what else follows, what cannot be done."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Literal

from verifier.errors import EXIT_FAILED, EXIT_PASSED
from verifier.model.address import Address, Interface
from verifier.model.subject import Subject

Setting = Literal["segment", "remote", "one-at-a-time"]
FollowUpKind = Literal[
    "gateway", "uplink", "plan", "neighbour-cache", "manager", "receiver", "label"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Connect:
    """Attaches one device alone; all devices where `device` is None."""

    n: int
    action: Literal["connect"] = "connect"
    device: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SetLaptop:
    """The complete set of addresses the laptop holds afterwards."""

    n: int
    action: Literal["set-laptop"] = "set-laptop"
    addresses: tuple[Interface, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetDevice:
    """Gives a device an address; `gateway` is what it has from then on. In a file: `from`."""

    n: int
    action: Literal["set-device"] = "set-device"
    device: str
    from_: Interface
    to: Interface
    gateway: Address | None
    temporary: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirm:
    """The device answers at `address`, and nobody at `silent` (None: nothing to ask there)."""

    n: int
    action: Literal["confirm"] = "confirm"
    device: str
    address: Address
    silent: Address | None


Step = Connect | SetLaptop | SetDevice | Confirm


@dataclass(frozen=True, slots=True)
class FollowUp:
    """What else must be changed or looked at because an address has changed."""

    kind: FollowUpKind
    subject: Subject
    message: str


@dataclass(frozen=True, slots=True)
class Blocked:
    """A device that cannot be moved: why, and the smallest way out."""

    device: str
    reason: str


@dataclass(frozen=True, slots=True, order=True)
class RunbookCost:
    """How good a runbook is; the smaller the better, in this order."""

    device_changes: int
    connects: int
    laptop_changes: int
    steps: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Runbook:
    """The ordered way from present to planned addresses.

    Attributes:
        laptop_addresses: whether the laptop may hold several addresses at a time.
        laptop_start: what it holds before the first step.
        lower_bound: no runbook is better than this; None where this one is proved best.
    """

    setting: Setting
    laptop_addresses: Literal["one", "many"]
    laptop_start: tuple[Interface, ...]
    proved_best: bool
    lower_bound: RunbookCost | None
    device_changes: int
    connects: int
    laptop_changes: int
    steps: tuple[Step, ...]
    follow_ups: tuple[FollowUp, ...] = field(default=())
    blocked: tuple[Blocked, ...] = field(default=())

    def exit_code(self) -> int:
        """1 if something is blocked, else 0."""
        return EXIT_FAILED if self.blocked else EXIT_PASSED


def figures(steps: tuple[Step, ...]) -> RunbookCost:
    """The four figures of some steps."""
    counts = Counter(step.action for step in steps)
    return RunbookCost(counts["set-device"], counts["connect"], counts["set-laptop"], len(steps))
