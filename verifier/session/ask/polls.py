"""Asks one device for evidence, or how it is: few numeric objects, never a whole MIB.

`EvidencePoll` asks for what a verdict rests on; `HealthPoll` asks for identity, what health reads,
and planned ports with their errors.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

from verifier.model import mib
from verifier.model.address import Address, prefix_of_mask
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.observations import ANSWER_AFTER, DEFAULT_COMMUNITY, NO_ROWS, Unreadable
from verifier.model.plan import Device
from verifier.model.profile import Profile
from verifier.probes.snmp.values import SnmpTarget, VarBind
from verifier.probes.snmp.walk import REPETITIONS
from verifier.rules import observations
from verifier.rules.health import HEALTH_READINGS
from verifier.session.ask.questions import FAILED, MOST_OBJECTS, OIDS, PORT_COLUMNS, Questions
from verifier.session.ask.readings import MAX_INTERFACES
from verifier.session.ask.routes import Routing
from verifier.session.recorder import Recorder
from verifier.session.world import SnmpManager

MAX_ADDRESSES = 64
MAX_NEIGHBOURS = 500
_IDENTITY = ("sysName", "sysLocation", "sysObjectID", "sysUpTime", "sysDescr")


class EvidencePoll(Questions):
    """All that the plan wants to know of one device.

    Args:
        default_community: whether to ask once with the community `public` too.
        hosts: management hosts outside the device's subnets.
    """

    def __init__(  # noqa: PLR0913
        self,
        client: SnmpManager,
        target: SnmpTarget,
        device: Device,
        profile: Profile,
        record: Recorder,
        *,
        default_community: bool = False,
        hosts: Sequence[Address] = (),
    ) -> None:
        super().__init__(client, target, device, profile, record)
        self._try_default = default_community
        self._hosts = hosts
        self._prefixes: list[int] = []

    async def _ask(self) -> None:
        if not await self._answers([mib.SYSTEM[name] for name in _IDENTITY]):
            if self._try_default:
                raw = "not tried: the device does not answer the planned credentials"
                self._record.note(DEFAULT_COMMUNITY, Unreadable(raw))
            return
        await self._readings(self._profile.named_readings())
        await self._addresses()
        if self._device.gateway is not None or self._device.no_gateway:
            await self._default_route()
        if self._device.ports:
            await self._ports()
        if any(port.neighbour is not None for port in self._device.ports):
            await self._walk(mib.LLDP_LOCAL_PORTS, MAX_INTERFACES)
            await self._walk(mib.LLDP_NEIGHBOURS, MAX_NEIGHBOURS)
        if self._try_default:
            await self._default_community()

    async def _addresses(self) -> None:
        """Where the older table does not have the planned address, the newer one is read too."""
        address = self._device.address.address
        rows = await self._walk(mib.IP_ADDR_TABLE, MAX_ADDRESSES) if address.is_v4 else {}
        if not any(suffix in rows for suffix in address_suffixes(address)):
            rows = await self._walk(mib.IP_ADDRESS_TABLE, MAX_ADDRESSES)
        index = self._own_interface(rows)
        self._prefixes = [p for p in map(prefix_of, _own(rows, address)) if p is not None]
        if self._device.mac is not None and index is not None:
            await self._get({"ifPhysAddress": OIDS["ifPhysAddress"]}, index)

    def _own_interface(self, rows: Mapping[str, Mapping[str, VarBind]]) -> str | None:
        """The ifIndex of the interface that holds the planned address."""
        for suffix in address_suffixes(self._device.address.address):
            for name in ("ipAdEntIfIndex", "ipAddressIfIndex"):
                binding = rows.get(suffix, {}).get(name)
                if binding is not None and isinstance(binding.value, int):
                    return str(binding.value)
        return None

    async def _default_community(self) -> None:
        """One GET with the usual community; then the planned credentials once more."""
        entry = SnmpEntry(
            name="default", version="2c", community=Secret("public"), port=self._target.udp_port
        )
        names = [mib.SYSTEM["sysName"]]
        asked = dataclasses.replace(self._target, entry=entry, port=None, retries=0)
        for kind, target in ((DEFAULT_COMMUNITY, asked), (ANSWER_AFTER, self._target)):
            reply = await self._client.get(target, names)
            self._record.note(kind, reply.outcome, raw=reply.detail)
            if kind is ANSWER_AFTER:
                self._bindings(reply)

    async def _default_route(self) -> None:
        routing = Routing(
            client=self._client,
            target=self._target,
            at=self._device.address,
            prefixes=self._prefixes,
            hosts=self._hosts,
        )
        older = None
        if routing.older is not None:
            # the name once more, in the same question: it changes where two devices hold one
            # address
            name = mib.SYSTEM["sysName"]
            reply = await self._client.get(self._target, [routing.older, name])
            if (again := reply.binding(name)) is not None:
                self._note(mib.SYS_NAME, again, reply.took_ms)
            older = reply.binding(routing.older)
        for noted in await routing.read(older):
            noted.put(self._record)

    async def _ports(self) -> None:
        """All names of the device's ports, then what the planned ones are like."""
        names: dict[str, dict[str, str]] = {}
        planned = [port.name for port in self._device.ports]
        rows = await self._walk(
            {c: OIDS[c] for c in observations.NAME_COLUMNS},
            MAX_INTERFACES,
            at_once=len(planned) + 2,
        )
        for column in observations.NAME_COLUMNS:
            names[column] = {i: row[column].text for i, row in rows.items() if column in row}
        indices = sorted({i for name in planned for i in observations.rows_of_port(names, name)})
        await self._rows([c for columns in PORT_COLUMNS.values() for c in columns], indices)


