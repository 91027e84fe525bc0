"""The same client, with plain GET requests coded by a faster library (gufo-snmp), if installed.

That library gives values and little else: no types, no error-status, no report, no ICMP error. So
it asks first, and what it does not answer cleanly and soon, `SnmpClient` asks too and says what is
wrong. Of tables it reads single short columns, `SnmpClient` all others.

Whose answer it is: each session has a socket connected to the address and port that is asked, and
the library draws each id at random. It takes an answer without authentication for one with it, so
that where only the authentication proves an answer (no privacy), `SnmpClient` asks.
"""

from __future__ import annotations

import asyncio
import os
import time
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Mapping, Sequence
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any, TypeVar

from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.probes.pace import Pace
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.engine import Question
from verifier.probes.snmp.values import Binding, Reply, Table, Target, Type, dotted, oid_tuple
from verifier.probes.snmp.walk import REPETITIONS

if TYPE_CHECKING:
    from verifier.probes.snmp.fast_session import Session

_SOON_S = 1.0
"""An agent on a terrestrial network that answers at all has answered by then (common practice)."""
_SESSIONS_KEPT = 512
"""Sessions, each with a socket of its own, that are kept for further questions to their agents."""
_QUICK_REQUESTS = 8
"""A column that takes more is left to `SnmpClient`."""
_SHORTEST_KEY = 8
"""RFC 3414 section 11.2; the library fails on an empty one."""
_PRIV = {"DES", "AES-128"}
"""Longer keys are left to `SnmpClient`: the drafts differ in how they are made."""


def installed() -> bool:
    """Whether the faster library is there (the extra `fast`)."""
    try:
        return find_spec("gufo.snmp") is not None
    except ImportError:
        return False


def fastest(pace: Pace | None = None) -> SnmpClient:
    """The fastest client there is on this machine."""
    return FastClient(pace) if installed() else SnmpClient(pace)


_Agent = tuple[Address, int, SnmpEntry]
_T = TypeVar("_T")


class _Forked:
    """Whether a process that this one was forked from has used the library.

    Then both would draw the same ids, as its random numbers go on from where they stood.
    """

    used = inherited = False

    @classmethod
    def note(cls) -> None:
        """In the new process."""
        cls.inherited = cls.inherited or cls.used


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_Forked.note)


