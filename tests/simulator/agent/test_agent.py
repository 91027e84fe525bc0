"""What an agent answers to requests of each version, well made and badly made (RFC 3416 4.2)."""

from __future__ import annotations

import dataclasses
import socket

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.simulator.conftest import ENTRIES, PLAN
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.model import mib
from verifier.model.credentials import Secret
from verifier.simulator.agent import cells, pdu, v3
from verifier.simulator.agent.cells import BerReader
from verifier.simulator.network import SimulatedNetwork

RADIO, SWITCH = "127.80.0.11", "127.80.0.13"
DEVICES = {"radio": "lighthouse-quarry", "switch": "lighthouse-switch"}
SYS_NAME = bytes.fromhex("2b06010201010500")
SYS_UP_TIME = bytes.fromhex("2b06010201010300")
NOTHING = bytes.fromhex("2b0601020101630000")
LAST = bytes.fromhex("2b060106030a0201040000")
IN_OCTETS_64 = bytes.fromhex("2b060102011f0101010602")
GET, NEXT, SET, BULK = 0xA0, 0xA1, 0xA3, 0xA5


def parts(reply: bytes) -> tuple[int, bytes, int, int, list[tuple[bytes, int, bytes]]]:
    """Kind, request id, status, index and bindings of a reply of v1 or v2c."""
    body = BerReader(reply).inside()
    body.skip()
    body.skip()
    kind, start, stop = body.element()
    inside = BerReader(reply, start, stop)
    id_start, id_stop = inside.expect(2)
    status, index = inside.integer(), inside.integer()
    bindings, found = inside.inside(), []
    while bindings.at < bindings.end:
        binding = bindings.inside()
        name = binding.expect(6)
        tag, at, end = binding.element()
        found.append((reply[slice(*name)], tag, reply[at:end]))
    return kind, reply[id_start:id_stop], status, index, found


@pytest.mark.parametrize(
    "request_id", [b"\x00", b"\x7f", b"\xff", b"\x00\x80", b"\x7f\xff\xff\xff"]
)
@pytest.mark.usefixtures("network")
def test_the_request_id_comes_back(datagrams, get_request, request_id):
    """Also in a kept reply: asked thrice, with others between."""
    for _ in range(3):
        reply = parts(datagrams(RADIO, get_request(SYS_NAME, request_id=request_id)))
        assert reply[:4] == (0xA2, request_id, 0, 0)
        assert reply[4] == [(SYS_NAME, 4, b"lighthouse-quarry")]
        datagrams(RADIO, get_request(SYS_NAME))


def test_time_runs_in_a_kept_reply(network, datagrams, get_request):
    """The time between other objects, which stay as they are."""
    seen = [
        parts(datagrams(RADIO, get_request(SYS_NAME, SYS_UP_TIME, SYS_NAME)))[4] for _ in range(4)
    ]
    ticks = [int.from_bytes(bindings[1][2], "big") for bindings in seen]
    assert ticks == sorted(ticks)
    assert {b[1][1] for b in seen} == {0x43}
    assert all(b[0] == b[2] == (SYS_NAME, 4, b"lighthouse-quarry") for b in seen)
    device = network.devices[DEVICES["radio"]]
    assert len(device.made.replies) == 1


@pytest.mark.parametrize("size", [1, 126, 127, 128, 129, 255])
@pytest.mark.parametrize("letter", ["x", "\u00ff"])
def test_communities_of_any_length(plan, get_request, size, letter):
    """Also those whose length takes more than one octet, which are not kept."""
    word = letter * size
    entry = dataclasses.replace(ENTRIES["bench"], community=Secret(word))
    profiles = load_profiles({d.profile for d in plan.devices})
    device = SimulatedNetwork(plan, profiles, ENTRIES | {"bench": entry}).devices[DEVICES["radio"]]
    request = get_request(SYS_NAME, community=word.encode())
    reply = device.reply(request, device.boot_s)
    assert reply is not None
    assert b"lighthouse-quarry" in reply
    assert device.kept_reply(request, device.boot_s) in {None, reply}


@pytest.mark.parametrize("up_s", [0.0, 1.27, 1.28, 327.67, 327.68, 83886.08, 21474836.47, 21474836.48,
                                  42949672.95, 42949672.96])  # fmt: skip
