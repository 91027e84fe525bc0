"""The SNMP client against net-snmp's agent."""

from __future__ import annotations

import asyncio
import dataclasses
import itertools
import socket
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.stopwatch import Stopwatch
from verifier.errors import CannotMeasureError
from verifier.model.address import Address
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.mib import IF_TABLE, SYSTEM
from verifier.probes.pace import Pace
from verifier.probes.snmp import client, transport
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.values import ColumnTable, SnmpReply, SnmpTarget, VarBind

pytestmark = pytest.mark.snmpd

AUTH = ("MD5", "SHA", "SHA-224", "SHA-256", "SHA-384", "SHA-512")
PRIV = {
    "DES": "DES", "AES-128": "AES", "AES-192": "AES-192", "AES-256": "AES-256",
    "AES-192-R": "AES-192-C", "AES-256-R": "AES-256-C",
}  # fmt: skip
"""Our name: net-snmp's. Its `-C` is the key extension of draft-reeder-snmpv3-usm-3desede."""
PAIRS = list(itertools.product(AUTH, PRIV))
NAME, LOCATION, UPTIME = SYSTEM["sysName"], SYSTEM["sysLocation"], SYSTEM["sysUpTime"]
KEY, OTHER = "maplesyrup", "newsyrup-newsyrup"
CONFIG = "\n".join(
    [
        "rocommunity harbour", "sysName lighthouse-quarry", "sysLocation Lighthouse",
        "sysContact nobody", "createUser plain", "rouser plain noauth",
        "createUser ferry SHA-256 maplesyrup AES newsyrup-newsyrup", "rouser ferry priv",
    ]
    + [f"createUser auth{a} {a} {KEY}\nrouser auth{a} auth" for a in AUTH]
    + [f"createUser {a}{p} {a} {KEY} {PRIV[p]} {OTHER}\nrouser {a}{p} priv" for a, p in PAIRS]
)  # fmt: skip
V1 = SnmpEntry(name="v1", version="1", community=Secret("harbour"))
V2C = SnmpEntry(name="v2c", version="2c", community=Secret("harbour"))
V3 = SnmpEntry(name="v3", version="3", user="ferry", auth_key=Secret(KEY), priv_key=Secret(OTHER))


@pytest.fixture(scope="module")
def agent(snmpd):
    return snmpd(CONFIG, "127.0.0.11")


def target(agent, entry=V2C, **changes):
    settled = {"timeout_s": 1.0, "retries": 0} | changes
    return SnmpTarget(address=Address.parse(agent.address), port=agent.port, entry=entry, **settled)


def get(asked: SnmpTarget, *oids: str) -> SnmpReply:
    async def run() -> SnmpReply:
        async with SnmpClient() as snmp:
            return await snmp.get(asked, oids or [NAME])

    return asyncio.run(run())


def walk(asked: SnmpTarget, *columns: str, **limits) -> ColumnTable:
    async def run() -> ColumnTable:
        async with SnmpClient() as snmp:
            return await snmp.walk(asked, columns, **limits)

    return asyncio.run(run())


def as_net_snmp(binding: VarBind) -> str:
    """The line net-snmp's clients print for a binding."""
    value: object = binding.value
    words = {"Integer32": "INTEGER", "ObjectIdentifier": "OID", "IpAddress": "IpAddress"}
    if isinstance(value, bytes):
        octets = value.hex(" ").upper()
        value = f"Hex-STRING: {octets} " if octets else '""'
    elif binding.type == "ObjectIdentifier":
        value = f"OID: .{value}"
    else:
        value = f"{words.get(binding.type, binding.type)}: {value}"
    return f".{binding.oid} = {value}".rstrip()


@pytest.mark.parametrize("entry", [V1, V2C, V3], ids=lambda e: e.version)
def test_values_are_those_snmpget_prints(agent, entry):
    """Each type comes as net-snmp's own client shows it, whatever the version."""
    oids = [v for k, v in SYSTEM.items() if k != "sysUpTime"]
    oids += [f"{column}.1" for column in IF_TABLE.values()] + ["1.3.6.1.2.1.4.20.1.3.127.0.0.1"]
    reply = get(target(agent, entry), *oids)
    server = f"{agent.address}:{agent.port}"
    printed = agent.client("snmpget", "-v2c", "-c", "harbour", server, *oids)
    assert [as_net_snmp(b) for b in reply.bindings] == printed


