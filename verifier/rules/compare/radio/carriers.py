"""Every carrier of a plan with both its ends tied together; what comes from a muted far end."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from verifier.model.plan import Carrier, End, EndName, Link, Plan, Stage
from verifier.model.problem import Subject
from verifier.model.result import Finding
from verifier.rules import radio
from verifier.rules.compare.context import Context
from verifier.rules.compare.radio.carrier_end import HOT_STANDBY, CarrierEnd, figure
from verifier.rules.compare.radio.read import Read
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

    def near(name: EndName, end: End, far: End) -> CarrierEnd:
        return CarrierEnd(
            plan=plan, link=link, carrier=carrier, name=name, end=end, far=far, stage=stage,
            context=contexts.get(end.device), sole=len(radios[end.device]) == 1, km=km,
            uplinks=uplinks,
        )  # fmt: skip

    return LiveCarrier(
        plan=plan, link=link, carrier=carrier, stage=stage,
        a=near("a", carrier.a, carrier.b), b=near("b", carrier.b, carrier.a),
    )  # fmt: skip


def is_radio(near: CarrierEnd) -> bool:
    """Whether radio checks fit the device: it was asked for and is no switch or router."""
    return near.context is not None and near.context.profile.kind not in _NO_RADIO


MUTED_FAR = "the far end says that its transmitter is off"
NOT_REAL = "something else transmits, or the mute is not real"
LOOK_FOR_IT = (
    "nobody in front of the antenna: switch the far device's power off; if the level stays, "
    "somebody else transmits on this frequency"
)
_NOISE_DBM_PER_HZ, _FIGURE_DB, _ABOVE_DB = -174.0, 5.0, 10.0
"""Thermal noise at 290 K, a usual receiver's figure, and how far above both a signal stands
clear. Common practice, no source for the last two."""
_USUAL_MHZ = 28.0
_LEAK_DB = 15.0
"""The other polarisation of one channel arrives at least so much weaker. Common practice."""


def signal_of_nobody(near: CarrierEnd, seen: Read | None) -> Finding | None:
    """`radio.rx-level` where a signal is received from an end that says it is off; else None.

    On a bench where no level is planned other radios may be near: there it warns.
    """
    if seen is None or seen.number is None or near.sender.transmits is not False:
        return None
    level = seen.number
    if level < floor_dbm(near) or _leaks(near, level):
        return None
    at = "bench_rx_level_dbm" if near.stage == "bench" else "rx_level_dbm"
    by_the_way = near.stage == "bench" and near.end.bench_rx_level_dbm is None
    return near.finding(
        "radio.rx-level", "warn" if by_the_way else "fail",
        f"{figure(level)} dBm is received, and {MUTED_FAR}: {NOT_REAL}", at=at, expected=None,
        observed=level, unit="dBm", advice=LOOK_FOR_IT, silences=True,
        reads=(seen, near.sender.read("tx_enabled")),
    )  # fmt: skip


def heard_by(near: CarrierEnd) -> float | None:
    """The level at the other end of a transmitter that says it is off; None: nothing stands out."""
    listener = near.across
    if listener.context is None or listener.sender is not near:
        return None
    seen = listener.read("rx_level_dbm")
    if seen is None or seen.number is None or seen.number < floor_dbm(listener):
        return None
    return None if _leaks(listener, seen.number) else seen.number


def floor_dbm(near: CarrierEnd) -> float:
    """Below, what a receiver shows may be its own noise."""
    width_hz = (near.bandwidth_mhz or _USUAL_MHZ) * 1e6
    return _NOISE_DBM_PER_HZ + 10 * math.log10(width_hz) + _FIGURE_DB + _ABOVE_DB


def outage_db(near: CarrierEnd) -> float:
    """What must be lost on the way before nothing of the planned level is left; inf: not known."""
    planned = near.end.rx_level_dbm
    return math.inf if planned is None else planned - floor_dbm(near)


def _leaks(near: CarrierEnd, level: float) -> bool:
    """Whether another carrier of the same channel accounts for it."""
    planned = near.end.rx_level_dbm
    if near.link.protection in HOT_STANDBY:
        return False
    same = [o for o in near.others if o.far.tx_mhz == near.far.tx_mhz and o.sender.transmits]
    return bool(same) and (planned is None or level <= planned - _LEAK_DB)


def frequency_db(hop: LiveCarrier) -> float | None:
    """20 log10(f_a / f_b), by the frequencies read, else planned."""
    mhz = [s.number("tx_mhz") or s.end.tx_mhz for s in hop.ends()]
    if mhz == [None, None] and hop.link.duplexing == "tdd":
        return 0.0
    if mhz[0] is None or mhz[1] is None or mhz[0] <= 0 or mhz[1] <= 0:
        return None
    return 20 * math.log10(mhz[0] / mhz[1])