def test_a_kept_reply_is_the_one_that_would_be_made(plan, get_request, up_s):
    """At every number of octets of sysUpTime, and where it begins again (RFC 2578 7.1.8)."""
    network = SimulatedNetwork(plan, load_profiles({d.profile for d in plan.devices}), ENTRIES)
    device = network.devices[DEVICES["radio"]]
    request = get_request(SYS_NAME, SYS_UP_TIME, SYS_NAME)
    device.boot_s = 0.0
    for early_s in (0.0, max(0.0, up_s - 0.01), up_s):
        made = device.reply(request, early_s)
        assert device.kept_reply(request, early_s) == made
        later = device.kept_reply(request, up_s)
        assert later in {None, device.reply(request, up_s)}


@pytest.mark.parametrize(
    ("made", "expected"),
    [
        # version, kind, name -> status, index, tag of the value
        ((0, GET, SYS_NAME), (0, 0, 0x04)),
        ((0, GET, NOTHING), (2, 1, 0x05)),  # noSuchName
        ((0, GET, IN_OCTETS_64), (2, 1, 0x05)),  # no Counter64 in v1: RFC 3584 4.2.2.1
        ((0, NEXT, LAST), (2, 1, 0x05)),
        ((0, SET, SYS_NAME), (2, 1, 0x05)),
        ((1, GET, NOTHING), (0, 0, 0x80)),  # noSuchObject
        ((1, GET, SYS_NAME[:-1] + b"\x01"), (0, 0, 0x81)),  # noSuchInstance
        ((1, GET, IN_OCTETS_64), (0, 0, 0x46)),
        ((1, NEXT, LAST), (0, 0, 0x82)),  # endOfMibView
        ((1, SET, SYS_NAME), (6, 1, 0x05)),  # noAccess
    ],
)
@pytest.mark.usefixtures("network")
def test_missing_and_refused(datagrams, get_request, made, expected):
    version, kind, name = made
    status, index, tag = expected
    reply = parts(datagrams(RADIO, get_request(name, version=version, kind=kind)))
    assert reply[2:4] == (status, index)
    assert [b[:2] for b in reply[4]] == [(name, tag)]


@pytest.mark.parametrize(("version", "bindings"), [(0, 120), (1, 0)])
@pytest.mark.usefixtures("network")
def test_too_big_a_reply(datagrams, get_request, version, bindings):
    """tooBig: v1 with the objects of the request (RFC 1157 4.1.2), v2c without (RFC 3416 4.2.1)."""
    reply = parts(datagrams(RADIO, get_request(*[SYS_NAME] * 120, version=version)))
    assert reply[2:4] == (1, 0)
    assert len(reply[4]) == bindings


@pytest.mark.parametrize(
    ("non_repeaters", "repetitions", "found"),
    [(0, 3, 6), (1, 3, 4), (2, 3, 2), (5, 3, 2), (0, 0, 0), (1, 0, 1)],
)
@pytest.mark.usefixtures("network")
def test_bulk(datagrams, get_request, non_repeaters, repetitions, found):
    """RFC 3416 4.2.3: N first objects once, the others so often."""
    request = get_request(
        SYS_NAME, SYS_UP_TIME, kind=BULK, numbers=(non_repeaters, repetitions)
    )  # fmt: skip
    assert len(parts(datagrams(RADIO, request))[4]) == found


@pytest.mark.usefixtures("network")
def test_bulk_stops_at_the_end(datagrams, get_request):
    """One endOfMibView, not a hundred."""
    reply = parts(datagrams(RADIO, get_request(LAST, kind=BULK, numbers=(0, 100))))
    assert [b[1] for b in reply[4]] == [0x82]


@pytest.mark.parametrize(
    "changes",
    [
        {"community": b"Harbour"}, {"community": b""}, {"version": 2}, {"version": 3}, {"kind": 0xA2},
        {"kind": 0xA4}, {"kind": 0xA7}, {"version": 0, "kind": BULK},
        {"request_id": b"\x00\x01"}, {"request_id": b"\x01" * 5}, {"request_id": b""},
    ],
)  # fmt: skip
@pytest.mark.usefixtures("network")
def test_silence(datagrams, get_request, changes):
    """Another community, a version or PDU that is none, an integer that is badly made."""
    assert datagrams(RADIO, get_request(SYS_NAME, **changes)) is None
    assert datagrams(RADIO, get_request(SYS_NAME)) is not None
    assert datagrams(RADIO, get_request(SYS_NAME, **changes)) is None


@pytest.mark.usefixtures("network")
def test_an_agent_of_v3_is_silent_to_communities(datagrams, get_request):
    assert datagrams(SWITCH, get_request(SYS_NAME)) is None


