"""Echoes and SNMP in simulated time, judged as `probes` judges them."""

from __future__ import annotations

import bisect
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Self

from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.model.observations import Outcome, PathMtu, Silence
from verifier.probes.echo.exchange import TIMED_OUT, EchoBurst, EchoTarget
from verifier.probes.echo.watch import EchoSink, Watched
from verifier.probes.pace import Slots
from verifier.probes.snmp.values import (
    ColumnTable,
    SnmpReply,
    SnmpTarget,
    VarBind,
    dotted,
    oid_tuple,
)
from verifier.simulator.agent.cells import Oid
from verifier.simulator.memory.device import RTT_S, MemoryDevice
from verifier.simulator.memory.loop import MemoryClocks

_NO_ROUTE = Silence(reason="no-route", text="Network is unreachable", errno="ENETUNREACH")
_PAYLOAD_BYTES = 56
_NO_PERMISSION = "no permission to send IPv{} echoes: run it as root"


class MemoryEchoes:
    """What `session/world.py` calls `EchoAccess`.

    Args:
        clocks: of the world.
        reached: who answers at an address.
    """

    def __init__(self, clocks: MemoryClocks, reached: Reached) -> None:
        self.clocks, self._reached = clocks, reached

    @contextmanager
    def sender(
        self, *, pace: Slots, on_link_pace: Slots, loopback_pace: Slots | None = None
    ) -> Iterator[MemoryEchoSender]:
        """Who sends series of echoes."""
        del on_link_pace, loopback_pace
        yield MemoryEchoSender(self, pace)

    async def path_mtus(
        self, targets: Sequence[EchoTarget], planned: int, **how: Any
    ) -> list[PathMtu]:
        """Whatever answers, answers in the planned size."""
        del how
        await self.clocks.sleep(RTT_S)
        answered = [self.echo(t.address) for t in targets]
        return [
            PathMtu(planned=planned, passed=a > 0, largest=planned if a > 0 else None)
            for a in answered
        ]

    async def watch(  # noqa: PLR0913
        self,
        watched: Sequence[Watched],
        sink: EchoSink,
        *,
        step_s: float,
        timeout_s: float,
        long_s: float,
        stop: threading.Event,
        pace: Slots | None = None,
    ) -> None:
        """Echoes on a grid: each row at its places, until the time is over or `stop` is set."""
        del pace
        start_s = self.clocks.monotonic_s()
        lost: deque[tuple[float, int, int]] = deque()
        slot = 0
        while not stop.is_set() and slot * step_s < long_s:
            await self.clocks.sleep(start_s + slot * step_s - self.clocks.monotonic_s())
            now_s = self.clocks.monotonic_s() - start_s
            while lost and lost[0][0] <= now_s:
                _, index, at = lost.popleft()
                sink.unheard(index, at, "lost", TIMED_OUT.text)
            for index, row in enumerate(watched):
                if self.echo(row.target.address) > 0:
                    sink.heard(index, slot, round(RTT_S * 1e6))
                else:
                    lost.append((now_s + timeout_s, index, slot))
            sink.tick(now_s)
            slot += 1
        if not stop.is_set():
            await self.clocks.sleep(timeout_s)
            for _, index, at in lost:
                sink.unheard(index, at, "lost", TIMED_OUT.text)

    @staticmethod
    def missing(version: int) -> str:
        """Every laptop in memory has IPv4."""
        return "" if version == 4 else _NO_PERMISSION.format(version)  # noqa: PLR2004

    def echo(self, address: Address) -> int:
        """How many replies one echo gets now; -1: it does not leave."""
        device = self._reached(address)
        if isinstance(device, MemoryDevice):
            return 2 if device.echoes_twice else 1
        return -1 if device == "no-route" else 0


class MemoryEchoSender:
    """Sends series of echoes in simulated time."""

    kernel_drops = 0

    def __init__(self, echoes: MemoryEchoes, pace: Slots) -> None:
        self._echoes, self._pace = echoes, pace

    async def run(  # noqa: PLR0913
        self,
        targets: Sequence[EchoTarget],
        *,
        count: int,
        interval_s: float,
        timeout_s: float,
        on_done: Callable[[int, EchoBurst], None] | None = None,
        stop: threading.Event | None = None,
    ) -> list[EchoBurst]:
        """Sends `count` echoes to each target; one series for each, in order."""
        clocks = self._echoes.clocks
        start_s = clocks.monotonic_s()
        replies: list[list[int]] = [[] for _ in targets]
        done_s = [start_s] * len(targets)
        for number in range(count):
            for n, target in enumerate(targets):
                if stop is not None and stop.is_set():
                    return [_series(t, r) for t, r in zip(targets, replies, strict=True)]
                due_s = max(self._pace.slot(clocks.monotonic_s()), start_s + number * interval_s)
                await clocks.sleep(due_s - clocks.monotonic_s())
                replies[n].append(self._echoes.echo(target.address))
                took_s = RTT_S if replies[n][-1] > 0 else timeout_s
                done_s[n] = max(done_s[n], clocks.monotonic_s() + took_s)
        series = [_series(t, r) for t, r in zip(targets, replies, strict=True)]
        for n in sorted(range(len(targets)), key=done_s.__getitem__):
            await clocks.sleep(done_s[n] - clocks.monotonic_s())
            if on_done is not None:
                on_done(n, series[n])
        return series


def _series(target: EchoTarget, replies: Sequence[int]) -> EchoBurst:
    """What became of the echoes to one target, by the number of replies to each."""
    return EchoBurst(
        target=target,
        rtt_ms=tuple(RTT_S * 1000 if r > 0 else None for r in replies if r >= 0),
        silences=tuple(_NO_ROUTE if r < 0 else TIMED_OUT for r in replies if r <= 0),
        duplicates=sum(r - 1 for r in replies if r > 1),
        payload_bytes=_PAYLOAD_BYTES,
    )


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
