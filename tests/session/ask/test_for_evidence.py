"""What an agent says against all rules costs its own unit a value, and the others nothing."""

from __future__ import annotations

import asyncio
import dataclasses
import ipaddress
from collections.abc import Callable, Iterable, Mapping
from typing import Any

import pytest
from pysnmp.proto.api import v2c
from pysnmp.proto.rfc1905 import endOfMibView, noSuchInstance

from tests.as_seen import value_of
from tests.probes.conftest import Asked, handmade
from tests.stopwatch import patience
from verifier.model import mib
from verifier.model.address import Address, Interface, Mac
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.plan import Device, Port
from verifier.model.problem import Subject
from verifier.model.profile import Profile, ProfileReading
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.fast import FastClient
from verifier.probes.snmp.values import SnmpTarget, VarBind
from verifier.probes.world import ThisMachine
from verifier.session.ask import readings
from verifier.session.ask.polls import EvidencePoll, HealthPoll
from verifier.session.ask.readings import decoded
from verifier.session.conductor import _at_once
from verifier.session.recorder import Recorder

__all__ = ["handmade"]
HERE = "127.83.0.9"
READING = ProfileReading(
    field="rx_level_dbm",
    oid="1.3.6.1.4.1.32473.1.1.0",
    type="integer",
    scale=0.1,
    no_signal=(-990,),
)


@pytest.mark.parametrize(
    ("value", "expected"),
    [(-456, pytest.approx(-45.6)), (b"-456", pytest.approx(-45.6)), (b"9" * 400, None),
     (b"9" * 5000, None), (b"many", None), (1 << 64, None), (-990, None)],
    ids=["number", "digits", "400 digits", "5000 digits", "words", "beyond Counter64", "no signal"],
)  # fmt: skip
def test_number_of_a_reading(value: Any, expected: Any) -> None:
    """A number that SMI knows, or none."""
    kind: Any = "OctetString" if isinstance(value, bytes) else "Integer32"
    assert decoded(READING, VarBind(READING.oid, kind, value)) == expected


ODD = {
    f"{mib.SYSTEM['sysName']}": "device",
    f"{mib.IP_ADDR_TABLE['ipAdEntIfIndex']}.{HERE}": b"\xff none",
    f"{mib.IP_ADDR_TABLE['ipAdEntNetMask']}.{HERE}": b"\xff\x00",
    f"{mib.IF_X_TABLE['ifName']}.1": "eth1",
    f"{mib.IF_X_TABLE['ifName']}.5.6": "eth1",
    f"{mib.IF_TABLE['ifMtu']}.1": 1500,
}
"""An index where the address belongs to no number, and a port's row of two arcs."""


def arcs(oid: str) -> tuple[int, ...]:
    return tuple(map(int, oid.split(".")))


ROWS = dict(sorted((arcs(oid), value) for oid, value in ODD.items()))


def odd_agent(asked: Asked) -> Iterable[bytes]:
    if asked.kind == "get":
        yield asked.reply(*((o, ROWS.get(o, endOfMibView)) for o in asked.oids))
        return
    following = [next((r for r in ROWS if r > o), None) for o in asked.oids]
    yield asked.reply(
        *(
            (r, ROWS[r]) if r else (o, endOfMibView)
            for o, r in zip(asked.oids, following, strict=True)
        )
    )


def test_odd_tables_do_not_end_the_poll(handmade: Any) -> None:
    """A row's index of several arcs and an ifIndex that is none: the rest is read all the same."""
    device = Device(
        name="device",
        address=Interface.parse(f"{HERE}/24"),
        mac=Mac.parse("02:00:5e:10:00:01"),
        snmp="bench",
        ports=(Port(name="eth1", mtu=1500),),
    )
    record = Recorder(Subject("device", "device"), ThisMachine().clocks.now)

    async def run() -> None:
        async with handmade(odd_agent, HERE) as (_, port), SnmpClient() as client:
            entry = SnmpEntry(name="bench", version="2c", community=Secret("harbour"), port=port)
            target = SnmpTarget(
                address=Address.parse(HERE), entry=entry, timeout_s=0.3 * patience(), retries=0
            )
            await EvidencePoll(client, target, device, Profile(id="mib2"), record).run(10.0)

    asyncio.run(run())
    assert [o.value for o in record.seen if o.what == "answer"] == ["answered"]
    assert [o.value for o in record.seen if o.what == "ifMtu" and o.value] == [1500]