@pytest.mark.usefixtures("network")
def test_further_addresses_of_a_device_answer(port, ask):
    """127.80.1.13 is the switch as well; the address of IPv6 is in its table only."""
    table = ask.walk("lighthouse-switch", *mib.IP_ADDRESS_TABLE.values())
    assert list(table.rows) == [
        "1.4.127.80.0.13", "1.4.127.80.1.13", "2.16.32.1.13.184" + ".0" * 11 + ".19"
    ]  # fmt: skip
    prefixes = [r[mib.IP_ADDRESS_TABLE["ipAddressPrefix"]].value for r in table.rows.values()]
    assert [p.rpartition(".")[2] for p in prefixes] == ["24", "25", "64"]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        asking.settimeout(1)
        asking.sendto(b"0", ("127.80.1.13", port))
    asked = dataclasses.replace(
        ask.target("lighthouse-switch"), address=type(ask.target("lighthouse-switch").address).parse("127.80.1.13")
    )  # fmt: skip
    reply = ask.run(lambda client: client.get(asked, [mib.SYSTEM["sysName"]]))
    assert (reply.outcome, reply.responder) == ("answered", "127.80.1.13")


@pytest.mark.usefixtures("network")
def test_lldp_tells_the_planned_neighbour(ask):
    """lldpRemSysName, lldpRemPortId, lldpRemChassisId of the row of eth1; the switch's own."""
    row = "1.0.8802.1.1.2.1.4.1.1.{}.0.2.1"
    reply = ask.get("lighthouse-quarry", row.format(9), row.format(7), row.format(5))
    assert [b.value for b in reply.bindings] == [
        b"lighthouse-switch", b"p1", bytes.fromhex("02017f50000d"),
    ]  # fmt: skip
    own = ask.get("lighthouse-switch", "1.0.8802.1.1.2.1.3.2.0", "1.0.8802.1.1.2.1.3.7.1.3.2")
    assert [b.value for b in own.bindings] == [bytes.fromhex("02017f50000d"), b"p1"]


@pytest.mark.usefixtures("network")
def test_entity(ask):
    """Software, serial number and model of the one chassis."""
    column = "1.3.6.1.2.1.47.1.1.1.1.{}.1"
    assert ask.values("lighthouse-quarry", *map(column.format, (5, 10, 11, 13))) == [
        3, "4.2.1", "000123", "PTP-13-H",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "outcome"),
    [
        ({"user": "nobody"}, "unknown-user"),
        ({"auth_key": Secret("newsyrup-newsyrup")}, "wrong-digest"),
        ({"auth": "SHA-512"}, "wrong-digest"),
        ({"priv_key": Secret("maplesyrup")}, "silent"),
        ({"priv": "AES-256"}, "silent"),
        ({"priv": "DES"}, "silent"),
        ({"priv_key": None}, "error-status"),
        ({"priv_key": None, "auth_key": None}, "error-status"),
    ],
)
@pytest.mark.usefixtures("network")
def test_reports_of_v3(ask, changes, outcome):
    """RFC 3414 3.2. A level below the user's own is an authorizationError.

    A wrong cipher key leaves octets that are no PDU: they are discarded (RFC 3412 7.2).
    """
    entry = dataclasses.replace(ENTRIES["field"], **changes)
    reply = ask.get("lighthouse-switch", mib.SYSTEM["sysName"], entry=entry)
    assert reply.outcome == outcome
    if outcome == "error-status":
        assert reply.error_status == 16


def test_a_level_the_user_has_not(plan, port, ask):
    """A user without keys is asked with digest and cipher."""
    from verifier.simulator.running import running  # noqa: PLC0415

    bare = dataclasses.replace(ENTRIES["field"], auth_key=None, priv_key=None)
    profiles = load_profiles({d.profile for d in plan.devices})
    with running(SimulatedNetwork(plan, profiles, ENTRIES | {"field": bare}, port=port)):
        reply = ask.get("lighthouse-switch", mib.SYSTEM["sysName"])
        assert reply.outcome == "unsupported-level"
        assert ask.get("lighthouse-switch", mib.SYSTEM["sysName"], entry=bare).outcome == "answered"


def v3_request(level: int, boots: int, time_s: int, engine_id: bytes, request_id: int = 7) -> bytes:
    """A GET of sysName as the user of `field` sends it."""
    engine = v3.AgentEngine(engine_id, "ferry", lambda: v3.keys_of(ENTRIES["field"], engine_id))
    engine._keys = v3.keys_of(ENTRIES["field"], engine_id)
    sent = v3.Message(99, 65507, 0, b"", 0, 0, b"ferry", b"", 0, b"", b"")
    name = cells.sequence(cells.tlv(6, SYS_NAME), b"\x05\x00")
    body = cells.sequence(cells.integer(request_id), cells.integer(0), cells.integer(0), cells.sequence(name),
                        tag=GET)  # fmt: skip
    return engine._write(sent, level, boots, time_s, body)


