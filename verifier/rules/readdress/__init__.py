"""The runbook from present to planned addresses: steps, follow-ups, what is blocked.

State: which devices are attached, the laptop's set of addresses, each device's address. `request`
makes a task of a plan and of what was asked, `obstacles` says who cannot be moved whatever the
order is, `search` finds the best order of the rest (`heuristic` a good one where there are too
many), `follow_ups` what else must be changed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import NamedTuple

from verifier.model.plan import Plan
from verifier.model.runbook import (
    Blocked,
    Confirm,
    Connect,
    Runbook,
    RunbookCost,
    SetDevice,
    SetLaptop,
    Step,
    figures,
)
from verifier.rules.readdress.heuristic import heuristic_order
from verifier.rules.readdress.obstacles import obstacles, stuck
from verifier.rules.readdress.renumber import follow_ups
from verifier.rules.readdress.run import ALL, DONE, START, Op, SegmentState
from verifier.rules.readdress.search import Price, best_order
from verifier.rules.readdress.settle import trimmed
from verifier.rules.readdress.world import Segment, Task


class _StepsOutcome(NamedTuple):
    """Steps of a world, and the least price; `ops` None: `reached` is as far as anybody comes."""

    ops: list[Op] | None
    bound: Price | None
    reached: SegmentState


def plan_steps(task: Task) -> Runbook:
    """The runbook without follow-ups. The same task always gives the same runbook.

    Always valid. Proved best where the search came to its end, else with a lower bound.
    """
    blocked: dict[str, str] = {}
    while True:
        blocked.update(obstacles(task, blocked))
        world = Segment(task, blocked)
        outcome = _ordered(world)
        if outcome.ops is not None:
            return _runbook(world, outcome.ops, outcome.bound, _sorted(task, blocked))
        status = outcome.reached.status
        astray = [i for i, s in enumerate(status) if s not in (START, DONE)]
        left = astray or [i for i, s in enumerate(status) if s == START]
        blocked.update({world.movers[i].name: stuck(world, outcome.reached, i) for i in left})


def _ordered(world: Segment) -> _StepsOutcome:
    found = best_order(world)
    if found.ops is not None or found.bound is None:
        return _StepsOutcome(found.ops, found.bound, found.reached)
    ops, reached = heuristic_order(world)
    return _StepsOutcome(ops, found.bound, reached)


def _sorted(task: Task, blocked: dict[str, str]) -> tuple[Blocked, ...]:
    names = [u.name for u in task.devices if u.name in blocked]
    return tuple(Blocked(name, blocked[name]) for name in names)


def _runbook(
    world: Segment, ops: list[Op], bound: Price | None, blocked: tuple[Blocked, ...]
) -> Runbook:
    task = world.task
    steps = tuple(_steps(world, trimmed(world, ops)))
    made = figures(steps)
    changes = len(world.movers) + len(world.circles)
    connects, laptop_changes = bound or (0, 0)
    least = RunbookCost(changes, connects, laptop_changes, 2 * changes + connects + laptop_changes)
    proved = made <= least
    return Runbook(
        setting=task.setting,
        laptop_addresses="many" if task.many else "one",
        laptop_start=task.laptop,
        proved_best=proved,
        lower_bound=None if proved else least,
        device_changes=made.device_changes,
        connects=made.connects,
        laptop_changes=made.laptop_changes,
        steps=steps,
        blocked=blocked,
    )


def _steps(world: Segment, ops: Iterable[Op]) -> Iterable[Step]:
    for n, op in enumerate(ops, start=1):
        if op.action == "set-laptop":
            yield SetLaptop(n=n, addresses=op.laptop)
        elif op.action == "connect":
            yield Connect(n=n, device=None if op.mover == ALL else world.movers[op.mover].name)
        elif op.action == "set-device":
            assert op.old is not None
            assert op.new is not None
            yield SetDevice(
                n=n,
                device=world.movers[op.mover].name,
                from_=op.old.at,
                to=op.new.at,
                gateway=op.new.gateway,
                temporary=op.temporary,
            )
        else:
            assert op.new is not None
            yield Confirm(
                n=n,
                device=world.movers[op.mover].name,
                address=op.new.at.address,
                silent=None if op.old is None else op.old.at.address,
            )


def readdress(plan: Plan, task: Task) -> Runbook:
    """The runbook for a task of a plan, with its follow-ups. No clock is read."""
    runbook = plan_steps(task)
    out = {b.device for b in runbook.blocked}
    moved = [u for u in task.devices if u.moves and u.name not in out]
    return replace(runbook, follow_ups=follow_ups(plan, task.devices, moved))
