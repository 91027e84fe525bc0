"""Asks one unit by SNMP: few numeric objects, never a whole MIB, and writes down what came."""

from __future__ import annotations

import asyncio
import dataclasses
from collections.abc import Mapping, Sequence

from verifier.errors import CannotMeasureError
from verifier.model import mib
from verifier.model.address import Address
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.observation import NO_ROWS
from verifier.model.plan import Device
from verifier.model.profile import Profile
from verifier.probes.snmp import REPETITIONS, Binding, Reply, SnmpClient, Target
from verifier.rules import ports, routes
from verifier.rules.health import HEALTH_READINGS
from verifier.session import readings
from verifier.session.readings import MAX_INTERFACES, failure
from verifier.session.recorder import Recorder
from verifier.session.sampling import note

MAX_ADDRESSES = 64
MAX_NEIGHBOURS = 500
MAX_DEFAULT_ROUTES = 8
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
_OIDS = {name: oid for table in _TABLES for name, oid in table.items()}
_NAMES = {oid: name for name, oid in _OIDS.items()}
_ENUMERATIONS = {
    "ifOperStatus": mib.IF_OPER_STATUS,
    "ifAdminStatus": mib.IF_ADMIN_STATUS,
    "dot3StatsDuplexStatus": mib.DUPLEX_STATUS,
}
_PORT_COLUMNS = {
    "status": ("ifOperStatus", "ifAdminStatus"),
    "speed_mbps": ("ifSpeed", "ifHighSpeed"),
    "mtu": ("ifMtu",),
    "duplex": ("dot3StatsDuplexStatus",),
}
"""What tells each planned value of a port."""
_ERROR_COLUMNS = ("ifInErrors", "ifOutErrors")
_MOST_OBJECTS = 24
"""In one request for ports: some 20 octets each, so that a response stays within one frame."""
_IDENTITY = ("sysName", "sysLocation", "sysObjectID", "sysUpTime", "sysDescr")
_HEALTH_IDENTITY = ("sysName", "sysUpTime")


