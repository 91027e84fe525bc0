"""Who answers for a device's address on the cable: one, several, or one for everybody."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from verifier.model.observation import Observation
from verifier.model.result import Finding
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.settings import held_addresses


def duplicate(context: Context) -> Findings:
    """`neighbour.duplicate`: several hardware addresses answer for one address (RFC 5227 1)."""
    seen = context.seen.first("holders")
    if seen is None or len(seen.value) < 2:  # noqa: PLR2004
        return
    yield context.finding(
        "neighbour.duplicate",
        "fail",
        f"{len(seen.value)} hardware addresses answer for this address",
        path=("address",),
        expected=str(context.device.mac) if context.device.mac else "one hardware address",
        observed=", ".join(seen.value),
        advice="take the planned device off the cable: whoever still answers is the other one",
        evidence=(seen,),
    )


def proxies(contexts: Iterable[Context], observations: Iterable[Observation]) -> list[Finding]:
    """`neighbour.proxy`: who answers for a device also answers for what nobody holds."""
    also: dict[str, list[Observation]] = defaultdict(list)
    for seen in observations:
        if seen.what == "unplanned-answer" and seen.value:
            for mac in seen.value["macs"]:
                also[mac].append(seen)
    return [f for c in contexts for f in _proxy(c, also)] if also else []


def _proxy(context: Context, also: dict[str, list[Observation]]) -> Findings:
    holders = context.seen.first("holders")
    own = {str(i.address) for i in held_addresses(context)}
    for mac in holders.value if holders is not None else ():
        strange = [o for o in also.get(mac, ()) if o.value["address"] not in own]
        if not strange:
            continue
        listed = ", ".join(o.value["address"] for o in strange)
        yield context.finding(
            "neighbour.proxy",
            "warn",
            f"{mac} answers for this address and also for {listed}, which nobody in the plan holds",
            path=("address",),
            observed=mac,
            advice="ask the device for its name: an echo alone does not prove that it is there",
            evidence=(holders, *strange),
        )
