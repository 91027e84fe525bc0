"""One carrier of a link with both its ends: what a radio check may look at, and how it speaks."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from verifier.model.observation import Observation
from verifier.model.plan import Carrier, End, EndName, Link, Plan, Stage
from verifier.model.result import Finding, Verdict
from verifier.model.subject import Subject
from verifier.rules import radio
from verifier.rules.compare import reach
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.radio import standby
from verifier.rules.compare.radio.read import Read, find, is_mhz, read

EXACT_DB = 0.05
"""Levels are shown with one decimal: what differs by less is equal."""
POWER_DB = 0.5
"""What a power may differ from the plan (contract: comparing)."""
READ_DB = 1.0
"""How well a receiver knows its level, SNR and discrimination. Common practice, no source."""
HOT_STANDBY = frozenset({"1+1-hsb", "1+1-sd"})
"""One transmitter of two is on at a time; with frequency diversity both are."""
_NO_RADIO = frozenset({"switch", "router"})


@dataclass(frozen=True)
class CarrierEnd:
    """One end of a carrier, and its device.

    Attributes:
        context: of the device; None: it was not asked for.
        far: what the other end is planned to be.
        sole: the device has only this radio.
        others: the same end of the link's other carriers.
        facing: the other end of this carrier, alone in its list.
        km: length of the path, where the plan or its sites tell it.
    """

    plan: Plan
    link: Link
    carrier: Carrier
    name: EndName
    end: End
    far: End
    stage: Stage
    context: Context | None
    sole: bool
    others: list[CarrierEnd] = field(default_factory=list, repr=False)
    facing: list[CarrierEnd] = field(default_factory=list, repr=False)
    km: float | None = None

    @property
    def subject(self) -> Subject:
        """The end."""
        return Subject("link", self.link.name, carrier=self.carrier.carrier, end=self.name)

    @property
    def radio(self) -> int:
        """The N of `radio:N`."""
        return self.end.radio if self.end.radio is not None else self.carrier.carrier

    @cached_property
    def gap(self) -> str:
        """Why the device tells nothing; empty where it answered."""
        if self.context is None:
            return f"{self.end.device} was not asked"
        if self.context.itself:
            return "this laptop holds the device's address, see laptop.fit"
        if (why := self.context.snmp_gap) is None:
            return ""
        if reach.answered(self.context):
            return why
        fit = self.context.fit
        if fit is not None and fit.verdict == "fail":
            return "this laptop does not reach the device, see laptop.fit"
        return "the device gave no answer at all, see echo.reply"

    @cached_property
    def _reads(self) -> dict[str, Read | None]:
        return {}

    def read(self, *fields: str) -> Read | None:
        """The first of these readings that the profile has; None where it has none of them."""
        for name in fields:
            if name not in self._reads:
                self._reads[name] = self._read(name)
            if (found := self._reads[name]) is not None:
                return found
        return None

    def _read(self, name: str) -> Read | None:
        if self.context is None:
            return None
        found = find(self.context.profile, name, self.radio, sole=self.sole)
        if found is None:
            return None
        if self.gap:
            return Read(reading=found[1], name=found[0], gap=self.gap)
        return read(self.context, *found)

    def number(self, *fields: str) -> float | None:
        """The value of that reading, where it is a number."""
        found = self.read(*fields)
        return found.number if found is not None else None

    def truth(self, name: str) -> bool | None:
        """Yes or no of that reading; None where it is not read."""
        found = self.read(name)
        return found.truth if found is not None else None

    def missing(self, *fields: str) -> str:
        """Why that reading has no value, in words."""
        found = self.read(*fields)
        if found is not None and found.nothing:
            return "nothing is received"
        if found is not None:
            return found.gap or f"{found.word!r} is none of the words of {fields[0]}"
        if self.context is None or self.gap:
            return self.gap
        several = "" if self.sole else f" of radio {self.radio}"
        names = " or ".join(fields)
        return f"profile {self.context.profile.id!r} has no reading for {names}{several}"

    @property
    def transmits(self) -> bool | None:
        """Whether its transmitter is on; None where that is not read."""
        on = self.truth("tx_enabled")
        return False if on and self.output_muted else on

    @cached_property
    def output_muted(self) -> bool:
        """Whether it is a hot standby that is enabled and reads that nothing leaves it."""
        return self.link.protection in HOT_STANDBY and standby.output_muted(self)

    @property
    def atpc_on(self) -> bool:
        """Whether ATPC is on: as read, else as planned."""
        seen = self.truth("atpc")
        return bool(self.end.atpc) if seen is None else seen

    @property
    def standby(self) -> bool:
        """Whether it is rightly off: another carrier's transmitter of this end is on."""
        return (
            self.link.protection in HOT_STANDBY
            and self.transmits is False
            and any(other.transmits for other in self.others)
        )

    @property
    def across(self) -> CarrierEnd:
        """The other end of the carrier."""
        return self.facing[0]

    @property
    def sender(self) -> CarrierEnd:
        """The end that this one receives from: in hot standby the far one that is on."""
        return standby.sender(self) if self.link.protection in HOT_STANDBY else self.across

    @cached_property
    def planned_for(self) -> CarrierEnd:
        """The far transmitter whose signal the planned level is of."""
        return standby.planned_for(self) if self.link.protection in HOT_STANDBY else self.across

    @property
    def bandwidth_mhz(self) -> float | None:
        """In use: as read, else as planned; the planned one where the reading is it, rounded."""
        seen, planned = self.read("bandwidth_mhz"), self.link.bandwidth_mhz
        if seen is None or seen.number is None:
            return planned
        if planned is not None and is_mhz(seen, planned):
            return planned
        return seen.number

    @property
    def heard_mhz(self) -> float | None:
        """The frequency this end receives on, as planned, else as either end reads it."""
        planned = self.far.tx_mhz
        return planned or self.across.number("tx_mhz") or self.number("rx_mhz")

    def finding(  # noqa: PLR0913
        self,
        check: str,
        verdict: Verdict,
        reason: str,
        *,
        at: str = "",
        origin: str | None = None,
        expected: Any = None,
        observed: Any = None,
        unit: str | None = None,
        advice: str = "",
        reads: Iterable[Read | None] = (),
        evidence: Iterable[Observation] = (),
    ) -> Finding:
        """A finding of this end; `at` is the planned field, of the end or else of the link.

        `origin` says instead where the planned value stands.
        """
        return Finding(
            check=check,
            subject=self.subject,
            verdict=verdict,
            reason=reason,
            expected=rounded(expected),
            observed=rounded(observed),
            unit=unit,
            origin=self.origin(at) if origin is None else origin,
            advice=advice,
            evidence=tuple(
                dict.fromkeys(
                    [*(o.id for r in reads if r is not None for o in r.seen),
                     *(o.id for o in evidence)]
                )
            ),
        )  # fmt: skip

    def origin(self, at: str) -> str:
        """Where a field of the end, the carrier or the link was written."""
        number = str(self.carrier.carrier)
        if hasattr(self.end, at):
            return self.plan.origin("links", self.link.name, number, self.name, at)
        if hasattr(self.carrier, at):
            return self.plan.origin("links", self.link.name, number, at)
        return self.plan.origin("links", self.link.name, *((at,) if at else ()))


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

    def sides(self) -> tuple[CarrierEnd, CarrierEnd]:
        """Both ends, `a` first."""
        return self.a, self.b


