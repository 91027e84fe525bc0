"""Agents that do not keep to the rules: hand-made ones on loopback."""

from __future__ import annotations

import asyncio
import contextlib
import dataclasses
import socket
import subprocess
import sys
import threading

import pytest
from pysnmp.proto.api import v2c
from pysnmp.proto.rfc1905 import endOfMibView, noSuchInstance, noSuchObject

from tests.stopwatch import Stopwatch, patience
from verifier.model.address import Address
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.mib import ERROR_STATUS
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.values import ColumnTable, SnmpReply, SnmpTarget, dotted

V2C = SnmpEntry(name="v2c", version="2c", community=Secret("harbour"))
V3 = SnmpEntry(name="v3", version="3", user="ferry", auth_key=Secret("maplesyrup"))
COLUMN = (1, 3, 6, 1, 4, 1, 32473, 1, 2)
DOTTED = "1.3.6.1.4.1.32473.1.2"
NAME = "1.3.6.1.2.1.1.5.0"


def target(agent, entry=V2C, **changes):
    settled = {"timeout_s": 0.1 * patience(), "retries": 0} | changes
    return SnmpTarget(address=Address.parse(agent[0]), port=agent[1], entry=entry, **settled)


def get(handmade, answer, *oids, settled=None, **how) -> SnmpReply:
    async def run() -> SnmpReply:
        async with handmade(answer, **how) as agent, SnmpClient() as snmp:
            return await snmp.get(target(agent, **settled or {}), oids or [NAME])

    return asyncio.run(run())


def walk(handmade, answer, *columns, settled=None, **limits) -> ColumnTable:
    async def run() -> ColumnTable:
        async with handmade(answer) as agent, SnmpClient() as snmp:
            return await snmp.walk(target(agent, **settled or {}), columns or [DOTTED], **limits)

    return asyncio.run(run())


def row(index, column=COLUMN):
    return (*column, index)


class TableAgent:
    """A table of so many rows that answers bulk requests up to a number of repetitions."""

    def __init__(self, rows=25, columns=(COLUMN,), most=1000, *, silent=False, objects=1000):
        self.names = sorted(row(i, c) for c in columns for i in range(1, rows + 1))
        self.most = most
        self.silent = silent
        self.objects = objects
        self.asked = []

    def following(self, oid):
        return next((n for n in self.names if n > oid), None)

    def __call__(self, asked):
        self.asked.append((asked.kind, asked.repetitions, len(asked.oids)))
        over = asked.kind == "bulk" and asked.repetitions > self.most
        if over and self.silent:
            return []
        if over or len(asked.oids) > self.objects:
            return [asked.reply(status=1)]
        found = []
        names = list(asked.oids)
        for _ in range(asked.repetitions):
            for at, name in enumerate(names):
                following = self.following(name)
                found.append((name, endOfMibView) if following is None else (following, "x"))
                names[at] = following or name
        return [asked.reply(*found)]


def test_a_table_that_ends_at_the_end_of_the_mib(handmade):
    """25 rows in three bulk requests."""
    agent = TableAgent()
    table = walk(handmade, agent)
    assert (table.outcome, table.complete, len(table.rows)) == ("answered", True, 25)
    assert agent.asked == [("bulk", 10, 1)] * 3


@pytest.mark.parametrize("most", [9, 5, 3, 1, 0])
@pytest.mark.parametrize("silent", [False, True])
def test_repetitions_are_halved_until_the_agent_can(handmade, most, silent):
    """By tooBig or by silence: the whole table comes in the end, by GETNEXT if need be."""
    agent = TableAgent(most=most, silent=silent)
    table = walk(handmade, agent)
    assert (table.outcome, table.complete, len(table.rows)) == ("answered", True, 25)
    assert max(r for _, r, _ in agent.asked[4:]) <= max(most, 1)


