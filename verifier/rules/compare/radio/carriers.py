"""Every carrier of a plan with both its ends, tied together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from verifier.model.plan import Carrier, End, EndName, Link, Plan, Stage
from verifier.model.subject import Subject
from verifier.rules import radio
from verifier.rules.compare.context import Context
from verifier.rules.compare.radio.carrier_end import CarrierEnd
from verifier.rules.outage import Uplinks

_NO_RADIO = frozenset({"switch", "router"})


@dataclass(frozen=True)
class LiveCarrier:
    """One carrier with both ends."""

    plan: Plan
    link: Link
    carrier: Carrier
    stage: Stage
    a: CarrierEnd
    b: CarrierEnd

    @property
    def subject(self) -> Subject:
        """The carrier."""
        return Subject("link", self.link.name, carrier=self.carrier.carrier)

    def ends(self) -> tuple[CarrierEnd, CarrierEnd]:
        """Both ends, `a` first."""
        return self.a, self.b


def carriers(plan: Plan, contexts: Mapping[str, Context]) -> Iterator[LiveCarrier]:
    """Every carrier at least one of whose devices was asked for."""
    radios: dict[str, set[int]] = defaultdict(set)
    for link in plan.links:
        for carrier in link.carriers:
            for _, end in carrier.ends():
                radios[end.device].add(end.radio if end.radio is not None else carrier.carrier)
    lengths, uplinks = _lengths(plan), Uplinks(plan)
    for link in plan.links:
        km = lengths.get(link.name)
        built = [_hop(plan, link, c, contexts, radios, km, uplinks) for c in link.carriers]
        for hop in built:
            hop.a.others.extend(h.a for h in built if h is not hop)
            hop.b.others.extend(h.b for h in built if h is not hop)
            hop.a.facing.append(hop.b)
            hop.b.facing.append(hop.a)
        yield from (h for h in built if h.a.context or h.b.context)


def _lengths(plan: Plan) -> dict[str, float | None]:
    """Length of each link's path, in km, where the plan or its sites tell it."""
    sites = {s.name: s for s in plan.sites}
    at = {d.name: sites.get(d.site or "") for d in plan.devices}
    return {
        link.name: radio.link_km(
            link, at.get(link.carriers[0].a.device), at.get(link.carriers[0].b.device)
        )
        for link in plan.links
        if link.carriers
    }


def _hop(  # noqa: PLR0913, PLR0917
    plan: Plan,
    link: Link,
    carrier: Carrier,
    contexts: Mapping[str, Context],
    radios: Mapping[str, set[int]],
    km: float | None,
    uplinks: Uplinks,
) -> LiveCarrier:
    stage = next(iter(contexts.values())).stage if contexts else "handover"

    def side(name: EndName, end: End, far: End) -> CarrierEnd:
        return CarrierEnd(
            plan=plan, link=link, carrier=carrier, name=name, end=end, far=far, stage=stage,
            context=contexts.get(end.device), sole=len(radios[end.device]) == 1, km=km,
            uplinks=uplinks,
        )  # fmt: skip

    return LiveCarrier(
        plan=plan, link=link, carrier=carrier, stage=stage,
        a=side("a", carrier.a, carrier.b), b=side("b", carrier.b, carrier.a),
    )  # fmt: skip


def is_radio(side: CarrierEnd) -> bool:
    """Whether radio checks fit the device: it was asked for and is no switch or router."""
    return side.context is not None and side.context.profile.kind not in _NO_RADIO
