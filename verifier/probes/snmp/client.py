"""The SNMP client: one for an event loop, any number of agents and credential sets at once."""

from __future__ import annotations

import asyncio
import dataclasses
import gc
import socket
import time
from collections.abc import Awaitable, Sequence
from typing import Self

from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.probes.pace import Slots
from verifier.probes.snmp import walk
from verifier.probes.snmp.conversation import RESYNCHRONISE, Conversation, SendQueue
from verifier.probes.snmp.engine import Engine, Kind, Oids, RequestPdu
from verifier.probes.snmp.transport import (
    SocketAddress,
    Transport,
    family_of,
    has_error_queue,
    socket_address,
)
from verifier.probes.snmp.values import (
    ColumnTable,
    SnmpReply,
    SnmpTarget,
    Type,
    VarBind,
    dotted,
    error_name,
    oid_tuple,
)

PEERS_PER_ENGINE = 200
"""After so many agents of v3 a credential set gets a fresh engine: pysnmp never forgets one (33 KiB
each), and with each new one it reads all it knows. With v1 and v2c it keeps nothing of them."""
ENGINES_KEPT = 4
"""Engines of one credential set that are kept: an agent comes back to the one that knows it."""

OWN_ENGINES = 32
"""At most so many agents with an engine of their own; the eldest loses it."""

_SPLIT = {"noSuchName", "genErr"}
"""Errors that one object causes and that spoil the answer for the others (RFC 1157 4.1.2)."""


