"""Asks a device for its default route; where there is none, for what tells whether that is a fault.

Never a whole table: rows of 0/0, then of the device's own subnet, then of the subnets that can hold
a management host, each asked for by its index.

ipRouteTable holds one route for each destination, so the CIDR tables decide.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from verifier.model import mib
from verifier.model.address import Address, Interface
from verifier.model.kind import KindOf
from verifier.model.mib import ConnectedRoute, DefaultRoute, HostRoute
from verifier.model.observations import (
    CONNECTED_ROUTE,
    DEFAULT_ROUTE,
    HOST_ROUTE,
    Observation,
    Unreadable,
)
from verifier.model.problem import Subject
from verifier.probes.snmp.values import SnmpReply, SnmpTarget, VarBind
from verifier.rules import routes
from verifier.rules.routes import RouteTable
from verifier.session.ask.readings import failure
from verifier.session.recorder import Recorder
from verifier.session.world import SnmpManager

T = TypeVar("T")
MAX_ROWS = 8
"""Of one destination in one table."""
_AT_ONCE = 24
"""Objects in one request, so that a response stays within one frame."""
_NO_DEFAULT = "no default route in any routing table"


@dataclass(frozen=True, slots=True)
class Noted(Generic[T]):
    """What was seen, as an observation will hold it."""

    kind: KindOf[T]
    seen: T | Unreadable
    raw: str | None = None
    oid: str | None = None

    def put(self, record: Recorder) -> None:
        """Writes it down."""
        record.note(self.kind, self.seen, raw=self.raw, oid=self.oid)

    def observation(self, subject: Subject) -> Observation[T]:
        """The same as an observation that is not kept."""
        raw = self.seen.reason if isinstance(self.seen, Unreadable) else self.raw
        return Observation(
            id=0, subject=subject, kind=self.kind, seen=self.seen, at="", raw=raw, oid=self.oid
        )


AnyRoute = Noted[DefaultRoute] | Noted[ConnectedRoute] | Noted[HostRoute]


@dataclass(frozen=True, slots=True)
class _RouteRow:
    binding: VarBind
    table: RouteTable
    next_hop: str | None


@dataclass(slots=True)
class Routing:
    """The routing tables of one device.

    Args:
        at: its address, with its planned prefix.
        prefixes: lengths of the masks it may have.
        hosts: management hosts outside its subnets.
    """

    client: SnmpManager
    target: SnmpTarget
    at: Interface
    prefixes: Iterable[int] = ()
    hosts: Sequence[Address] = ()

    @property
    def older(self) -> str | None:
        """The object of ipRouteTable that tells the next hop; None: that table is of IPv4 only."""
        return mib.IP_ROUTE_NEXT_HOP_DEFAULT if self.at.address.is_v4 else None

    async def read(self, older: VarBind | None) -> Sequence[AnyRoute]:
        """All that there is to know; `older`: what came of asking for the object of that name."""
        found, gap = await self._rows({t: t.subtree for t in routes.tables(self.at.version)})
        defaults = [n async for n in self._metrics(found)]
        hop = None if older is None or older.missing else host_of(str(older.value))
        known = {n.seen.next_hop for n in defaults if not isinstance(n.seen, Unreadable)}
        if older is not None and hop is not None and hop not in known:
            route = DefaultRoute(next_hop=hop)
            defaults.append(Noted(DEFAULT_ROUTE, route, older.raw, older.oid))
        if defaults:
            return defaults
        if gap:
            return [Noted(DEFAULT_ROUTE, Unreadable(gap))]
        connected = await self._connected()
        if isinstance(connected, str):
            raw = f"{_NO_DEFAULT}, but {connected}"
            return [
                Noted(DEFAULT_ROUTE, Unreadable(raw)),
                Noted(CONNECTED_ROUTE, Unreadable(connected)),
            ]
        none = Noted(DEFAULT_ROUTE, Unreadable(_NO_DEFAULT))
        return [none, connected, *[await self._towards(host) for host in self.hosts]]

    async def _rows(self, wanted: dict[RouteTable, str]) -> tuple[list[_RouteRow], str]:
        """Rows of one destination in each table; and why not all of them are known."""
        found: list[_RouteRow] = []
        at = dict(wanted)
        while at:
            reply = await self.client.get_next(self.target, list(at.values()))
            if reply.outcome != "answered":
                return found, failure(reply)
            told = dict(zip(list(at), reply.bindings, strict=False))
            for table, last in list(at.items()):
                row = _row(table, wanted[table], told.get(table), last)
                if row is None:
                    del at[table]
                    continue
                found.append(row)
                at[table] = row.binding.oid
                if sum(r.table == table for r in found) == MAX_ROWS:
                    del at[table]
        return found, ""

    async def _metrics(self, rows: Sequence[_RouteRow]) -> AsyncIterator[Noted[DefaultRoute]]:
        """Default routes with their metrics, where there are several; what goes nowhere is none."""
        usable = [r for r in rows if r.next_hop and r.binding.value not in routes.DROPPED]
        metrics: dict[str, int] = {}
        if len({r.next_hop for r in usable}) > 1:
            names = [
                r.table.metric_column + r.binding.oid.removeprefix(r.table.type_column)
                for r in usable
            ]
            reply = await self.client.get(self.target, names)
            for row, name in zip(usable, names, strict=True):
                told = reply.binding(name)
                if told is not None and isinstance(told.value, int):
                    metrics[row.binding.oid] = told.value
        for row in usable:
            oid = row.binding.oid
            route = DefaultRoute(
                next_hop=Address.parse(row.next_hop or ""), metric=metrics.get(oid)
            )
            yield Noted(DEFAULT_ROUTE, route, row.binding.raw, oid)

    async def _connected(self) -> Noted[ConnectedRoute] | str:
        """The route of the device's own subnet; or why there is none."""
        subnets = [
            Interface.of(self.at.address, p)
            for p in dict.fromkeys((self.at.prefix, *self.prefixes))
        ]
        for subnet in subnets:
            wanted = {t: t.subtree_of(subnet) for t in routes.tables(self.at.version)}
            found, gap = await self._rows_or_hopless(wanted)
            if gap:
                return gap
            for row in found:
                if routes.is_connected(row.binding.value, row.next_hop, self.at):
                    route = ConnectedRoute(to=subnet.subnet, next_hop=row.next_hop)
                    return Noted(CONNECTED_ROUTE, route, row.binding.raw, row.binding.oid)
            if self.at.address.is_v4 and (older := await self._older(subnet)) is not None:
                kind, hop = older
                if routes.is_connected(kind, hop, self.at):
                    oid = f"{mib.IP_ROUTE['ipRouteNextHop']}.{_first(subnet)}"
                    route = ConnectedRoute(to=subnet.subnet, next_hop=hop)
                    return Noted(CONNECTED_ROUTE, route, hop, oid)
        return (
            f"nor is the route of its own subnet {self.at.subnet} listed: no table is readable, or "
            "it is another routing instance's"
        )

    async def _rows_or_hopless(self, wanted: dict[RouteTable, str]) -> tuple[list[_RouteRow], str]:
        """As `_rows`, the first row of each table only, a row without a next hop too."""
        reply = await self.client.get_next(self.target, list(wanted.values()))
        if reply.outcome != "answered":
            return [], failure(reply)
        pairs = zip(wanted.items(), reply.bindings, strict=False)
        return [
            _RouteRow(b, table, routes.next_hop(table, b.oid, subtree))
            for (table, subtree), b in pairs
            if not b.missing and b.oid.startswith(f"{subtree}.")
        ], ""

    async def _older(self, subnet: Interface) -> tuple[object, str] | None:
        """Type and next hop of a subnet in ipRouteTable, where its mask is that of the subnet."""
        oids = {name: f"{oid}.{_first(subnet)}" for name, oid in mib.IP_ROUTE.items()}
        reply = await self.client.get(self.target, list(oids.values()))
        told = {n: b for n, oid in oids.items() if (b := _there(reply, oid)) is not None}
        if len(told) < len(oids) or str(told["ipRouteMask"].value) != subnet.mask:
            return None
        return told["ipRouteType"].value, str(told["ipRouteNextHop"].value)

    async def _towards(self, host: Address) -> Noted[HostRoute]:
        """The next hops of the most specific route that covers a host, the default route aside."""
        subnets = [Interface.of(host, p) for p in range(host.bits, 0, -1)]
        for table in routes.tables(host.version):
            for part in _parts(subnets):
                hit = await self._first_hit(table, part)
                if hit is None:
                    continue
                rows, _ = await self._rows({table: table.subtree_of(hit)})
                hops = [r.next_hop for r in rows if r.binding.value not in routes.DROPPED]
                route = HostRoute(host=host, to=hit.subnet, next_hops=tuple(filter(None, hops)))
                return Noted(HOST_ROUTE, route, oid=table.subtree_of(hit))
        if host.is_v4 and (found := await self._older_towards(subnets)) is not None:
            hit, hop = found
            route = HostRoute(host=host, to=hit.subnet, next_hops=(hop,))
            oid = f"{mib.IP_ROUTE['ipRouteNextHop']}.{_first(hit)}"
            return Noted(HOST_ROUTE, route, oid=oid)
        return Noted(HOST_ROUTE, Unreadable(f"no route to {host.ip}"))

    async def _first_hit(self, table: RouteTable, part: Sequence[Interface]) -> Interface | None:
        subtrees = {table.subtree_of(s): s for s in part}
        reply = await self.client.get_next(self.target, list(subtrees))
        for (subtree, subnet), binding in zip(subtrees.items(), reply.bindings, strict=False):
            if not binding.missing and binding.oid.startswith(f"{subtree}."):
                return subnet
        return None

    async def _older_towards(self, subnets: Sequence[Interface]) -> tuple[Interface, str] | None:
        """The same in ipRouteTable, which has one row for each destination."""
        masks, hops = mib.IP_ROUTE["ipRouteMask"], mib.IP_ROUTE["ipRouteNextHop"]
        for part in _parts(subnets):
            names = dict.fromkeys(_first(s) for s in part)
            reply = await self.client.get(self.target, [f"{masks}.{n}" for n in names])
            for subnet in part:
                told = _there(reply, f"{masks}.{_first(subnet)}")
                if told is None or str(told.value) != subnet.mask:
                    continue
                oid = f"{hops}.{_first(subnet)}"
                hop = _there(await self.client.get(self.target, [oid]), oid)
                if hop is not None:
                    return subnet, str(hop.value)
        return None


def _row(table: RouteTable, subtree: str, binding: VarBind | None, last: str) -> _RouteRow | None:
    """A row of that destination that comes after `last`."""
    if binding is None or binding.missing or binding.oid == last:
        return None
    hop = routes.next_hop(table, binding.oid, subtree)
    return None if hop is None else _RouteRow(binding, table, hop)


def _there(reply: SnmpReply, oid: str) -> VarBind | None:
    binding = reply.binding(oid)
    return None if binding is None or binding.missing else binding


def _first(subnet: Interface) -> str:
    return subnet.subnet.partition("/")[0]


def _parts(subnets: Sequence[Interface]) -> Iterator[Sequence[Interface]]:
    for n in range(0, len(subnets), _AT_ONCE):
        yield subnets[n : n + _AT_ONCE]


def host_of(text: str) -> Address | None:
    """The address in `text`; None where it is none, or stands for none (0.0.0.0, ::)."""
    try:
        address = Address.parse(text)
    except ValueError:
        return None
    return address if address.value else None