@pytest.mark.parametrize(("limit", "devices"), [(None, 512), (1.0, 1), (5.0, 5), (1e6, 512)])
def test_as_many_devices_at_once_as_the_packet_limit_serves(
    limit: float | None, devices: int
) -> None:
    """A device's deadline does not pass while others take the sending slots."""
    assert _at_once(limit) == devices


ROUTE = "1.3.6.1.2.1.4.24.4.1.6.0.0.0.0.0.0.0.0.0"
"""ipCidrRouteType of 0.0.0.0/0, type of service 0; the next hop follows (RFC 2096)."""


def to_agent(port: int) -> SnmpTarget:
    """The agent of a test, asked with its community."""
    entry = SnmpEntry(name="bench", version="2c", community=Secret("harbour"), port=port)
    return SnmpTarget(address=Address.parse(HERE), entry=entry, timeout_s=0.3, retries=0)


def read_one(agent: Any, handmade: Any, reading: ProfileReading) -> readings.ReadingResult:
    """What comes of one reading."""

    async def run() -> readings.ReadingResult:
        async with handmade(agent, HERE) as (_, port), SnmpClient() as client:
            (got,) = [g async for g in readings.read(client, to_agent(port), {"it": reading})]
            return got

    return asyncio.run(run())


def rows_polled(agent: Any, handmade: Any, device: Device, **more: Any) -> list[Any]:
    """What is noted of one device that answers as `agent` does."""
    record = Recorder(Subject("device", device.name), ThisMachine().clocks.now)

    async def run() -> None:
        async with handmade(agent, HERE) as (_, port), SnmpClient() as client:
            entry = SnmpEntry(name="bench", version="2c", community=Secret("harbour"), port=port)
            target = SnmpTarget(
                address=Address.parse(HERE), entry=entry, timeout_s=0.3 * patience(), retries=0
            )
            poll = EvidencePoll(client, target, device, Profile(id="mib2"), record, **more)
            await poll.run(10.0)

    asyncio.run(run())
    return record.seen


DEVICE = Device(
    name="device",
    address=Interface.parse(f"{HERE}/24"),
    gateway=Address.parse("127.83.0.1"),
    snmp="bench",
)


def endless_routes(asked: Asked, hop: Any) -> Iterable[bytes]:
    """The old table's next hop is none; the newer one goes on for ever."""
    if asked.kind == "get":
        zeros = arcs(mib.IP_ROUTE_NEXT_HOP_DEFAULT)
        yield asked.reply(*((o, hop if o == zeros else 5) for o in asked.oids))
        return
    (oid,) = asked.oids[:1]
    start = arcs(ROUTE)
    last = oid[-1] + 1 if oid[: len(start)] == start else 1
    following = (*start, 127, 83, 0, last) if oid >= arcs(ROUTE.rpartition(".0.0")[0]) else oid
    yield asked.reply((following, 4))


@pytest.mark.parametrize("hop", [v2c.IpAddress("0.0.0.0"), b"0.0.0.0", b"127.83.0.300", 7])
def test_default_routes_are_counted_to_eight(handmade: Any, hop: Any) -> None:
    """0.0.0.0 and what is no address are no next hop; an endless table is left after eight rows."""
    seen = rows_polled(lambda asked: endless_routes(asked, hop), handmade, DEVICE)
    hops = [value_of(o)["next_hop"] for o in seen if o.what == "default-route" and o.value]
    assert hops == [f"127.83.0.{n}" for n in range(1, 9)]


def test_the_default_community_is_tried_once_and_only_read(handmade: Any) -> None:
    """One GET with it, between two with the planned one."""
    asked_with: list[tuple[str, str]] = []

    def agent(asked: Asked) -> Iterable[bytes]:
        community = bytes(asked.message[1]).decode()
        asked_with.append((community, asked.kind))
        if community == "harbour":
            yield from odd_agent(asked)

    seen = rows_polled(agent, handmade, DEVICE, default_community=True)
    tried = [n for n, (community, _) in enumerate(asked_with) if community == "public"]
    assert len(tried) == 1
    assert asked_with[tried[0]][1] == "get"
    assert asked_with[-1] == ("harbour", "get")
    assert [o.value for o in seen if o.what == "default-community"] == ["silent"]


