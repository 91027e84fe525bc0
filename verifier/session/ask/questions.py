"""Asking one device by SNMP, and writing down what came: what every poll does."""

from __future__ import annotations

import asyncio
import dataclasses
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from typing import cast

from verifier.errors import CannotMeasureError
from verifier.model import mib
from verifier.model.address import Address
from verifier.model.kind import KindOf, MibObject
from verifier.model.observations import (
    ANSWER,
    DEADLINE,
    ENGINE_ID,
    NO_ROWS,
    RESPONDER,
    Unreadable,
)
from verifier.model.plan import Device
from verifier.model.profile import Profile, ProfileReading
from verifier.probes.snmp.values import SnmpReply, SnmpTarget, VarBind
from verifier.probes.snmp.walk import REPETITIONS
from verifier.session.ask import readings
from verifier.session.ask.levels import note
from verifier.session.ask.readings import failure
from verifier.session.recorder import Recorder
from verifier.session.world import SnmpManager

AnyObject = MibObject[str] | MibObject[int]
_TABLES = (
    mib.SYSTEM,
    mib.IP_ADDR_TABLE,
    mib.IP_ADDRESS_TABLE,
    mib.IF_TABLE,
    mib.IF_X_TABLE,
    mib.DUPLEX,
    mib.LLDP_LOCAL_PORTS,
    mib.LLDP_NEIGHBOURS,
)
OIDS = {name: oid for table in _TABLES for name, oid in table.items()}
"""Numeric object identifiers by the name of the object."""
_NAMES = {oid: name for name, oid in OIDS.items()}
PORT_COLUMNS = {
    "status": ("ifOperStatus", "ifAdminStatus"),
    "speed_mbps": ("ifSpeed", "ifHighSpeed"),
    "mtu": ("ifMtu",),
    "duplex": ("dot3StatsDuplexStatus",),
}
"""What tells each planned value of a port."""
FAILED = "error-status"
"""The outcome of a question that the agent answers with an error."""
MOST_OBJECTS = 24
"""In one request for ports: some 20 octets each, so that a response stays within one frame."""


class Questions(ABC):
    """The questions to one device; which they are is said by `_ask`.

    Args:
        client: shared by all devices of a run.
        target: where and with which credentials to ask.
        device: what is planned decides what is asked.
        profile: further readings.
        record: takes what was seen.
    """

    def __init__(
        self,
        client: SnmpManager,
        target: SnmpTarget,
        device: Device,
        profile: Profile,
        record: Recorder,
    ) -> None:
        self._client = client
        self._target = target
        self._device = device
        self._profile = profile
        self._record = record

    async def run(self, deadline_s: float) -> None:
        """Asks everything, for `deadline_s` seconds at most; silence ends it early.

        Where this machine cannot ask, that is written down instead of an answer.
        """
        try:
            async with asyncio.timeout(deadline_s):
                await self._ask()
        except CannotMeasureError as fault:
            self._record.note(ANSWER, Unreadable(str(fault)))
        except TimeoutError:
            self._record.note(
                DEADLINE, Unreadable(f"the device was not read to the end within {deadline_s:g} s")
            )

    @abstractmethod
    async def _ask(self) -> None:
        """Asks, and writes down what came."""

    async def _answers(self, oids: Sequence[str], *, again: bool = True) -> bool:
        """Whether the device answers; what it says of these objects is noted.

        `again`: with all the retries that were set, else with one less.
        """
        retries = self._target.retries if again else max(0, self._target.retries - 1)
        reply = await self._client.get(dataclasses.replace(self._target, retries=retries), oids)
        self._record.note(ANSWER, reply.outcome, raw=reply.detail, took_ms=reply.took_ms)
        if reply.engine_id:
            self._record.note(ENGINE_ID, reply.engine_id.hex())
        for other in reply.elsewhere:
            self._record.note(RESPONDER, Address.parse(other.host), raw=f"port {other.port}")
        if reply.outcome != "answered":
            return False
        self._bindings(reply)
        return True

    async def _readings(self, named: Mapping[str, ProfileReading]) -> None:
        async for got in readings.read(self._client, self._target, named):
            note(self._record, got)

    async def _rows(self, columns: Sequence[str], indices: Sequence[str]) -> None:
        """Reads columns of ports, some whole rows in each request."""
        values = {name: OIDS[name] for name in columns}
        at_once = max(1, MOST_OBJECTS // len(values))
        for n in range(0, len(indices), at_once):
            await self._get(values, *indices[n : n + at_once])

    async def _get(self, columns: Mapping[str, str], *indices: str) -> None:
        """Reads rows, all columns of each, in one request."""
        asked = {f"{oid}.{i}": name for i in indices for name, oid in columns.items()}
        reply = await self._client.get(self._target, list(asked))
        if reply.outcome != "answered":
            for oid, name in asked.items():
                self._unread(name, oid, failure(reply))
        self._bindings(reply)

    async def _walk(
        self, columns: Mapping[str, str], max_rows: int, at_once: int = REPETITIONS
    ) -> dict[str, dict[str, VarBind]]:
        """Walks columns of one table; rows by index, cells by column name."""
        oids = list(columns.values())
        table = await self._client.walk(
            self._target, oids, max_rows=max_rows, repetitions=min(at_once, REPETITIONS)
        )
        named = {oid: name for name, oid in columns.items()}
        rows = {
            suffix: {named[column]: binding for column, binding in row.items()}
            for suffix, row in table.rows.items()
        }
        for row in rows.values():
            for name, binding in row.items():
                self._note(mib.OBJECTS[name], binding, None)
        for name, oid in columns.items():
            if table.outcome != "answered":
                self._unread(name, oid, failure(table))
            elif oid in table.failed:
                self._unread(name, oid, f"{FAILED}: {table.failed[oid]}")
            elif not rows:
                self._unread(name, oid, NO_ROWS)
        return rows

    def _bindings(self, reply: SnmpReply) -> None:
        for binding in reply.bindings:
            name = _NAMES.get(binding.oid) or _NAMES.get(binding.oid.rpartition(".")[0])
            if name is not None:
                self._note(mib.OBJECTS[name], binding, reply.took_ms)

    def _unread(self, name: str, oid: str, why: str) -> None:
        self._put(mib.OBJECTS[name], Unreadable(why), oid=oid)

    def _note(self, what: AnyObject, binding: VarBind, took_ms: float | None) -> None:
        seen = seen_of(what, binding)
        self._put(what, seen, raw=binding.raw, oid=binding.oid, took_ms=took_ms)

    def _put(
        self,
        what: AnyObject,
        seen: str | int | Unreadable,
        *,
        oid: str,
        raw: str | None = None,
        took_ms: float | None = None,
    ) -> None:
        kind = cast("KindOf[str | int]", what)
        self._record.note(kind, seen, raw=raw, oid=oid, took_ms=took_ms)


def seen_of(what: AnyObject, binding: VarBind) -> str | int | Unreadable:
    """A standard object's value: enumerations by name, hardware addresses with colons.

    What does not fit the object's type stays octets, with the reason.
    """
    value = binding.value
    if binding.missing:
        return Unreadable(binding.unreadable or binding.type, binding.octets)
    if what.names is not None and isinstance(value, int):
        value = what.names.get(value, str(value))
    elif isinstance(value, bytes):
        value = value.hex(":") if what.syntax is mib.PHYS_ADDRESS else binding.text
    if isinstance(value, str if what.shape is str else int):
        return value
    return Unreadable(f"{binding.raw} is no {what.syntax.words}")
