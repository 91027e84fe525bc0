"""Values, message headers, and key derivation against published values."""

from __future__ import annotations

import asyncio
import itertools
import socket

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pysnmp.entity.config import AUTH_SERVICES
from pysnmp.proto.rfc1902 import OctetString

from verifier.errors import CannotMeasureError
from verifier.model.address import Address
from verifier.model.credentials import Secret, SnmpEntry
from verifier.probes.snmp.client import SnmpClient
from verifier.probes.snmp.engine import AUTH, Engine, RequestPdu
from verifier.probes.snmp.transport import endpoint, socket_address
from verifier.probes.snmp.values import VarBind, error_name, oid_tuple
from verifier.probes.snmp.wire import IDS, Header, MessageIds, Plain, read_header, read_response

KU_KUL = {
    "MD5": ("9faf3283884e92834ebc9847d8edd963", "526f5eed9fcce26f8964c2930787d82b"),
    "SHA": (
        "9fb5cc0381497b3793528939ff788d5d79145211",
        "6695febc9288e36282235fc7151f128497b38f3f",
    ),
    "SHA-224": (
        "282a5867ee9aac639ad59df9572c7d3ac0fbc13a905b6df07dbbf00b",
        "0bd8827c6e29f8065e08e09237f177e410f69b90e1782be682075674",
    ),
    "SHA-256": (
        "ab51014d1e077f6017df2b12bee5f5aa72993177e9bb569c4dff5a4ca0b4afac",
        "8982e0e549e866db361a6b625d84cccc11162d453ee8ce3a6445c2d6776f0f8b",
    ),
    "SHA-384": (
        None,
        (
            "3b298f16164a11184279d5432bf169e2d2a48307de02b3d3f7e2b4f36eb6f045"
            "5a53689a3937eea07319a633d2ccba78"
        ),
    ),
    "SHA-512": (
        None,
        (
            "22a5a36cedfcc085807a128d7bc6c2382167ad6c0dbc5fdff856740f3d84c099"
            "ad1ea87a8db096714d9788bd544047c9021e4229ce27e4c0a69250adfcffbb0b"
        ),
    ),
}
"""Password `maplesyrup`, engine id 00..02. MD5: RFC 3414 A.3.1. SHA: RFC 3414 A.3.2. The SHA-2 ones
are recomputed by hashlib with the same algorithm for the same input (RFC 7860 prints none)."""


@pytest.mark.parametrize("auth", KU_KUL)
def test_keys_are_those_of_rfc_3414_appendix_a3(auth):
    """Key of the password and key localized to the engine, by what the client sends with."""
    service = AUTH_SERVICES[AUTH[auth]]
    ku, kul = KU_KUL[auth]
    key = service.hash_passphrase(OctetString("maplesyrup"))
    if ku is not None:
        assert bytes(key).hex() == ku
    assert bytes(service.localize_key(key, OctetString(b"\0" * 11 + b"\x02"))).hex() == kul


@pytest.mark.parametrize(
    ("value", "text", "raw"),
    [
        (b"Lighthouse", "Lighthouse", 'OctetString "Lighthouse"'),
        (b"", "", 'OctetString ""'),
        ("Färöer".encode(), "Färöer", "OctetString 0x46c3a472c3b66572"),
        ("Färöer".encode("latin-1"), "Färöer", "OctetString 0x46e472f66572"),
        (b"\x02\x00\x5e\x10\x00\x01", "02:00:5e:10:00:01", "OctetString 0x02005e100001"),
        (b"Quarry\0\0", "Quarry", "OctetString 0x5175617272790000"),
        (b"a\r\nb", "a\r\nb", "OctetString 0x610d0a62"),
    ],
)
def test_octets_as_text_and_as_evidence(value, text, raw):
    """Text for a person, evidence without loss and in ASCII."""
    binding = VarBind("1.3", "OctetString", value)
    assert (binding.text, binding.raw) == (text, raw)