def test_a_port_that_is_asked_in_vain_is_noted(handmade: Any) -> None:
    """A device that goes silent in the middle: each value is missing for that reason."""

    def agent(asked: Asked) -> Iterable[bytes]:
        if arcs(f"{mib.IF_TABLE['ifMtu']}.1") not in asked.oids:
            yield from odd_agent(asked)

    device = Device(
        name="device", address=DEVICE.address, snmp="bench", ports=(Port(name="eth1", mtu=1500),)
    )
    seen = rows_polled(agent, handmade, device)
    (mtu,) = [o for o in seen if o.oid == f"{mib.IF_TABLE['ifMtu']}.1"]
    assert mtu.value is None
    assert mtu.raw == "silent"


def table_agent(
    rows: Mapping[str, Any], failing: Iterable[str] = (), asked_of: list[Asked] | None = None
) -> Callable[[Asked], Iterable[bytes]]:
    """Answers from `rows`; genErr to whatever reaches into the subtrees that fail."""
    held = dict(sorted((arcs(oid), value) for oid, value in rows.items()))
    bad = [arcs(oid) for oid in failing]

    def fails(oid: tuple[int, ...]) -> bool:
        return any(oid[: len(b)] == b for b in bad)

    def answer(asked: Asked) -> Iterable[bytes]:
        if asked_of is not None:
            asked_of.append(asked)
        found: list[tuple[Any, Any]] = []
        for n, start in enumerate(asked.oids, start=1):
            oid: tuple[int, ...] | None = start
            if asked.kind != "get":
                oid = next((o for o in sorted({*held, *bad}) if o > start), None)
            if fails(oid or start) or fails(start):
                yield asked.reply(*((o, v2c.null) for o in asked.oids), status=5, index=n)
                return
            missing = noSuchInstance if asked.kind == "get" else endOfMibView
            found.append((oid or start, held.get(oid or start, missing)))
        yield asked.reply(*found)

    return answer


PORT = {
    f"{mib.SYSTEM['sysName']}": "device",
    f"{mib.IF_TABLE['ifDescr']}.1": "eth1",
    f"{mib.IF_TABLE['ifMtu']}.1": 1500,
    f"{mib.IF_TABLE['ifSpeed']}.1": v2c.Gauge32(100_000_000),
    f"{mib.IF_TABLE['ifAdminStatus']}.1": 1,
    f"{mib.IF_TABLE['ifOperStatus']}.1": 1,
    "1.3.6.1.2.1.99.1.0": 0,
}
"""A device with one port that ifDescr names, and something behind its last table."""


def test_an_error_in_the_newer_table_leaves_the_older_one(handmade: Any) -> None:
    """An error at every object of ifXTable: ports are found by ifDescr, and read."""
    if_x = mib.IF_X_TABLE["ifName"].rpartition(".")[0]
    device = Device(
        name="device", address=DEVICE.address, snmp="bench",
        ports=(Port(name="eth1", mtu=1500, status="up", speed_mbps=100),),
    )  # fmt: skip
    seen = rows_polled(table_agent(PORT, [if_x]), handmade, device)
    told = {o.what: o.value for o in seen if o.value is not None}
    assert (told["ifDescr"], told["ifMtu"], told["ifSpeed"]) == ("eth1", 1500, 100_000_000)
    (name,) = [o for o in seen if o.what == "ifName"]
    assert name.value is None
    assert "genErr" in name.raw


def test_a_reading_of_a_port_needs_no_newer_table(handmade: Any) -> None:
    """The same for a profile's reading of a port."""
    if_x = mib.IF_X_TABLE["ifName"].rpartition(".")[0]
    reading = ProfileReading(
        field="alarm", oid=mib.IF_TABLE["ifMtu"], index="port:eth1", type="integer"
    )
    got = read_one(table_agent(PORT, [if_x]), handmade, reading)
    assert (got.value, got.problem) == (1500, "")


@pytest.mark.parametrize("client", [SnmpClient, FastClient])
def test_a_sweep_needs_no_newer_table(handmade: Any, client: type[SnmpClient]) -> None:
    """The same for health."""
    if_x = mib.IF_X_TABLE["ifName"].rpartition(".")[0]
    device = Device(
        name="device", address=DEVICE.address, snmp="bench", ports=(Port(name="eth1", status="up"),)
    )
    record = Recorder(Subject("device", device.name), ThisMachine().clocks.now)

    async def run() -> None:
        async with handmade(table_agent(PORT, [if_x]), HERE) as (_, port), client() as snmp:
            await HealthPoll(snmp, to_agent(port), device, Profile(id="mib2"), record).run(10.0)

    asyncio.run(run())
    assert [o.value for o in record.seen if o.what == "ifOperStatus"] == ["up"]