@pytest.mark.parametrize("entry", [V1, V2C, V3], ids=lambda e: e.version)
@pytest.mark.parametrize("column", ["1.3.6.1.4.1.8072.1.2.1.1.4", "1.3.6.1.2.1.1.9.1.2"])
def test_a_table_is_the_one_snmpbulkwalk_prints(agent, entry, column):
    """All rows, in order, and not one beyond the column."""
    table = walk(target(agent, entry), column)
    server = f"{agent.address}:{agent.port}"
    printed = agent.client("snmpbulkwalk", "-v2c", "-c", "harbour", server, column)
    rows = [as_net_snmp(row[column]) for row in table.rows.values()]
    assert table.complete
    assert rows == printed
    assert len(rows) > 5


def test_columns_are_read_together_and_each_to_its_own_end(agent):
    """Three columns of two tables in few requests."""
    name, mask, none = IF_TABLE["ifDescr"], "1.3.6.1.2.1.4.20.1.3", "1.3.6.1.2.1.1.99"
    table = walk(target(agent), name, mask, none)
    assert table.complete
    assert table.rows["1"][name].text == "lo"
    assert table.rows["127.0.0.1"][mask].value == "255.0.0.0"
    assert not any(none in row for row in table.rows.values())
    assert table.requests <= 2


@pytest.mark.parametrize("entry", [V1, V2C], ids=lambda e: e.version)
def test_an_empty_table_is_an_answer(agent, entry):
    """No rows, complete, no error; v1 says so by noSuchName at the end of the MIB."""
    table = walk(target(agent, entry), "1.3.6.1.3.99", "2.5")
    assert (table.outcome, table.complete, table.rows) == ("answered", True, {})


@pytest.mark.parametrize(("auth", "priv"), PAIRS, ids="/".join)
def test_every_algorithm_is_spoken(agent, auth, priv):
    """All 36 pairs of the contract with the real agent, which supports them all."""
    entry = SnmpEntry(
        name="v3", version="3", user=f"{auth}{priv}", auth=auth, auth_key=Secret(KEY), priv=priv,
        priv_key=Secret(OTHER),
    )  # fmt: skip
    reply = get(target(agent, entry))
    assert (reply.outcome, reply.bindings[0].text) == ("answered", "lighthouse-quarry")
    assert reply.engine_id is not None
    assert reply.engine_id.startswith(b"\x80\x00\x1f\x88")
    assert reply.engine_boots == 1


@pytest.mark.parametrize("auth", AUTH)
def test_authentication_without_privacy(agent, auth):
    """Level authNoPriv."""
    entry = SnmpEntry(name="v3", version="3", user=f"auth{auth}", auth=auth, auth_key=Secret(KEY))
    assert get(target(agent, entry)).outcome == "answered"


def test_no_authentication(agent):
    """Level noAuthNoPriv."""
    assert get(target(agent, SnmpEntry(name="v3", version="3", user="plain"))).outcome == "answered"


WRONG: dict[str, dict[str, Any]] = {
    "unknown-user": {"user": "nobody"},
    "wrong-digest": {"auth_key": Secret("another-key")},
    "unsupported-level": {"user": "authSHA-256"},
}


@pytest.mark.parametrize("outcome", WRONG)
def test_reports_are_told_apart(agent, outcome):
    """Each report has its outcome, at once and on a fresh engine."""
    stopwatch = Stopwatch()
    reply = get(target(agent, dataclasses.replace(V3, **WRONG[outcome])))
    assert reply.outcome == outcome
    assert reply.detail
    assert stopwatch.less_waiting(reply.took_ms / 1000) < 0.5


def test_other_algorithm_is_a_wrong_digest(agent):
    """The same key with another authentication algorithm is refused as a wrong digest."""
    assert get(target(agent, dataclasses.replace(V3, auth="SHA"))).outcome == "wrong-digest"


@pytest.mark.parametrize("wrong", [{"priv_key": Secret("another-key")}, {"priv": "DES"}])
def test_a_wrong_privacy_key_is_silence_with_a_hint(agent, wrong):
    """net-snmp drops what it cannot decrypt; first and later questions say what it may be."""

    async def run() -> list[SnmpReply]:
        async with SnmpClient() as snmp:
            asked = target(agent, dataclasses.replace(V3, **wrong), timeout_s=0.2)
            return [await snmp.get(asked, [NAME]) for _ in range(2)]

    for reply in asyncio.run(run()):
        assert reply.outcome == "silent"
        assert "privacy key" in reply.detail


