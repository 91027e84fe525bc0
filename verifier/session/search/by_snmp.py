"""Asks by SNMP who is at an address: name, kind, serial number, engine id, mask, port."""

from __future__ import annotations

import asyncio
import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from verifier.errors import CannotMeasureError
from verifier.model import mib
from verifier.model.address import Address, Interface
from verifier.model.credentials import SnmpEntry
from verifier.model.problem import Subject
from verifier.model.profile import Profile
from verifier.probes.snmp.values import SnmpReply, SnmpTarget
from verifier.rules import decode, routes
from verifier.rules.observations import Observations
from verifier.session.ask import readings
from verifier.session.ask.polls import address_suffixes, prefix_of
from verifier.session.ask.routes import Routing
from verifier.session.recorder import Clock, timestamp
from verifier.session.world import SnmpManager

_IDENTITY = {name: mib.SYSTEM[name] for name in ("sysName", "sysObjectID", "sysUpTime")}
_TICKS_PER_S = 100
"""TimeTicks are hundredths of a second (RFC 2578 7.1.8)."""


@dataclass(slots=True)
class SnmpIdentity:
    """What came; the names are those of `model.search.Answer`."""

    values: dict[str, Any] = field(default_factory=dict)

    @property
    def answered(self) -> bool:
        """Whether some credentials were answered."""
        return bool(self.values.get("snmp") == "answered")


@dataclass(frozen=True, slots=True, kw_only=True)
class Asker:
    """Asks agents who they are.

    Attributes:
        profile: its reading of the serial number is taken, if it has one.
        routes_at: who has this address is asked for its default route too.
        hosts: management hosts outside the device's subnets.
    """

    client: SnmpManager
    profile: Profile | None
    timeout_s: float
    retries: int
    clock: Clock
    routes_at: Interface | None = None
    hosts: tuple[Address, ...] = ()

    async def who(
        self, address: Address, entries: Sequence[SnmpEntry], *, at_once: bool
    ) -> SnmpIdentity:
        """Asks with each of the entries until one is answered.

        `at_once`: with all together, where an answer is unlikely and each silence takes seconds.
        """
        if at_once:
            told = await asyncio.gather(*(self._one(address, entry) for entry in entries))
            return next((who for who in told if who.answered), told[0])
        who = SnmpIdentity()
        for entry in entries:
            before, who = who, await self._one(address, entry)
            if who.answered:
                break
            if before.values.get("snmp", "silent") != "silent":
                who = before
        return who

    async def _one(self, address: Address, entry: SnmpEntry) -> SnmpIdentity:
        who = SnmpIdentity()
        target = SnmpTarget(
            address=address, entry=entry, timeout_s=self.timeout_s, retries=self.retries
        )
        try:
            await self._ask(target, who.values)
        except CannotMeasureError:
            who.values["snmp"] = "local-error"
        if who.answered:
            who.values["credentials"] = entry.name
        return who

    async def _ask(self, target: SnmpTarget, told: dict[str, Any]) -> None:
        reply = await self.client.get(target, list(_IDENTITY.values()))
        told["snmp"] = reply.outcome
        if reply.engine_id is not None:
            told["engine_id"] = reply.engine_id.hex()
        if reply.outcome != "answered":
            return
        told["name"] = _text(reply, "sysName")
        told["object_id"] = _text(reply, "sysObjectID")
        uptime = reply.binding(_IDENTITY["sysUpTime"])
        if uptime is not None and isinstance(uptime.value, int):
            running = dt.timedelta(seconds=uptime.value / _TICKS_PER_S)
            told["up_since"] = timestamp(self.clock() - running)
        await self._serial(target, told)
        await self._port(target, told)
        if self.routes_at is not None and self.routes_at.address == target.address:
            await self._routes(target, self.routes_at, told)

    async def _routes(self, target: SnmpTarget, at: Interface, told: dict[str, Any]) -> None:
        held = told.get("held")
        prefixes = () if held is None else (held.prefix,)
        routing = Routing(
            client=self.client, target=target, at=at, prefixes=prefixes, hosts=self.hosts
        )
        reply = None
        if routing.older is not None:
            reply = await self.client.get(target, [routing.older])
        older = None if reply is None else reply.binding(routing.older or "")
        noted = await routing.read(older)
        asked = Subject("device", str(at.address))
        told["routes"] = routes.read_routes(Observations(n.observation(asked) for n in noted))

    async def _serial(self, target: SnmpTarget, told: dict[str, Any]) -> None:
        named = self.profile.named_readings() if self.profile is not None else {}
        wanted = {n: r for n, r in named.items() if r.field == "serial"}
        async for got in readings.read(self.client, target, wanted):
            if got.value is not None and "serial" not in told:
                told["serial"] = str(got.value).strip()

    async def _port(self, target: SnmpTarget, told: dict[str, Any]) -> None:
        """The mask that goes with the address, and the hardware address of its port."""
        address = target.address
        for table, suffix in _rows(address):
            oids = {name: f"{oid}.{suffix}" for name, oid in table.items()}
            reply = await self.client.get(target, list(oids.values()))
            values = {n: b.value for n, oid in oids.items() if (b := _present(reply, oid))}
            if (prefix := prefix_of(values)) is not None:
                told["held"] = Interface.of(address, prefix)
            elif (odd := values.get("ipAdEntNetMask")) is not None:
                told["odd_mask"] = str(odd)
            index = next((v for n, v in values.items() if n.endswith("IfIndex")), None)
            if isinstance(index, int):
                await self._hardware(target, index, told)
                return

    async def _hardware(self, target: SnmpTarget, index: int, told: dict[str, Any]) -> None:
        oid = f"{mib.IF_TABLE['ifPhysAddress']}.{index}"
        binding = _present(await self.client.get(target, [oid]), oid)
        if binding is not None and isinstance(binding.value, bytes):
            mac = decode.hardware_address(binding.value.hex())
            if mac is not None:
                told["port_mac"] = mac


def _rows(address: Address) -> list[tuple[Mapping[str, str], str]]:
    suffixes = address_suffixes(address)
    tables = [mib.IP_ADDR_TABLE, mib.IP_ADDRESS_TABLE] if address.is_v4 else [mib.IP_ADDRESS_TABLE]
    return list(zip(tables, suffixes, strict=True))


def _present(reply: SnmpReply, oid: str) -> Any:
    binding = reply.binding(oid)
    return None if binding is None or binding.missing else binding


def _text(reply: SnmpReply, name: str) -> str | None:
    binding = _present(reply, _IDENTITY[name])
    return None if binding is None else str(binding.text)
