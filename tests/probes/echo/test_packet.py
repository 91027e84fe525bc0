"""Echo packets against published values, and against everything that is not one of them."""

from __future__ import annotations

import ipaddress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.probes.echo.packet import (
    MAX_PAYLOAD_BYTES,
    EchoReply,
    Quoted,
    RequestMaker,
    checksum,
    echo_header,
    next_mtu,
    ones_sum,
    parse,
    payload_bytes,
    words_of,
)

RFC_1071 = bytes.fromhex("0001f203f4f5f6f7")
FILLER = bytes(range(40)).hex()

# As received on raw sockets; the request of each was made by RequestMaker.
REPLY_4 = bytes.fromhex(
    f"450000541cbb00003f01d1c7c6120101c612000100005bbc9caf0000feb9f605d1e6c35b{'00' * 8}{FILLER}"
)
PROHIBITED_4 = bytes.fromhex(
    "45c000709afe0000400151abc61200fec6120001030dfcf200000000"
    "45000054458940003f0168f9c6120001c6120101"
    f"08000d865220000001dd032f1784fe37{'00' * 8}{FILLER}"
)
EXCEEDED_4 = bytes.fromhex(
    "45c000709b040000400151a5c61200fec61200010b00f4ff00000000"
    "45000054459640000101a6ecc6120001c6120101"
    f"0800f7216610000016fcb36d79a4d92d{'00' * 8}{FILLER}"
)
REPLY_6 = bytes.fromhex(f"810071b7a9c10000feb9f605d1e6c35b00000001{'00' * 4}{FILLER}")
PROHIBITED_6 = bytes.fromhex(
    "0101259e00000000"
    "6001e23b00403a3f20010db800010000000000000000000120010db8000200000000000000000001"
    f"80006ffdd38e000049552ea34956a1a000000001{'00' * 4}{FILLER}"
)
EXCEEDED_6 = bytes.fromhex(
    "030023dd00000000"
    "6001e23b00403a0120010db800010000000000000000000120010db8000200000000000000000001"
    f"8000a7050ceb0000262f39582fd5632e00000001{'00' * 4}{FILLER}"
)
RECEIVED = [
    (4, REPLY_4, EchoReply(0x9CAF, 0, bytes.fromhex("feb9f605d1e6c35b"), 0, 0)),
    (4, PROHIBITED_4, Quoted(3, 13, "198.18.1.1", 0x5220, 0)),
    (4, EXCEEDED_4, Quoted(11, 0, "198.18.1.1", 0x6610, 0)),
    (6, REPLY_6, EchoReply(0xA9C1, 0, bytes.fromhex("feb9f605d1e6c35b"), 1, 0)),
    (6, PROHIBITED_6, Quoted(1, 1, "2001:db8:2::1", 0xD38E, 0)),
    (6, EXCEEDED_6, Quoted(3, 0, "2001:db8:2::1", 0x0CEB, 0)),
]

u16 = st.integers(0, 0xFFFF)
u32 = st.integers(0, 0xFFFF_FFFF)
tokens = st.binary(min_size=8, max_size=8)


def sum_word_by_word(data: bytes) -> int:
    """The plain method of RFC 1071 section 4.1, as an independent check."""
    total = 0
    padded = data + bytes(len(data) % 2)
    for i in range(0, len(padded), 2):
        total += padded[i] << 8 | padded[i + 1]
    while total >> 16:
        total = (total & 0xFFFF) + (total >> 16)
    return total


def with_checksum(packet: bytes) -> bytes:
    """An ICMPv4 message with its checksum field (RFC 792, bytes 2 and 3) made right."""
    return packet[:2] + checksum(packet[:2] + b"\0\0" + packet[4:]).to_bytes(2, "big") + packet[4:]


def test_sum_of_the_published_example() -> None:
    """RFC 1071 section 3: words 0001 f203 f4f5 f6f7 add up to ddf2."""
    assert ones_sum(RFC_1071) == 0xDDF2
    assert checksum(RFC_1071) == 0xFFFF - 0xDDF2


