"""A restart by a person: read, watch the device go and come back, read again."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from verifier.errors import CannotMeasureError
from verifier.model.observations import RESTART, Observation
from verifier.model.problem import Subject
from verifier.rules.observations import settings
from verifier.rules.powercycle import before, changes, judge, unread
from verifier.session.powercycle.watch import Watch
from verifier.session.recorder import Recorder, numbered
from verifier.session.request import Cycle, Outcome
from verifier.session.run import run
from verifier.session.world import World

_AGAIN_S: Final = 2.0
"""Pause before a device whose settings differ is read again: some come up after its agent."""


def powercycle(cycle: Cycle, world: World) -> Outcome:
    """Reads, waits for the restart, reads again, judges.

    An interrupt ends it early; what was seen so far is in the result.
    Raises CannotMeasureError where not even this machine can be read, and, before anybody is asked
    to switch anything, where a device gave nothing that could be compared afterwards.
    """
    request, tell = cycle.request, cycle.tell
    names = [d.name for d in request.devices]
    tell(", ".join(names), "reading", "before")
    first = run(request, world)
    records = {n: Recorder(Subject("device", n), world.clocks.now) for n in names}
    interrupted = first.interrupted
    if not interrupted:
        _refuse_unread(cycle, first)
        watch = Watch(cycle, world, records, first.result.observations)
        try:
            world.run(watch.run())
        except KeyboardInterrupt:
            interrupted = True
    if interrupted:
        records = {}
    after = first if interrupted else _read_again(cycle, world, first.result.observations, records)
    old = [] if interrupted else list(before(first.result.observations))
    observations = _together([*after.result.observations, *old], records)
    judged = judge(
        request.plan,
        request.profiles,
        observations,
        stage=request.stage,
        devices=request.devices,
        names=request.names,
        accept_untested=request.accept_untested,
        problems=request.problems,
    )
    result = replace(
        after.result,
        command="powercycle",
        started=first.result.started,
        findings=judged.findings,
        causes=judged.causes,
        observations=observations,
        scope=judged.scope,
        not_in_stage=judged.not_in_stage,
        not_asked=judged.not_asked,
        accepted=judged.accepted,
    )
    faults = (*first.faults, *(after.faults if after is not first else ()))
    return Outcome(result, interrupted or after.interrupted, faults)


def _refuse_unread(cycle: Cycle, first: Outcome) -> None:
    seen = first.result
    gaps = unread(cycle.request.devices, seen.findings, seen.causes, seen.observations)
    if gaps:
        told = "; ".join(f"{name}: {why}" for name, why in gaps.items())
        raise CannotMeasureError(
            f"leave the supply on: nothing was read that a restart could be compared with: {told}"
        )


def _read_again(
    cycle: Cycle, world: World, old: Sequence[Observation[object]], records: Mapping[str, Recorder]
) -> Outcome:
    """Reads all devices; again for as long as their profiles' boot time while settings differ."""
    request, clocks = cycle.request, world.clocks
    names = ", ".join(d.name for d in request.devices)
    longest_s = max(request.profiles[d.profile].boot_s for d in request.devices)
    deadline_s = clocks.monotonic_s() + min(longest_s, max(cycle.wait_s.values()))
    went = {n: times for n, r in records.items() for times in r.of(RESTART)}
    back = [d for d in request.devices if went[d.name].snmp_s is not None]
    cycle.tell(names, "reading", "after")
    while True:
        outcome = run(request, world)
        differ = any(
            changes(settings(d, old), settings(d, outcome.result.observations)) for d in back
        )
        if not differ or outcome.interrupted or clocks.monotonic_s() + _AGAIN_S > deadline_s:
            return outcome
        clocks.pause(_AGAIN_S)


def _together(
    seen: Sequence[Observation[object]], records: Mapping[str, Recorder]
) -> tuple[Observation[object], ...]:
    """All observations under new numbers: the laptop's, then each device's, `before` ones last."""
    laptop = [o for o in seen if o.subject.kind == "laptop"]
    devices = [o for o in seen if o.subject.kind != "laptop"]
    restarts = numbered(records.values())
    everything = (*laptop, *devices, *restarts)
    return tuple(dataclasses.replace(o, id=n) for n, o in enumerate(everything, start=1))
