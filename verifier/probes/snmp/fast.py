"""The same client, with columns of text read by a faster library (gufo-snmp), if installed.

That library gives values and little else: no types, no error-status, no report, no ICMP error. It
cuts a number to the size of its type without a word, and takes an answer of SNMPv3 without
authentication for one with it. So it reads single short columns of text by v2c, `SnmpClient` all
else, and also what it does not answer cleanly and soon.

Whose answer it is: each session has a socket connected to the address and port that is asked, and
the library draws each id at random.
"""

from __future__ import annotations

import asyncio
import os
import time
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.model.mib import SYNTAX
from verifier.probes.pace import Slots
from verifier.probes.snmp import values
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.values import ColumnTable, SnmpTarget, VarBind, oid_tuple

if TYPE_CHECKING:
    from verifier.probes.snmp.fast_session import Session

_SOON_S = 1.0
"""An agent on a terrestrial network that answers at all has answered by then (common practice)."""
_SESSIONS_KEPT = 512
"""Sessions, each with a socket of its own, that are kept for further questions to their agents."""
_QUICK_REQUESTS = 8
"""A column that takes more is left to `SnmpClient`."""


def installed() -> bool:
    """Whether the faster library is there (the extra `fast`)."""
    try:
        return find_spec("gufo.snmp") is not None
    except ImportError:
        return False


def fastest(pace: Slots | None = None) -> SnmpClient:
    """The fastest client there is on this machine."""
    return FastClient(pace) if installed() else SnmpClient(pace)


_Agent = tuple[Address, int, SnmpEntry]


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
    """An `SnmpClient` that reads columns of text faster.

    An agent that the faster library does not read is left to `SnmpClient` from then on.
    """

    def __init__(self, pace: Slots | None = None, *, error_queue: bool | None = None) -> None:
        super().__init__(pace, error_queue=error_queue)
        self._sessions: OrderedDict[_Agent, Session] = OrderedDict()
        self._odd: set[_Agent] = set()

    def close(self) -> None:
        """See `SnmpClient`."""
        self._sessions.clear()
        super().close()

    async def _quick_walk(
        self, target: SnmpTarget, columns: Sequence[str], max_rows: int, repetitions: int
    ) -> ColumnTable | None:
        """A single column of text, whole; None where it is empty or long, or anything is odd."""
        column = columns[0]
        if len(columns) > 1 or not _suits(target, column):
            return None
        started_s = time.monotonic()
        rows: dict[str, Mapping[str, VarBind]] = {}
        last, position = oid_tuple(column), None
        for requests in range(1, _QUICK_REQUESTS + 1):
            answer = await self._quickly(target, column, position, repetitions)
            if answer is None:
                return None
            position, came, at_end = answer
            for oid, value in came:
                name = oid_tuple(oid)
                text = _text(name, oid, value)
                if text is None or name <= last or len(rows) >= max_rows:
                    return None
                last = name
                rows[oid.removeprefix(f"{column}.")] = {column: text}
            if at_end:
                return _whole(target, rows, requests, started_s) if rows else None
        return None

    async def _quickly(
        self, target: SnmpTarget, column: str, position: Any, repetitions: int
    ) -> tuple[Any, list[tuple[str, Any]], bool] | None:
        """The next rows; where the library stands then; whether it was all. None where it fails."""
        key = (target.address, target.udp_port, target.entry)
        if key in self._odd:
            return None
        try:
            session = self._sessions.pop(key, None)  # taken out: one question at a time
            if session is None:
                session = self._session(target)
            answer = await session.rows(
                column, position, repetitions, min(_SOON_S, target.timeout_s)
            )
        except (asyncio.CancelledError, KeyboardInterrupt, SystemExit):
            raise
        except BaseException:  # noqa: BLE001 - its panics are no Exception; `SnmpClient` asks then
            self._odd.add(key)
            return None
        self._sessions[key] = session
        while len(self._sessions) > _SESSIONS_KEPT:
            self._sessions.popitem(last=False)
        return answer

    def _session(self, target: SnmpTarget) -> Session:
        from verifier.probes.snmp.fast_session import Session  # noqa: PLC0415 - an extra

        _Forked.used = True
        return Session(target, self._line.slot)


def _whole(
    target: SnmpTarget, rows: Mapping[str, Mapping[str, VarBind]], requests: int, started_s: float
) -> ColumnTable:
    return ColumnTable(
        outcome="answered",
        rows=rows,
        complete=True,
        responder=str(target.address.ip),
        requests=requests,
        took_ms=1000 * (time.monotonic() - started_s),
    )


def _suits(target: SnmpTarget, column: str) -> bool:
    """Whether the library can ask so; it knows no source address and no zone."""
    syntax = SYNTAX.get(column)
    return (
        not _Forked.inherited
        and syntax is not None
        and syntax.kind == "octets"
        and target.entry.version == "2c"
        and target.source is None
        and not target.address.zone
    )


def _text(name: tuple[int, ...], oid: str, value: object) -> VarBind | None:
    """A row's text; None where it is anything else, which `SnmpClient` then tells."""
    if not isinstance(value, bytes):
        return None
    try:
        return values.fitting(name, VarBind(oid, "OctetString", value))
    except values.UnfitError:
        return None