def test_other_values_as_text_and_as_evidence():
    """Numbers, addresses, and what is missing."""
    assert VarBind("1.3", "Gauge32", 7).raw == "Gauge32 7"
    assert VarBind("1.3", "IpAddress", "192.0.2.1").text == "192.0.2.1"
    missing = VarBind("1.3", "noSuchInstance")
    assert (missing.raw, missing.text, missing.missing) == ("noSuchInstance", "", True)


@given(st.binary(max_size=64))
def test_raw_is_ascii_and_without_loss(octets):
    """Octets come back from what is stored."""
    kind, _, shown = VarBind("1.3", "OctetString", octets).raw.partition(" ")
    assert kind == "OctetString"
    assert shown.isascii()
    quoted = shown.startswith('"')
    assert octets == (shown[1:-1].encode() if quoted else bytes.fromhex(shown[2:]))


@pytest.mark.parametrize("text", ["", "sysName.0", "1", "3.1", "1.40.1", "1..3", "1.3.-1", "1.3.²"])
def test_what_is_no_object_identifier_is_refused(text):
    """Names, lone arcs, first arcs that do not exist (X.660)."""
    with pytest.raises(CannotMeasureError, match="object identifier"):
        oid_tuple(text)


def test_object_identifiers():
    """With and without the leading dot."""
    assert oid_tuple(".1.3.6.1") == oid_tuple("1.3.6.1") == (1, 3, 6, 1)
    assert oid_tuple("2.100.3") == (2, 100, 3)


def test_error_names():
    """First, last, and one without a name (RFC 3416 section 3)."""
    names = [error_name(0), error_name(1), error_name(18), error_name(19), error_name(-1)]
    assert names == ["noError", "tooBig", "inconsistentName", "error-status 19", "error-status -1"]


V2C_GET = bytes.fromhex(
    "302902010104067075626c6963a01c020411223344020100020100300e300c06082b060102010105000500"
)
"""Get of sysName.0 with community `public`, by hand from RFC 3416 and X.690."""


def test_the_header_of_a_message():
    """Version, id, whether it is a response."""
    assert read_header(V2C_GET) == Header(1, 0x11223344, response=False)
    response = V2C_GET.replace(b"public\xa0", b"public\xa2")
    assert read_header(response) == Header(1, 0x11223344, response=True)


@given(st.binary(max_size=80) | st.builds(lambda n: V2C_GET[:n], st.integers(0, len(V2C_GET))))
def test_a_header_of_anything_is_a_header_or_none(octets):
    """No octets make it raise."""
    found = read_header(octets)
    assert found is None or isinstance(found, Header)


@pytest.mark.parametrize("version", ["1", "2c"])
def test_requests_have_their_own_ids(version):
    """A thousand requests of one engine have a thousand ids, and the header reads them."""
    engine = Engine(SnmpEntry(name="x", version=version, community=Secret("harbour")))
    question = RequestPdu("get", ((1, 3, 6, 1, 2, 1, 1, 5, 0),))
    peer = ("192.0.2.1", 161)
    headers = [read_header(engine.encode(question, peer, print)[1]) for _ in range(1000)]
    assert len({h.id for h in headers if h is not None}) == 1000


@pytest.mark.parametrize(
    "entry",
    [
        SnmpEntry(name="field", version="2c"),
        SnmpEntry(name="field", version="3"),
        SnmpEntry(name="field", version="3", user="ferry", auth_key=Secret("")),
        SnmpEntry(name="field", version="3", user="ferry", auth_key=Secret("k3y-x")),
        SnmpEntry(
            name="field", version="3", user="ferry", auth_key=Secret("maplesyrup"),
            priv_key=Secret("k3y-x"),
        ),
        SnmpEntry(name="field", version="3", user="f" * 33, auth_key=Secret("maplesyrup")),
    ],
)  # fmt: skip
def test_credentials_that_cannot_be_used_are_refused_without_showing_them(entry):
    """Our own error, which names the entry and no secret; nothing of the library shines through."""
    with pytest.raises(CannotMeasureError, match="SNMP entry field") as refused:
        Engine(entry)
    error = refused.value
    assert "k3y-x" not in f"{error}{error!r}"
    assert error.__cause__ is None
    assert error.__suppress_context__


