"""Whom a soak's echoes go to, in which sizes and how often."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from verifier.model.address import Address
from verifier.model.laptop import Route
from verifier.model.plan import Device, Plan
from verifier.model.subject import Subject
from verifier.probes.echo.mtu import SMALL_BYTES
from verifier.probes.echo.series import EchoTarget
from verifier.probes.echo.watch import Watched
from verifier.rules.compare.soak.traffic import pair_hosts
from verifier.session.limits import DEFAULT_PACKETS_PER_S
from verifier.session.world import EchoAccess

LARGE_BYTES: Final = 1500
"""Size of the large echoes where the plan names none: a full Ethernet frame (RFC 894)."""
_SHARE: Final = 0.8
"""Part of the packet limit that echoes may take; the rest is left to SNMP."""

Routes = Callable[[Sequence[Address]], Mapping[Address, Route | None]]


@dataclass(frozen=True, slots=True, kw_only=True)
class GridTarget:
    """What a row of the grid is about: whom its echoes go to, and what they judge."""

    subject: Subject
    path: Literal["management", "traffic"]
    bytes: int
    interface: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Rows, and how each is measured.

    Attributes:
        step_s: time between two echoes of a row.
        loopback: whether nothing leaves this machine.
        fault: why an address family is left out, or empty.
    """

    rows: tuple[GridTarget, ...] = ()
    watched: tuple[Watched, ...] = ()
    step_s: float = 1.0
    loopback: bool = False
    fault: str = ""


def grid(
    plan: Plan,
    devices: Sequence[Device],
    routes: Routes,
    echoes: EchoAccess,
    limit_per_s: float | None,
) -> Grid:
    """The rows of each device and of each host of a traffic pair, in two sizes.

    Args:
        plan: its limits, its traffic pairs, and the hosts they name.
        devices: the devices.
        routes: this machine's choice for addresses.
        echoes: sends them.
        limit_per_s: packet limit that was given; None: the default, from which loopback is exempt.
    """
    whom = {Subject("device", d.name): d.address.address for d in devices}
    hosts = pair_hosts(plan)
    whom |= {Subject("host", name): a for name, a in hosts.items() if a is not None}
    found = routes(list(whom.values()))
    missing = _missing_families(whom.values(), echoes)
    sizes = dict.fromkeys((SMALL_BYTES, large_bytes(plan)))
    rows, watched = [], []
    for subject, address in whom.items():
        if address.version in missing:
            continue
        route = found.get(address)
        for size in sizes:
            interface = route.interface if route is not None else None
            path: Literal["management", "traffic"] = (
                "management" if subject.kind == "device" else "traffic"
            )
            rows.append(GridTarget(subject=subject, path=path, bytes=size, interface=interface))
            target = EchoTarget(address=address)
            watched.append(Watched(target=target, packet_bytes=size, interface=interface))
    loopback = all(w.target.address.is_loopback for w in watched)
    return Grid(
        rows=tuple(rows),
        watched=tuple(watched),
        step_s=_step_s(plan, len(rows), limit_per_s, loopback=loopback),
        loopback=loopback,
        fault="; ".join(missing.values()),
    )


def large_bytes(plan: Plan) -> int:
    """Size of the larger echoes: the planned one, that of a full Ethernet frame without a plan."""
    return max(SMALL_BYTES, plan.acceptance.mtu_bytes or LARGE_BYTES)


def _missing_families(addresses: Iterable[Address], echoes: EchoAccess) -> dict[int, str]:
    """Address families whose echoes this machine cannot send, and why.

    One family without permission must not keep the other from being measured.
    """
    why = {version: echoes.missing(version) for version in sorted({a.version for a in addresses})}
    return {version: words for version, words in why.items() if words}


def _step_s(plan: Plan, rows: int, limit_per_s: float | None, *, loopback: bool) -> float:
    """The plan's, or longer where the packet limit is met."""
    step_s = 1.0 / (plan.acceptance.echo_per_s or 1.0)
    if limit_per_s is None and loopback:
        return step_s
    return max(step_s, round(rows / (_SHARE * (limit_per_s or DEFAULT_PACKETS_PER_S)), 3))
