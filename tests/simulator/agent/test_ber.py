"""BER: published examples, and that everything encoded is read back."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyasn1.codec.ber import decoder, encoder
from pyasn1.type import univ

from verifier.simulator.agent import cells
from verifier.simulator.agent.cells import BerError, BerReader

ARC = st.integers(0, 0xFFFF_FFFF)
OIDS = st.one_of(
    st.tuples(st.integers(0, 1), st.integers(0, 39)), st.tuples(st.just(2), ARC)
).flatmap(lambda start: st.lists(ARC, max_size=20).map(lambda rest: (*start, *rest)))


@pytest.mark.parametrize(
    ("oid", "octets"),
    [
        ((2, 100, 3), "06 03 81 34 03"),  # X.690 8.19.5; pyasn1 writes the same
        ((1, 3, 6, 1, 2, 1, 1, 3, 0), "06 08 2b 06 01 02 01 01 03 00"),  # sysUpTime.0, by 8.19
        ((1, 3, 6, 1, 4, 1, 32473), "06 08 2b 06 01 04 01 81 fd 59"),  # 32473 = 1, 125, 89 base 128
        ((0, 0), "06 01 00"),
    ],
)
def test_object_identifiers(oid, octets):
    assert cells.object_id(oid) == bytes.fromhex(octets)
    assert BerReader(bytes.fromhex(octets)).object_id() == oid


@pytest.mark.parametrize(
    ("number", "octets"),
    [
        (0, "02 01 00"), (127, "02 01 7f"), (128, "02 02 00 80"), (256, "02 02 01 00"),
        (-1, "02 01 ff"), (-128, "02 01 80"), (-129, "02 02 ff 7f"),
    ],
)  # fmt: skip
def test_integers(number, octets):
    """X.690 8.3: two's complement, the fewest octets."""
    assert cells.integer(number) == bytes.fromhex(octets)
    assert BerReader(bytes.fromhex(octets)).integer() == number


def test_lengths():
    """X.690 8.1.3: short form to 127, long form in the fewest octets beyond."""
    assert cells.octets(bytes(127))[:2] == bytes.fromhex("047f")
    assert cells.octets(bytes(128))[:3] == bytes.fromhex("048180")
    assert cells.octets(bytes(256))[:4] == bytes.fromhex("04820100")


@given(OIDS)
def test_any_object_identifier_is_read_back_also_by_another_library(oid):
    encoded = cells.object_id(oid)
    assert BerReader(encoded).object_id() == oid
    assert tuple(decoder.decode(encoded)[0]) == oid
    assert encoder.encode(univ.ObjectIdentifier(oid)) == encoded


@given(st.integers(-(1 << 63), (1 << 64) - 1))
def test_any_integer_is_read_back_also_by_another_library(number):
    encoded = cells.integer(number)
    assert BerReader(encoded).integer() == number
    assert int(decoder.decode(encoded)[0]) == number


@pytest.mark.parametrize(
    "octets",
    [
        "", "02", "02 02 01", "02 80 01 00 00", "02 85 00 00 00 00 01 01", "02 00", "02 02 00 7f",
        "02 02 ff 80", "04 01 00", "02 0a 01 00 00 00 00 00 00 00 00 00",
    ],
)  # fmt: skip
def test_what_is_no_integer_is_refused(octets):
    """Cut short, indefinite, too long a length, empty, not the shortest form, another tag."""
    with pytest.raises(BerError):
        BerReader(bytes.fromhex(octets)).integer()


@pytest.mark.parametrize(
    "octets", ["06 00", "06 02 2b 81", "06 03 2b 80 01", "06 06 2b 90 80 80 80 00"]
)
def test_what_is_no_object_identifier_is_refused(octets):
    """Empty, ends early, a leading 0x80 (X.690 8.19.2), an arc of 33 bits."""
    with pytest.raises(BerError):
        BerReader(bytes.fromhex(octets)).object_id()


@given(st.binary(max_size=40))
def test_any_octets_are_read_or_refused(octets):
    """Nothing but BerError is ever raised; what is read is read again from our own writing of it."""
    read: Any
    write: Any
    for read, write in ((BerReader.integer, cells.integer), (BerReader.octets, cells.octets),
                        (BerReader.object_id, cells.object_id)):  # fmt: skip
        with suppress(BerError):
            value = read(BerReader(octets))
            assert read(BerReader(write(value))) == value
    with suppress(BerError):
        assert isinstance(BerReader(octets).inside(), BerReader)
