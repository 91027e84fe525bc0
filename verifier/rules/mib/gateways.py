"""Is the default route the planned one; what it means that there is none.

No default route is a fault only where the table that lacks it is the right one: it holds the route
of the planned address's own subnet. Agents may show another routing instance than the one that
management uses.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from verifier.model.address import Address, Interface
from verifier.model.mib import IP_ROUTE
from verifier.model.observations import CONNECTED_ROUTE, DEFAULT_ROUTE, HOST_ROUTE
from verifier.model.plan import Device, Plan
from verifier.model.result import Verdict
from verifier.model.routes import BestRoute, Routes
from verifier.rules.observations import Observations

NONE = "none"
"""Written for a gateway: there is none, in the plan or in the device."""
_CORRECT = "correct the gateway in the device, save, and read it again"
_SET = "set the gateway in the device, save, and read it again"


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What a device's default route comes to; `found` is `none` where it has none."""

    verdict: Verdict
    reason: str
    found: str | None = None
    advice: str = ""


def told(seen: Observations) -> Routes:
    """What all that was seen of a device's routing tables says."""
    rows = seen.all(DEFAULT_ROUTE)
    return Routes(
        defaults=tuple(
            BestRoute(
                next_hop=str(route.next_hop),
                metric=route.metric,
                older=(o.oid or "").startswith(IP_ROUTE["ipRouteNextHop"]),
            )
            for o in rows
            if (route := o.value) is not None
        ),
        connected=bool(seen.values(CONNECTED_ROUTE)),
        to_hosts=tuple((str(r.host), r.next_hops) for r in seen.values(HOST_ROUTE)),
        gap=next((o.raw or "" for o in rows if o.value is None), ""),
    )


def hosts_outside(plan: Plan, device: Device, at: Interface | None = None) -> tuple[Address, ...]:
    """The management hosts that a device reaches by a gateway only.

    `at`: the one address it has, where it has not its planned ones.
    """
    own = (device.address, *(o.address for o in device.other_addresses)) if at is None else (at,)
    return tuple(
        host.address
        for host in plan.management.hosts
        if host.address.version == own[0].version and not any(a.holds(host.address) for a in own)
    )


def judged(
    planned: Address | None,
    routes: Routes,
    *,
    hosts: Sequence[Address] = (),
    outsider: str | None = None,
) -> Judged:
    """What the device's routes mean.

    Args:
        planned: its gateway; None: it is to have none.
        routes: as `told` gives them.
        hosts: management hosts outside its subnets.
        outsider: who has got an answer of it in this run, although outside its subnets.
    """
    if routes.defaults:
        return _with_default(planned, routes.defaults)
    if not routes.connected:
        gap = routes.gap or "no routing table is readable"
        return Judged(verdict="not-tested", reason=gap)
    if planned is None:
        return Judged(
            verdict="pass", reason="the device has no default route, as planned", found=NONE
        )
    return _without_default(planned, routes, hosts, outsider)


def _with_default(planned: Address | None, defaults: Sequence[BestRoute]) -> Judged:
    listed = ", ".join(dict.fromkeys(d.next_hop for d in defaults))
    if planned is None:
        reason = "the device has a default route, and the plan wants none"
        advice = "take the gateway out of the device, or write it into the plan"
        return Judged(verdict="fail", reason=reason, found=listed, advice=advice)
    best = best_of(defaults)
    if str(planned.ip) in best:
        several = "one of its best default routes is" if len(best) > 1 else "its best one is"
        if len({d.next_hop for d in defaults}) == 1:
            several = "the device's default route is"
        return Judged(verdict="pass", reason=f"{several} the planned one", found=listed)
    reason = "the device's default route goes elsewhere: it is reached from its own subnet only"
    if any(d.next_hop == str(planned.ip) for d in defaults):
        reason = f"the device prefers another default route, by {', '.join(best)}"
    return Judged(verdict="fail", reason=reason, found=listed, advice=_CORRECT)


def best_of(defaults: Sequence[BestRoute]) -> tuple[str, ...]:
    """The next hops of the best default routes: of the smallest metric, or of none that is told.

    ipRouteTable holds one route for each destination, so a newer table decides where there is one.
    A metric of -1 is not used (RFC 4292).
    """
    rows = [d for d in defaults if not d.older] or list(defaults)
    used = {n: d.metric for n, d in enumerate(rows) if d.metric is not None and d.metric >= 0}
    least = min(used.values(), default=0)
    best = (d.next_hop for n, d in enumerate(rows) if used.get(n, least) == least)
    return tuple(dict.fromkeys(best))


def _without_default(
    planned: Address, routes: Routes, hosts: Sequence[Address], outsider: str | None
) -> Judged:
    ways = dict(routes.to_hosts)
    by_planned = [h for h in hosts if ways.get(str(h.ip)) == (str(planned.ip),)]
    if hosts and len(by_planned) == len(hosts):
        number = f"all {len(hosts)} management hosts" if len(hosts) > 1 else "the management host"
        reason = f"no default route, but a route to {number} by the planned gateway"
        return Judged(verdict="pass", reason=reason, found=str(planned))
    has_none = (
        "the device has no gateway: its routing table holds its own subnet, but no default route"
    )
    lost = [str(h) for h in hosts if h not in by_planned]
    if outsider is not None:
        return Judged(
            verdict="warn",
            reason=f"{has_none}; yet it answered {outsider}, which is outside its subnet",
            found=NONE,
            advice="look into the device which way its answers take, and set the planned gateway",
        )
    if lost:
        has_none += f"; nor a route by it to {', '.join(lost)}"
    return Judged(verdict="fail", reason=has_none, found=NONE, advice=_SET)