def test_an_address_of_the_newer_table_only(handmade: Any) -> None:
    """Where ipAddrTable holds another address, ipAddressTable the planned one too (RFC 4293)."""
    suffix = f"1.4.{HERE}"
    rows = {
        f"{mib.SYSTEM['sysName']}": "device",
        f"{mib.IP_ADDR_TABLE['ipAdEntIfIndex']}.127.83.9.9": 7,
        f"{mib.IP_ADDR_TABLE['ipAdEntNetMask']}.127.83.9.9": v2c.IpAddress("255.255.255.0"),
        f"{mib.IP_ADDRESS_TABLE['ipAddressIfIndex']}.{suffix}": 3,
        f"{mib.IP_ADDRESS_TABLE['ipAddressPrefix']}.{suffix}": v2c.ObjectIdentifier(
            f"{mib.IP_ADDRESS_PREFIX_ENTRY}.3.1.4.127.83.0.0.24"
        ),
        f"{mib.IF_TABLE['ifPhysAddress']}.3": b"\x02\x00\x5e\x10\x00\x01",
        "1.3.6.1.2.1.99.1.0": 0,
    }
    device = Device(
        name="device", address=DEVICE.address, mac=Mac.parse("02:00:5e:10:00:01"), snmp="bench"
    )
    told = {o.what: o.value for o in rows_polled(table_agent(rows), handmade, device)}
    assert told["ipAddressPrefix"] == f"{mib.IP_ADDRESS_PREFIX_ENTRY}.3.1.4.127.83.0.0.24"
    assert told["ifPhysAddress"] == "02:00:5e:10:00:01"


NEXT_HOP, MASK, KIND = (
    mib.IP_ROUTE[name] for name in ("ipRouteNextHop", "ipRouteMask", "ipRouteType")
)
CIDR, INET = mib.IP_CIDR_ROUTE_TYPE, mib.INET_CIDR_ROUTE_TYPE
NET, PLAIN = "127.83.0.0", "255.255.255.0"
OWN_OLD = {
    f"{NEXT_HOP}.{NET}": v2c.IpAddress("0.0.0.0"),
    f"{MASK}.{NET}": v2c.IpAddress(PLAIN),
    f"{KIND}.{NET}": 3,
}
OWN_CIDR = {f"{CIDR}.{NET}.{PLAIN}.0.0.0.0.0": 3}
OWN_INET = {f"{INET}.1.4.{NET}.24.2.0.0.0.0": 3}
BY_OSPF = {f"{CIDR}.{NET}.{PLAIN}.0.127.83.7.1": 4}
"""The same subnet, learnt by another routing instance."""
TO_HOST = {f"{CIDR}.203.0.113.0.{PLAIN}.0.127.83.0.1": 4}
TO_HOST_OLD = {
    f"{NEXT_HOP}.203.0.113.0": v2c.IpAddress("127.83.0.1"),
    f"{MASK}.203.0.113.0": v2c.IpAddress(PLAIN),
    f"{KIND}.203.0.113.0": 4,
}


def default(table: str, hop: str, metric: int | None = None, kind: int = 4) -> dict[str, Any]:
    """The rows of a default route."""
    zeros = "0.0.0.0"
    if table == "old":
        return {f"{NEXT_HOP}.{zeros}": v2c.IpAddress(hop)}
    column, metrics = (CIDR, ".11") if table == "cidr" else (INET, ".12")
    index = f"{zeros}.{zeros}.0.{hop}" if table == "cidr" else f"1.4.{zeros}.0.2.0.0.1.4.{hop}"
    rows: dict[str, Any] = {f"{column}.{index}": kind}
    if metric is not None:
        rows[f"{column.rpartition('.')[0]}{metrics}.{index}"] = metric
    return rows


