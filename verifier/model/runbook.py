"""The answer of `readdress` (steps, what follows, what cannot be done), and what its guide sees."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Literal

from verifier.errors import EXIT_FAILED, EXIT_PASSED
from verifier.model.address import Address, Interface, Mac
from verifier.model.laptop import Fit
from verifier.model.plan import Device
from verifier.model.problem import Subject
from verifier.model.search import SearchedPlace

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


Kind = Literal[
    "right", "already", "ready", "both-answer", "neither", "old-still", "reverted", "wrong-device",
    "snmp-silent", "wrong-mask", "wrong-gateway", "mute", "in-use", "not-there", "laptop", "unseen",
]  # fmt: skip
"""What a look comes to:

- `right`: the device is at its new address and nobody at the old one;
- `ready`: it is at its old address and the new one is free; `already`: it is at the new one;
- `both-answer`: old and new address answer; `neither`: none does;
- `old-still`: only the old one does; `reverted`: again, after the new one had answered;
- `wrong-device`: another device answers at the new address, or at the old one before the change;
- `snmp-silent`: it answers echoes, but not SNMP with the planned credentials;
- `wrong-mask`: it is there with another mask; `wrong-gateway`: with another gateway, or none;
- `mute`: somebody holds the address (ARP), but nothing comes back;
- `in-use`: the new address is another's before the change; `not-there`: the device is not at its
  old address before the change;
- `laptop`: this laptop does not reach the device, whatever the device does;
- `unseen`: nothing can be asked from here.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fingerprint:
    """What tells a device from others, as it was seen: it is looked for again after the change."""

    mac: Mac | None = None
    name: str | None = None
    engine_id: str | None = None
    serial: str | None = None

    def __bool__(self) -> bool:
        return any((self.mac, self.name, self.engine_id, self.serial))


def gateway_planned(device: Device, gateway: Address | None, *, temporary: bool) -> bool:
    """Whether the plan says which gateway a device is to have, or that it is to have none.

    Args:
        device: as planned.
        gateway: what it is to have with its new address; None: none, or nothing is planned.
        temporary: the new address is only on its way.
    """
    return gateway is not None or (device.no_gateway and not temporary)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One look at a device on its way.

    Attributes:
        device: as planned.
        goal: the address it is to have.
        gateway: the gateway it is to have with it; None: none, or nothing is planned.
        hosts: management hosts that it reaches by a gateway only.
        temporary: whether that is only on its way.
        same: whether only mask or gateway are changed.
        new: what came of asking there.
        left: what came of asking at its old address; None where that is not to be asked.
        left_told: whether silence there would be noticed.
        stands: how this laptop stands to it at its new address.
        stands_left: and at its old one.
        before: what was seen of it before the change.
        others: what was seen of other devices in this runbook, by name.
        once: whether it has answered at the new address since the change.
        snmp: whether the planned credentials are at hand.
    """

    device: Device
    goal: Interface
    gateway: Address | None = None
    hosts: tuple[Address, ...] = ()
    temporary: bool = False
    same: bool = False
    new: SearchedPlace
    left: SearchedPlace | None
    left_told: bool
    stands: Fit
    stands_left: Fit | None = None
    before: Fingerprint | None = None
    others: dict[str, Fingerprint]
    once: bool = False
    snmp: bool = False

    @property
    def gateway_planned(self) -> bool:
        """See the function."""
        return gateway_planned(self.device, self.gateway, temporary=self.temporary)

    @property
    def old(self) -> Address | None:
        """The old address."""
        return None if self.left is None else self.left.candidate.address.address


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """What a look means.

    Attributes:
        ok: whether the step may be taken as done (before a change: whether to go on).
        settled: whether waiting is unlikely to change it.
        seen: what was seen, in one line.
        means, do: what that means, and what to do; empty where all is well.
        by: what the device is known by.
        notes: what else is odd.
        not_tested: what could not be told.
        marks: what tells this device from others.
    """

    kind: Kind
    ok: bool = False
    settled: bool = False
    seen: str
    means: str = ""
    do: str = ""
    by: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    not_tested: tuple[str, ...] = ()
    marks: Fingerprint | None = None
