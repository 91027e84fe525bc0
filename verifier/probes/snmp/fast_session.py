"""A session of gufo-snmp with one agent, by that library's public interface alone.

Imported where it is used: the library is an extra (`fast`).
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any

from gufo.snmp import SnmpVersion
from gufo.snmp.aio import SnmpSession
from gufo.snmp.policer import BasePolicer

from verifier.probes.snmp.values import SnmpTarget

_NEVER_S = 3600.0
"""The library's own timeout, which is never reached: `Session.rows` has another."""

Slot = Callable[[], Awaitable[None]]
_Rows = list[tuple[str, Any]]


class _Slots(BasePolicer):
    """Lets the library wait for a slot before each request; that time does not count."""

    def __init__(self, slot: Slot) -> None:
        self._slot = slot
        self.limit: asyncio.Timeout | None = None
        self.wait_s = 0.0

    def get_timeout(self, ts: int) -> int | None:  # noqa: ARG002 - the library's signature
        """Never asked: `wait` is what the library calls."""
        return None

    async def wait(self) -> None:
        """Waits for a slot; from then on an answer has its time."""
        if self.limit is not None:
            self.limit.reschedule(None)
        await self._slot()
        if self.limit is not None:
            self.limit.reschedule(asyncio.get_running_loop().time() + self.wait_s)


class Session:
    """Asks one agent by v2c, one question at a time; its socket is connected to that agent.

    Args:
        target: the agent.
        slot: waits until a request may leave.
    """

    def __init__(self, target: SnmpTarget, slot: Slot) -> None:
        assert target.entry.community is not None
        self._slots = _Slots(slot)
        self._session = SnmpSession(
            addr=str(target.address.ip),
            port=target.udp_port,
            community=target.entry.community.reveal(),
            version=SnmpVersion.v2c,
            timeout=_NEVER_S,
            policer=self._slots,
        )

    async def rows(
        self,
        column: str,
        position: AsyncIterator[tuple[str, Any]] | None,
        most: int,
        wait_s: float,
    ) -> tuple[AsyncIterator[tuple[str, Any]], _Rows, bool]:
        """The next rows of a column, at most so many; where it stands; whether it is at the end.

        Raises whatever the library raises, panics too; TimeoutError where a request is not answered
        within `wait_s` seconds after it left.
        """
        rows: _Rows = []
        async with asyncio.timeout(None) as limit:
            self._slots.limit, self._slots.wait_s = limit, wait_s
            position = position or self._session.getbulk(column, most)
            while len(rows) < most:
                try:
                    rows.append(await anext(position))
                except StopAsyncIteration:
                    return position, rows, True
        return position, rows, False
