"""`neighbour.*`: who answers for a device's address on the cable, and with which hardware."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping

from verifier.model import mib
from verifier.model.address import Mac
from verifier.model.observations import (
    ARP_RESPONDERS,
    NEIGHBOUR,
    UNPLANNED_ANSWER,
    Observation,
    UnplannedAnswer,
)
from verifier.rules import decode
from verifier.rules.compare.address import held_addresses
from verifier.rules.compare.context import Context, Findings
from verifier.rules.observations import of_kind


def hardware_address(context: Context) -> Findings:
    """`neighbour.mac`: from the neighbour table when on-link, else ifPhysAddress."""
    planned = context.device.mac
    if planned is None:
        return
    path = ("mac",)
    told = (context.seen.first(NEIGHBOUR), context.seen.first(mib.IF_PHYS_ADDRESS))
    seen = next((o for o in told if o is not None and o.value is not None), None)
    found = None if seen is None else decode.hardware_address(str(seen.value))
    if seen is None or found is None:
        gap = context.snmp_gap or "neither the neighbour table nor ifPhysAddress tells it"
        if seen is not None:
            octets = f"no address of six octets: {seen.value}" if seen.value else "empty"
            gap = f"the hardware address by {_source(seen)} is {octets}"
        yield context.finding("neighbour.mac", "not-tested", gap, expected=str(planned), path=path)
        return
    right = found == planned
    yield context.finding(
        "neighbour.mac",
        "pass" if right else "fail",
        f"{'the planned' if right else 'another'} hardware address, by {_source(seen)}",
        expected=str(planned),
        observed=str(found),
        path=path,
        advice="" if right else "another device stands at this address, or it was exchanged",
        evidence=(seen,),
    )


def _source(seen: Observation[object]) -> str:
    return "this laptop's neighbour table" if seen.kind is NEIGHBOUR else "ifPhysAddress"


def duplicate(context: Context) -> Findings:
    """`neighbour.duplicate`: several hardware addresses answer for one address (RFC 5227 1)."""
    seen = context.seen.first(ARP_RESPONDERS)
    macs = (seen and seen.value) or ()
    if len(macs) < 2:  # noqa: PLR2004
        return
    yield context.finding(
        "neighbour.duplicate",
        "fail",
        f"{len(macs)} hardware addresses answer for this address",
        path=("address",),
        expected=str(context.device.mac) if context.device.mac else "one hardware address",
        observed=", ".join(map(str, macs)),
        advice="take the planned device off the cable: whoever still answers is the other one",
        evidence=(seen,),
    )


def proxies(contexts: Iterable[Context], observations: Iterable[Observation[object]]) -> Findings:
    """`neighbour.proxy`: who answers for a device also answers for what nobody holds."""
    also: dict[Mac, list[Observation[UnplannedAnswer]]] = defaultdict(list)
    for seen in of_kind(observations, UNPLANNED_ANSWER):
        for mac in seen.value.macs if seen.value is not None else ():
            also[mac].append(seen)
    if also:
        for context in contexts:
            yield from _proxy(context, also)


def _proxy(context: Context, also: Mapping[Mac, list[Observation[UnplannedAnswer]]]) -> Findings:
    responders = context.seen.first(ARP_RESPONDERS)
    own = {i.address for i in held_addresses(context)}
    for mac in (responders and responders.value) or ():
        strange = [o for o in also.get(mac, ()) if o.value and o.value.address not in own]
        if not strange:
            continue
        listed = ", ".join(str(o.value.address) for o in strange if o.value)
        yield context.finding(
            "neighbour.proxy",
            "warn",
            f"{mac} answers for this address and also for {listed}, which nobody in the plan holds",
            path=("address",),
            observed=str(mac),
            advice="ask the device for its name: an echo alone does not prove that it is there",
            evidence=(responders, *strange),
        )
