"""Asks the agents of devices in memory: the replies are those of `probes.snmp`, typed."""

from __future__ import annotations

import bisect
from collections.abc import Callable, Iterator, Sequence
from typing import Self

from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.model.observations import Outcome
from verifier.probes.snmp.values import (
    ColumnTable,
    SnmpReply,
    SnmpTarget,
    VarBind,
    dotted,
    oid_tuple,
)
from verifier.simulator.agent.ber import Oid
from verifier.simulator.memory.device import RTT_S, MemoryDevice
from verifier.simulator.memory.loop import MemoryClocks

Reached = Callable[[Address], MemoryDevice | str]
"""The device that a packet to an address gets an answer of; else `silent` or `no-route`."""


class MemorySnmpManager:
    """Asks agents in simulated time.

    Args:
        clocks: of the world.
        reached: who answers at an address.
    """

    def __init__(self, clocks: MemoryClocks, reached: Reached) -> None:
        self._clocks, self._reached = clocks, reached

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(self, *exc: object) -> None:
        """Nothing is held."""

    async def get(
        self, target: SnmpTarget, oids: Sequence[str], deadline_s: float | None = None
    ) -> SnmpReply:
        """Reads objects."""
        agent = await self._agent(target, deadline_s)
        if isinstance(agent, SnmpReply):
            return agent
        return self._reply(target, agent, [self._one(target, agent, oid_tuple(o)) for o in oids])

    async def get_next(
        self, target: SnmpTarget, oids: Sequence[str], deadline_s: float | None = None
    ) -> SnmpReply:
        """Reads the objects that follow."""
        agent = await self._agent(target, deadline_s)
        if isinstance(agent, SnmpReply):
            return agent
        found = []
        for oid in oids:
            following = next(_after(agent.table().names, oid_tuple(oid)), None)
            if following is None:
                found.append(VarBind(oid, "endOfMibView"))
            else:
                found.append(self._one(target, agent, following))
        return self._reply(target, agent, found)

    async def walk(
        self,
        target: SnmpTarget,
        columns: Sequence[str],
        *,
        max_rows: int = 1000,
        deadline_s: float = 30.0,
        repetitions: int = 1,
    ) -> ColumnTable:
        """Reads columns of a table together."""
        del repetitions
        agent = await self._agent(target, deadline_s)
        if isinstance(agent, SnmpReply):
            return ColumnTable(
                outcome=agent.outcome, detail=agent.detail, requests=1, took_ms=agent.took_ms
            )
        rows: dict[str, dict[str, VarBind]] = {}
        for column in columns:
            start = oid_tuple(column)
            for name in _after(agent.table().names, start):
                if name[: len(start)] != start:
                    break
                row = rows.setdefault(dotted(name[len(start) :]), {})
                row[column] = self._one(target, agent, name)
        ordered = sorted(rows, key=oid_key)[:max_rows]
        return ColumnTable(
            outcome="answered" if len(rows) <= max_rows else "capped",
            rows={suffix: rows[suffix] for suffix in ordered},
            complete=len(rows) <= max_rows,
            responder=str(target.address),
            requests=1,
            took_ms=RTT_S * 1000,
        )

    async def _agent(
        self, target: SnmpTarget, deadline_s: float | None
    ) -> MemoryDevice | SnmpReply:
        """The device whose agent answers, after its time; else what is said instead."""
        began_s = self._clocks.monotonic_s()
        for _ in range(target.retries + 1):
            device = self._reached(target.address)
            if device == "no-route":
                return SnmpReply(outcome="no-route", detail="no route to the host")
            outcome: Outcome = "silent"
            if isinstance(device, MemoryDevice):
                outcome = _outcome(device, target.entry)
                if outcome != "silent":
                    await self._clocks.sleep(RTT_S)
                    if outcome == "answered":
                        return device
                    engine = device.engine_id if target.entry.version == "3" else None
                    return SnmpReply(
                        outcome=outcome, took_ms=RTT_S * 1000, responder=str(target.address),
                        engine_id=engine,
                    )  # fmt: skip
            waited_s = self._clocks.monotonic_s() - began_s
            left_s = target.timeout_s if deadline_s is None else deadline_s - waited_s
            await self._clocks.sleep(min(target.timeout_s, left_s))
        took_ms = 1000 * (self._clocks.monotonic_s() - began_s)
        return SnmpReply(outcome="silent", took_ms=took_ms, detail="no answer")

    def _reply(
        self, target: SnmpTarget, agent: MemoryDevice, bindings: Sequence[VarBind]
    ) -> SnmpReply:
        third = target.entry.version == "3"
        return SnmpReply(
            outcome="answered",
            bindings=tuple(bindings),
            responder=str(target.address),
            took_ms=RTT_S * 1000,
            engine_id=agent.engine_id if third else None,
            engine_boots=agent.boots if third else None,
            engine_time=int(self._up_s(agent)) if third else None,
        )

    def _one(self, target: SnmpTarget, agent: MemoryDevice, name: Oid) -> VarBind:
        found = agent.table().at(name, self._up_s(agent))
        if found is not None:
            return found
        return VarBind(dotted(name), "Null" if target.entry.version == "1" else "noSuchInstance")

    def _up_s(self, agent: MemoryDevice) -> float:
        return self._clocks.monotonic_s() - agent.up_s


def oid_key(text: str) -> Oid:
    """Instances in the order of an agent."""
    return tuple(map(int, text.split(".")))


def _after(names: Sequence[Oid], name: Oid) -> Iterator[Oid]:
    at = bisect.bisect_right(names, name)
    while at < len(names):
        yield names[at]
        at += 1


def _outcome(device: MemoryDevice, asked: SnmpEntry) -> Outcome:
    """What an agent makes of credentials."""
    if not device.entries:
        return "port-unreachable"
    for own in device.entries:
        if (own.version, own.community, own.user) == (asked.version, asked.community, asked.user):
            same = (own.auth_key, own.priv_key) == (asked.auth_key, asked.priv_key)
            return "answered" if same else "wrong-digest"
    return "unknown-user" if asked.version == "3" else "silent"