EndCheck = Callable[[CarrierEnd], Findings]


def hops(plan: Plan, contexts: Mapping[str, Context]) -> Iterator[LiveCarrier]:
    """Every carrier at least one of whose devices was asked for."""
    radios: dict[str, set[int]] = defaultdict(set)
    for link in plan.links:
        for carrier in link.carriers:
            for _, end in carrier.ends():
                radios[end.device].add(end.radio if end.radio is not None else carrier.carrier)
    lengths = _lengths(plan)
    for link in plan.links:
        km = lengths.get(link.name)
        built = [_hop(plan, link, c, contexts, radios, km) for c in link.carriers]
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
) -> LiveCarrier:
    stage = next(iter(contexts.values())).stage if contexts else "handover"

    def side(name: EndName, end: End, far: End) -> CarrierEnd:
        return CarrierEnd(
            plan=plan, link=link, carrier=carrier, name=name, end=end, far=far, stage=stage,
            context=contexts.get(end.device), sole=len(radios[end.device]) == 1, km=km,
        )  # fmt: skip

    return LiveCarrier(
        plan=plan, link=link, carrier=carrier, stage=stage,
        a=side("a", carrier.a, carrier.b), b=side("b", carrier.b, carrier.a),
    )  # fmt: skip


def is_radio(side: CarrierEnd) -> bool:
    """Whether radio checks fit the device: it was asked for and is no switch or router."""
    return side.context is not None and side.context.profile.kind not in _NO_RADIO


def rounded(value: Any) -> Any:
    """A number as a report shows it: to a thousandth."""
    return round(value, 3) if isinstance(value, float) else value


figure = radio.figure


def near(beyond: float, accuracy: float) -> str:
    """Words that a figure is within its reading's accuracy of a limit; else empty.

    It is judged as it reads all the same: simple acceptance, no guard band.
    """
    return "; near the limit" if abs(beyond) <= accuracy + 1e-6 else ""
