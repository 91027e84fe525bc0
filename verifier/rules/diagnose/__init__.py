"""From findings to causes: what hangs on what. Explains; never changes a verdict.

`CAUSES` are the families: a module each, with a function from the case to what may be thought, at
most likely. What each fault makes stands in the closed table `faults`; by that table alone
(`entailed`) findings hang on a cause and a cause is certain. What to try first by kind of cause
stands in `kinds`. Where two causes fit equally both are given; where the evidence does not carry,
none is.

Causes are concluded from findings; only a few kinds of observations are looked at besides
(`_LOOKED_AT` of `case`). A cause that fits another equally does not win by its place in the table.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence

from verifier.model.observations import Observation
from verifier.model.plan import Plan, Stage
from verifier.model.problem import Subject
from verifier.model.profile import Profile
from verifier.model.result import Cause, Finding
from verifier.rules.diagnose import (
    addresses,
    levels,
    radio,
    settings,
    snmp,
    topology,
)
from verifier.rules.diagnose.case import CarrierFindings, Causes, FindingIndex
from verifier.rules.diagnose.entailed import Reasoning
from verifier.rules.diagnose.kinds import SILENCING
from verifier.rules.outage import caution


def warned(case: FindingIndex, cause: Cause) -> Cause:
    """The cause; what to try first with a warning where that would cut somebody off."""
    if cause.kind not in SILENCING:
        return cause
    words = " ".join(dict.fromkeys(w for hop in _hops(case, cause) if (w := _words(case, hop))))
    return dataclasses.replace(cause, try_first=f"{cause.try_first}. {words}") if words else cause


def _hops(case: FindingIndex, cause: Cause) -> list[CarrierFindings]:
    if cause.subject.kind == "link":
        return case.hops_of(cause.subject)
    return [hop for hop, _ in case.hops_at.get(cause.subject.name, ())]


def _words(case: FindingIndex, hop: CarrierFindings) -> str:
    """What is cut off while the carrier is down, in words; empty where nothing is."""
    for near, far in ((hop.device("a"), hop.device("b")), (hop.device("b"), hop.device("a"))):
        device = case.devices.get(far)
        if device is not None and near in device.uplink:
            return caution(hop.link.name, [far, *sorted(case.behind(far) - {near})])
    return ""


CAUSES: tuple[Callable[[FindingIndex], Causes], ...] = (
    topology.causes,
    addresses.causes,
    snmp.causes,
    settings.causes,
    radio.exchanged_lines,
    radio.causes,
    levels.causes,
    settings.of_ports,
)


def explain(
    plan: Plan,
    findings: Sequence[Finding],
    observations: Iterable[Observation[object]] = (),
    profiles: Mapping[str, Profile] | None = None,
    *,
    stage: Stage = "handover",
) -> tuple[tuple[Finding, ...], tuple[Cause, ...]]:
    """The findings, each tied to its causes, and the causes, numbered in the order of `CAUSES`.

    A finding that passes has no cause; it may speak for one.

    Args:
        plan: what hangs on what.
        findings: of one run, with ids.
        observations: what they rest on; without them some causes are not seen.
        profiles: by id; without them some causes cannot be excluded.
        stage: what the work has come to; nothing was left behind before handover.
    """
    case = FindingIndex(plan, findings, observations, profiles, stage=stage)
    reasoning = Reasoning(case)
    thought = _once(c for family in CAUSES for c in family(case))
    concluded = (reasoning.concluded(c) for c in thought)
    found = [warned(case, c) for c in concluded if c is not None]
    causes = tuple(dataclasses.replace(c, id=f"c{n}") for n, c in enumerate(found, start=1))
    caused_by: dict[str, list[str]] = defaultdict(list)
    for cause in causes:
        for finding in cause.for_:
            caused_by[finding].append(cause.id)
    tied = tuple(
        dataclasses.replace(f, caused_by=tuple(caused_by[f.id]))
        if f.verdict != "pass" and f.id in caused_by
        else f
        for f in findings
    )
    return tied, causes


def _once(causes: Iterable[Cause]) -> Iterable[Cause]:
    """What is said of one thing from several sides, such as both ends of a hop, once."""
    found: dict[tuple[str, Subject], Cause] = {}
    for cause in causes:
        key = (cause.kind, cause.subject)
        found[key] = _together(found[key], cause) if key in found else cause
    return found.values()


def _together(cause: Cause, other: Cause) -> Cause:
    ids = tuple(dict.fromkeys((*cause.for_, *other.for_)))
    against = dict.fromkeys((*cause.against, *other.against))
    return dataclasses.replace(
        cause, for_=ids, against=tuple(i for i in against if i not in set(ids))
    )