def test_sum_with_bytes_swapped() -> None:
    """RFC 1071 section 3: the same bytes in the other order add up to f2dd."""
    swapped = bytes(b for i in range(0, 8, 2) for b in (RFC_1071[i + 1], RFC_1071[i]))
    assert ones_sum(swapped) == 0xF2DD


def test_checksum_of_a_header() -> None:
    """A widely used example of an IPv4 header: b861."""
    header = bytes.fromhex("4500007300004000401100 00c0a80001c0a800c7".replace(" ", ""))
    assert checksum(header) == 0xB861


def test_checksum_of_nothing_but_zeros() -> None:
    """The sum is 0, its complement ffff."""
    assert (ones_sum(bytes(4)), checksum(bytes(4))) == (0, 0xFFFF)


@given(st.binary(max_size=200))
def test_sum_is_that_of_the_plain_method(data: bytes) -> None:
    """One division gives what adding word by word gives, odd lengths included."""
    assert ones_sum(data) == sum_word_by_word(data)


@given(u16, u16, u32, u32, tokens, st.integers(16, 80))
def test_finished_request_adds_up_to_ffff(
    ident: int, sequence: int, target: int, number: int, token: bytes, size: int
) -> None:
    """RFC 1071 section 1 (3): the sum over a packet with its checksum is all ones."""
    packet = RequestMaker(4, ident, token, size)(sequence, target, number)
    assert len(packet) == 8 + size
    assert packet[:2] == b"\x08\x00"
    assert sum_word_by_word(packet) == 0xFFFF


def test_checksum_is_the_exact_one() -> None:
    """A sum of ffff is complemented to 0, not to ffff (both add up)."""
    make = RequestMaker(4, 0, bytes(8), 16)
    packet = make(0xFFFF - 0x0800, 0, 0)
    assert packet[2:4] == b"\0\0"


@given(u16, u16, u32, u32, tokens, st.integers(16, 300), st.sampled_from([4, 6]))
def test_reply_to_a_request_is_read_back(
    ident: int, sequence: int, target: int, number: int, token: bytes, size: int, version: int
) -> None:
    """What went out comes back (RFC 792: the data must be returned)."""
    request = RequestMaker(version, ident, token, size)(sequence, target, number)
    reply = bytes([{4: 0, 6: 129}[version]]) + request[1:]
    if version == 4:
        reply = with_checksum(reply)
    assert parse(reply, version) == EchoReply(ident, sequence, token, target, number)


@pytest.mark.parametrize("version", [4, 6])
def test_own_request_is_no_reply(version: int) -> None:
    """On loopback every request is heard too."""
    assert parse(RequestMaker(version, 1, bytes(8), 56)(1, 2, 3), version) is None


@pytest.mark.parametrize(("version", "packet", "expected"), RECEIVED)
def test_received_packets(version: int, packet: bytes, expected: EchoReply | Quoted) -> None:
    """Packets of a real kernel, with their IPv4 header where there is one."""
    assert parse(packet, version, ip_header=version == 4) == expected
    assert parse(memoryview(packet), version, ip_header=version == 4) == expected


@pytest.mark.parametrize(("version", "packet", "expected"), RECEIVED)
def test_every_shorter_packet_is_refused_or_read_alike(
    version: int, packet: bytes, expected: EchoReply | Quoted
) -> None:
    """Cut off anywhere: never an exception; IPv4 fails its checksum, IPv6 keeps the same fields."""
    for length in range(len(packet)):
        read = parse(packet[:length], version, ip_header=version == 4)
        assert read is None if version == 4 else read in {None, expected}


@given(st.sampled_from(RECEIVED), st.data())
def test_one_changed_byte_of_ipv4_is_noticed(
    received: tuple[int, bytes, EchoReply | Quoted], data: st.DataObject
) -> None:
    """The checksum finds every change of one byte (00 for ff alone adds the same in a word)."""
    version, packet, _ = received
    if version == 6:
        return
    at = data.draw(st.integers(20, len(packet) - 1))
    value = data.draw(st.integers(0, 255).filter(lambda v: v != packet[at]))
    changed = packet[:at] + bytes([value]) + packet[at + 1 :]
    assert parse(changed, 4, ip_header=True) is None


