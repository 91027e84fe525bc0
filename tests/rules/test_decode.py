"""A device's time of day."""

from __future__ import annotations

import datetime as dt

import pytest

from verifier.rules.decode import date_and_time, off_s, read

AT = dt.datetime(2026, 11, 24, 10, 0, tzinfo=dt.UTC)


def test_example_of_rfc_2579() -> None:
    """RFC 2579, DateAndTime: Tuesday May 26, 1992 at 1:30:15 PM EDT is 1992-5-26,13:30:15.0,-4:0."""
    octets = bytes((0x07, 0xC8, 5, 26, 13, 30, 15, 0)) + b"-" + bytes((4, 0))
    told = date_and_time(octets)
    assert told is not None
    assert told.isoformat() == "1992-05-26T13:30:15-04:00"


@pytest.mark.parametrize(
    "octets",
    [b"", bytes(7), bytes(9), bytes(8), b"\x07\xea\x0d\x01\x00\x00\x00\x00", b"\x07\xea\x0b\x18\x0a\x00\x00\x00?\x00\x00"],
)  # fmt: skip
def test_what_is_no_time(octets: bytes) -> None:
    """A wrong length, a thirteenth month, a zone without a sign."""
    assert date_and_time(octets) is None


@pytest.mark.parametrize(
    ("text", "ahead_s"),
    [("2026-11-24T10:00:03Z", 3.0), ("2026-11-24T12:00:03+02:00", 3.0), ("1795514403", 3.0),
     ("2026-11-24T11:00:00Z", 3600.0), ("2026-11-24T12:30:04", 4.0)],
)  # fmt: skip
def test_how_far_off(text: str, ahead_s: float) -> None:
    """With its zone exactly; without one, whole quarters of an hour are left out."""
    told = read(text)
    assert told is not None
    assert off_s(told, AT) == pytest.approx(ahead_s)


def test_a_text_that_is_no_time() -> None:
    """Nothing is made of it."""
    assert read("yesterday") is None