def test_too_low_a_level_is_an_authorization_error(agent):
    """net-snmp answers a known user at too low a level with authorizationError, not a report."""
    reply = get(target(agent, dataclasses.replace(V3, priv_key=None)))
    assert (reply.outcome, reply.detail) == ("error-status", "authorizationError")


@pytest.mark.parametrize("key", ["", "short"])
def test_a_key_that_cannot_be_used(agent, key):
    """A key below 8 characters (RFC 3414 11.2), or none at all, is refused in our words."""
    asked = target(agent, dataclasses.replace(V3, auth_key=Secret(key), priv_key=None))
    with pytest.raises(CannotMeasureError, match="8 characters"):
        get(asked)


def test_a_wrong_community_is_silence(agent):
    """By RFC 1157 4.1 the agent discards it; the time is that of all requests and no more."""
    entry = dataclasses.replace(V2C, community=Secret("other"))
    stopwatch = Stopwatch()
    reply = get(target(agent, entry, timeout_s=0.3, retries=1))
    assert reply.outcome == "silent"
    assert stopwatch.s >= 0.6
    assert stopwatch.alone_s < 1.0


def test_missing_values_are_told_apart(agent):
    """noSuchObject, noSuchInstance and the empty string are three things (RFC 3416 4.2.1)."""
    empty = f"{IF_TABLE['ifPhysAddress']}.1"
    reply = get(target(agent), "1.3.6.1.2.1.1.99.0", "1.3.6.1.2.1.1.5.7", empty)
    assert [b.type for b in reply.bindings] == ["noSuchObject", "noSuchInstance", "OctetString"]
    assert [b.missing for b in reply.bindings] == [True, True, False]
    assert reply.bindings[2].value == b""


def test_v1_gives_the_good_ones_though_one_is_missing(agent):
    """One noSuchName spoils a whole v1 answer; asked alone the good ones come."""
    reply = get(target(agent, V1), NAME, "1.3.6.1.2.1.1.99.0", LOCATION)
    assert reply.outcome == "answered"
    assert [b.text for b in reply.bindings] == ["lighthouse-quarry", "", "Lighthouse"]
    assert [b.missing for b in reply.bindings] == [False, True, False]


@pytest.mark.parametrize("entry", [V1, V2C, V3], ids=lambda e: e.version)
def test_get_next(agent, entry):
    """What follows sysName and what follows the end of the MIB."""

    async def run() -> SnmpReply:
        async with SnmpClient() as snmp:
            return await snmp.get_next(target(agent, entry), ["1.3.6.1.2.1.1.5", "2.99"])

    reply = asyncio.run(run())
    assert reply.bindings[0].oid == NAME
    assert reply.bindings[1].type == "endOfMibView"


