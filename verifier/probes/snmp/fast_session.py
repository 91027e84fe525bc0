"""A session of gufo-snmp with one agent, by that library's public interface alone.

Imported where it is used: the library is an extra (`fast`).
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any, TypeVar

from gufo.snmp import SnmpVersion
from gufo.snmp import user as library
from gufo.snmp.aio import SnmpSession
from gufo.snmp.policer import BasePolicer

from verifier.model.credentials import SnmpEntry
from verifier.probes.snmp.values import Target

_AUTH = {
    "MD5": "Md5Key", "SHA": "Sha1Key", "SHA-224": "Sha224Key", "SHA-256": "Sha256Key",
    "SHA-384": "Sha384Key", "SHA-512": "Sha512Key",
}  # fmt: skip
_PRIV = {"DES": "DesKey", "AES-128": "Aes128Key"}
_NEVER_S = 3600.0
"""The library's own timeout, which is never reached: `Session.ask` has another."""

Slot = Callable[[], Awaitable[None]]
_T = TypeVar("_T")


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
    """Asks one agent, one question at a time; its socket is connected to that agent.

    Args:
        target: the agent.
        user: of SNMPv3, see `user_of`.
        slot: waits until a request may leave.
    """

    def __init__(self, target: Target, user: Any, slot: Slot) -> None:
        self._slots = _Slots(slot)
        self._new = target.entry.version == "3"
        asked: dict[str, Any] = {
            "addr": str(target.address.ip),
            "port": target.udp_port,
            "timeout": _NEVER_S,
            "policer": self._slots,
        }
        if user is not None:
            asked["user"] = user
        else:
            assert target.entry.community is not None
            asked["community"] = target.entry.community.reveal()
            v1 = target.entry.version == "1"
            asked["version"] = SnmpVersion.v1 if v1 else SnmpVersion.v2c
        self._session = SnmpSession(**asked)

    async def ask(self, question: Callable[[SnmpSession], Awaitable[_T]], wait_s: float) -> _T:
        """What the library makes of a question; raises whatever it raises, panics too.

        TimeoutError where a request is not answered within `wait_s` seconds after it left.
        """
        async with asyncio.timeout(None) as limit:
            self._slots.limit, self._slots.wait_s = limit, wait_s
            if self._new:
                await self._session.refresh()
                self._new = False
            return await question(self._session)

    @property
    def engine_id(self) -> bytes:
        """Of an SNMPv3 agent."""
        return self._session.get_engine_id()


async def some(rows: AsyncIterator[_T], most: int) -> tuple[list[_T], bool]:
    """The next rows of a column, at most so many, and whether it ends with them."""
    found: list[_T] = []
    while len(found) < most:
        try:
            found.append(await anext(rows))
        except StopAsyncIteration:
            return found, True
    return found, False


def user_of(entry: SnmpEntry) -> Any:
    """A user with keys made of the passwords: that takes a hash over a megabyte for each.

    RFC 3414 section 2.6: both by the authentication's own hash.
    """
    keys: dict[str, Any] = {}
    if entry.auth_key is not None:
        auth, made = getattr(library, _AUTH[entry.auth]), library.KeyType.Master
        master = auth.get_master_key
        keys["auth_key"] = auth(master(entry.auth_key.reveal().encode()), key_type=made)
        if entry.priv_key is not None:
            priv = getattr(library, _PRIV[entry.priv])
            keys["priv_key"] = priv(master(entry.priv_key.reveal().encode()), key_type=made)
    return library.User(entry.user or "", **keys)