@given(st.sampled_from(RECEIVED), st.lists(st.tuples(st.integers(0, 111), st.binary(max_size=3))))
def test_mutated_packets_never_match_falsely(
    received: tuple[int, bytes, EchoReply | Quoted], changes: list[tuple[int, bytes]]
) -> None:
    """Bytes overwritten and the checksum made right again: read from where they stand, or None."""
    version, packet, expected = received
    mutated = bytearray(packet)
    for at, new in changes:
        mutated[at : at + len(new)] = new
    start = 0
    if version == 4:
        start = (mutated[0] & 15) * 4
        mutated[start:] = with_checksum(bytes(mutated[start:]).ljust(8, b"\0"))
    read = parse(bytes(mutated), version, ip_header=version == 4)
    if read == expected and start in {0, 20}:
        same = slice(start + 4, start + 24)  # identifier, sequence, token, numbers of a reply
        assert isinstance(read, Quoted) or mutated[same] == packet[same]
        assert mutated[start : start + 2] == packet[start : start + 2]
    if isinstance(read, Quoted):
        quote = mutated[start + 8 :]
        destination = quote[16:20] if version == 4 else quote[24:40]
        assert ipaddress.ip_address(read.destination).packed == bytes(destination)


@given(st.binary(max_size=200), st.sampled_from([4, 6]), st.booleans())
def test_noise_never_raises(packet: bytes, version: int, ip_header: bool) -> None:  # noqa: FBT001
    """Whatever arrives is read or passed over; less than an ICMP header (RFC 792) says nothing."""
    read = parse(packet, version, ip_header=ip_header and version == 4)
    assert read is None or (len(packet) >= 8 and isinstance(read, (EchoReply, Quoted)))


def test_quote_behind_a_fragment_header() -> None:
    """RFC 8200 4.5: the first fragment of a large echo is recognised, a later one is not."""
    head, echo = PROHIBITED_6[:48], PROHIBITED_6[48:]
    for offset, expected in ((0x0001, RECEIVED[4][2]), (0x0009, None)):
        fragment = bytes([58, 0]) + offset.to_bytes(2, "big") + bytes(4)
        quote = head[:14] + bytes([44]) + head[15:] + fragment + echo
        assert parse(quote, 6) == expected


@pytest.mark.parametrize("size", [-1, 0, 15, MAX_PAYLOAD_BYTES + 1])
def test_payload_that_cannot_be(size: int) -> None:
    """Too small for the token, or more than an IPv4 packet holds."""
    with pytest.raises(ValueError, match="of payload"):
        RequestMaker(4, 1, bytes(8), size)


@pytest.mark.parametrize(
    ("version", "type_", "code", "words"),
    [
        (4, 3, 0, "network unreachable"),  # RFC 792
        (4, 3, 1, "host unreachable"),  # RFC 792
        (4, 3, 4, "fragmentation needed and DF set"),  # RFC 792
        (4, 3, 6, "destination network unknown"),  # RFC 1122 3.2.2.1
        (4, 3, 13, "communication administratively prohibited"),  # RFC 1812 5.2.7.1
        (4, 3, 15, "precedence cutoff in effect"),  # RFC 1812 5.2.7.1
        (4, 11, 0, "time to live exceeded in transit"),  # RFC 792
        (6, 1, 3, "address unreachable"),  # RFC 4443 3.1
        (6, 2, 0, "packet too big"),  # RFC 4443 3.2
        (4, 3, 99, "ICMP type 3 code 99"),
        (6, 200, 1, "ICMP type 200 code 1"),
    ],
)
def test_codes_in_words(version: int, type_: int, code: int, words: str) -> None:
    """Numbers of the standards; an unknown one is told as a number."""
    assert words_of(version, type_, code) == words


