"""The door for values: ranges of RFC 2578, octets of X.690, and pysnmp's own codec beside it."""

from __future__ import annotations

import asyncio
import itertools
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pyasn1.codec.ber import decoder, encoder
from pyasn1.error import PyAsn1Error
from pysnmp.proto import rfc1902, rfc1905

from tests.cli.sweeping import free_port
from tests.hostile import integer, tlv
from verifier.files.read_profile import load_profiles
from verifier.model import mib
from verifier.model.address import Address, Interface
from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.plan import Device, Plan
from verifier.model.plan import Network as PlanNetwork
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.values import SnmpReply, SnmpTarget, binding
from verifier.probes.snmp.wire import read_response
from verifier.simulator.agent.cells import CellTable
from verifier.simulator.network import SimulatedNetwork
from verifier.simulator.running import running

ANY = (1, 3, 6, 1, 4, 1, 32473, 9, 1)
"""An object that the program does not know."""
BIG, HUGE = 2**32, 2**64
RANGES = [
    # RFC 2578 section 7.1.1, 7.1.6, 7.1.7, 7.1.8, 7.1.10
    ("Integer32", 0x02, -(2**31), 2**31 - 1),
    ("Counter32", 0x41, 0, BIG - 1),
    ("Gauge32", 0x42, 0, BIG - 1),
    ("TimeTicks", 0x43, 0, BIG - 1),
    ("Counter64", 0x46, 0, HUGE - 1),
]


@pytest.mark.parametrize(("kind", "tag", "least", "most"), RANGES, ids=str)
def test_the_ends_of_each_range(kind: str, tag: int, least: int, most: int) -> None:
    """Both ends are values; one beyond is none, and its octets are kept."""
    for value in (least, most):
        found = binding(ANY, integer(value, tag))
        assert (found.type, found.value, found.missing) == (kind, value, False)
    for value in (least - 1, most + 1, HUGE * HUGE):
        sent = integer(value, tag)
        found = binding(ANY, sent)
        assert (found.type, found.value, found.missing) == (kind, None, True)
        assert found.octets == sent
        assert sent.hex() in found.raw
        assert found.unreadable
        assert found.text == ""


UNFIT = {
    "no octets": tlv(0x02, b""),
    "an IpAddress of five octets (RFC 2578 7.1.5)": tlv(0x40, bytes(5)),
    "an OID without an end": tlv(0x06, b"\x2b\x86"),
    "an OID with an arc of 33 bits (RFC 2578 7.1.3)": tlv(0x06, b"\x2b\x90\x80\x80\x80\x00"),
    "an OID of 129 arcs (RFC 2578 7.1.3)": tlv(0x06, b"\x2b" + b"\x01" * 127),
    "an OID with padding (X.690 8.19.2)": tlv(0x06, b"\x2b\x80\x01"),
    "BOOLEAN": tlv(0x01, b"\xff"),
    "octets in parts (RFC 3417 8)": tlv(0x24, tlv(0x04, b"a")),
    "an indefinite length (RFC 3417 8)": b"\x04\x80a\0\0",
    "cut off": b"\x04\x05abc",
    "nothing": b"",
}


@pytest.mark.parametrize("what", UNFIT)
def test_octets_that_are_no_value(what: str) -> None:
    found = binding(ANY, UNFIT[what])
    assert (found.value, found.missing, found.octets) == (None, True, UNFIT[what])
    assert found.unreadable


OF_OBJECTS = [
    # object, right at its end, one that is none: RFC 2863, RFC 3418, RFC 4293, RFC 3635
    ("ifInErrors.3", integer(BIG - 1, 0x41), integer(HUGE - 1, 0x46)),
    ("ifOperStatus.3", integer(7), integer(8)),
    ("ifOperStatus.3", integer(1), integer(0)),
    ("dot3StatsDuplexStatus.3", integer(3), integer(4)),
    ("ifSpeed.3", integer(BIG - 1, 0x42), integer(-1)),
    ("ifMtu.3", integer(1500), tlv(0x04, b"1500")),
    ("ifName.3", tlv(0x04, b"x" * 255), tlv(0x04, b"x" * 256)),
    ("ifName.3", tlv(0x04, b""), integer(3)),
    ("sysName", tlv(0x04, b"device"), tlv(0x40, bytes(4))),
    ("sysUpTime", integer(BIG - 1, 0x43), integer(BIG, 0x46)),
    ("sysObjectID", tlv(0x06, b"\x2b\x06"), tlv(0x04, b"1.3.6")),
    ("ipAdEntNetMask.127.0.0.1", tlv(0x40, bytes(4)), tlv(0x04, bytes(4))),
    ("ipAdEntIfIndex.127.0.0.1", integer(2**31 - 1), integer(0)),
]
_OIDS = {**mib.SYSTEM, **mib.IF_TABLE, **mib.IF_X_TABLE, **mib.DUPLEX, **mib.IP_ADDR_TABLE}


@pytest.mark.parametrize(("name", "right", "wrong"), OF_OBJECTS)
def test_objects_have_ranges_of_their_own(name: str, right: bytes, wrong: bytes) -> None:
    """What fits a type and not the object's SYNTAX is no value of it."""
    object_, _, instance = name.partition(".")
    oid = tuple(map(int, f"{_OIDS[object_]}{'.' * bool(instance)}{instance}".split(".")))
    assert not binding(oid, right).missing
    found = binding(oid, wrong)
    assert (found.value, found.missing, found.octets) == (None, True, wrong)


