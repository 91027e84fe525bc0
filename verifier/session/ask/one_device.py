"""One device asked outside of a run, to make or to try a profile: reads only, and not for long."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass, field

from verifier.model import mib
from verifier.model.address import Address
from verifier.model.credentials import SnmpEntry
from verifier.model.profile import Profile
from verifier.probes.snmp.values import SnmpTarget
from verifier.session.ask import readings
from verifier.session.ask.readings import ReadingResult, failure
from verifier.session.limits import Paces, Probing
from verifier.session.world import SnmpManager, World

ENTERPRISES = "1.3.6.1.4.1"
"""Where makers' own objects are (RFC 2578 4, RFC 1155 3.1.4)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A device and how to ask it. `port`: UDP; None: the entry's."""

    address: Address
    entry: SnmpEntry
    port: int | None = None
    timeout_s: float = 2.0
    retries: int = 1

    @property
    def target(self) -> SnmpTarget:
        """The same in the SNMP client's words."""
        return SnmpTarget(
            address=self.address,
            entry=self.entry,
            port=self.port,
            timeout_s=self.timeout_s,
            retries=self.retries,
        )

    def client(self, world: World) -> SnmpManager:
        """A client that keeps to the pace of any run."""
        paces = Paces.of(Probing(), world)
        return world.snmp(paces.for_address(loopback=self.address.is_loopback))


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceAnswers:
    """What a device said.

    Attributes:
        silence: why it said nothing; empty where it answered.
        system: its system group, as text by name: `sysName`, ...
        readings: by the profile, in the profile's order.
        shown: the objects found, as text by OID.
        cut: why not all objects were read; empty where all were.
        took_s: how long the walk took.
    """

    silence: str = ""
    system: Mapping[str, str] = field(default_factory=dict)
    readings: tuple[ReadingResult, ...] = ()
    shown: Mapping[str, str] = field(default_factory=dict)
    cut: str = ""
    took_s: float = 0.0


def read(asked: Asked, profile: Profile, world: World, *, deadline_s: float) -> DeviceAnswers:
    """The device's readings by a profile. Raises CannotMeasureError where we cannot ask."""
    return world.run(_read(asked, profile, world, deadline_s))


def walk(
    asked: Asked, root: str, world: World, *, max_objects: int, deadline_s: float
) -> DeviceAnswers:
    """The device's objects below `root`. Raises CannotMeasureError where we cannot ask."""
    return world.run(_walk(asked, root, world, max_objects, deadline_s))


async def _read(asked: Asked, profile: Profile, world: World, deadline_s: float) -> DeviceAnswers:
    named = profile.named_readings()
    got: dict[str, ReadingResult] = {}
    async with asked.client(world) as client:
        silence, system = await _system(client, asked.target)
        if silence:
            return DeviceAnswers(silence=silence)
        try:
            async with asyncio.timeout(deadline_s):
                async for one in readings.read(client, asked.target, named):
                    got[one.name] = one
        except TimeoutError:
            late = f"not read within {deadline_s:g} s"
            got = {
                n: ReadingResult(name=n, reading=r, problem=late) for n, r in named.items()
            } | got
    return DeviceAnswers(system=system, readings=tuple(got[name] for name in named))


async def _walk(
    asked: Asked, root: str, world: World, max_objects: int, deadline_s: float
) -> DeviceAnswers:
    async with asked.client(world) as client:
        silence, system = await _system(client, asked.target)
        if silence:
            return DeviceAnswers(silence=silence)
        table = await client.walk(asked.target, [root], max_rows=max_objects, deadline_s=deadline_s)
    found = [binding for row in table.rows.values() for binding in row.values()]
    return DeviceAnswers(
        system=system,
        shown={b.oid: b.text for b in found if not b.missing},
        cut="" if table.complete else failure(table),
        took_s=table.took_ms / 1000,
    )


async def _system(client: SnmpManager, target: SnmpTarget) -> tuple[str, dict[str, str]]:
    """Why the device does not answer, or its system group."""
    reply = await client.get(target, list(mib.SYSTEM.values()))
    if reply.outcome != "answered":
        return failure(reply), {}
    values = {name: reply.binding(oid) for name, oid in mib.SYSTEM.items()}
    return "", {n: b.text for n, b in values.items() if b is not None and not b.missing}