@pytest.mark.parametrize(
    ("off_s", "boots", "answered"),
    [(0, 0, True), (149, 0, True), (-149, 0, True), (152, 0, False), (-152, 0, False), (0, 1, False),
     (0, -1, False)],
)  # fmt: skip
def test_time_window(plan, off_s, boots, answered):
    """150 s either way and the same boots (RFC 3414 2.2.3); without the reportable flag silence."""
    network = SimulatedNetwork(plan, load_profiles({d.profile for d in plan.devices}), ENTRIES)
    device = network.devices[DEVICES["switch"]]
    now_s = device.boot_s + 10_000.5
    request = v3_request(3, device.boots + boots, 10_000 + off_s, device.engine_id)
    assert (device.reply(request, now_s) is not None) is answered


def test_what_cannot_be_decrypted_is_reported(plan, monkeypatch):
    """DES in no whole blocks of eight octets: usmStatsDecryptionErrors (RFC 3414 8.3.2)."""
    des = dataclasses.replace(ENTRIES["field"], priv="DES")
    profiles = load_profiles({d.profile for d in plan.devices})
    network = SimulatedNetwork(plan, profiles, ENTRIES | {"field": des})
    device = network.devices[DEVICES["switch"]]
    with monkeypatch.context() as patched:
        patched.setattr(v3, "crypt", lambda *_: b"1234567")
        request = v3_request(3 | 4, device.boots, 10_000, device.engine_id)
    report = device.reply(request, device.boot_s + 10_000)
    assert report is not None
    assert cells.object_id((1, 3, 6, 1, 6, 3, 15, 1, 1, 6, 0)) in report


SEEDS = st.sampled_from(["radio", "switch", "plain"])


@settings(
    max_examples=150,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    deadline=None,
)
@given(seed=SEEDS, edits=st.lists(st.tuples(st.integers(0, 400), st.integers(0, 255),
                                            st.sampled_from("xid")), max_size=4))  # fmt: skip
def test_mutated_requests_never_raise(whole, get_request, seed, edits):
    """Octets exchanged, inserted, deleted, in requests of each version: an answer or silence."""
    now_s, device = whole.devices[DEVICES["radio"]].boot_s + 10_000, whole.devices[DEVICES["radio"]]
    if seed == "radio":
        data = bytearray(get_request(SYS_NAME, SYS_UP_TIME, kind=BULK, numbers=(0, 9)))
    elif seed == "plain":
        data = bytearray(get_request(SYS_NAME, SYS_UP_TIME))
    else:
        device = whole.devices[DEVICES["switch"]]
        data = bytearray(v3_request(3, device.boots, 10_000, device.engine_id))
    for at, octet, how in edits:
        place = at % (len(data) or 1)
        if how == "i":
            data.insert(place, octet)
        elif data:
            data[place : place + 1] = bytes((octet,)) if how == "x" else b""
    for answer in (device.kept_reply(bytes(data), now_s), device.reply(bytes(data), now_s)):
        assert answer is None or answer[0] == 0x30


@given(st.binary(max_size=200))
@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow], deadline=None
)
def test_any_octets_never_raise(whole, data):
    for device in whole.devices.values():
        assert device.kept_reply(data, device.boot_s + 1) is None
        assert device.reply(data, device.boot_s + 1) is None


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> SimulatedNetwork:
    """The network without a server, with a kept reply."""
    path = tmp_path_factory.mktemp("plan") / "plan.yaml"
    path.write_text(PLAN)
    plan, _ = read_plan(path)
    return SimulatedNetwork(plan, load_profiles({d.profile for d in plan.devices}), ENTRIES)


def test_respond_is_asked_for_no_more_than_there_is_room(plan):
    """A v3 message that says how much it can take (RFC 3412 7.1) gets no more: tooBig."""
    network = SimulatedNetwork(plan, load_profiles({d.profile for d in plan.devices}), ENTRIES)
    table = network.devices[DEVICES["radio"]].table()
    names = table.names[:40]
    asked = pdu.Pdu(GET, 1, 0, 0, 0, 0, names)
    statuses = {}
    for room in (200, 4000):
        answer = pdu.answer(table, asked, pdu.Asking(pdu.V3, 0.0, room))
        statuses[room] = answer and answer.status
    assert statuses == {200: pdu.TOO_BIG, 4000: 0}
