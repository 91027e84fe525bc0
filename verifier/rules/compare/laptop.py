"""`laptop.fit`: whether this laptop can reach the device; its fault is never the device's."""

from __future__ import annotations

from verifier.model.observations import ROUTE
from verifier.model.result import Verdict
from verifier.rules.cable import advice as cable_advice
from verifier.rules.cable import is_without_link
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.echo import answered

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