def test_columns_that_are_too_big_together_are_read_alone(handmade):
    """An agent whose answer holds one object at most."""
    columns = [COLUMN, (*COLUMN[:-1], 3)]
    agent = TableAgent(rows=4, columns=columns, most=0, objects=1)
    table = walk(handmade, agent, DOTTED, DOTTED[:-1] + "3")
    assert table.complete
    assert [len(r) for r in table.rows.values()] == [2] * 4


def test_a_dead_agent_ends_a_walk_after_two_requests(handmade):
    """A bulk request that stays unanswered, a plain one, and no more."""
    stopwatch = Stopwatch()
    table = walk(handmade, lambda _: [], settled={"timeout_s": 0.1})
    assert (table.outcome, table.requests, table.complete) == ("silent", 2, False)
    assert stopwatch.alone_s < 0.5


LOOPS = {
    "the same again": lambda oid: [row(7)] if oid == COLUMN else [oid],
    "three in a circle": lambda oid: [row(1 + oid[-1] % 3 if len(oid) > len(COLUMN) else 1)],
    "falling in a reply": lambda _: [row(5), row(4), row(3)],
    "twice in a reply": lambda _: [row(5), row(5)],
    "circle in a reply": lambda _: [row(1), row(2), row(3), row(1)],
    "back before the column": lambda oid: [(1, 3, 6, 1, 2, 1, 1, 1, 0)],
}


@pytest.mark.parametrize("loop", LOOPS)
def test_an_agent_that_repeats_itself_is_stopped_and_named(handmade, loop):
    """Names that do not rise end the walk at once; the one at fault is in the detail."""
    asked_oids = []

    def answer(asked):
        asked_oids.append(asked.oids[0])
        return [asked.reply(*((oid, "x") for oid in LOOPS[loop](asked.oids[0])))]

    table = walk(handmade, answer)
    assert (table.outcome, table.complete) == ("loop", False)
    assert "agent fault" in table.detail
    assert any(f" {name}" in table.detail for name in ("1.3.6.1.4.1.32473", "1.3.6.1.2.1.1.1.0"))
    assert len(asked_oids) <= 4


def test_an_endless_table_is_capped(handmade):
    """Names that rise for ever end at the cap of rows."""

    def answer(asked):
        first = asked.oids[0][-1] + 1 if len(asked.oids[0]) > len(COLUMN) else 1
        return [asked.reply(*((row(first + n), "x") for n in range(asked.repetitions)))]

    table = walk(handmade, answer, max_rows=95)
    assert (table.outcome, len(table.rows), table.complete) == ("capped", 95, False)


def test_an_endless_table_is_capped_in_time(handmade):
    """The same by the clock."""

    def answer(asked):
        first = asked.oids[0][-1] + 1 if len(asked.oids[0]) > len(COLUMN) else 1
        return [asked.reply((row(first), "x"))]

    stopwatch, deadline_s = Stopwatch(), 0.5 * patience()
    table = walk(handmade, answer, max_rows=10**9, deadline_s=deadline_s)
    assert (table.outcome, table.complete) == ("capped", False)
    assert table.rows
    assert stopwatch.alone_s < deadline_s + 0.3


def test_an_agent_that_answers_with_nothing_is_stopped(handmade):
    """Empty answers to bulk and to plain requests."""
    table = walk(handmade, lambda asked: [asked.reply()])
    assert (table.outcome, table.complete) == ("undecodable", False)
    assert table.requests < 8


def test_answers_from_another_address_are_told_and_not_taken(handmade):
    """A multihomed agent: silent where it was asked, and who answered instead."""
    reply = get(
        handmade, lambda a: [a.reply((a.oids[0], "Quarry"))], address="127.0.0.61",
        answers_from="127.0.0.62",
    )  # fmt: skip
    assert (reply.outcome, reply.responder, reply.bindings) == ("silent", None, ())
    assert [e.host for e in reply.elsewhere] == ["127.0.0.62"]