class FastClient(SnmpClient):
    """An `SnmpClient` that asks plain questions faster.

    Where the faster library answered, numbers are of type `Number`, and boots and time of a v3
    engine are not told. An agent that it does not read is left to `SnmpClient` from then on.
    """

    def __init__(self, pace: Pace | None = None, *, error_queue: bool | None = None) -> None:
        super().__init__(pace, error_queue=error_queue)
        self._sessions: OrderedDict[_Agent, Session] = OrderedDict()
        self._odd: set[_Agent] = set()
        self._users: dict[SnmpEntry, Any] = {}

    def close(self) -> None:
        """See `SnmpClient`."""
        self._sessions.clear()
        self._users.clear()
        super().close()

    async def _ask(self, target: Target, question: Question) -> Reply:
        key = (target.address, target.udp_port, target.entry)
        if question.kind != "get" or key in self._odd or not _suits(target):
            return await super()._ask(target, question)
        reply = await self._quick(key, target, [dotted(o) for o in question.oids])
        return await super()._ask(target, question) if reply is None else reply

    async def walk(
        self,
        target: Target,
        columns: Sequence[str],
        *,
        max_rows: int = 1000,
        deadline_s: float = 30.0,
        repetitions: int = REPETITIONS,
    ) -> Table:
        """See `SnmpClient`; a single column of a well-behaved agent is read faster."""
        key = (target.address, target.udp_port, target.entry)
        started_s = time.monotonic()
        if (
            len(columns) == 1
            and target.entry.version != "1"
            and key not in self._odd
            and _suits(target)
        ):
            table = await self._quick_walk(key, target, columns[0], max_rows, repetitions)
            if table is not None:
                return table
        return await super().walk(
            target,
            columns,
            max_rows=max_rows,
            deadline_s=max(0.0, deadline_s - (time.monotonic() - started_s)),
            repetitions=repetitions,
        )

    async def _quick_walk(
        self, key: _Agent, target: Target, column: str, max_rows: int, repetitions: int
    ) -> Table | None:
        """A whole column; None where it is empty or long, or anything is odd."""
        from verifier.probes.snmp.fast_session import some  # noqa: PLC0415 - an extra

        started_s = time.monotonic()
        rows: dict[str, Mapping[str, Binding]] = {}
        last, found = oid_tuple(column), None
        for requests in range(1, _QUICK_REQUESTS + 1):

            async def ask(session: Any, found: Any = found) -> tuple[Any, list[Any], bool]:
                following = found or session.getbulk(column, repetitions)
                return (following, *await some(following, repetitions))

            if (got := await self._quickly(key, target, ask)) is None:
                return None
            found, came, at_end = got
            for oid, value in came:
                name = oid_tuple(oid)
                if name <= last or len(rows) >= max_rows:
                    return None
                last = name
                rows[oid.removeprefix(f"{column}.")] = {column: _binding(oid, value)}
            if at_end:
                return _whole(target, rows, requests, started_s) if rows else None
        return None

    async def _quick(self, key: _Agent, target: Target, oids: list[str]) -> Reply | None:
        """What the faster library reads; None where it reads not all, or nothing."""
        started_s = time.monotonic()
        values = await self._quickly(key, target, lambda asked: asked.get_many(oids))
        if values is None or any(values.get(oid) is None for oid in oids):
            return None  # one is missing, or an error stands beside it
        return Reply(
            outcome="answered",
            bindings=tuple(_binding(oid, values[oid]) for oid in oids),
            responder=str(target.address.ip),
            took_ms=1000 * (time.monotonic() - started_s),
            engine_id=self._sessions[key].engine_id
            if target.entry.version == "3" and key in self._sessions
            else None,
        )

    async def _quickly(
        self, key: _Agent, target: Target, ask: Callable[[Any], Awaitable[_T]]
    ) -> _T | None:
        """What the library makes of one request; None where it fails."""
        try:
            session = self._sessions.pop(key, None)  # taken out: one question at a time
            if session is None:
                session = self._session(target)
            got = await session.ask(ask, min(_SOON_S, target.timeout_s))
        except (asyncio.CancelledError, KeyboardInterrupt, SystemExit):
            raise
        except BaseException:  # noqa: BLE001 - its panics are no Exception; `SnmpClient` asks then
            self._odd.add(key)
            return None
        self._sessions[key] = session
        while len(self._sessions) > _SESSIONS_KEPT:
            self._sessions.popitem(last=False)
        return got

    def _session(self, target: Target) -> Session:
        from verifier.probes.snmp.fast_session import Session, user_of  # noqa: PLC0415 - an extra

        _Forked.used = True
        entry = target.entry
        if entry.version != "3":
            return Session(target, None, self._line.slot)
        if entry not in self._users:
            self._users[entry] = user_of(entry)
        return Session(target, self._users[entry], self._line.slot)


def _whole(
    target: Target, rows: Mapping[str, Mapping[str, Binding]], requests: int, started_s: float
) -> Table:
    return Table(
        outcome="answered",
        rows=rows,
        complete=True,
        responder=str(target.address.ip),
        requests=requests,
        took_ms=1000 * (time.monotonic() - started_s),
    )


def _suits(target: Target) -> bool:
    """Whether the library can ask so.

    It knows no source address, no zone, no longer AES keys, and does not look whether an answer is
    authenticated.
    """
    entry = target.entry
    keys = [key.reveal() for key in (entry.auth_key, entry.priv_key) if key is not None]
    return (
        not _Forked.inherited
        and target.source is None
        and not target.address.zone
        and (entry.auth_key is None or entry.priv_key is not None)
        and (entry.priv_key is None or entry.priv in _PRIV)
        and all(len(key) >= _SHORTEST_KEY for key in keys)
    )


def _binding(oid: str, value: Any) -> Binding:
    kind: Type = "Number"
    if isinstance(value, bytes):
        kind = "OctetString"
    elif isinstance(value, str):
        kind = "IpAddress" if _is_address(value) else "ObjectIdentifier"
    elif value is None:
        kind = "Null"
    return Binding(oid, kind, value)


def _is_address(text: str) -> bool:
    try:
        Address.parse(text)
    except ValueError:
        return False
    return True
