"""What a sweep asks one device: how many questions, in which order, and how soon it gives up."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable
from typing import Any

import pytest
from pysnmp.proto.api import v2c
from pysnmp.proto.rfc1905 import endOfMibView, noSuchInstance

from tests.probes.conftest import Asked, handmade
from tests.stopwatch import Stopwatch, patience
from verifier.model import mib
from verifier.model.address import Address, Interface
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.plan import Device, Port
from verifier.model.problem import Subject
from verifier.model.profile import Profile
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.fast import FastClient
from verifier.probes.snmp.values import SnmpTarget
from verifier.probes.world import ThisMachine
from verifier.session.ask.polls import HealthPoll
from verifier.session.recorder import Recorder, RecorderEntry

__all__ = ["handmade"]
HERE = "127.83.0.31"
CLIENTS = [SnmpClient, FastClient]
IF, IFX = mib.IF_TABLE, mib.IF_X_TABLE


def arcs(oid: str) -> tuple[int, ...]:
    return tuple(map(int, oid.split(".")))


def device(
    named_by: str = "ifName", ports: int = 2, last: str = "1.3.6.1.2.1.99.1.0"
) -> dict[tuple[int, ...], Any]:
    """All objects of a device whose ports are called eth1, eth2, … by one column; `last` ends its MIB."""
    column = {**IF, **IFX}[named_by]
    rows: dict[str, Any] = {
        mib.SYSTEM["sysName"]: "device",
        mib.SYSTEM["sysUpTime"]: v2c.TimeTicks(9),
        last: 0,
    }
    for n in range(1, ports + 1):
        rows |= {
            f"{column}.{n}": f"eth{n}",
            f"{IF['ifOperStatus']}.{n}": 1,
            f"{IF['ifAdminStatus']}.{n}": 1,
            f"{IF['ifInErrors']}.{n}": v2c.Counter32(10 + n),
            f"{IF['ifOutErrors']}.{n}": v2c.Counter32(20 + n),
        }
    return dict(sorted((arcs(oid), value) for oid, value in rows.items()))


def agent(
    rows: dict[tuple[int, ...], Any], asked_of: list[str], *, bulk: bool = True
) -> Callable[[Asked], Iterable[bytes]]:
    """Answers from `rows`; `bulk` false: silent to a GETBULK, as some old agents are."""

    def answer(asked: Asked) -> Iterable[bytes]:
        asked_of.append(asked.kind)
        if asked.kind == "get":
            yield asked.reply(*((o, rows.get(o, noSuchInstance)) for o in asked.oids))
        elif asked.kind == "next" or bulk:
            found: list[tuple[Any, Any]] = []
            for start in asked.oids:
                at = start
                for _ in range(4 if asked.kind == "bulk" else 1):
                    following = next((oid for oid in rows if oid > at), None)
                    found.append(
                        (at, endOfMibView) if following is None else (following, rows[following])
                    )
                    at = following or at
            yield asked.reply(*found)

    return answer


def checked(
    handmade: Any,
    answer: Any,
    client: type[SnmpClient],
    ports: int = 2,
    version: Any = "2c",
    **target: Any,
) -> tuple[list[RecorderEntry], float]:
    """What is noted of the device, and how long it took."""
    device = Device(
        name="device", address=Interface.parse(f"{HERE}/24"), snmp="bench",
        ports=tuple(Port(name=f"eth{n}", status="up") for n in range(1, ports + 1)),
    )  # fmt: skip
    record = Recorder(Subject("device", "device"), ThisMachine().clocks.now)
    settled = {"timeout_s": 0.3 * patience(), "retries": 1, **target}

    async def run() -> None:
        async with handmade(answer, HERE) as (_, port), client() as snmp:
            entry = SnmpEntry(name="bench", version=version, community=Secret("harbour"), port=port)
            to = SnmpTarget(address=Address.parse(HERE), entry=entry, **settled)
            await HealthPoll(snmp, to, device, Profile(id="mib2"), record).run(20.0)

    stopwatch = Stopwatch()
    asyncio.run(run())
    return record.seen, stopwatch.alone_s


def values(seen: list[RecorderEntry], what: str) -> list[Any]:
    return [row.value for row in seen if row.what == what]


@pytest.mark.parametrize("client", CLIENTS)
def test_two_questions_to_most_devices(handmade: Any, client: type[SnmpClient]) -> None:
    """Names of ports, then identity and ports together."""
    asked_of: list[str] = []
    seen, _ = checked(handmade, agent(device(), asked_of), client)
    assert asked_of == ["bulk", "get"]
    assert values(seen, "answer") == ["answered"]
    assert values(seen, "sysName") == ["device"]
    assert values(seen, "ifOperStatus") == ["up", "up"]
    assert values(seen, "ifInErrors") == [11, 12]
    assert values(seen, "ifOutErrors") == [21, 22]


@pytest.mark.parametrize("client", CLIENTS)
def test_names_at_the_end_of_all_objects(handmade: Any, client: type[SnmpClient]) -> None:
    """Nothing follows the last port's name: the table ends there."""
    asked_of: list[str] = []
    seen, _ = checked(handmade, agent(device(last="1.3.6.1.2.1.1.9.0"), asked_of), client)
    assert values(seen, "ifOperStatus") == ["up", "up"]
    assert asked_of.count("get") == 1


