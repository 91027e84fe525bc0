"""Reads what a profile says can be read off a device: scalars, and rows of tables by their index.

`read_device` and `walk_device` ask one device outside of a run, to make or to try a profile: they
read only, and not for long.

The forms of `index`:

- none: `oid` is the whole object, a scalar with its `.0` or an instance written out;
- a number: that row, `oid.N`, whatever stands before it;
- `port:NAME`: the row of the interface that is so called (ifName, else ifDescr, else ifAlias);
- `radio:N`: the N-th row that the column has, in the order of its index, so that `radio:1` is the
  first one whatever its index is: devices number their radios from 0, from 1, or by slot;
- `first`: the same as `radio:1`.
"""

from __future__ import annotations

import asyncio
import dataclasses
from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass, field

from verifier.model import mib
from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.model.profile import Profile, ProfileReading
from verifier.probes.snmp.values import MISSING, ColumnTable, SnmpReply, SnmpTarget, VarBind
from verifier.rules import decode, observations
from verifier.session.request import Paces, Probing
from verifier.session.world import SnmpManager, World

MAX_INTERFACES = 2000
MAX_ROWS = 64
"""Rows of a column that are counted: no device has as many radios."""
_NAME_OIDS = {name: {**mib.IF_TABLE, **mib.IF_X_TABLE}[name] for name in observations.NAME_COLUMNS}


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingResult:
    """What came of one reading.

    Attributes:
        name: what the reading is called, see `Profile.named_readings`.
        binding: the object as the device gave it; None where it was not found or not answered.
        problem: why there is no binding.
        took_ms: of the request that gave it.
    """

    name: str
    reading: ProfileReading
    binding: VarBind | None = None
    problem: str = ""
    took_ms: float | None = None

    @property
    def oid(self) -> str:
        """The object that was read, else what was looked for."""
        return self.reading.oid if self.binding is None else self.binding.oid

    @property
    def raw(self) -> str:
        """What came, before it was decoded; or why nothing came."""
        return self.problem if self.binding is None else self.binding.raw

    @property
    def value(self) -> str | float | None:
        """The decoded value; None where there is none, or it means nothing by the profile."""
        return None if self.binding is None else decoded(self.reading, self.binding)

    @property
    def no_signal(self) -> bool:
        """Whether the device says that it receives nothing."""
        return self.binding is not None and decode.no_signal(self.reading, self.binding.text)

    @property
    def gap(self) -> str:
        """Why there is no value; empty where there is one, or nothing is received."""
        if self.binding is None:
            return self.problem
        if self.binding.missing:
            return self.binding.unreadable or f"the device has no such object ({self.binding.type})"
        if self.value is not None or self.no_signal:
            return ""
        if self.reading.type == "enumeration" and decode.number(self.binding.text) is not None:
            return "the profile's values do not say what it means"
        return "it is not a number"


async def read(
    client: SnmpManager, target: SnmpTarget, named: Mapping[str, ProfileReading]
) -> AsyncIterator[ReadingResult]:
    """Each reading once, those that can be asked for together first.

    Raises CannotMeasureError where this machine cannot ask.
    """
    asked = _Questions(client, target)
    kinds = {name: (r.index or "").partition(":")[0] for name, r in named.items()}
    by_port = {n: r for n, r in named.items() if kinds[n] == "port"}
    by_rank = {n: r for n, r in named.items() if kinds[n] in ("radio", "first")}
    plain = {n: r for n, r in named.items() if n not in by_port and n not in by_rank}
    for part in (
        asked.instances({n: (r, r.index) for n, r in plain.items()}),
        asked.of_ports(by_port),
        asked.of_rank(by_rank),
    ):
        async for got in part:
            yield got


def where_found(got: ReadingResult) -> ProfileReading:
    """The reading with the object that it was found at, to be asked for again without a search."""
    if got.binding is None or got.binding.type in MISSING:
        return got.reading
    return dataclasses.replace(got.reading, oid=got.binding.oid, index=None)