class SnmpClient:
    """Asks agents; an async context manager that lives within one event loop.

    Args:
        pace: sending slots shared with other probes; each request takes one. None: no limit.
        error_queue: whether to read ICMP errors from the kernel; by default where it can.

    What an agent does is in the reply. CannotMeasureError is raised where this machine cannot ask:
    no socket, no such source address, unusable credentials.
    """

    def __init__(self, pace: Slots | None = None, *, error_queue: bool | None = None) -> None:
        self._line = SendQueue(pace)
        self._error_queue = has_error_queue() if error_queue is None else error_queue
        self._transports: dict[tuple[socket.AddressFamily, Address | None], Transport] = {}
        self._engines: dict[SnmpEntry, list[Engine]] = {}
        self._opening = asyncio.Lock()
        self._own: dict[tuple[SnmpEntry, SocketAddress], Engine] = {}

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(self, *exc: object) -> None:
        self.close()

    def close(self) -> None:
        """Closes the sockets and forgets keys and agents; may be called twice."""
        for transport in self._transports.values():
            transport.close()
        self._transports.clear()
        self._engines.clear()
        self._own.clear()

    async def get(
        self, target: SnmpTarget, oids: Sequence[str], deadline_s: float | None = None
    ) -> SnmpReply:
        """Reads objects.

        A request that is too big for the agent is asked in halves; where one object spoils the
        answer (noSuchName of v1, genErr) each is asked alone: a missing one comes back as
        `noSuchObject`, a failing one as `Null` with the error in `detail`.

        Args:
            target: whom, and how.
            oids: numeric, with the instance.
            deadline_s: end of everything this call does; `silent` where it is reached.
        """
        return await _within(deadline_s, self._parts(target, "get", _tuples(oids)))

    async def get_next(
        self, target: SnmpTarget, oids: Sequence[str], deadline_s: float | None = None
    ) -> SnmpReply:
        """Reads the objects that follow; as `get`, the end of the MIB being `endOfMibView`."""
        return await _within(deadline_s, self._parts(target, "next", _tuples(oids)))

    async def walk(
        self,
        target: SnmpTarget,
        columns: Sequence[str],
        *,
        max_rows: int = 1000,
        deadline_s: float = 30.0,
        repetitions: int = walk.REPETITIONS,
    ) -> ColumnTable:
        """Reads columns of a table together; never runs in circles and always ends.

        Args:
            target: whom, and how.
            columns: numeric, without the instance.
            max_rows: rows after which it stops with `capped`.
            deadline_s: time after which it stops with `capped`.
            repetitions: rows that are asked for in one request at first.
        """
        started_s = time.monotonic()
        table = await self._quick_walk(target, columns, max_rows, repetitions)
        if table is not None:
            return table

        async def ask(question: RequestPdu, retries: int) -> SnmpReply:
            return await self._ask(dataclasses.replace(target, retries=retries), question)

        walker = walk.Walk(
            ask,
            _tuples(columns),
            repetitions=repetitions if target.entry.version != "1" else 0,
            retries=target.retries,
            max_rows=max_rows,
        )
        try:
            async with asyncio.timeout(max(0.0, deadline_s - (time.monotonic() - started_s))):
                await walker.run()
        except TimeoutError:
            walker.stop("capped", f"stopped after {deadline_s:g} s")
        return walker.table()

    async def _quick_walk(
        self, target: SnmpTarget, columns: Sequence[str], max_rows: int, repetitions: int
    ) -> ColumnTable | None:
        """The table read in a quicker way; None where there is none, as here."""
        del target, columns, max_rows, repetitions
        return None

    async def _parts(
        self, target: SnmpTarget, kind: Kind, oids: Oids, *, part: bool = False
    ) -> SnmpReply:
        """Asks all at once, and in smaller parts where the agent cannot."""
        reply = await self._ask(target, RequestPdu(kind, oids))
        error = error_name(reply.error_status) if reply.outcome == "error-status" else ""
        if error == "tooBig" and len(oids) > 1:
            half = len(oids) // 2
            return await self._split(target, kind, [oids[:half], oids[half:]])
        if error in _SPLIT and len(oids) > 1:
            return await self._split(target, kind, [(oid,) for oid in oids])
        if error == "noSuchName":
            missing: Type = "noSuchObject" if kind == "get" else "endOfMibView"
            return _one(reply, VarBind(dotted(oids[0]), missing), "")
        if error == "genErr" and part:
            return _one(reply, VarBind(dotted(oids[0]), "Null"), reply.detail)
        return reply

    async def _split(self, target: SnmpTarget, kind: Kind, groups: Sequence[Oids]) -> SnmpReply:
        bindings: list[VarBind] = []
        details: list[str] = []
        took_ms = 0.0
        for group in groups:
            reply = await self._parts(target, kind, group, part=True)
            bindings += reply.bindings
            took_ms += reply.took_ms
            if reply.detail and reply.detail not in details:
                details.append(reply.detail)
            if reply.outcome != "answered":
                break
        return dataclasses.replace(
            reply, bindings=tuple(bindings), took_ms=took_ms, detail="; ".join(details)
        )

    async def _ask(self, target: SnmpTarget, question: RequestPdu) -> SnmpReply:
        """Asks one question.

        Where the agent's engine id or time stays in doubt, what was learnt of it is dropped once:
        it gets an engine of its own (a device was swapped, or two share an engine id).
        """
        transport = await self._transport(target)
        peer = socket_address(target.address, target.udp_port)

        async def converse(engine: Engine) -> SnmpReply:
            conversation = Conversation(
                engine, transport, self._line, peer, question, target.timeout_s, target.retries
            )
            return await conversation.ask()

        key = dataclasses.replace(target.entry, name="", port=0)
        reply = await converse(self._engine(key, target.entry, peer))
        if reply.outcome in RESYNCHRONISE:
            reply = await converse(self._own_engine(key, target.entry, peer))
        return reply

    def _engine(self, key: SnmpEntry, entry: SnmpEntry, peer: SocketAddress) -> Engine:
        if (key, peer) in self._own:
            return self._own[key, peer]
        engines = self._engines.setdefault(key, [])
        for engine in engines:
            if peer in engine.peers:
                return engine
        if not engines or (entry.version == "3" and len(engines[-1].peers) >= PEERS_PER_ENGINE):
            engines.append(Engine(entry))
            if len(engines) > ENGINES_KEPT:
                del engines[:-ENGINES_KEPT]
                gc.collect()  # an engine is full of cycles: 20 MB that nobody else would look for
        engines[-1].peers.add(peer)
        return engines[-1]

    def _own_engine(self, key: SnmpEntry, entry: SnmpEntry, peer: SocketAddress) -> Engine:
        self._own.pop((key, peer), None)
        while len(self._own) >= OWN_ENGINES:
            del self._own[next(iter(self._own))]
        engine = self._own[key, peer] = Engine(entry)
        return engine

    async def _transport(self, target: SnmpTarget) -> Transport:
        family = family_of(target.address)
        key = (family, target.source)
        async with self._opening:
            if key not in self._transports:
                transport = Transport(family, target.source, error_queue=self._error_queue)
                await transport.open()
                self._transports[key] = transport
            return self._transports[key]


async def _within(deadline_s: float | None, answer: Awaitable[SnmpReply]) -> SnmpReply:
    try:
        async with asyncio.timeout(deadline_s):
            return await answer
    except TimeoutError:
        return SnmpReply(
            outcome="silent",
            took_ms=1000 * (deadline_s or 0),
            detail=f"no answer within the {deadline_s:g} s that were given",
        )


def _tuples(oids: Sequence[str]) -> Oids:
    return tuple(map(oid_tuple, oids))


def _one(reply: SnmpReply, binding: VarBind, detail: str) -> SnmpReply:
    return dataclasses.replace(
        reply, outcome="answered", bindings=(binding,), error_status=0, error_index=0, detail=detail
    )