@pytest.mark.parametrize(
    ("version", "type_", "code", "rest", "mtu"),
    [
        (4, 3, 4, 1400, 1400), (4, 3, 4, 0x0001_0578, 1400), (4, 3, 4, 0, None), (4, 3, 3, 1400, None),
        (4, 11, 4, 1400, None), (6, 2, 0, 1280, 1280), (6, 2, 0, 70_000, 70_000), (6, 2, 0, 0, None),
        (6, 1, 0, 1280, None), (4, 2, 4, 1400, None),
    ],
)  # fmt: skip
def test_the_size_that_goes_on(
    version: int, type_: int, code: int, rest: int, mtu: int | None
) -> None:
    """16 bits of IPv4 (RFC 1191 section 4), 32 of IPv6 (RFC 4443 3.2); 0 says nothing."""
    assert next_mtu(version, type_, code, rest) == mtu


def test_an_error_tells_the_size_that_goes_on() -> None:
    """In the second word of its header."""
    found = parse(bytes([2, 0, 0, 0]) + (1280).to_bytes(4, "big") + PROHIBITED_6[8:], 6)
    assert isinstance(found, Quoted)
    assert (found.type, found.mtu) == (2, 1280)


@pytest.mark.parametrize(("version", "packet"), [(4, 84), (6, 84), (4, 1500), (6, 1500)])
def test_a_payload_makes_the_whole_packet_so_large(version: int, packet: int) -> None:
    """IPv4: 20 and 8 octets of headers; IPv6: 40 and 8."""
    assert payload_bytes(version, packet) == packet - {4: 28, 6: 48}[version]


@pytest.mark.parametrize("size", [16, 17, MAX_PAYLOAD_BYTES])
def test_payload_that_can_just_be(size: int) -> None:
    """The filler counts up and begins anew after 255."""
    packet = RequestMaker(4, 1, bytes(8), size)(1, 2, 3)
    assert len(packet) == 8 + size <= 65535 - 20
    assert packet[24:] == bytes(n % 256 for n in range(size - 16))


@pytest.mark.parametrize(
    ("octets", "found"),
    [("0800000012345678", (0x1234, 0x5678)), ("0801000012345678", None), ("0000000012345678", None),
     ("08000000123456", None)],
)  # fmt: skip
def test_the_head_of_a_request(octets: str, found: tuple[int, int] | None) -> None:
    """Identifier and sequence; a code, another type or fewer than 8 octets are none."""
    assert echo_header(bytes.fromhex(octets), 4) == found


@pytest.mark.parametrize(
    ("at", "value"),
    [(0, 0x35), (0, 0x44), (9, 17), (26, 0x20)],
    ids=["version 3", "header of 16 octets", "UDP", "-"],
)
def test_the_head_of_an_ipv4_packet(at: int, value: int) -> None:
    """Version 4, at least 20 octets, ICMP; the rest of it is the kernel's affair."""
    packet = bytearray(REPLY_4)
    packet[at] = value
    changed = bytes(packet[:20]) + with_checksum(bytes(packet[20:]))
    assert (parse(changed, 4, ip_header=True) is None) is (at != 26)


@pytest.mark.parametrize(
    ("offset", "read"), [(0x2000, True), (0x4000, True), (0x0001, False), (0x1FFF, False)]
)
def test_a_quote_of_a_later_fragment_of_ipv4_is_none(offset: int, read: bool) -> None:  # noqa: FBT001
    """Its first octets are no ICMP header (RFC 791 3.1: 13 bits of offset below the flags)."""
    packet = bytearray(PROHIBITED_4)
    packet[28 + 6 : 28 + 8] = offset.to_bytes(2, "big")
    changed = bytes(packet[:20]) + with_checksum(bytes(packet[20:]))
    assert (parse(changed, 4, ip_header=True) is not None) is read


def test_a_reply_with_a_code_is_none() -> None:
    assert parse(bytes([129, 1]) + REPLY_6[2:], 6) is None
    assert parse(REPLY_6[:24], 6) == RECEIVED[3][2]
    assert parse(REPLY_6[:23], 6) is None
