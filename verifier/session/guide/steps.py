"""What a guide goes through: the runbook, what each change and confirmation is about, how long."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from verifier.files.journals.guide import Story
from verifier.model.address import Address
from verifier.model.guide import Fingerprint
from verifier.model.plan import Device
from verifier.model.runbook import Confirm, Runbook, SetDevice
from verifier.rules.guide.before import change_of
from verifier.rules.readdress.placement import MovingDevice
from verifier.session.guide.look import Move


@dataclass(frozen=True, slots=True, kw_only=True)
class Guiding:
    """What is to be gone through, and how.

    Attributes:
        moves: by the number of the change and of the confirmation.
        boot_s: by device, how long it may take to answer.
        auto: steps are seen to be done instead of being told.
        wait_s: how long, with `auto`, a person may take for a step.
        start: what the journal's first line holds.
        story: what the journal tells, where it is resumed.
        find: looks for a device that does not answer; called with what was seen of it before.
    """

    runbook: Runbook
    moves: Mapping[int, Move]
    boot_s: Mapping[str, float]
    auto: bool
    wait_s: float
    start: Mapping[str, Any]
    story: Story | None = None
    find: Callable[[Device, Fingerprint | None], None]


def moves(runbook: Runbook, devices: Sequence[MovingDevice]) -> dict[int, Move]:
    """The moves, by the number of the change and of the confirmation."""
    known = {u.name: u for u in devices}
    gateways: dict[str, Address | None] = {u.name: u.present.gateway for u in devices}
    found: dict[int, Move] = {}
    for step in runbook.steps:
        if isinstance(step, SetDevice):
            found[step.n] = Move(
                device=known[step.device].device,
                old=step.from_,
                old_gateway=gateways[step.device],
                new=step.to,
                new_gateway=step.gateway,
                temporary=step.temporary,
            )
            gateways[step.device] = step.gateway
        elif isinstance(step, Confirm):
            found[step.n] = found[change_of(runbook.steps, step).n]
    return found