def test_the_client_may_be_closed_twice():
    """And shows no secret."""

    async def run() -> str:
        async with SnmpClient() as snmp:
            snmp.close()
            return repr(vars(snmp))

    assert "harbour" not in asyncio.run(run())


def test_a_zone_is_an_interface():
    """By name or number (RFC 4007 11.2); one this machine has not is our failure to measure."""
    loopback = socket.if_nametoindex("lo")
    assert socket_address(Address.parse("fe80::1%lo"), 161) == ("fe80::1", 161, 0, loopback)
    assert socket_address(Address.parse("fe80::1%7"), 161) == ("fe80::1", 161, 0, 7)
    assert socket_address(Address.parse("192.0.2.1"), 161) == ("192.0.2.1", 161)
    with pytest.raises(CannotMeasureError, match="no interface quay0"):
        socket_address(Address.parse("fe80::1%quay0"), 161)


@pytest.mark.parametrize("version", ["1", "2c", "3"])
def test_ids_cannot_be_guessed_by_the_one_before(version):
    """Request ids of v1 and v2c, message ids of v3: spread over 31 bits, no step among them."""
    user = {"user": "ferry"} if version == "3" else {"community": Secret("harbour")}
    engine = Engine(SnmpEntry(name="x", version=version, **user))
    question, peer = RequestPdu("get", ((1, 3, 6, 1, 2, 1, 1, 5, 0),)), ("192.0.2.1", 161)
    headers = [read_header(engine.encode(question, peer, print)[1]) for _ in range(500)]
    ids = [header.id for header in headers if header is not None]
    steps = {b - a for a, b in itertools.pairwise(ids)}
    assert len(steps) > 490
    assert not steps & set(range(-5, 6))
    assert all(0 < n < 2**31 for n in ids)
    assert max(ids) > 2**30 > min(ids)


def test_no_id_is_drawn_while_it_is_open():
    """A generator that repeats itself: each id once, until it is closed."""
    drawn = itertools.cycle([4, 4, 9])
    ids = MessageIds(lambda most: next(drawn) % most)
    first, second = ids.draw(), ids.draw()
    assert (first, second) == (5, 10)
    ids.close([first])
    assert ids.draw() == 5


@pytest.mark.parametrize(("random", "drawn"), [(0, 1), (2**31 - 2, 2**31 - 1)])
def test_ids_are_of_31_bits_and_never_0(random: int, drawn: int) -> None:
    """From 1 to 2147483647 (RFC 3416 section 3, RFC 3412 section 6.2)."""
    asked: list[int] = []
    assert MessageIds(lambda below: asked.append(below) or random).draw() == drawn
    assert asked == [2**31 - 1]


def of(tag: int, content: bytes, long: int = 0) -> bytes:
    """Tag, length and content (X.690 section 8.1); `long`: octets of a length in the long form."""
    if long or len(content) > 127:
        size = len(content).to_bytes(long or 2, "big")
        return bytes([tag, 0x80 | len(size)]) + size + content
    return bytes([tag, len(content)]) + content


def response_of(*names: bytes, version: bytes = b"\x01", community: bytes = b"x", long: int = 0,
                more: bytes = b"", beside: bytes = b"") -> bytes:  # fmt: skip
    """A response of v2c with an INTEGER 7 under each of these names."""
    rows = b"".join(of(0x30, of(6, name) + of(2, b"\x07") + beside, long) for name in names)
    pdu = of(
        0xA2, of(2, b"\x11") + of(2, b"\x05") + of(2, b"\x01") + of(0x30, rows, long) + more, long
    )
    return of(0x30, of(2, version) + of(4, community, long) + pdu, long)