@pytest.mark.parametrize("tag", [0x02, 0x41, 0x42, 0x43, 0x46])
def test_numbers_of_any_numeric_type_are_numbers(tag: int) -> None:
    """Agents mix these up, and the number is the same."""
    oid = tuple(map(int, f"{mib.IF_TABLE['ifSpeed']}.1".split(".")))
    assert binding(oid, integer(1_000_000, tag)).value == 1_000_000


encoded = st.builds(tlv, st.integers(0, 255), st.binary(max_size=40)) | st.binary(max_size=40)


@given(encoded)
@example(tlv(0x46, b"\0" + b"\xff" * 8))
def test_no_octets_raise_and_none_are_lost(octets: bytes) -> None:
    """A value within SMI's ranges, one that the agent has not, or the octets and why."""
    found = binding(ANY, octets)
    assert found.raw.isascii()
    if found.unreadable:
        assert found.octets == octets
        assert found.value is None
    elif isinstance(found.value, int):
        assert -(2**31) <= found.value < HUGE


@given(encoded)
def test_what_pysnmp_takes_is_the_same_here(octets: bytes) -> None:
    """The codec of another making: a value that both have is one value."""
    for syntax in (rfc1902.ObjectSyntax(), rfc1905.noSuchObject, rfc1905.endOfMibView):
        try:
            theirs, rest = decoder.decode(octets, asn1Spec=syntax)
            plain = theirs
            while hasattr(plain, "getComponent"):
                plain = plain.getComponent()
            again = encoder.encode(plain)
        except PyAsn1Error:
            continue
        ours = binding(ANY, octets)
        if rest or ours.unreadable:
            continue  # RFC 3417 section 8 narrows what is X.690
        if isinstance(ours.value, int):
            assert ours.value == int(plain)
        elif isinstance(ours.value, bytes):
            assert ours.value == bytes(plain)
        assert binding(ANY, again).value == ours.value


@given(st.integers(0, HUGE - 1), st.integers(-(2**31), 2**31 - 1), st.binary(max_size=255))
def test_what_pysnmp_writes_is_read(count: int, number: int, text: bytes) -> None:
    """Any Counter64, INTEGER and OCTET STRING of theirs."""
    values = [rfc1902.Counter64(count), rfc1902.Integer32(number), rfc1902.OctetString(text)]
    assert [binding(ANY, encoder.encode(v)).value for v in values] == [count, number, text]


@given(
    st.binary(max_size=120) | st.builds(lambda b: tlv(0x30, integer(1) + tlv(4, b"x") + b), encoded)
)
def test_no_datagram_raises(octets: bytes) -> None:
    """A response, or none."""
    found = read_response(octets)
    assert found is None or found.version in {0, 1}


_ODD = integer(HUGE, 0x41)
ENTRIES = {
    "1": SnmpEntry(name="x", version="1", community=Secret("coast"), port=free_port()),
    "2c": SnmpEntry(name="x", version="2c", community=Secret("coast"), port=free_port()),
    "3": SnmpEntry(name="x", version="3", user="ferry", auth="SHA-256", auth_key=Secret("coastal-auth"),
                   priv_key=Secret("coastal-priv"), port=free_port()),
    "3 without privacy": SnmpEntry(name="x", version="3", user="ferry", auth="SHA-256",
                                   auth_key=Secret("coastal-auth"), port=free_port()),
}  # fmt: skip


@pytest.fixture(scope="module", params=ENTRIES)
def odd(request: pytest.FixtureRequest) -> Iterator[SnmpEntry]:
    """An agent whose error counter is 2^64, of type Counter32."""
    entry = ENTRIES[request.param]
    device = Device(name="device", address=Interface.parse("127.93.0.1/16"), snmp="x")
    plan = Plan(network=PlanNetwork(name="Odd"), devices=(device,))
    network = SimulatedNetwork(plan, load_profiles({"mib2"}), {"x": entry})
    one = network.devices["device"]
    rows = dict(zip(one.table().names, one.table().cells, strict=True))
    rows |= {(*_arcs("ifInErrors"), 1): _ODD, (*_arcs("ifOutErrors"), 1): integer(7, 0x41)}
    one.made.table = CellTable.of(rows)
    with running(network):
        yield entry


def _arcs(name: str) -> tuple[int, ...]:
    return tuple(map(int, mib.IF_TABLE[name].split(".")))


def test_one_odd_value_spoils_no_other(odd: SnmpEntry) -> None:
    """By every version, in a GET and in a walk: the others come, the odd one with its octets."""

    async def run() -> tuple[SnmpReply, Any]:
        oids = [mib.SYSTEM["sysName"], f"{mib.IF_TABLE['ifInErrors']}.1",
                f"{mib.IF_TABLE['ifOutErrors']}.1"]  # fmt: skip
        to = SnmpTarget(address=Address.parse("127.93.0.1"), entry=odd)
        async with SnmpClient() as snmp:
            return await snmp.get(to, oids), await snmp.walk(to, [mib.IF_TABLE["ifInErrors"]])

    reply, table = asyncio.run(run())
    assert reply.outcome == "answered"
    assert [b.value for b in reply.bindings] == [b"device", None, 7]
    assert reply.bindings[1].octets == _ODD
    assert table.outcome == "answered"
    (found,) = itertools.chain.from_iterable(row.values() for row in table.rows.values())
    assert (found.value, found.octets) == (None, _ODD)
