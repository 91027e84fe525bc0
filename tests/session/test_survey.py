"""What an agent says against all rules costs its own unit a value, and the others nothing."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable
from typing import Any

import pytest
from pysnmp.proto.api import v2c
from pysnmp.proto.rfc1905 import endOfMibView

from tests.probes.conftest import Asked, handmade
from tests.stopwatch import patience
from verifier.model import mib
from verifier.model.address import Address, Interface, Mac
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.plan import Device, Port
from verifier.model.profile import Profile, Reading
from verifier.model.subject import Subject
from verifier.probes.snmp import Binding, SnmpClient, Target
from verifier.session.conductor import _at_once
from verifier.session.readings import decoded
from verifier.session.recorder import Recorder
from verifier.session.survey import Survey

__all__ = ["handmade"]
HERE = "127.83.0.9"
READING = Reading(
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
    assert decoded(READING, Binding(READING.oid, kind, value)) == expected


ODD = {
    f"{mib.SYSTEM['sysName']}": "unit",
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


def test_odd_tables_do_not_end_the_survey(handmade: Any) -> None:
    """A row's index of several arcs and an ifIndex that is none: the rest is read all the same."""
    device = Device(
        name="unit",
        address=Interface.parse(f"{HERE}/24"),
        mac=Mac.parse("02:00:5e:10:00:01"),
        snmp="bench",
        ports=(Port(name="eth1", mtu=1500),),
    )
    record = Recorder(Subject("device", "unit"))

    async def run() -> None:
        async with handmade(odd_agent, HERE) as (_, port), SnmpClient() as client:
            entry = SnmpEntry(name="bench", version="2c", community=Secret("harbour"), port=port)
            target = Target(
                address=Address.parse(HERE), entry=entry, timeout_s=0.3 * patience(), retries=0
            )
            await Survey(client, target, device, Profile(id="mib2"), record).run(10.0)

    asyncio.run(run())
    assert [o.value for o in record.seen if o.what == "answer"] == ["answered"]
    assert [o.value for o in record.seen if o.what == "ifMtu" and o.value] == [1500]


@pytest.mark.parametrize(("limit", "units"), [(None, 512), (1.0, 1), (5.0, 5), (1e6, 512)])
def test_as_many_units_at_once_as_the_packet_limit_serves(limit: float | None, units: int) -> None:
    """A unit's deadline does not pass while others take the sending slots."""
    assert _at_once(limit) == units


ROUTE = "1.3.6.1.2.1.4.24.4.1.6.0.0.0.0.0.0.0.0.0"
"""ipCidrRouteType of 0.0.0.0/0, type of service 0; the next hop follows (RFC 2096)."""


def surveyed(agent: Any, handmade: Any, device: Device, **more: Any) -> list[Any]:
    """What is noted of one unit that answers as `agent` does."""
    record = Recorder(Subject("device", device.name))

    async def run() -> None:
        async with handmade(agent, HERE) as (_, port), SnmpClient() as client:
            entry = SnmpEntry(name="bench", version="2c", community=Secret("harbour"), port=port)
            target = Target(
                address=Address.parse(HERE), entry=entry, timeout_s=0.3 * patience(), retries=0
            )
            survey = Survey(client, target, device, Profile(id="mib2"), record, **more)
            await survey.run(10.0)

    asyncio.run(run())
    return record.seen


UNIT = Device(
    name="unit",
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
    seen = surveyed(lambda asked: endless_routes(asked, hop), handmade, UNIT)
    hops = [o.value["next_hop"] for o in seen if o.what == "default-route" and o.value]
    assert hops == [f"127.83.0.{n}" for n in range(1, 9)]


def test_the_default_community_is_tried_once_and_only_read(handmade: Any) -> None:
    """One GET with it, between two with the planned one."""
    asked_with: list[tuple[str, str]] = []

    def agent(asked: Asked) -> Iterable[bytes]:
        community = bytes(asked.message[1]).decode()
        asked_with.append((community, asked.kind))
        if community == "harbour":
            yield from odd_agent(asked)

    seen = surveyed(agent, handmade, UNIT, default_community=True)
    tried = [n for n, (community, _) in enumerate(asked_with) if community == "public"]
    assert len(tried) == 1
    assert asked_with[tried[0]][1] == "get"
    assert asked_with[-1] == ("harbour", "get")
    assert [o.value for o in seen if o.what == "default-community"] == ["silent"]


def test_a_port_that_is_asked_in_vain_is_noted(handmade: Any) -> None:
    """A unit that goes silent in the middle: each value is missing for that reason."""

    def agent(asked: Asked) -> Iterable[bytes]:
        if arcs(f"{mib.IF_TABLE['ifMtu']}.1") not in asked.oids:
            yield from odd_agent(asked)

    device = Device(
        name="unit", address=UNIT.address, snmp="bench", ports=(Port(name="eth1", mtu=1500),)
    )
    seen = surveyed(agent, handmade, device)
    (mtu,) = [o for o in seen if o.oid == f"{mib.IF_TABLE['ifMtu']}.1"]
    assert mtu.value is None
    assert mtu.raw == "silent"