def test_answers_from_another_port_are_told_and_not_taken(handmade):
    """The address is right and the port is not: no answer of who was asked."""
    reply = get(
        handmade, lambda a: [a.reply((a.oids[0], "Quarry"))], address="127.0.0.63",
        answers_from="127.0.0.63",
    )  # fmt: skip
    assert (reply.outcome, reply.bindings) == ("silent", ())
    assert [e.host for e in reply.elsewhere] == ["127.0.0.63"]


def test_missing_and_empty_are_three_things(handmade):
    """An object, an instance, an empty string."""
    oids = [(1, 3, n) for n in (1, 2, 3)]
    reply = get(
        handmade,
        lambda a: [a.reply(*zip(oids, (noSuchObject, noSuchInstance, ""), strict=True))],
        *("1.3.1", "1.3.2", "1.3.3"),
    )
    assert [(b.type, b.missing, b.value) for b in reply.bindings] == [
        ("noSuchObject", True, None),
        ("noSuchInstance", True, None),
        ("OctetString", False, b""),
    ]


def test_every_type_of_smiv2(handmade):
    """Value and type of each (RFC 2578 section 7.1), at their limits."""
    values = {
        "Integer32": (v2c.Integer32(-2147483648), -2147483648),
        "Counter32": (v2c.Counter32(4294967295), 4294967295),
        "Gauge32": (v2c.Gauge32(4294967295), 4294967295),
        "TimeTicks": (v2c.TimeTicks(4294967295), 4294967295),
        "Counter64": (v2c.Counter64(18446744073709551615), 18446744073709551615),
        "IpAddress": (v2c.IpAddress("198.51.100.7"), "198.51.100.7"),
        "ObjectIdentifier": (v2c.ObjectIdentifier("1.3.6.1.4.1.32473.9"), "1.3.6.1.4.1.32473.9"),
        "Opaque": (v2c.Opaque(b"\x9f\x78"), b"\x9f\x78"),
        "OctetString": (v2c.OctetString(b"\x02\x00\x5e"), b"\x02\x00\x5e"),
        "Null": (v2c.null, None),
    }
    sent = [((1, 3, n), value) for n, (value, _) in enumerate(values.values())]
    reply = get(handmade, lambda a: [a.reply(*sent)], *(f"1.3.{n}" for n in range(len(values))))
    assert {b.type: b.value for b in reply.bindings} == {t: v for t, (_, v) in values.items()}


@pytest.mark.parametrize("status", range(1, len(ERROR_STATUS)))
def test_error_status_has_its_name_and_object(handmade, status):
    """RFC 3416 section 3, index from 1; noSuchName alone is a missing object."""
    reply = get(handmade, lambda a: [a.reply((a.oids[0], v2c.null), status=status, index=1)])
    if ERROR_STATUS[status] == "noSuchName":
        assert (reply.outcome, reply.bindings[0].type) == ("answered", "noSuchObject")
    else:
        assert (reply.outcome, reply.error_status) == ("error-status", status)
        assert reply.detail == f"{ERROR_STATUS[status]} at {NAME}"


def test_an_unknown_error_status_or_index_is_no_trouble(handmade):
    """An index beyond the objects, a status without a name."""
    reply = get(handmade, lambda a: [a.reply((a.oids[0], v2c.null), status=99, index=0)])
    assert reply.outcome in {"undecodable", "error-status"}
    reply = get(handmade, lambda a: [a.reply((a.oids[0], v2c.null), status=5, index=77)])
    assert reply.detail == "genErr"


def test_a_question_that_is_too_big_is_split(handmade):
    """At most two objects an answer: seven come in order."""
    sizes = []

    def answer(asked):
        sizes.append(len(asked.oids))
        if len(asked.oids) > 2:
            return [asked.reply(status=1)]
        return [asked.reply(*((o, str(o[-1])) for o in asked.oids))]

    reply = get(handmade, answer, *(f"1.3.{n}" for n in range(7)))
    assert reply.outcome == "answered"
    assert [b.text for b in reply.bindings] == list("0123456")
    assert max(sizes[-2:]) <= 2