@pytest.mark.parametrize(
    ("octets", "name"),
    [
        (b"\x2b\x06", (1, 3, 6)), (b"\x00", (0, 0)), (b"\x27", (0, 39)), (b"\x28", (1, 0)),
        (b"\x4f", (1, 39)), (b"\x50", (2, 0)), (b"\x77", (2, 39)), (b"\x78", (2, 40)),
        (b"\x88\x37", (2, 999)), (b"\x2b\x7f", (1, 3, 127)), (b"\x2b\x81\x00", (1, 3, 128)),
        (b"\x2b\x8f\xff\xff\xff\x7f", (1, 3, 4294967295)),
        (b"\x2b\x90\x80\x80\x80\x00", None), (b"", None), (b"\x2b\x81", None),
    ],
)  # fmt: skip
def test_names_of_objects(octets: bytes, name: tuple[int, ...] | None) -> None:
    """Sub-identifiers to 4294967295 (RFC 2578 section 7.1.3), seven bits an octet (X.690 8.19)."""
    found = read_response(response_of(octets))
    assert (found.bindings[0][0] if found is not None else None) == name


@pytest.mark.parametrize("size", [1, 127, 128, 255, 256, 1000])
@pytest.mark.parametrize("long", [0, 2, 4])
def test_lengths_in_short_and_long_form(size: int, long: int) -> None:
    """One octet up to 127, then so many as the first says (X.690 section 8.1.3)."""
    octets = response_of(b"\x2b\x06", b"\x2b\x07", community=b"c" * size, long=long)
    found = read_response(octets)
    assert found == Plain(
        1, b"c" * size, 17, 5, 1, (((1, 3, 6), b"\x02\x01\x07"), ((1, 3, 7), b"\x02\x01\x07"))
    )
    assert read_header(octets) == Header(1, 17, response=True)
    assert read_response(octets[:-1]) is None


@pytest.mark.parametrize(
    "octets",
    [
        response_of(b"\x2b\x06", version=b"\x03"), response_of(b"\x2b\x06", version=b"\x02"),
        response_of(b"\x2b\x06", more=of(2, b"\x01")), response_of(b"\x2b\x06", beside=of(5, b"")),
        response_of(b"\x2b\x06").replace(b"\xa2", b"\xa0", 1),
    ],
    ids=["of version 3", "of no version", "more behind the list", "more beside a value", "a request"],
)  # fmt: skip
def test_what_is_no_response(octets: bytes) -> None:
    assert read_response(octets) is None


def test_a_response_without_objects_is_one() -> None:
    assert read_response(response_of(version=b"\x00")) == Plain(0, b"x", 17, 5, 1, ())


def test_ids_are_closed_with_their_requests():
    """What an engine has drawn for a request may be drawn again when that is forgotten."""
    before = len(IDS._open)
    engine = Engine(SnmpEntry(name="x", version="3", user="ferry"))
    question, peer = RequestPdu("get", ((1, 3, 6, 1, 2, 1, 1, 5, 0),)), ("192.0.2.1", 161)
    handles = [engine.encode(question, peer, print)[0] for _ in range(10)]
    assert len(IDS._open) == before + 20  # a msgID and a request-id each
    for handle in handles:
        engine.forget(handle)
    assert len(IDS._open) == before


@pytest.mark.parametrize("address", ["127.0.0.1", "::1", "fe80::1%lo", "2001:db8:0:0::5"])
def test_endpoints_are_equal_however_they_are_spelt(address):
    """As we ask and as a socket tells who answered; of link-local ones the interface counts."""
    asked = socket_address(Address.parse(address), 161)
    told = (asked[0] + ("%lo" if "%" in address else ""), *asked[1:])
    assert endpoint(told) == endpoint(asked)
    assert endpoint((*asked[:1], 162, *asked[2:])) != endpoint(asked)
    if len(asked) == 4:
        assert endpoint((*asked[:3], asked[3] + 1)) != endpoint(asked)