@dataclass(frozen=True, slots=True)
class _Questions:
    """The questions to one device."""

    client: SnmpManager
    target: SnmpTarget

    async def instances(
        self, wanted: Mapping[str, tuple[ProfileReading, str | None]]
    ) -> AsyncIterator[ReadingResult]:
        """Readings whose instance is known: all in one request."""
        if not wanted:
            return
        oids = {n: r.oid if at is None else f"{r.oid}.{at}" for n, (r, at) in wanted.items()}
        reply = await self.client.get(self.target, list(dict.fromkeys(oids.values())))
        for name, (reading, _) in wanted.items():
            binding = reply.binding(oids[name])
            problem = "" if binding else failure(reply)
            yield ReadingResult(
                name=name, reading=reading, binding=binding, problem=problem, took_ms=reply.took_ms
            )

    async def of_ports(self, wanted: Mapping[str, ProfileReading]) -> AsyncIterator[ReadingResult]:
        """Readings of interfaces: by name, as ifIndex may change at a restart (RFC 2863 3.1.5)."""
        if not wanted:
            return
        columns = list(_NAME_OIDS.values())
        table = await self.client.walk(self.target, columns, max_rows=MAX_INTERFACES)
        names = {
            name: {i: row[oid].text for i, row in table.rows.items() if oid in row}
            for name, oid in _NAME_OIDS.items()
        }
        known: dict[str, tuple[ProfileReading, str | None]] = {}
        for name, reading in wanted.items():
            port = (reading.index or "").removeprefix("port:")
            found = observations.rows_of_port(names, port)
            if len(found) == 1:
                known[name] = (reading, found[0])
            else:
                yield ReadingResult(
                    name=name, reading=reading, problem=_no_port(port, len(found), table)
                )
        async for got in self.instances(known):
            yield got

    async def of_rank(self, wanted: Mapping[str, ProfileReading]) -> AsyncIterator[ReadingResult]:
        """Readings of the N-th row of their column: all columns go on one row a request."""
        ranks = {n: _rank(r) for n, r in wanted.items()}
        depth: dict[str, int] = {}
        for name, reading in wanted.items():
            depth[reading.oid] = min(MAX_ROWS, max(ranks[name], depth.get(reading.oid, 0)))
        rows, problem = await self._rows(depth)
        for name, reading in wanted.items():
            found = rows[reading.oid]
            if ranks[name] <= len(found):
                binding, took_ms = found[ranks[name] - 1]
                yield ReadingResult(name=name, reading=reading, binding=binding, took_ms=took_ms)
            else:
                few = f"{reading.index}: the column has no such row, {len(found)} were found"
                yield ReadingResult(name=name, reading=reading, problem=problem or few)

    async def _rows(
        self, depth: Mapping[str, int]
    ) -> tuple[dict[str, list[tuple[VarBind, float]]], str]:
        """The first rows of each column, as many as wanted; and why there were no more answers."""
        found: dict[str, list[tuple[VarBind, float]]] = {column: [] for column in depth}
        at = {column: column for column in depth}
        while at:
            reply = await self.client.get_next(self.target, list(at.values()))
            if not reply.bindings:
                return found, failure(reply)
            for column, binding in zip(list(at), reply.bindings, strict=False):
                if not _follows(binding, column, at[column]):
                    del at[column]
                    continue
                found[column].append((binding, reply.took_ms))
                at[column] = binding.oid
                if len(found[column]) == depth[column]:
                    del at[column]
        return found, ""


def _rank(reading: ProfileReading) -> int:
    kind, _, which = (reading.index or "").partition(":")
    return int(which) if kind == "radio" else 1


def _follows(binding: VarBind, column: str, last: str) -> bool:
    """Whether an object is a row of `column` that comes after `last`."""
    if binding.type in MISSING or not binding.oid.startswith(f"{column}."):
        return False
    return _arcs(binding.oid) > _arcs(last)


def _arcs(oid: str) -> tuple[int, ...]:
    return tuple(map(int, oid.removeprefix(".").split(".")))


def _no_port(port: str, found: int, table: ColumnTable) -> str:
    if found:
        return f"{found} interfaces are called {port!r}"
    why = "" if table.outcome == "answered" else f" ({failure(table)})"
    if table.failed:
        why = f" ({'; '.join(dict.fromkeys(table.failed.values()))})"
    return f"no interface is called {port!r}{why}"