def test_one_failing_object_does_not_spoil_the_others(handmade):
    """A genErr at one object: the rest come, the one is Null, and the detail names it."""

    def answer(asked):
        bad = (1, 3, 2)
        if bad in asked.oids:
            at = asked.oids.index(bad) + 1
            return [asked.reply(*((o, v2c.null) for o in asked.oids), status=5, index=at)]
        return [asked.reply(*((o, "x") for o in asked.oids))]

    reply = get(handmade, answer, "1.3.1", "1.3.2", "1.3.3")
    assert reply.outcome == "answered"
    assert [b.type for b in reply.bindings] == ["OctetString", "Null", "OctetString"]
    assert reply.detail == "genErr at 1.3.2"


@pytest.mark.parametrize("rows", [0, 3])
@pytest.mark.parametrize("status", [5, 6, 13, 16])
def test_one_failing_column_does_not_spoil_the_others(handmade, status, rows):
    """An error at one column, at once or after some rows: the others come whole, it is named.

    RFC 3416 section 3: genErr, noAccess, resourceUnavailable, authorizationError.
    """
    other = (*COLUMN[:-1], COLUMN[-1] + 1)
    agent = TableAgent(rows=25, columns=(COLUMN, other))

    def answer(asked):
        bad = [n for n, oid in enumerate(asked.oids, start=1) if COLUMN <= oid < other]
        if any(asked.oids[n - 1] >= row(rows) for n in bad) or (bad and not rows):
            return [asked.reply(*((o, v2c.null) for o in asked.oids), status=status, index=bad[0])]
        one = dataclasses.replace(asked, repetitions=1)
        return agent(one)

    table = walk(handmade, answer, dotted(COLUMN), dotted(other))
    assert (table.outcome, table.complete) == ("answered", False)
    assert [dotted(other) in cells for cells in table.rows.values()] == [True] * 25
    assert list(table.failed) == [dotted(COLUMN)]
    assert (
        f"{ERROR_STATUS[status]} at {dotted(row(rows) if rows else COLUMN)}"
        in table.failed[dotted(COLUMN)]
    )


def test_a_table_of_which_every_column_fails_is_a_failure(handmade):
    """Nothing is left to read: the walk ends with the agent's error."""

    def answer(asked):
        return [asked.reply(*((o, v2c.null) for o in asked.oids), status=5, index=1)]

    table = walk(handmade, answer, dotted(COLUMN), "1.3.9")
    assert (table.outcome, table.rows) == ("error-status", {})
    assert "genErr" in table.detail


def test_a_late_answer_counts_while_the_retry_is_out():
    """Round trip above the timeout: the answer to the first request is taken."""

    async def run() -> SnmpReply:
        loop = asyncio.get_running_loop()
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as slow:
            slow.bind(("127.0.0.1", 0))
            slow.settimeout(0)
            async with SnmpClient() as snmp:
                asked = target(slow.getsockname(), timeout_s=0.2, retries=1)
                question = asyncio.create_task(snmp.get(asked, [NAME]))
                request, sender = await loop.sock_recvfrom(slow, 65535)
                await asyncio.sleep(0.3)
                await loop.sock_sendto(slow, as_response(request), sender)
                return await question

    stopwatch = Stopwatch()
    reply = asyncio.run(run())
    assert reply.outcome == "answered"
    assert reply.took_ms >= 300
    assert stopwatch.less_waiting(reply.took_ms / 1000) < 0.6


def as_response(request: bytes) -> bytes:
    """The request as a response without value: GetRequest a0 becomes Response a2 (RFC 3416 3)."""
    return request.replace(b"harbour\xa0", b"harbour\xa2", 1)


