"""The faster client says of every agent what the other one says."""

from __future__ import annotations

import asyncio
import contextlib
import dataclasses
import os
import socket
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest
from pysnmp.proto.api import v2c
from pysnmp.proto.rfc1905 import noSuchInstance

from tests.probes.conftest import Asked, handmade, snmpd
from tests.probes.snmp.test_faults import SPOILT
from tests.probes.snmp.test_snmpd import (
    AUTH,
    CONFIG,
    KEY,
    LOCATION,
    NAME,
    OTHER,
    UPTIME,
    V1,
    V2C,
    V3,
)
from tests.stopwatch import Stopwatch
from verifier.model.address import Address
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.mib import SYSTEM
from verifier.probes.pace import Pace
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.fast import FastClient, fastest, installed
from verifier.probes.snmp.values import SnmpReply, SnmpTarget

__all__ = ["handmade", "snmpd"]
pytestmark = pytest.mark.snmpd
MISSING = "1.3.6.1.2.1.1.99.0"


@pytest.fixture(scope="module")
def agent(snmpd: Any) -> Any:
    return snmpd(CONFIG, "127.0.0.12")


def target(agent: Any, entry: SnmpEntry, **changes: Any) -> SnmpTarget:
    settled = {"timeout_s": 0.3, "retries": 0} | changes
    address, port = (agent.address, agent.port) if hasattr(agent, "address") else agent
    return SnmpTarget(address=Address.parse(address), port=port, entry=entry, **settled)


async def both(asked: SnmpTarget, *oids: str) -> list[SnmpReply]:
    """What either client makes of the same question, asked twice of each."""
    replies = []
    for kind in (SnmpClient, FastClient):
        async with kind() as snmp:
            await snmp.get(asked, oids or [NAME])
            replies.append(await snmp.get(asked, oids or [NAME]))
    return replies


def told(reply: SnmpReply) -> Any:
    """All of a reply that both can tell and that is the same at any time."""
    values = [(b.oid, b.value, b.missing) for b in reply.bindings if b.oid != UPTIME]
    return reply.outcome, values, reply.responder, reply.engine_id, reply.error_status, reply.detail


def test_it_is_chosen_where_it_is_installed() -> None:
    """Here it is."""
    assert installed()
    assert isinstance(fastest(), FastClient)


OIDS = (*SYSTEM.values(), "1.3.6.1.2.1.2.2.1.6.1", "1.3.6.1.2.1.4.20.1.3.127.0.0.1")
ENTRIES = {
    "v1": V1, "v2c": V2C, "v3": V3,
    "v3 without keys": SnmpEntry(name="v3", version="3", user="plain"),
    **{
        f"v3 {a}": SnmpEntry(name="v3", version="3", user=f"auth{a}", auth=a, auth_key=Secret(KEY))  # type: ignore[arg-type]
        for a in AUTH
    },
    "v3 DES": SnmpEntry(
        name="v3", version="3", user="SHADES", auth="SHA", auth_key=Secret(KEY), priv="DES",
        priv_key=Secret(OTHER),
    ),
    "v3 AES-256": SnmpEntry(
        name="v3", version="3", user="SHA-256AES-256", auth="SHA-256", auth_key=Secret(KEY),
        priv="AES-256", priv_key=Secret(OTHER),
    ),
    "wrong community": dataclasses.replace(V2C, community=Secret("other")),
    "unknown user": dataclasses.replace(V3, user="nobody"),
    "wrong key": dataclasses.replace(V3, auth_key=Secret("another-key")),
    "wrong privacy key": dataclasses.replace(V3, priv_key=Secret("another-key")),
    "wrong privacy": dataclasses.replace(V3, priv="DES"),
    "level too high": dataclasses.replace(V3, user="authSHA-256"),
    "level too low": dataclasses.replace(V3, priv_key=None),
}  # fmt: skip