def test_closed_port_is_seen_at_once_and_confirmed():
    """Nobody listens: ICMP port unreachable, seen long before the timeout, who said it named."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as closed:
        closed.bind(("127.0.0.12", 0))
        port = closed.getsockname()[1]
    asked = SnmpTarget(address=Address.parse("127.0.0.12"), port=port, entry=V2C)
    stopwatch = Stopwatch()
    reply = get(asked)
    assert reply.outcome == "port-unreachable"
    assert "127.0.0.12 says" in reply.detail
    assert stopwatch.alone_s < 1


def test_closed_port_over_ipv6():
    """The same by IPV6_RECVERR."""
    asked = SnmpTarget(address=Address.parse("::1"), port=1, entry=V2C)
    assert get(asked).outcome == "port-unreachable"


def test_a_port_that_opens_again_is_not_unreachable(snmpd, monkeypatch):
    """A stale error is not believed: the connected socket is answered, and that is the answer."""
    agent = snmpd(CONFIG, "127.0.0.13")
    sent = transport.Transport.send

    def send(self, *_):
        """Lets the first request meet a closed port of the same host."""
        monkeypatch.setattr(transport.Transport, "send", sent)
        for waiter in set(self._waiters.values()):
            waiter.unreachable(transport.Unreachable(111, "127.0.0.13"))

    monkeypatch.setattr(transport.Transport, "send", send)
    reply = get(target(agent))
    assert reply.outcome == "answered"


def test_one_closed_port_does_not_disturb_the_others(agent):
    """An error waiting on the shared socket is not raised by the next request to another."""

    async def run() -> tuple[list[SnmpReply], list[SnmpReply]]:
        async with SnmpClient() as snmp:
            closed = SnmpTarget(address=Address.parse("127.0.0.14"), port=9, entry=V2C)
            good, bad = [], []
            for _ in range(20):
                both = await asyncio.gather(
                    snmp.get(closed, [NAME]), *(snmp.get(target(agent), [NAME]) for _ in range(5))
                )
                bad.append(both[0])
                good += both[1:]
            return good, bad

    good, bad = asyncio.run(run())
    assert {r.outcome for r in good} == {"answered"}
    assert {r.outcome for r in bad} <= {"port-unreachable", "silent"}
    assert bad[0].outcome == "port-unreachable"


def test_without_an_error_queue_a_closed_port_is_silence(agent):
    """Outside Linux: answers as usual, and a closed port looks silent."""

    async def run() -> tuple[SnmpReply, SnmpReply]:
        async with SnmpClient(error_queue=False) as snmp:
            closed = SnmpTarget(
                address=Address.parse("127.0.0.14"), port=9, entry=V2C, timeout_s=0.2, retries=0
            )
            return await snmp.get(target(agent), [NAME]), await snmp.get(closed, [NAME])

    answered, closed = asyncio.run(run())
    assert (answered.outcome, closed.outcome) == ("answered", "silent")


def test_two_agents_with_one_engine_id_are_both_read(snmpd):
    """Cloned devices: same engine id, other boots. Both answer, in turn and together."""
    engine_id = "80007ed904636c6f6e65"
    agents = [
        snmpd(CONFIG, f"127.0.0.{15 + n}", engine_id=engine_id, boots=boots)
        for n, boots in enumerate((4, 90))
    ]

    async def run() -> list[SnmpReply]:
        replies = []
        async with SnmpClient() as snmp:
            for _ in range(4):
                replies += [await snmp.get(target(a, V3), [NAME]) for a in agents]
            for _ in range(10):
                asks = [snmp.get(target(a, V3), [NAME]) for a in agents * 3]
                replies += await asyncio.gather(*asks)
        return replies

    replies = asyncio.run(run())
    assert {r.outcome for r in replies} == {"answered"}
    assert {r.engine_id for r in replies} == {bytes.fromhex("80007ed904636c6f6e65")}
    assert {r.engine_boots for r in replies} == {5, 91}


def test_an_agent_with_another_key_does_not_poison_the_others(agent, snmpd):
    """One credential set, one engine: the odd device says wrong-digest, the good one goes on."""
    odd = snmpd(
        "createUser ferry SHA-256 another-key AES another-key\nrouser ferry priv", "127.0.0.17"
    )

    async def run() -> list[tuple[SnmpReply, SnmpReply]]:
        async with SnmpClient() as snmp:
            return [
                await asyncio.gather(
                    snmp.get(target(agent, V3), [NAME]), snmp.get(target(odd, V3), [NAME])
                )
                for _ in range(5)
            ]

    for good, bad in asyncio.run(run()):
        assert (good.outcome, bad.outcome) == ("answered", "wrong-digest")


class Relay:
    """Passes datagrams to real agents that `choose` picks; `change` changes the answers."""

    def __init__(self, agents):
        self.agents = agents
        self.turn = itertools.count()
        self.choose = lambda _: 0
        self.change = lambda answer: [answer]
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.settimeout(0.2)

    def __call__(self, datagram):
        chosen = self.agents[self.choose(next(self.turn))]
        self.socket.sendto(datagram, (chosen.address, chosen.port))
        try:
            return self.change(self.socket.recv(65535))
        except TimeoutError:
            return []


def test_a_device_that_was_swapped_is_read(agent, snmpd, handmade):
    """Another engine id at a known address: what was learnt is dropped once."""
    other = snmpd(CONFIG, "127.0.0.18")
    relay = Relay([agent, other])

    async def run() -> list[SnmpReply]:
        async with handmade(relay, raw=True) as (address, port), SnmpClient() as snmp:
            asked = SnmpTarget(address=Address.parse(address), port=port, entry=V3)
            replies = [await snmp.get(asked, [NAME])]
            relay.choose = lambda _: 1
            return [*replies, await snmp.get(asked, [NAME]), await snmp.get(asked, [NAME])]

    replies = asyncio.run(run())
    relay.socket.close()
    assert [r.outcome for r in replies] == ["answered"] * 3
    assert replies[0].engine_id != replies[1].engine_id == replies[2].engine_id


def test_a_clock_that_does_not_stay_is_said_and_not_called_a_wrong_key(snmpd, handmade):
    """Boots that differ with each message: not in time window, after one fresh start, in time."""
    engine_id = "80007ed904636c6f6e65"
    agents = [
        snmpd(CONFIG, f"127.0.0.{21 + n}", engine_id=engine_id, boots=boots)
        for n, boots in enumerate((4, 90))
    ]
    relay = Relay(agents)
    relay.choose = lambda n: n % 2

    async def run() -> SnmpReply:
        async with handmade(relay, raw=True) as (address, port), SnmpClient() as snmp:
            asked = SnmpTarget(address=Address.parse(address), port=port, entry=V3)
            return await snmp.get(asked, [NAME])

    stopwatch = Stopwatch()
    reply = asyncio.run(run())
    relay.socket.close()
    assert reply.outcome == "not-in-time-window"
    assert reply.engine_boots in {5, 91}
    assert stopwatch.less_waiting(reply.took_ms / 1000) < 1.0


def test_a_rebooted_agent_is_read_again(snmpd, handmade):
    """Boots up by one, time small: one more exchange and it answers."""
    engine_id = "80007ed904626f6f74"
    before = snmpd(CONFIG, "127.0.0.23", engine_id=engine_id, boots=4)
    after = snmpd(CONFIG, "127.0.0.24", engine_id=engine_id, boots=5)
    relay = Relay([before, after])

    async def run() -> list[SnmpReply]:
        async with handmade(relay, raw=True) as (address, port), SnmpClient() as snmp:
            asked = SnmpTarget(address=Address.parse(address), port=port, entry=V3)
            first = await snmp.get(asked, [NAME])
            relay.choose = lambda _: 1
            return [first, await snmp.get(asked, [NAME])]

    first, second = asyncio.run(run())
    relay.socket.close()
    assert [first.outcome, second.outcome] == ["answered", "answered"]
    assert (first.engine_boots, second.engine_boots) == (5, 6)


@pytest.fixture(scope="module")
def runner():
    with asyncio.Runner() as kept:
        yield kept


@st.composite
def changes(draw):
    """Ways to spoil a datagram: octets changed, cut, doubled, inserted."""
    edits = draw(
        st.lists(st.tuples(st.integers(0, 400), st.binary(min_size=1, max_size=3)), max_size=4)
    )
    cut = draw(st.none() | st.integers(0, 200))
    insert = draw(st.none() | st.tuples(st.integers(0, 200), st.binary(max_size=8)))

    def change(answer: bytes) -> list[bytes]:
        spoilt = bytearray(answer)
        for at, octets in edits:
            spoilt[at % len(spoilt) : at % len(spoilt) + len(octets)] = octets
        if insert:
            spoilt[insert[0] : insert[0]] = insert[1]
        return [bytes(spoilt[:cut])] * 2

    return change


@pytest.mark.parametrize("entry", [V1, V2C, V3], ids=lambda e: e.version)
def test_spoilt_answers_never_raise_hang_or_poison(agent, handmade, runner, entry):
    """Real answers, spoilt: the question ends in time, and the next one is answered."""
    relay = Relay([agent])
    kept: list[SnmpClient] = []

    @given(change=changes())
    @settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
    def spoil(change):
        async def run() -> tuple[SnmpReply, SnmpReply, float]:
            if not kept:
                kept.append(SnmpClient())
            async with handmade(relay, "127.0.0.25", raw=True) as (address, port):
                asked = SnmpTarget(
                    address=Address.parse(address),
                    port=port,
                    entry=entry,
                    timeout_s=0.02,
                    retries=0,
                )
                relay.change = change
                stopwatch = Stopwatch()
                spoilt = await kept[0].get(asked, [NAME, UPTIME])
                took_s = stopwatch.alone_s
                relay.change = lambda answer: [answer]
                patient = dataclasses.replace(asked, timeout_s=10.0)
                return spoilt, await kept[0].get(patient, [NAME, UPTIME]), took_s

        spoilt, sound, took_s = runner.run(run())
        assert isinstance(spoilt, SnmpReply)
        assert took_s < 1
        assert sound.outcome == "answered"
        assert sound.bindings[0].text == "lighthouse-quarry"

    spoil()
    runner.run(_close(kept[0]))
    relay.socket.close()


async def _close(snmp: SnmpClient) -> None:
    snmp.close()
    await asyncio.sleep(0)


def open_files() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


@pytest.mark.parametrize("error_queue", [True, False])
def test_sockets_are_closed(agent, error_queue):
    """200 clients opened and closed leave as many open files as before."""

    async def run() -> tuple[int, int]:
        before = 0
        for n in range(200):
            async with SnmpClient(error_queue=error_queue) as snmp:
                asked = target(agent, timeout_s=0.5)
                if n % 20 == 0:
                    assert (await snmp.get(asked, [NAME])).outcome == "answered"
                else:
                    await snmp._transport(asked)
            await asyncio.sleep(0)
            before = before or open_files()
        return before, open_files()

    before, after = asyncio.run(run())
    assert after == before


def test_cancelled_questions_leave_nothing(agent):
    """A cancelled question frees its ids, and the client goes on."""

    async def run() -> None:
        silent = target(agent, dataclasses.replace(V2C, community=Secret("other")))
        async with SnmpClient() as snmp:
            tasks = [asyncio.create_task(snmp.get(silent, [NAME])) for _ in range(20)]
            await asyncio.sleep(0.1)
            for task in tasks:
                task.cancel()
            ended = await asyncio.gather(*tasks, return_exceptions=True)
            assert all(isinstance(e, asyncio.CancelledError) for e in ended)
            (transport,) = snmp._transports.values()
            assert transport._waiters == {}
            assert (await snmp.get(target(agent), [NAME])).outcome == "answered"

    asyncio.run(run())


@pytest.mark.parametrize(("entry", "kept"), [(V3, client.ENGINES_KEPT), (V2C, 1), (V1, 1)])
def test_many_agents_and_engines(snmpd, monkeypatch, entry, kept):
    """Engines of v3 are replaced as agents go by, v1 and v2c need one; every agent is answered."""
    everywhere = snmpd(CONFIG, "0.0.0.0")
    monkeypatch.setattr(client, "PEERS_PER_ENGINE", 10)

    async def run() -> list[SnmpReply]:
        addresses = [f"127.0.30.{n}" for n in range(1, 101)]
        async with SnmpClient() as snmp:
            replies = []
            for address in [*addresses, addresses[0]]:
                asked = SnmpTarget(
                    address=Address.parse(address), port=everywhere.port, entry=entry
                )
                replies.append(await snmp.get(asked, [NAME]))
            ((_, engines),) = snmp._engines.items()
            assert len(engines) == kept
            return replies

    replies = asyncio.run(run())
    assert {r.outcome for r in replies} == {"answered"}
    assert replies[7].responder == "127.0.30.8"


def test_requests_take_their_slots(agent):
    """30 questions at 100 a second take 0.29 s at least."""

    async def run() -> tuple[float, float]:
        async with SnmpClient(Pace(100)) as snmp:
            stopwatch = Stopwatch()
            await asyncio.gather(*(snmp.get(target(agent), [NAME]) for _ in range(30)))
            return stopwatch.s, stopwatch.alone_s

    took_s, alone_s = asyncio.run(run())
    assert took_s > 0.28
    assert alone_s < 1.0


def test_the_source_address_is_the_one_asked_for(agent):
    """Requests leave from `source`; a source this machine has not is our failure to measure."""
    asked = target(agent, source=Address.parse("127.0.0.77"))
    assert get(asked).outcome == "answered"
    with pytest.raises(CannotMeasureError, match=r"192\.0\.2\.77"):
        get(target(agent, source=Address.parse("192.0.2.77")))


def test_a_walk_is_capped_by_rows_and_by_time(agent):
    """Both ends keep what was read."""
    column = "1.3.6.1.4.1.8072.1.2.1.1.4"
    few = walk(target(agent), column, max_rows=7)
    assert (few.outcome, len(few.rows), few.complete) == ("capped", 7, False)

    async def run(deadline_s: float) -> ColumnTable:
        async with SnmpClient(Pace(50)) as snmp:
            return await snmp.walk(target(agent, V1), [column], deadline_s=deadline_s)

    for deadline_s in (0.4, 0.8, 1.6):  # more, where the machine is too busy to read anything
        short = asyncio.run(run(deadline_s))
        assert (short.outcome, short.complete) == ("capped", False)
        assert len(short.rows) <= 1 + 50 * deadline_s
        if len(short.rows) > 5:
            break
    assert len(short.rows) > 5
