"""Reads what a profile says can be read off a device: scalars, and rows of tables by their index.

The forms of `index`:

- none: `oid` is the whole object, a scalar with its `.0` or an instance written out;
- a number: that row, `oid.N`, whatever stands before it;
- `port:NAME`: the row of the interface that is so called (ifName, else ifDescr, else ifAlias);
- `radio:N`: the N-th row that the column has, in the order of its index, so that `radio:1` is the
  first one whatever its index is: devices number their radios from 0, from 1, or by slot;
- `first`: the same as `radio:1`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass

from verifier.model import mib
from verifier.model.profile import ProfileReading
from verifier.probes.snmp.values import (
    MISSING,
    ColumnTable,
    SnmpReply,
    SnmpTarget,
    VarBind,
)
from verifier.rules import decode, observations
from verifier.session.world import SnmpManager

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
