"""What may be said of two faults that are known to be there.

- No cause is certain that was not planted.
- No finding is laid at a cause that would not have made it by itself: what is wrong where a fault
  that the cause names is planted alone, where it is said to be, weak or strong.
- Each planted fault is among the causes, or what it alone makes stands unexplained.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from tests.two_faults.planting import FAR, HOP, KINDS, Planted, places
from tests.two_faults.world import World, wrong
from verifier.model.problem import Subject
from verifier.model.result import Cause, Finding
from verifier.rules.compare.judge import Judgement

ELSEWHERE = {"far-transmitter": ("level-a-little-low", "level-low", "level-lost", "level-faint")}
"""Causes at one end that are planted as what the other end sees of them."""


def faults_of(world: World, cause: Cause) -> set[Planted]:
    """All that can be planted and would be named by this cause, at the places that it is said of."""
    named = [k for k, kind in KINDS.items() if cause.kind in kind.names]
    at = devices_of(world, cause.subject)
    if cause.kind in ELSEWHERE:
        return {Planted(k, FAR[d]) for k in ELSEWHERE[cause.kind] for d in at}
    if cause.kind == "hop-down":
        every = {places(k, d) for k in KINDS for d in at}
        named = [k for k in named if KINDS[k].of == "device"]
        return {p for p in every if _unlocks(world, p)} | {Planted(k, d) for k in named for d in at}
    found = {Planted(k, d) for k in named if KINDS[k].of == "device" for d in at}
    return found | {
        Planted(k, HOP[d]) for k in named if KINDS[k].of == "link" for d in at if d in HOP
    }


def _unlocks(world: World, planted: Planted) -> bool:
    """Whether a hop is down by this fault: where an end cannot be read, that is all to be said."""
    return any(check == "radio.lock" for check, _ in world.alone(planted))


def devices_of(world: World, subject: Subject) -> set[str]:
    """The devices that a subject may speak of."""
    if subject.kind in {"device", "port"}:
        return {subject.name}
    if subject.kind == "link":
        link = next(x for x in world.plan.links if x.name == subject.name)
        ends = {n: e.device for c in link.carriers for n, e in c.ends()}
        return set(ends.values()) if subject.end is None else {ends[subject.end]}
    return {d.name for d in world.plan.devices}


def complaints(world: World, planted: Sequence[Planted], judged: Judgement) -> Iterator[str]:
    """What is said wrongly where these faults are planted together, in words."""
    by_id = {f.id: f for f in judged.findings}
    named = {c.id: faults_of(world, c) for c in judged.causes}
    for cause in judged.causes:
        if cause.certainty == "certain" and not named[cause.id] & set(planted):
            yield f"certain, and not planted: {cause.kind} of {cause.subject}"
        makes = set().union(*(world.alone(p) for p in named[cause.id]))
        for finding in (by_id[i] for i in cause.for_):
            if finding.verdict != "pass" and _key(finding) not in makes:
                yield f"{cause.kind} of {cause.subject} would not make {finding.check} of {finding.subject}"
    said = set().union(*named.values()) if named else set()
    for fault in planted:
        if fault not in said:
            others = [p for p in planted if p != fault]
            yield from _laid_elsewhere(world, fault, others, judged.findings)


def _laid_elsewhere(
    world: World, fault: Planted, others: Sequence[Planted], findings: Sequence[Finding]
) -> Iterator[str]:
    """What only this fault makes, and stands explained although the fault is not named."""
    own = world.alone(fault).difference(*(world.alone(o) for o in others))
    for finding in findings:
        if _key(finding) in own & wrong(findings) and finding.caused_by:
            yield f"{fault} is not named, and {finding.check} of {finding.subject} is explained"


def _key(finding: Finding) -> tuple[str, Subject]:
    return finding.check, finding.subject