@pytest.mark.parametrize("client", CLIENTS)
@pytest.mark.parametrize("named_by", ["ifDescr", "ifAlias"])
def test_ports_by_another_name(handmade: Any, client: type[SnmpClient], named_by: str) -> None:
    """Identity first, then the other columns of names; ifName is not asked for again.

    But by the faster library, which does not tell an empty column from an empty answer.
    """
    asked_of: list[str] = []
    seen, _ = checked(handmade, agent(device(named_by), asked_of), client)
    assert asked_of.index("get") == (2 if client is FastClient else 1)
    assert values(seen, "ifInErrors") == [11, 12]
    assert [row.what for row in seen].count("ifName") <= 1


@pytest.mark.parametrize("client", CLIENTS)
def test_a_device_without_getbulk(handmade: Any, client: type[SnmpClient]) -> None:
    """It is alive, and its ports are read by other requests."""
    asked_of: list[str] = []
    seen, _ = checked(handmade, agent(device(), asked_of, bulk=False), client)
    assert values(seen, "answer") == ["answered"]
    assert values(seen, "ifOperStatus") == ["up", "up"]
    assert {"next", "get"} <= set(asked_of)


@pytest.mark.parametrize("client", CLIENTS)
def test_many_ports_go_in_portions(handmade: Any, client: type[SnmpClient]) -> None:
    """As many rows as stay within one frame in each question."""
    asked_of: list[str] = []
    seen, _ = checked(handmade, agent(device(ports=20), asked_of), client, ports=20)
    assert values(seen, "ifInErrors") == [10 + n for n in sorted(range(1, 21), key=str)]
    assert asked_of.count("get") == 4


@pytest.mark.parametrize("client", CLIENTS)
def test_a_silent_device_costs_no_more_than_its_retries(
    handmade: Any, client: type[SnmpClient]
) -> None:
    """The question for names was one of them; who is silent is noted once."""
    seen, took_s = checked(handmade, lambda _: [], client, timeout_s=0.5, retries=1)
    assert values(seen, "answer") == ["silent"]
    assert [row.what for row in seen] == ["answer"]
    assert took_s < 2 * 0.5 + 0.4


@pytest.mark.parametrize("client", CLIENTS)
@pytest.mark.parametrize(("version", "ports"), [("1", 2), ("2c", 0)])
def test_who_is_not_asked_for_names_first_has_all_retries(
    handmade: Any, client: type[SnmpClient], version: str, ports: int
) -> None:
    """SNMP v1 has no GETBULK, a device without planned ports needs no names: one question, all tries."""
    asked_of: list[str] = []

    def silent(asked: Asked) -> Iterable[bytes]:
        asked_of.append(asked.kind)
        return []

    checked(handmade, silent, client, ports, version, timeout_s=0.3, retries=1)
    assert asked_of.count("get") == 2
    assert set(asked_of) == {"get"}
