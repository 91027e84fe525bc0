"""The same client, with plain GET requests coded by a faster library (gufo-snmp), if installed.

That library gives values and little else: no types, no error-status, no report, no ICMP error, not
who answered. So it asks first, and what it does not answer cleanly and soon, `SnmpClient` asks too
and says what is wrong. Of tables it reads single short columns, `SnmpClient` all others.
"""

from __future__ import annotations

import asyncio
import time
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Mapping, Sequence
from importlib.util import find_spec
from typing import Any, TypeVar

from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.probes.pace import Pace
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.engine import Question
from verifier.probes.snmp.values import Binding, Reply, Table, Target, Type, dotted, oid_tuple
from verifier.probes.snmp.walk import REPETITIONS

_SOON_S = 1.0
"""An agent on a terrestrial network that answers at all has answered by then (common practice)."""
_DISCOVERY = 2
"""Requests that find out the engine of a v3 agent, and its time (RFC 3414 section 4)."""
_SESSIONS_KEPT = 512
"""Sessions, each with a socket of its own, that are kept for further questions to their agents."""
_QUICK_REQUESTS = 8
"""A column that takes more is left to `SnmpClient`."""
_AUTH = {
    "MD5": "Md5Key", "SHA": "Sha1Key", "SHA-224": "Sha224Key", "SHA-256": "Sha256Key",
    "SHA-384": "Sha384Key", "SHA-512": "Sha512Key",
}  # fmt: skip
_SHORTEST_KEY = 8
"""RFC 3414 section 11.2; the library fails on an empty one."""
_PRIV = {"DES": "DesKey", "AES-128": "Aes128Key"}
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


class FastClient(SnmpClient):
    """An `SnmpClient` that asks plain questions faster.

    Where the faster library answered, numbers are of type `Number`, and boots and time of a v3
    engine are not told. An agent that it does not read is left to `SnmpClient` from then on.
    """

    def __init__(self, pace: Pace | None = None, *, error_queue: bool | None = None) -> None:
        super().__init__(pace, error_queue=error_queue)
        self._sessions: OrderedDict[_Agent, Any] = OrderedDict()
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
        """A whole column; None where it is long, or anything is odd."""
        from gufo.snmp._fast import GetIter  # noqa: PLC0415

        started_s = time.monotonic()
        rows: dict[str, Mapping[str, Binding]] = {}
        last, position = oid_tuple(column), GetIter(column, repetitions)
        for requests in range(1, _QUICK_REQUESTS + 1):
            got = await self._quickly(key, target, lambda s: _bulk(s, position))
            at_end = got == [] and bool(rows)
            for found in got or ():
                if found is None:
                    at_end = True
                    break
                name = oid_tuple(found[0])
                if name <= last or len(rows) >= max_rows:
                    return None
                last = name
                instance = found[0].removeprefix(f"{column}.")
                rows[instance] = {column: _binding(found[0], found[1])}
            if at_end:
                return Table(
                    outcome="answered",
                    rows=rows,
                    complete=True,
                    responder=str(target.address.ip),
                    requests=requests,
                    took_ms=1000 * (time.monotonic() - started_s),
                )
            if not got:
                return None
        return None

    async def _quick(self, key: _Agent, target: Target, oids: list[str]) -> Reply | None:
        """What the faster library reads; None where it reads not all, or nothing."""
        started_s = time.monotonic()
        values = await self._quickly(key, target, lambda session: session.get_many(oids))
        if values is None or any(values.get(oid) is None for oid in oids):
            return None  # one is missing, or an error stands beside it
        return Reply(
            outcome="answered",
            bindings=tuple(_binding(oid, values[oid]) for oid in oids),
            responder=str(target.address.ip),
            took_ms=1000 * (time.monotonic() - started_s),
            engine_id=self._sessions[key].get_engine_id()
            if target.entry.version == "3" and key in self._sessions
            else None,
        )

    async def _quickly(
        self, key: _Agent, target: Target, ask: Callable[[Any], Awaitable[_T]]
    ) -> _T | None:
        """What the library makes of one request; None where it fails."""
        unknown = target.entry.version == "3" and key not in self._sessions
        for _ in range(_DISCOVERY + 1 if unknown else 1):
            await self._line.slot()  # and no turn: each session has a receive buffer of its own
        try:
            async with asyncio.timeout(min(_SOON_S, target.timeout_s)):
                session = self._sessions.pop(key, None)  # taken out: one question at a time
                if session is None:
                    session = self._session(target)
                    if target.entry.version == "3":
                        await session.refresh()
                got = await ask(session)
        except (asyncio.CancelledError, KeyboardInterrupt, SystemExit):
            raise
        except BaseException:  # noqa: BLE001 - its panics are no Exception; `SnmpClient` asks then
            self._odd.add(key)
            return None
        self._sessions[key] = session
        while len(self._sessions) > _SESSIONS_KEPT:
            self._sessions.popitem(last=False)
        return got

    def _session(self, target: Target) -> Any:
        from gufo.snmp import SnmpVersion  # noqa: PLC0415 - an extra: loaded where it is used
        from gufo.snmp.aio import SnmpSession  # noqa: PLC0415

        entry = target.entry
        asked: dict[str, Any] = {
            "addr": str(target.address.ip),
            "port": target.udp_port,
            "timeout": 2 * _SOON_S,  # never reached: see `_quickly`
        }
        if entry.version != "3":
            kind = SnmpVersion.v1 if entry.version == "1" else SnmpVersion.v2c
            assert entry.community is not None
            return SnmpSession(community=entry.community.reveal(), version=kind, **asked)
        if entry not in self._users:
            self._users[entry] = _user(entry)
        return SnmpSession(user=self._users[entry], **asked)


async def _bulk(session: Any, position: Any) -> list[tuple[str, Any] | None]:
    """One GetBulk request: None among the rows is the column's end; no row, that of the MIB."""
    await session._send(lambda: session._sock.send_get_bulk(position))  # noqa: SLF001
    try:
        rows: list[tuple[str, Any] | None] = await session._recv(  # noqa: SLF001
            lambda: session._sock.recv_get_bulk(position)  # noqa: SLF001
        )
    except StopAsyncIteration:
        return []
    return rows


def _suits(target: Target) -> bool:
    """Whether the library can ask so: it knows no source address, no zone, no longer AES keys."""
    entry = target.entry
    keys = [key.reveal() for key in (entry.auth_key, entry.priv_key) if key is not None]
    return (
        target.source is None
        and not target.address.zone
        and (entry.priv_key is None or entry.priv in _PRIV)
        and all(len(key) >= _SHORTEST_KEY for key in keys)
    )


def _user(entry: SnmpEntry) -> Any:
    """A user with keys made of the passwords: that takes a hash over a megabyte for each.

    RFC 3414 section 2.6: both by the authentication's own hash.
    """
    from gufo.snmp import user as library  # noqa: PLC0415 - an extra: loaded where it is used

    keys: dict[str, Any] = {}
    if entry.auth_key is not None:
        auth, made = getattr(library, _AUTH[entry.auth]), library.KeyType.Master
        master = auth.get_master_key
        keys["auth_key"] = auth(master(entry.auth_key.reveal().encode()), key_type=made)
        if entry.priv_key is not None:
            priv = getattr(library, _PRIV[entry.priv])
            keys["priv_key"] = priv(master(entry.priv_key.reveal().encode()), key_type=made)
    return library.User(entry.user or "", **keys)


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
