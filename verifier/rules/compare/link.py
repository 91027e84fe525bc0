"""`link.*`: do both ends belong together, by what each says of itself and of the other."""

from __future__ import annotations

from collections.abc import Mapping

from verifier.model import mib
from verifier.model.observations import reading
from verifier.model.plan import Link, Plan
from verifier.model.problem import Subject
from verifier.model.result import Finding, Verdict
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.radio.carrier_end import (
    HOT_STANDBY,
    CarrierEnd,
)
from verifier.rules.compare.radio.carriers import (
    LOOK_FOR_IT,
    MUTED_FAR,
    NOT_REAL,
)
from verifier.rules.compare.radio.read import Read
from verifier.rules.selection import same_device


def ends_swapped(plan: Plan, contexts: Mapping[str, Context]) -> Findings:
    """`link.ends-swapped`: the two ends of a link answer under each other's names."""
    for link in plan.links:
        pairs = dict.fromkeys((c.a.device, c.b.device) for c in link.carriers)
        for a, b in pairs:
            names = [
                contexts[d].seen.first(mib.SYS_NAME) if d in contexts else None for d in (a, b)
            ]
            if any(n is None or n.value is None for n in names):
                continue
            found = [str(n.value) for n in names if n is not None]
            swapped = all(map(same_device, found, (b, a)))
            yield Finding(
                check="link.ends-swapped",
                subject=Subject("link", link.name),
                verdict="fail" if swapped else "pass",
                expected=f"a: {a}, b: {b}",
                observed=f"a: {found[0]}, b: {found[1]}",
                origin=plan.origin("links", link.name),
                reason="the two ends answer under each other's names"
                if swapped
                else "the two ends do not answer under each other's names",
                advice="the devices stand at each other's place, or their names and addresses were "
                "set the wrong way round: compare serial numbers before changing anything"
                if swapped
                else "",
                evidence=tuple(n.id for n in names if n is not None),
            )


def software_differs(plan: Plan, link: Link, contexts: Mapping[str, Context]) -> Findings:
    """`link.software-differs`: both ends of one family run the same software, else a warning."""
    pairs = dict.fromkeys((c.a.device, c.b.device) for c in link.carriers)
    for a, b in pairs:
        one, other = contexts.get(a), contexts.get(b)
        if one is None or other is None or one.profile.id != other.profile.id:
            continue
        seen = [c.seen.first(reading("software")) for c in (one, other)]
        if any(c.snmp_gap for c in (one, other)) or any(o is None or not o.value for o in seen):
            continue
        found = [str(o.value).strip() for o in seen if o is not None]
        same = found[0] == found[1]
        number = next(c.carrier for c in link.carriers if (c.a.device, c.b.device) == (a, b))
        yield Finding(
            check="link.software-differs",
            subject=Subject("link", link.name, carrier=number if len(pairs) > 1 else None),
            verdict="pass" if same else "warn",
            reason="both ends run the same software"
            if same
            else "the two ends run different software",
            expected="the same at both ends",
            observed=found[0] if same else f"{a}: {found[0]}, {b}: {found[1]}",
            origin=plan.origin("links", link.name),
            advice="" if same else "bring both ends to one version, the far end first",
            evidence=tuple(o.id for o in seen if o is not None),
        )


def far_end(near: CarrierEnd) -> Findings:
    """`link.far-end`: the device at the other end calls itself as planned."""
    seen = near.read("far_end_name")
    if seen is None:
        return
    planned = near.far.device
    found = seen.word
    if found and near.sender.transmits is False:
        yield _heard_muted(near, seen, found)
        return
    if not found:
        gap = near.missing("far_end_name") if found is None else "the device names no far end"
        yield near.finding("link.far-end", "not-tested", gap, expected=planned, reads=(seen,))
        return
    verdict: Verdict = "pass"
    reason, advice = "linked to the planned far end", ""
    if found != planned:
        verdict, reason = "fail", "linked to another device than planned"
        advice = "which device is that? Compare link ids, frequencies and directions"
        names = {o.far.device for o in near.others}
        if same_device(found, planned):
            verdict, reason, advice = "warn", "differs by capital letters or a domain only", ""
        elif found in names and near.link.protection in HOT_STANDBY:
            verdict, reason, advice = "pass", "linked to the other device of the far end", ""
        elif found in names:
            reason = "linked to the other device of the far end: the carriers are crossed"
            if near.link.protection == "2+0-xpic":
                advice = "are V and H crossed at one end? Compare feeders and antenna ports"
    yield near.finding("link.far-end", verdict, reason, expected=planned, observed=found,
                       advice=advice, reads=(seen,))  # fmt: skip


def _heard_muted(near: CarrierEnd, seen: Read, found: str) -> Finding:
    """A name over the air from an end that says it is muted."""
    ours = same_device(found, near.sender.end.device)
    why = "the mute is not real" if ours else NOT_REAL
    return near.finding(
        "link.far-end", "fail", f"it names its far end, and {MUTED_FAR}: {why}",
        expected=near.far.device, observed=found, advice=LOOK_FOR_IT, silences=True,
        reads=(seen, near.sender.read("tx_enabled")),
    )  # fmt: skip
