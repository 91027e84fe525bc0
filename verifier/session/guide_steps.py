"""What each change and each confirmation of a runbook is about."""

from __future__ import annotations

from collections.abc import Sequence

from verifier.model.address import Address
from verifier.model.runbook import Confirm, Runbook, SetDevice
from verifier.rules.guiding.course import change_of
from verifier.rules.readdress.spots import Unit
from verifier.session.guide_look import Move


def moves(runbook: Runbook, units: Sequence[Unit]) -> dict[int, Move]:
    """The moves, by the number of the change and of the confirmation."""
    known = {u.name: u for u in units}
    gateways: dict[str, Address | None] = {u.name: u.present.gateway for u in units}
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
