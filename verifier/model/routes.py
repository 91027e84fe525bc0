"""What a device's routing tables say of its default route."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class BestRoute:
    """One of a device's routes to 0/0, one of which is the best.

    Attributes:
        next_hop: an address as text; `0.0.0.0` or `::` where the route has none.
        metric: the smaller the better; None where it is not told.
        older: whether ipRouteTable says so, which holds one route for each destination.
    """

    next_hop: str
    metric: int | None = None
    older: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Routes:
    """What was asked of the routing tables.

    Attributes:
        connected: whether a table holds the route of the device's own subnet, which proves that it
            is the table of that address.
        to_hosts: next hops towards management hosts, by the host's address; none where no route
            leads there. Asked only where there is no default route.
        gap: why no default route is known; empty where one is.
    """

    defaults: tuple[BestRoute, ...] = ()
    connected: bool = False
    to_hosts: tuple[tuple[str, tuple[str, ...]], ...] = ()
    gap: str = ""