@pytest.mark.parametrize("name", ENTRIES)
def test_the_same_of_an_agent(agent: Any, name: str) -> None:
    """Values, missing values, refusals: alike for every version and algorithm."""
    slow, fast = asyncio.run(both(target(agent, ENTRIES[name]), *OIDS))
    assert told(fast) == told(slow)
    slow, fast = asyncio.run(both(target(agent, ENTRIES[name]), NAME, MISSING, LOCATION))
    assert told(fast) == told(slow)


def test_the_same_of_a_closed_port() -> None:
    """Seen and confirmed before the time is over."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as own:
        own.bind(("127.0.0.13", 0))
        closed = own.getsockname()
    slow, fast = asyncio.run(both(target(closed, V2C, timeout_s=5.0)))
    assert slow.outcome == fast.outcome == "port-unreachable"


def test_the_same_of_a_socket_that_is_silent() -> None:
    """One timeout more, at most."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sink:
        sink.bind(("127.0.0.13", 0))
        stopwatch = Stopwatch()
        slow, fast = asyncio.run(both(target(sink.getsockname(), V2C, retries=1)))
    assert slow.outcome == fast.outcome == "silent"
    assert stopwatch.less_waiting(fast.took_ms / 1000) < slow.took_ms / 1000 + 0.4


def answer(asked: Asked) -> Iterable[bytes]:
    yield asked.reply(*((o, "x") for o in asked.oids))


ODD: dict[str, Callable[[Asked], Iterable[bytes]]] = {
    "one is missing": lambda a: [a.reply((a.oids[0], noSuchInstance))],
    "another object": lambda a: [a.reply(((1, 3, 6, 1, 9), "x"))],
    "nothing in it": lambda a: [a.reply()],
    "an error": lambda a: [a.reply((a.oids[0], v2c.Null("")), status=5, index=1)],
    "twice": lambda a: [a.reply((a.oids[0], "x"))] * 2,
}


@pytest.mark.parametrize("how", ODD)
def test_the_same_of_odd_answers(handmade: Any, how: str) -> None:
    """The values that were asked for, or what is wrong."""

    async def run() -> list[SnmpReply]:
        async with handmade(ODD[how], "127.0.0.14") as agent:
            return await both(target(agent, V2C))

    slow, fast = asyncio.run(run())
    assert told(fast) == told(slow)


@pytest.mark.parametrize("how", sorted(SPOILT.keys() - {"no list of objects"}))
def test_the_same_of_spoilt_answers(handmade: Any, how: str) -> None:
    """What cannot be read is told from silence."""

    async def run() -> list[SnmpReply]:
        async with handmade(lambda r: [SPOILT[how](r)], "127.0.0.14", raw=True) as agent:
            return await both(target(agent, V2C))

    slow, fast = asyncio.run(run())
    assert told(fast)[0] == told(slow)[0] == "undecodable"


def test_octets_that_make_the_library_panic(
    handmade: Any, capfd: pytest.CaptureFixture[str]
) -> None:
    """Every cut of a right answer: nothing escapes, and the agent is read when it is right again."""
    cut = {"at": 0}

    def spoilt(request: bytes) -> Iterable[bytes]:
        right = request.replace(b"harbour\xa0", b"harbour\xa2", 1)
        yield right[: cut["at"]]

    async def run() -> set[str]:
        outcomes: set[str] = set()
        async with handmade(spoilt, "127.0.0.15", raw=True) as agent:
            for cut["at"] in range(1, 40, 3):
                async with FastClient() as snmp:
                    reply = await snmp.get(target(agent, V2C, timeout_s=0.02), [NAME])
                    outcomes.add(reply.outcome)
        return outcomes

    assert asyncio.run(run()) <= {"undecodable", "silent"}
    capfd.readouterr()  # the library says on stderr that it panicked