def test_a_silent_port_takes_its_time_and_no_more():
    """A socket that never answers: timeout_s * (retries + 1), within some tenths; v3 as well."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sink:
        sink.bind(("127.0.0.1", 0))

        async def run(entry) -> tuple[SnmpReply, float, float]:
            async with SnmpClient() as snmp:
                asked = target(sink.getsockname(), entry, timeout_s=0.3, retries=2)
                await snmp._transport(asked)
                stopwatch = Stopwatch()
                reply = await snmp.get(asked, [NAME])
                return reply, stopwatch.s, stopwatch.alone_s

        for entry in (V2C, V3):
            reply, took_s, alone_s = asyncio.run(run(entry))
            assert (reply.outcome, reply.responder) == ("silent", None)
            assert took_s >= 0.9
            assert alone_s < 1.5
            assert 900 <= reply.took_ms <= took_s * 1000.0


def test_a_deadline_ends_a_question():
    """The time given to a call, whatever retries would take."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sink:
        sink.bind(("127.0.0.1", 0))

        async def run() -> SnmpReply:
            async with SnmpClient() as snmp:
                asked = target(sink.getsockname(), timeout_s=5, retries=5)
                return await snmp.get(asked, [NAME], deadline_s=0.2)

        stopwatch = Stopwatch()
        reply = asyncio.run(run())
        assert reply.outcome == "silent"
        assert "0.2 s" in reply.detail
        assert stopwatch.alone_s < 0.5


SPOILT = {
    "noise": lambda _: b"\xff\x00noise",
    "cut": lambda request: request[:-3],
    "only its head": lambda request: as_response(request)[:24],
    "another version": lambda r: as_response(r).replace(b"\x02\x01\x01\x04", b"\x02\x01\x00\x04", 1),
    "another community": lambda r: as_response(r).replace(b"harbour", b"quarry!", 1),
    "no list of objects": lambda r: as_response(r).replace(b"\x30\x0e\x30\x0c", b"\x31\x0e\x30\x0c"),
}  # fmt: skip


@pytest.mark.parametrize("how", SPOILT)
def test_answers_that_cannot_be_used_are_told_from_silence(handmade, how):
    """Something comes that is no answer: undecodable, at the end of the time."""
    reply = get(handmade, lambda r: [SPOILT[how](r)], raw=True)
    assert reply.outcome == "undecodable"
    assert reply.detail


def test_an_echo_is_not_an_answer(handmade):
    """A port that gives back what it gets, v2c and v3: no answer of SNMP."""
    for entry in (V2C, V3):
        stopwatch = Stopwatch()
        reply = get(handmade, lambda r: [r], raw=True, settled={"entry": entry, "timeout_s": 0.1})
        assert reply.outcome == "undecodable"
        assert stopwatch.less_waiting(reply.took_ms / 1000) < 0.25


def test_doubled_answers_are_no_trouble(handmade):
    """Each answer comes three times, and so for fifty questions."""

    async def run() -> list[SnmpReply]:
        def answer(asked):
            return [asked.reply((asked.oids[0], "Ferry"))] * 3

        async with handmade(answer) as agent, SnmpClient() as snmp:
            asks = (snmp.get(target(agent, timeout_s=1.0), [NAME]) for _ in range(50))
            return await asyncio.gather(*asks)

    assert {r.outcome for r in asyncio.run(run())} == {"answered"}


@contextlib.contextmanager
def babbler(garbage):
    """A thread that answers each datagram with a thousand of `garbage(datagram)`."""
    ended = threading.Event()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as own:
        own.bind(("127.0.0.66", 0))
        own.settimeout(0.05)

        def babble():
            while not ended.is_set():
                with contextlib.suppress(TimeoutError):
                    datagram, sender = own.recvfrom(65535)
                    for n in range(1000):
                        own.sendto(garbage(datagram, n), sender)

        thread = threading.Thread(target=babble)
        thread.start()
        try:
            yield own.getsockname()
        finally:
            ended.set()
            thread.join()


GARBAGE = {
    "noise": lambda _, n: bytes([n % 256]) * 60,
    "its head": lambda r, _: as_response(r)[:25],
    "spoilt objects": lambda r, _: SPOILT["no list of objects"](r),
}