class Survey:
    """The questions to one unit.

    Args:
        client: shared by all units of a run.
        target: where and with which credentials to ask.
        device: what is planned decides what is asked.
        profile: further readings.
        record: takes what was seen.
        default_community: whether to ask once with the community `public` too.
        health: ask only what health needs: identity, its readings, planned ports and their errors.
    """

    def __init__(  # noqa: PLR0913
        self,
        client: SnmpClient,
        target: Target,
        device: Device,
        profile: Profile,
        record: Recorder,
        *,
        default_community: bool = False,
        health: bool = False,
    ) -> None:
        self._client = client
        self._target = target
        self._device = device
        self._profile = profile
        self._record = record
        self._try_default = default_community
        self._health = health

    async def run(self, deadline_s: float) -> None:
        """Asks everything, for `deadline_s` seconds at most; silence ends it early.

        Where this machine cannot ask, that is written down instead of an answer.
        """
        try:
            async with asyncio.timeout(deadline_s):
                await self._ask()
        except CannotMeasureError as fault:
            self._record.note("snmp", "answer", raw=str(fault))
        except TimeoutError:
            self._record.note(
                "snmp", "deadline", raw=f"the unit was not read to the end within {deadline_s:g} s"
            )

    async def _ask(self) -> None:
        if not await self._identity():
            if self._try_default:
                raw = "not tried: the unit does not answer the planned credentials"
                self._record.note("snmp", "default-community", raw=raw)
            return
        await self._readings()
        if self._health:
            if self._device.ports:
                await self._ports((*self._planned_columns(), *_ERROR_COLUMNS))
            return
        await self._addresses()
        if self._device.gateway is not None:
            await self._default_route()
        if self._device.ports:
            await self._ports([c for columns in _PORT_COLUMNS.values() for c in columns])
        if any(port.neighbour is not None for port in self._device.ports):
            await self._walk(mib.LLDP_LOCAL_PORTS, MAX_INTERFACES)
            await self._walk(mib.LLDP_NEIGHBOURS, MAX_NEIGHBOURS)
        if self._try_default:
            await self._default_community()

    async def _identity(self) -> bool:
        wanted = _HEALTH_IDENTITY if self._health else _IDENTITY
        reply = await self._client.get(self._target, [mib.SYSTEM[name] for name in wanted])
        self._record.note(
            "snmp", "answer", value=reply.outcome, raw=reply.detail, took_ms=reply.took_ms
        )
        if reply.engine_id:
            self._record.note("snmp", "engine-id", value=reply.engine_id.hex())
        if reply.outcome != "answered":
            return False
        if reply.responder is not None:
            self._record.note("snmp", "responder", value=reply.responder)
        self._bindings(reply)
        return True

    async def _readings(self) -> None:
        named = self._profile.named_readings()
        if self._health:
            named = {name: r for name, r in named.items() if r.field in HEALTH_READINGS}
        async for got in readings.read(self._client, self._target, named):
            note(self._record, got)

    async def _addresses(self) -> None:
        table = mib.IP_ADDR_TABLE if self._device.address.address.is_v4 else mib.IP_ADDRESS_TABLE
        rows = await self._walk(table, MAX_ADDRESSES)
        if not rows and table is mib.IP_ADDR_TABLE:
            rows = await self._walk(mib.IP_ADDRESS_TABLE, MAX_ADDRESSES)
        index = self._own_interface(rows)
        if self._device.mac is not None and index is not None:
            await self._get({"ifPhysAddress": _OIDS["ifPhysAddress"]}, index)

    def _own_interface(self, rows: Mapping[str, Mapping[str, Binding]]) -> str | None:
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
        for what, target in (("default-community", asked), ("answer-after", self._target)):
            reply = await self._client.get(target, names)
            self._record.note("snmp", what, value=reply.outcome, raw=reply.detail)
            if what == "answer-after":
                self._bindings(reply)

    async def _default_route(self) -> None:
        version = self._device.address.version
        if version == 4:  # noqa: PLR2004
            # the name once more, in the same question: where two units hold one address it changes
            name, hop = mib.SYSTEM["sysName"], mib.IP_ROUTE_NEXT_HOP_DEFAULT
            reply = await self._client.get(self._target, [hop, name])
            if (again := reply.binding(name)) is not None:
                self._note("sysName", again, reply.took_ms)
            for binding in filter(None, [reply.binding(hop)]):
                if not binding.missing and is_host(hop := str(binding.value)):
                    self._route(binding, hop, None)
                    return
        for table in routes.tables(version):
            if await self._default_rows(table):
                return
        self._record.note("snmp", "default-route", raw="no default route in any routing table")

    async def _default_rows(self, table: routes.RouteTable) -> bool:
        found: list[tuple[Binding, str]] = []
        at = table.subtree
        for _ in range(MAX_DEFAULT_ROUTES):
            reply = await self._client.get_next(self._target, [at])
            binding = reply.bindings[0] if reply.bindings else None
            hop = routes.next_hop(table, binding.oid) if binding and not binding.missing else None
            if binding is None or hop is None or binding.oid == at:
                break
            found.append((binding, hop))
            at = binding.oid
        metrics = await self._metrics(table, [b.oid for b, _ in found]) if len(found) > 1 else {}
        for binding, hop in found:
            self._route(binding, hop, metrics.get(binding.oid))
        return bool(found)

    async def _metrics(self, table: routes.RouteTable, oids: list[str]) -> dict[str, int]:
        swapped = {table.metric_column + o.removeprefix(table.type_column): o for o in oids}
        reply = await self._client.get(self._target, list(swapped))
        return {
            swapped[b.oid]: b.value
            for b in reply.bindings
            if b.oid in swapped and isinstance(b.value, int)
        }

    def _route(self, binding: Binding, next_hop: str, metric: int | None) -> None:
        value = {"next_hop": next_hop, "metric": metric}
        self._record.note("snmp", "default-route", value=value, raw=binding.raw, oid=binding.oid)

    async def _ports(self, wanted_columns: Sequence[str]) -> None:
        names: dict[str, dict[str, str]] = {}
        planned = [port.name for port in self._device.ports]
        # Health asks for as few names as it needs; evidence shows all names of a unit's ports.
        groups = [(c,) for c in ports.NAME_COLUMNS] if self._health else [ports.NAME_COLUMNS]
        for columns in groups:
            oids = {column: _OIDS[column] for column in columns}
            rows = await self._walk(oids, MAX_INTERFACES, at_once=len(planned) + 2)
            for column in columns:
                names[column] = {i: row[column].text for i, row in rows.items() if column in row}
            lost = not rows and self._record.seen[-1].raw != NO_ROWS
            if lost or all(ports.match(names, name) for name in planned):
                break
        wanted = {i for name in planned for i in ports.match(names, name)}
        values = {name: _OIDS[name] for name in wanted_columns}
        rows_at_once = max(1, _MOST_OBJECTS // len(values))
        indices = sorted(wanted)
        for n in range(0, len(indices), rows_at_once):
            await self._get(values, *indices[n : n + rows_at_once])

    def _planned_columns(self) -> list[str]:
        """What tells the values that the plan has of any port."""
        ports = self._device.ports
        planned = (f for f in _PORT_COLUMNS if any(getattr(p, f) is not None for p in ports))
        return [column for field in planned for column in _PORT_COLUMNS[field]]

    async def _get(self, columns: Mapping[str, str], *indices: str) -> None:
        """Reads rows, all columns of each, in one request."""
        asked = {f"{oid}.{i}": name for i in indices for name, oid in columns.items()}
        reply = await self._client.get(self._target, list(asked))
        if reply.outcome != "answered":
            for oid, name in asked.items():
                self._record.note("snmp", name, oid=oid, raw=failure(reply))
        self._bindings(reply)

    async def _walk(
        self, columns: Mapping[str, str], max_rows: int, at_once: int = REPETITIONS
    ) -> dict[str, dict[str, Binding]]:
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
                self._note(name, binding, None)
        if table.outcome != "answered" or not rows:
            for name in columns:
                raw = NO_ROWS if table.outcome == "answered" else failure(table)
                self._record.note("snmp", name, oid=columns[name], raw=raw)
        return rows

    def _bindings(self, reply: Reply) -> None:
        for binding in reply.bindings:
            name = _NAMES.get(binding.oid) or _NAMES.get(binding.oid.rpartition(".")[0])
            if name is not None:
                self._note(name, binding, reply.took_ms)

    def _note(self, name: str, binding: Binding, took_ms: float | None) -> None:
        value = None if binding.missing else plain(name, binding)
        self._record.note(
            "snmp", name, value=value, raw=binding.raw, oid=binding.oid, took_ms=took_ms
        )


def address_suffixes(address: Address) -> tuple[str, ...]:
    """How an address is an index: of ipAddrTable (IPv4), and of ipAddressTable (RFC 4293)."""
    dotted = ".".join(str(octet) for octet in address.ip.packed)
    if address.is_v4:
        return dotted, f"1.4.{dotted}"
    return (f"2.16.{dotted}",)


def is_host(text: str) -> bool:
    """Whether `text` is an address, and not the one that stands for none (0.0.0.0, ::)."""
    try:
        return Address.parse(text).value != 0
    except ValueError:
        return False


def plain(name: str, binding: Binding) -> str | int | None:
    """A standard object's value as JSON: enumerations by name, hardware addresses with colons."""
    value = binding.value
    if name in _ENUMERATIONS:
        return _ENUMERATIONS[name].get(value, str(value)) if isinstance(value, int) else None
    if name == "ifPhysAddress" and isinstance(value, bytes):
        return ":".join(f"{octet:02x}" for octet in value)
    return binding.text if isinstance(value, bytes) else value