def failure(reply: SnmpReply | ColumnTable) -> str:
    """What became of a question that gave no value, in words."""
    return f"{reply.outcome}: {reply.detail}" if reply.detail else reply.outcome


def decoded(reading: ProfileReading, binding: VarBind) -> str | float | None:
    """A reading's value: scaled, or named, or as text; None where it means nothing."""
    return None if binding.missing else decode.value(reading, binding.text)


ENTERPRISES = "1.3.6.1.4.1"
"""Where makers' own objects are (RFC 2578 4, RFC 1155 3.1.4)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceQuestion:
    """A device and how to ask it. `port`: UDP; None: the entry's."""

    address: Address
    entry: SnmpEntry
    port: int | None = None
    timeout_s: float = 2.0
    retries: int = 1

    @property
    def target(self) -> SnmpTarget:
        """The same in the SNMP client's words."""
        return SnmpTarget(
            address=self.address,
            entry=self.entry,
            port=self.port,
            timeout_s=self.timeout_s,
            retries=self.retries,
        )

    def client(self, world: World) -> SnmpManager:
        """A client that keeps to the pace of any run."""
        paces = Paces.of(Probing(), world)
        return world.snmp(paces.for_address(loopback=self.address.is_loopback))


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceAnswers:
    """What a device said.

    Attributes:
        silence: why it said nothing; empty where it answered.
        system: its system group, as text by name: `sysName`, ...
        readings: by the profile, in the profile's order.
        shown: the objects found, as text by OID.
        cut: why not all objects were read; empty where all were.
        took_s: how long the walk took.
    """

    silence: str = ""
    system: Mapping[str, str] = field(default_factory=dict)
    readings: tuple[ReadingResult, ...] = ()
    shown: Mapping[str, str] = field(default_factory=dict)
    cut: str = ""
    took_s: float = 0.0


def read_device(
    asked: DeviceQuestion, profile: Profile, world: World, *, deadline_s: float
) -> DeviceAnswers:
    """The device's readings by a profile. Raises CannotMeasureError where we cannot ask."""
    return world.run(_read(asked, profile, world, deadline_s))


def walk_device(
    asked: DeviceQuestion, root: str, world: World, *, max_objects: int, deadline_s: float
) -> DeviceAnswers:
    """The device's objects below `root`. Raises CannotMeasureError where we cannot ask."""
    return world.run(_walk(asked, root, world, max_objects, deadline_s))


async def _read(
    asked: DeviceQuestion, profile: Profile, world: World, deadline_s: float
) -> DeviceAnswers:
    named = profile.named_readings()
    got: dict[str, ReadingResult] = {}
    async with asked.client(world) as client:
        silence, system = await _system(client, asked.target)
        if silence:
            return DeviceAnswers(silence=silence)
        try:
            async with asyncio.timeout(deadline_s):
                async for one in read(client, asked.target, named):
                    got[one.name] = one
        except TimeoutError:
            late = f"not read within {deadline_s:g} s"
            got = {
                n: ReadingResult(name=n, reading=r, problem=late) for n, r in named.items()
            } | got
    return DeviceAnswers(system=system, readings=tuple(got[name] for name in named))


async def _walk(
    asked: DeviceQuestion, root: str, world: World, max_objects: int, deadline_s: float
) -> DeviceAnswers:
    async with asked.client(world) as client:
        silence, system = await _system(client, asked.target)
        if silence:
            return DeviceAnswers(silence=silence)
        table = await client.walk(asked.target, [root], max_rows=max_objects, deadline_s=deadline_s)
    found = [binding for row in table.rows.values() for binding in row.values()]
    return DeviceAnswers(
        system=system,
        shown={b.oid: b.text for b in found if not b.missing},
        cut="" if table.complete else failure(table),
        took_s=table.took_ms / 1000,
    )


async def _system(client: SnmpManager, target: SnmpTarget) -> tuple[str, dict[str, str]]:
    """Why the device does not answer, or its system group."""
    reply = await client.get(target, list(mib.SYSTEM.values()))
    if reply.outcome != "answered":
        return failure(reply), {}
    values = {name: reply.binding(oid) for name, oid in mib.SYSTEM.items()}
    return "", {n: b.text for n, b in values.items() if b is not None and not b.missing}
