"""`laptop.fit`: can this laptop reach the device; `laptop.soak`: did it measure long enough.

A fault of the laptop is never the device's.
"""

from __future__ import annotations

from collections.abc import Sequence

from verifier.model.observations import ROUTE
from verifier.model.problem import Subject
from verifier.model.result import Finding, Verdict
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.echo import answered
from verifier.rules.compare.soak.context import Soaking, moment
from verifier.rules.fit.ways import advice as cable_advice
from verifier.rules.fit.ways import is_without_link
from verifier.rules.soak.tally import Gap, words

_FIT_ADVICE = "set the laptop into the device's subnet, or give both a way through a gateway"
_FIT_ADVICE_BY = {
    "clash": "take this address off the laptop and give it a free one of the subnet",
    "shadowed": "take one of the two interfaces out of the subnet",
}


def local_fit(context: Context) -> Findings:
    """`laptop.fit`: the laptop's fault is never the device's."""
    fit = context.fit
    if fit is None:
        yield context.finding("laptop.fit", "not-tested", "this machine's addresses were not read")
        return
    out = is_without_link(fit.explanation)
    reason = fit.explanation if out else f"{fit.relation}: {fit.explanation}"
    if fit.notes:
        reason += "; " + "; ".join(fit.notes)
    advice = "" if fit.verdict == "pass" else _FIT_ADVICE_BY.get(fit.relation, _FIT_ADVICE)
    if out:
        advice = cable_advice(fit.explanation)
    verdict: Verdict = "pass"
    if fit.verdict != "pass":
        alive = answered(context)
        verdict = "warn" if alive else "not-tested"
        reason += "; it answered all the same" if alive else "; the device could not be tested"
    route = context.seen.first(ROUTE)
    yield context.finding(
        "laptop.fit",
        verdict,
        reason,
        path=("address",),
        expected=str(fit.address),
        observed=fit.laptop_address,
        advice=advice,
        evidence=(route,),
    )


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