def test_answers_from_another_address(handmade: Any) -> None:
    """The faster library does not hear them; the other client says who answered, and takes none."""

    async def run() -> list[SnmpReply]:
        async with handmade(answer, "127.0.0.16", answers_from="127.0.0.17") as agent:
            return await both(target(agent, V2C))

    slow, fast = asyncio.run(run())
    assert told(fast) == told(slow)
    assert (fast.outcome, fast.bindings) == ("silent", ())
    assert [e.host for e in fast.elsewhere] == ["127.0.0.17"]


def test_sockets_are_few_and_closed(handmade: Any) -> None:
    """Two hundred agents, and nothing open afterwards."""

    def open_files() -> int:
        return len(list(Path(f"/proc/{os.getpid()}/fd").iterdir()))

    async def run() -> int:
        async with contextlib.AsyncExitStack() as agents, FastClient() as snmp:
            at = [
                await agents.enter_async_context(handmade(answer, f"127.0.1.{n}"))
                for n in range(1, 201)
            ]
            asks = (snmp.get(target(one, V2C, timeout_s=3.0), [NAME]) for one in at)
            replies = await asyncio.gather(*asks)
            assert {r.outcome for r in replies} <= {"answered"}
            return open_files()

    before = open_files()
    assert asyncio.run(run()) < before + 450  # 200 are the agents'
    assert open_files() <= before + 1


def test_requests_take_their_slots(agent: Any) -> None:
    """The pace holds for both libraries: 20 requests at 100 a second take 0.2 s less a slot or two."""

    async def run() -> float:
        async with FastClient(Pace(100)) as snmp:
            loop = asyncio.get_running_loop()
            started_s = loop.time()
            await asyncio.gather(*(snmp.get(target(agent, V2C), [NAME]) for _ in range(20)))
            return loop.time() - started_s

    assert asyncio.run(run()) > 0.15


COLUMNS = {
    "a table of the agent": "1.3.6.1.2.1.1.9.1.2",
    "one that is long": "1.3.6.1.4.1.8072.1.2.1.1.4",
    "one that is empty": "1.3.6.1.2.1.1.99.1",
}


@pytest.mark.parametrize("what", COLUMNS)
@pytest.mark.parametrize("entry", [V1, V2C, V3], ids=lambda e: e.version)
def test_the_same_of_a_column(agent: Any, entry: SnmpEntry, what: str) -> None:
    """Every row, in order, and not one beyond."""

    async def run(kind: type[SnmpClient]) -> Any:
        async with kind() as snmp:
            table = await snmp.walk(target(agent, entry, timeout_s=1.0), [COLUMNS[what]])
        rows = [(i, b.oid, b.value) for i, row in table.rows.items() for b in row.values()]
        return table.outcome, table.complete, rows

    slow, fast = (asyncio.run(run(kind)) for kind in (SnmpClient, FastClient))
    assert fast == slow


def endless(asked: Asked) -> Iterable[bytes]:
    (oid,) = asked.oids
    yield asked.reply(*(((*oid[:-1], oid[-1] + n), "x") for n in range(1, asked.repetitions + 1)))


LOOPS: dict[str, Callable[[Asked], Iterable[bytes]]] = {
    "endless": endless,
    "the same again": lambda a: [a.reply((a.oids[0], "x"))],
    "backwards": lambda a: [a.reply(((1, 3, 6, 1, 2, 1, 1, 5, 2), "x"), ((1, 3, 6, 1, 2, 1, 1, 5, 1), "x"))],
    "nothing": lambda a: [a.reply()],
}  # fmt: skip


@pytest.mark.parametrize("how", LOOPS)
def test_the_same_of_a_column_that_is_odd(handmade: Any, how: str) -> None:
    """Whatever loops, ends: with the same reason."""

    async def run(kind: type[SnmpClient]) -> Any:
        async with handmade(LOOPS[how], "127.0.0.18") as at, kind() as snmp:
            table = await snmp.walk(target(at, V2C), ["1.3.6.1.2.1.1.5"], max_rows=100)
        return table.outcome, table.complete, len(table.rows)

    slow, fast = (asyncio.run(run(kind)) for kind in (SnmpClient, FastClient))
    assert fast == slow
