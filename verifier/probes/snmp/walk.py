"""Reads columns of a table, together, from agents that may not keep to the rules.

Each column ends at its own subtree. Names must rise strictly, inside a reply and between replies
(RFC 3416 section 4.2.3 gives them in lexicographic order); an agent that repeats itself is stopped
there and named.
"""

from __future__ import annotations

import time
from collections.abc import Awaitable, Callable

from verifier.model.observations import Outcome
from verifier.probes.snmp.engine import Kind, Oids, RequestPdu
from verifier.probes.snmp.values import (
    EXCEPTIONS,
    ColumnTable,
    SnmpReply,
    VarBind,
    dotted,
    error_name,
    oid_tuple,
)

REPETITIONS = 10
"""Rows asked for at first. Agents fail above some number, by tooBig or by silence: it is halved."""


class Walk:
    """One walk.

    Args:
        ask: asks a question with so many retries.
        repetitions: rows a bulk request asks for at first; 0: the agent has none (v1).
        retries: for plain requests; a bulk request that stays silent is not repeated but halved.
        max_rows: end of patience.
    """

    def __init__(
        self,
        ask: Callable[[RequestPdu, int], Awaitable[SnmpReply]],
        columns: Oids,
        *,
        repetitions: int,
        retries: int,
        max_rows: int,
    ) -> None:
        self._ask = ask
        self._bulk = repetitions
        self._retries = retries
        self._max_rows = max_rows
        self._columns = columns
        self._last = {column: column for column in columns}
        self._failed: dict[str, str] = {}
        self._rows: dict[str, dict[str, VarBind]] = {}
        self._repetitions = repetitions
        self._alone = False
        self._heard = False
        self._end: tuple[Outcome, str] | None = None
        self._responder: str | None = None
        self._requests = 0
        self._started_s = time.monotonic()

    async def run(self) -> None:
        """Walks until every column has ended or something stops it."""
        while self._last and self._end is None:
            columns = tuple(self._last)[: 1 if self._alone else None]
            reply = await self._request(columns)
            if reply.outcome == "answered":
                self._take(columns, reply)
            elif not self._eased(columns, reply):
                self.stop(reply.outcome, reply.detail)

    def stop(self, outcome: Outcome, detail: str) -> None:
        """Ends the walk; the first reason counts."""
        if self._end is None:
            self._end = (outcome, detail)

    def table(self) -> ColumnTable:
        """What was read."""
        outcome, detail = self._end or ("answered", "")
        return ColumnTable(
            outcome=outcome,
            rows=self._rows,
            complete=not self._last and self._end is None and not self._failed,
            failed=self._failed,
            responder=self._responder,
            requests=self._requests,
            took_ms=1000 * (time.monotonic() - self._started_s),
            detail=detail,
        )

    async def _request(self, columns: Oids) -> SnmpReply:
        self._requests += 1
        names = tuple(self._last[column] for column in columns)
        kind: Kind = "bulk" if self._repetitions else "next"
        retries = 0 if self._repetitions else self._retries
        reply = await self._ask(RequestPdu(kind, names, self._repetitions), retries)
        self._responder = reply.responder or self._responder
        return reply

    def _eased(self, columns: Oids, reply: SnmpReply) -> bool:
        """Makes the next request easier for the agent; False where nothing is left to try."""
        error = error_name(reply.error_status) if reply.outcome == "error-status" else ""
        self._heard = self._heard or bool(error)
        if error == "noSuchName" and len(columns) == 1:
            del self._last[columns[0]]  # v1 says so at the end of the MIB (RFC 1157 4.1.3)
            return True
        if reply.outcome in {"silent", "undecodable"} or error in {"tooBig", "genErr"}:
            if self._repetitions:
                # an agent that has never answered may be dead: the plain request decides
                self._repetitions = self._repetitions // 2 if self._heard else 0
                return True
            if not error:
                return False
        if error and len(columns) > 1:
            self._alone = True
            return True
        return bool(error) and self._given_up(columns[0], reply.detail)

    def _given_up(self, column: tuple[int, ...], detail: str) -> bool:
        """Leaves a column that fails, for the sake of the others; False where all have failed."""
        if len(self._failed) + 1 == len(self._columns):
            return False
        self._failed[dotted(column)] = detail
        del self._last[column]
        self._alone, self._repetitions = False, self._bulk
        return True

    def _take(self, columns: Oids, reply: SnmpReply) -> None:
        if self._bulk and not self._heard and not self._repetitions:
            self._repetitions = max(1, self._bulk // 2)
        self._heard = True
        before = dict(self._last)
        for at, binding in enumerate(reply.bindings):
            column = columns[at % len(columns)]
            if column in self._last and self._end is None:
                self._store(column, binding)
        if self._last == before and self._end is None:
            if self._repetitions:
                self._repetitions //= 2
            else:
                self.stop("undecodable", f"an empty answer to what follows {dotted(columns[0])}")

    def _store(self, column: tuple[int, ...], binding: VarBind) -> None:
        name = oid_tuple(binding.oid)
        last = self._last[column]
        if binding.type in EXCEPTIONS:
            del self._last[column]
        elif name <= last:
            self.stop("loop", f"agent fault: {binding.oid} comes after {dotted(last)}")
        elif name[: len(column)] != column:
            del self._last[column]
        else:
            instance = dotted(name[len(column) :])
            if instance not in self._rows and len(self._rows) >= self._max_rows:
                self.stop("capped", f"stopped after {self._max_rows} rows")
                return
            self._last[column] = name
            self._rows.setdefault(instance, {})[dotted(column)] = binding