@pytest.mark.parametrize("garbage", GARBAGE)
def test_a_babbling_agent_does_not_slow_the_others(handmade, garbage):
    """A thousand datagrams for each request to one agent; 20 others are asked ten times each."""

    async def asked_of_many(snmp, agent) -> list[SnmpReply]:
        replies = []
        for _ in range(10):
            asks = (snmp.get(target(agent, timeout_s=1.0, retries=1), [NAME]) for _ in range(20))
            replies += await asyncio.gather(*asks)
        return replies

    async def run(noisy) -> tuple[list[SnmpReply], SnmpReply, float]:
        async with handmade(lambda a: [a.reply((a.oids[0], "x"))]) as agent, SnmpClient() as snmp:
            babble = asyncio.create_task(snmp.get(target(noisy, timeout_s=0.3, retries=2), [NAME]))
            stopwatch = Stopwatch()
            replies = await asked_of_many(snmp, agent)
            took_s = stopwatch.alone_s
            return replies, await babble, took_s

    with babbler(GARBAGE[garbage]) as noisy:
        replies, babbled, took_s = asyncio.run(run(noisy))
    assert {r.outcome for r in replies} == {"answered"}
    assert babbled.outcome == "undecodable"
    assert took_s < 2.0


def test_dead_agents_do_not_slow_the_others(handmade):
    """300 silent ones under way; one that is alive is answered at once."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sink:
        sink.bind(("0.0.0.0", 0))
        port = sink.getsockname()[1]

        async def run() -> tuple[list[SnmpReply], SnmpReply, float]:
            async with handmade(lambda a: [a.reply((a.oids[0], "x"))]) as agent, SnmpClient() as s:
                dead = [
                    asyncio.create_task(
                        s.get(target((f"127.0.40.{n % 250}", port), timeout_s=1.0), [NAME])
                    )
                    for n in range(1, 301)
                ]
                await asyncio.sleep(0.4)
                stopwatch = Stopwatch()
                alive = await s.get(target(agent, timeout_s=5.0), [NAME])
                alone_s = stopwatch.less_waiting(alive.took_ms / 1000)
                return await asyncio.gather(*dead), alive, alone_s

        dead, alive, alone_s = asyncio.run(run())
    assert {r.outcome for r in dead} == {"silent"}
    assert alive.outcome == "answered"
    assert alone_s < 0.05


IN_NAMESPACE = """
import asyncio
from verifier.model.address import Address
from verifier.model.credentials import Secret, SnmpEntry
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.values import SnmpTarget
entry = SnmpEntry(name="x", version="2c", community=Secret("harbour"))
async def run():
    async with SnmpClient() as snmp:
        asked = SnmpTarget(address=Address.parse("{address}"), entry=entry)
        reply = await snmp.get(asked, ["1.3.6.1.2.1.1.5.0"])
        print(reply.outcome, round(reply.took_ms / 1000), reply.detail, sep="|")
asyncio.run(run())
"""
NETWORK = (
    "ip link set lo up; ip link add v0 type veth peer name v1; ip link set v0 up;"
    " ip link set v1 up; ip address add 198.18.0.1/24 dev v0; exec "
)


@pytest.mark.lab
@pytest.mark.parametrize(
    ("address", "outcome", "seconds"),
    [
        ("203.0.113.7", "no-route", "0"),
        ("2001:db8::7", "no-route", "0"),
        ("198.18.0.255", "local-error", "0"),
        ("198.18.0.7", "host-unreachable", "3"),
    ],
)
def test_where_the_way_ends(address, outcome, seconds):
    """No route, not permitted, no neighbour: three things, none of them silence.

    A neighbour is given up after three requests of one second each (Linux, neigh/mcast_solicit).
    """
    program = IN_NAMESPACE.format(address=address)
    done = subprocess.run(
        ["unshare", "--net", "sh", "-c", f'{NETWORK}"$0" -c "$1"', sys.executable, program],
        capture_output=True, text=True, check=True, timeout=30,
    )  # fmt: skip
    seen, took, detail = done.stdout.strip().split("|")
    assert (seen, took) == (outcome, seconds)
    assert "machine cannot send" in detail if seconds == "0" else "198.18.0.1 says" in detail
