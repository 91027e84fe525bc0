"""`laptop.soak`: did this laptop measure for as long as was asked."""

from __future__ import annotations

from collections.abc import Sequence

from verifier.model.result import Finding, Verdict
from verifier.model.subject import Subject
from verifier.rules.compare.soak.context import Soaking, moment
from verifier.rules.soak.tally import Gap, words


def local_soak(soak: Soaking) -> Finding:
    """`laptop.soak`: did this laptop measure for as long as was asked."""
    gaps = soak.came_to.gaps
    stops = [g for g in gaps if g.why == "stopped"]
    downs = [g for g in gaps if g.why == "interface"]
    lasted = words(soak.course.lasted_s)
    verdict: Verdict = "pass"
    reason = f"measured for {lasted}"
    if soak.cut_short:
        verdict, reason = "not-tested", soak.cut_short
    for gap in gaps:
        reason += f"; {gap.text} for {words(gap.long_s)}, {moment(gap.start_s)}"
    if stops:
        verdict = "warn" if verdict == "pass" else verdict
        reason += "; what was missed by that is not counted, and was measured longer at the end"
    if downs:
        verdict = "not-tested"
        reason += "; nothing was tested through it in that time"
    for step_s in soak.came_to.steps_s:
        way = "forward" if step_s > 0 else "back"
        reason += f"; the time of day was set {way} by {words(abs(step_s))}, no figure rests on it"
    return Finding(
        check="laptop.soak",
        subject=Subject("laptop", "laptop"),
        verdict=verdict,
        reason=reason,
        expected=soak.course.asked_s,
        observed=soak.course.lasted_s,
        unit="s",
        advice=_advice(verdict, downs),
        evidence=(soak.noted.id,),
    )


def _advice(verdict: Verdict, downs: Sequence[Gap]) -> str:
    if downs:
        return "see that this laptop's cable and port hold, then repeat the soak"
    return "repeat the soak to its end" if verdict == "not-tested" else ""