def _own(rows: Mapping[str, Mapping[str, VarBind]], address: Address) -> list[dict[str, Any]]:
    """What the rows of an address say, by column."""
    own = (rows[s] for s in address_suffixes(address) if s in rows)
    return [{name: b.value for name, b in row.items() if not b.missing} for row in own]


def prefix_of(told: Mapping[str, Any]) -> int | None:
    """The length of the mask: of ipAdEntNetMask, else where ipAddressPrefix points (RFC 4293)."""
    try:
        if (mask := told.get("ipAdEntNetMask")) is not None:
            return prefix_of_mask(str(mask))
        length = str(told.get("ipAddressPrefix", "")).rpartition(".")[2]
        return int(length) if length.isdigit() and int(length) else None
    except ValueError:
        return None


def address_suffixes(address: Address) -> tuple[str, ...]:
    """How an address is an index: of ipAddrTable (IPv4), and of ipAddressTable (RFC 4293)."""
    dotted = ".".join(str(octet) for octet in address.ip.packed)
    if address.is_v4:
        return dotted, f"1.4.{dotted}"
    return (f"2.16.{dotted}",)


_ERROR_COLUMNS = ("ifInErrors", "ifOutErrors")
_HEALTH_IDENTITY = ("sysName", "sysUpTime")


class HealthPoll(Questions):
    """What a sweep asks one device, in as few requests as it can be.

    Names of ports come first, so that identity and ports are one question: most devices are asked
    twice. Where that does not work, identity decides whether the device answers at all.
    """

    async def _ask(self) -> None:
        names: dict[str, dict[str, str]] = {}
        named_first = bool(self._device.ports) and self._target.entry.version != "1"
        rows = await self._by_first_names(names) if named_first else []
        in_vain = named_first and not names  # that was a question too
        columns = [*self._planned_columns(), *_ERROR_COLUMNS]
        with_identity = max(1, MOST_OBJECTS // len(columns))
        objects = [f"{OIDS[c]}.{i}" for i in rows[:with_identity] for c in columns]
        identity = [mib.SYSTEM[name] for name in _HEALTH_IDENTITY]
        if not await self._answers([*identity, *objects], again=not in_vain):
            return
        named = self._profile.named_readings()
        await self._readings({n: r for n, r in named.items() if r.field in HEALTH_READINGS})
        if rows:
            await self._rows(columns, rows[with_identity:])
        elif self._device.ports:
            await self._rows(columns, await self._by_all_names(names))

    async def _by_first_names(self, names: dict[str, dict[str, str]]) -> list[str]:
        """Rows of the planned ports; none where ifName does not name them all at once."""
        column = OIDS["ifName"]
        table = await self._client.walk(
            dataclasses.replace(self._target, retries=0),
            [column],
            max_rows=MAX_INTERFACES,
            deadline_s=self._target.timeout_s,
            repetitions=min(len(self._device.ports) + 2, REPETITIONS),
        )
        if table.outcome != "answered" or not table.complete:
            return []
        for row in table.rows.values():
            self._note(mib.IF_NAME, row[column], None)
        names["ifName"] = {i: row[column].text for i, row in table.rows.items()}
        return self._matched(names)

    async def _by_all_names(self, names: dict[str, dict[str, str]]) -> list[str]:
        """Rows of the planned ports, by as few columns of names as it needs."""
        for column in observations.NAME_COLUMNS:
            if column in names:
                continue
            rows = await self._walk(
                {column: OIDS[column]}, MAX_INTERFACES, at_once=len(self._device.ports) + 2
            )
            names[column] = {i: row[column].text for i, row in rows.items()}
            why = self._record.seen[-1].raw or ""
            lost = not rows and why != NO_ROWS and not why.startswith(FAILED)
            if lost or self._matched(names):
                break
        return sorted(
            {i for p in self._device.ports for i in observations.rows_of_port(names, p.name)}
        )

    def _matched(self, names: dict[str, dict[str, str]]) -> list[str]:
        """Rows of the planned ports where each has one; else none."""
        found = [observations.rows_of_port(names, port.name) for port in self._device.ports]
        return sorted({i for rows in found for i in rows}) if all(found) else []

    def _planned_columns(self) -> list[str]:
        """What tells the values that the plan has of any port."""
        planned = (
            field
            for field in PORT_COLUMNS
            if any(getattr(port, field) is not None for port in self._device.ports)
        )
        return [column for field in planned for column in PORT_COLUMNS[field]]