GATEWAY, OTHER = "127.83.0.1", "127.83.0.9"
Seen = tuple[list[tuple[str, int | None]], bool, dict[str, list[str]]]
TABLES: dict[str, tuple[dict[str, Any], Seen]] = {
    "nothing readable": ({}, ([], False, {})),
    "older table alone": (default("old", GATEWAY), ([(GATEWAY, None)], False, {})),
    "all three tables": (
        default("old", GATEWAY) | default("cidr", GATEWAY) | default("inet", GATEWAY),
        ([(GATEWAY, None)] * 2, False, {}),
    ),
    "the newer table prefers another": (
        default("old", GATEWAY) | default("cidr", GATEWAY, 20) | default("cidr", OTHER, 10),
        ([(GATEWAY, 20), (OTHER, 10)], False, {}),
    ),
    "the newest table alone knows the other": (
        default("old", GATEWAY) | default("cidr", GATEWAY, 20)
        | default("inet", GATEWAY, 20) | default("inet", OTHER, 10),
        ([(GATEWAY, 20), (GATEWAY, 20), (OTHER, 10)], False, {}),
    ),
    "the tables contradict each other": (
        default("old", GATEWAY) | default("cidr", OTHER), ([(OTHER, None), (GATEWAY, None)], False, {}),
    ),
    "a default route that rejects": (
        default("cidr", GATEWAY, kind=2) | OWN_CIDR, ([], True, {}),
    ),
    "own subnet in the older table": (OWN_OLD, ([], True, {})),
    "own subnet in the newer table": (OWN_CIDR, ([], True, {})),
    "own subnet in the newest table": (OWN_INET, ([], True, {})),
    "own subnet as another instance knows it": (BY_OSPF, ([], False, {})),
    "a route to the manager": (OWN_CIDR | TO_HOST, ([], True, {"203.0.113.10": [GATEWAY]})),
    "a route to the manager, older table": (
        OWN_OLD | TO_HOST_OLD, ([], True, {"203.0.113.10": [GATEWAY]}),
    ),
    "a nearer route to the manager": (
        OWN_CIDR | TO_HOST | {f"{CIDR}.203.0.113.10.255.255.255.255.0.{OTHER}": 4},
        ([], True, {"203.0.113.10": [OTHER]}),
    ),
    "two ways to the manager": (
        OWN_CIDR | TO_HOST | {f"{CIDR}.203.0.113.0.{PLAIN}.0.{OTHER}": 4},
        ([], True, {"203.0.113.10": [GATEWAY, OTHER]}),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", TABLES)
def test_routing_tables(handmade: Any, name: str) -> None:
    """Layouts of RFC 1213, RFC 2096 and RFC 4292: what is read of them, in few questions."""
    rows, expected = TABLES[name]
    rows = rows | {mib.SYSTEM["sysName"]: "device", "1.3.6.1.2.1.99.1.0": 0}
    asked: list[Asked] = []
    host = Address.parse("203.0.113.10")
    seen = rows_polled(table_agent(rows, (), asked), handmade, DEVICE, hosts=[host])
    told = [
        [o for o in seen if o.what == what and o.value is not None]
        for what in ("default-route", "connected-route", "host-route")
    ]
    defaults = [(value_of(o)["next_hop"], value_of(o)["metric"]) for o in told[0]]
    hosts = {value_of(o)["host"]: value_of(o)["next_hops"] for o in told[2]}
    assert (defaults, bool(told[1]), hosts) == expected
    assert all(o.oid for found in told for o in found)
    assert len(asked) <= (40 if not defaults else 8)
    if not defaults:
        (gap,) = [o for o in seen if o.what == "default-route"]
        assert gap.raw


def test_routing_tables_of_ipv6(handmade: Any) -> None:
    """What inetCidrRouteTable tells of IPv6: no default route beside the route of its own subnet."""
    net = ".".join(map(str, ipaddress.ip_address("2001:db8:20::").packed))
    rows = {
        mib.SYSTEM["sysName"]: "device",
        f"{INET}.2.16.{net}.64.2.0.0.0.0": 3,
        "1.3.6.1.2.1.99.1.0": 0,
    }
    device = dataclasses.replace(
        DEVICE,
        address=Interface.parse("2001:db8:20::11/64"),
        gateway=Address.parse("2001:db8:20::1"),
    )
    seen = rows_polled(table_agent(rows), handmade, device)
    assert [value_of(o)["to"] for o in seen if o.what == "connected-route"] == ["2001:db8:20::/64"]
    assert [o.value for o in seen if o.what == "default-route"] == [None]


def test_a_table_that_was_not_read_proves_nothing(handmade: Any) -> None:
    """Silent where the default route is asked for: whether there is one is not known."""

    def agent(asked: Asked) -> Iterable[bytes]:
        if asked.kind == "get" or not any(o[: len(arcs(CIDR))] == arcs(CIDR) for o in asked.oids):
            yield from table_agent(OWN_CIDR | OWN_OLD | {mib.SYSTEM["sysName"]: "device"})(asked)

    seen = rows_polled(agent, handmade, DEVICE)
    (gap,) = [o for o in seen if o.what == "default-route"]
    assert (gap.value, gap.raw) == (None, "silent")
    assert not [o for o in seen if o.what == "connected-route"]
