"""The runbook from present to planned addresses: steps, follow-ups, what is blocked.

State: which devices are attached, the laptop's set of addresses, each device's address. `request`
makes a task of a plan and of what was asked, `obstacles` says who cannot be moved whatever the
order is, `search` finds the best order of the rest (`heuristic` a good one where there are too
many), `follow_ups` what else must be changed.
"""

from __future__ import annotations

from dataclasses import replace

from verifier.model.plan import Plan
from verifier.model.runbook import Runbook
from verifier.rules.readdress.follow_ups import follow_ups
from verifier.rules.readdress.planner import plan as planned
from verifier.rules.readdress.world import Task


def readdress(plan: Plan, task: Task) -> Runbook:
    """The runbook for a task of a plan, with its follow-ups. No clock is read."""
    runbook = planned(task)
    out = {b.device for b in runbook.blocked}
    moved = [u for u in task.devices if u.moves and u.name not in out]
    return replace(runbook, follow_ups=follow_ups(plan, task.devices, moved))
