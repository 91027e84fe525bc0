"""Which reply belongs to which echo: an exchange over a socket that is none, by hand."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from typing import Any

import pytest

from verifier.model.address import Address
from verifier.probes.echo.exchange import Echo, EchoTarget, Exchange
from verifier.probes.echo.packet import EchoReply, Quoted, parse
from verifier.probes.echo.sockets import Arrival

IDENT = 0x4711
NEAR, FAR = "198.18.20.11", "198.18.20.12"


class Wire:
    """Takes echoes at a time of its own, and gives what was put into it."""

    ident = IDENT

    def __init__(self) -> None:
        self.now_s = 100.0
        self.sent: list[tuple[bytes, tuple[Any, ...]]] = []
        self.coming: list[Arrival] = []
        self.dropped = 0
        self.left_from: list[tuple[bytes | None, int]] = []

    def leave_from(self, source: bytes | None, interface: int) -> list[Any]:
        self.left_from.append((source, interface))
        return []

    def send(self, packet: bytes, to: tuple[Any, ...], ancillary: list[Any]) -> float:
        del ancillary
        self.sent.append((packet, to))
        return self.now_s

    def drain(self, limit: int) -> tuple[list[Arrival], bool]:
        arrived, self.coming = self.coming[:limit], self.coming[limit:]
        return arrived, not self.coming

    def new_drops(self) -> int:
        dropped, self.dropped = self.dropped, 0
        return dropped


class Heard:
    """What became of the echoes."""

    def __init__(self) -> None:
        self.of: list[tuple[Any, ...]] = []

    def answered(self, echo: Echo, rtt_s: float) -> None:
        self.of.append(("answered", echo.row.index, echo.number, round(rtt_s, 6)))

    def failed(self, echo: Echo, error: Quoted, reporter: str) -> None:
        self.of.append(("failed", echo.number, error.code, reporter))

    def timed_out(self, echo: Echo, *, doubtful: bool) -> None:
        self.of.append(("timed out", echo.number, doubtful))

    def repeated(self, index: int, number: int) -> None:
        self.of.append(("repeated", index, number))

    def foreign(self, index: int) -> None:
        self.of.append(("foreign", index))


def sockets(wire: Wire) -> Any:
    """It stands for both families."""
    return {4: wire, 6: wire}


def exchange(*addresses: str, size: int = 16) -> tuple[Exchange, Wire, Heard]:
    wire, heard = Wire(), Heard()
    targets = [(EchoTarget(address=Address.parse(a)), size) for a in addresses or (NEAR, FAR)]
    return Exchange(sockets(wire), targets, 1.0, heard), wire, heard


def reply_to(packet: bytes) -> EchoReply:
    """The reply that a device gives to a request (RFC 792)."""
    found = parse(bytes([129]) + packet[1:], 6)
    assert isinstance(found, EchoReply)
    return found


Change = Callable[[EchoReply], EchoReply]
REPLIES: list[tuple[str, Change, str, list[tuple[Any, ...]]]] = [
    ("as it was sent", lambda r: r, NEAR, [("answered", 0, 7, 0.25)]),
    ("from another address", lambda r: r, FAR, []),
    ("with another token", lambda r: r._replace(token=bytes(8)), NEAR, []),
    ("of another row", lambda r: r._replace(target=1), NEAR, []),
    ("of a row that is none", lambda r: r._replace(target=2), NEAR, []),
    ("under another identifier", lambda r: r._replace(ident=IDENT + 1), NEAR, [("foreign", 0)]),
    ("with another number", lambda r: r._replace(number=8), NEAR, [("repeated", 0, 8)]),
    ("with another sequence", lambda r: r._replace(sequence=1), NEAR, [("repeated", 0, 7)]),
]


@pytest.mark.parametrize(
    ("change", "source", "heard"), [r[1:] for r in REPLIES], ids=[r[0] for r in REPLIES]
)
def test_a_reply_counts_where_all_of_it_is_right(change: Change, source: str, heard: Any) -> None:
    """Address, token, row, number, identifier and sequence of an echo on its way."""
    made, wire, outcomes = exchange()
    made.send(0, 7)
    wire.coming = [Arrival(change(reply_to(wire.sent[0][0])), (source, 0), None, 100.25)]
    assert made.read()
    assert outcomes.of == heard
    assert made.on_way == (0 if heard and heard[0][0] == "answered" else 1)


def test_a_second_reply_is_a_repetition() -> None:
    made, wire, outcomes = exchange()
    made.send(0, 7)
    arrival = Arrival(reply_to(wire.sent[0][0]), (NEAR, 0), None, 100.25)
    wire.coming = [arrival, arrival]
    made.read()
    assert outcomes.of == [("answered", 0, 7, 0.25), ("repeated", 0, 7)]


def test_two_rows_of_one_address_are_told_apart() -> None:
    """Each echo carries its row; sequence numbers of one address are shared and differ."""
    made, wire, outcomes = exchange(NEAR, NEAR)
    first, second = made.send(0, 1), made.send(1, 1)
    assert (first.sequence, second.sequence) == (0, 1)
    right = reply_to(wire.sent[1][0])
    wire.coming = [Arrival(right._replace(target=0), (NEAR, 0), None, 100.1),
                   Arrival(right, (NEAR, 0), None, 100.2)]  # fmt: skip
    made.read()
    assert outcomes.of == [("repeated", 0, 1), ("answered", 1, 1, 0.2)]


@pytest.mark.parametrize(
    ("stamped_s", "read_s", "rtt_s"),
    [
        (None, 101.0, 1.0), (None, 101.001, None), (100.3, 102.0, 0.3), (100.0, 100.5, 0.0),
        (99.999, 100.5, 0.5), (100.5, 100.5, 0.5), (100.501, 100.5, 0.5),
    ],
    ids=["just in time", "too late", "the kernel's time counts", "stamped at once",
         "stamped before it was sent", "stamped when read", "stamped after it was read"],
)  # fmt: skip
def test_the_time_of_a_reply(stamped_s: float | None, read_s: float, rtt_s: float | None) -> None:
    """The kernel's where it can be; a reply that took longer than the timeout is none."""
    made, wire, outcomes = exchange()
    made.send(0, 7)
    wire.coming = [Arrival(reply_to(wire.sent[0][0]), (NEAR, 0), stamped_s, read_s)]
    made.read()
    assert outcomes.of == ([] if rtt_s is None else [("answered", 0, 7, rtt_s)])
    assert made.on_way == (1 if rtt_s is None else 0)


ERROR = Quoted(3, 1, NEAR, IDENT, 0)


@pytest.mark.parametrize(
    ("error", "heard"),
    [
        (ERROR, [("failed", 7, 1, "198.18.20.1")]), (ERROR._replace(ident=IDENT - 1), []),
        (ERROR._replace(sequence=1), []), (ERROR._replace(destination=FAR), []),
    ],
    ids=["of this echo", "of another program's", "of another echo", "of another target"],
)  # fmt: skip
def test_an_error_counts_where_it_quotes_the_echo(error: Quoted, heard: Any) -> None:
    made, wire, outcomes = exchange()
    made.send(0, 7)
    wire.coming = [Arrival(error, ("198.18.20.1", 0), None, 100.25)]
    made.read()
    assert (outcomes.of, made.on_way) == (heard, 0 if heard else 1)


def test_an_echo_waits_for_its_timeout_and_no_longer() -> None:
    made, wire, outcomes = exchange()
    assert made.next_expiry_s() == math.inf
    made.send(0, 1)
    wire.now_s = 100.5
    made.send(0, 2)
    assert (made.next_expiry_s(), made.on_way) == (101.0, 2)
    made.expire(101.0)
    assert outcomes.of == []
    made.expire(101.001)
    assert (outcomes.of, made.next_expiry_s()) == ([("timed out", 1, False)], 101.5)
    made.expire(200.0)
    assert outcomes.of[1:] == [("timed out", 2, False)]
    assert made.next_expiry_s() == math.inf


def test_what_was_answered_expires_no_more() -> None:
    made, wire, outcomes = exchange()
    made.send(0, 1)
    wire.coming = [Arrival(reply_to(wire.sent[0][0]), (NEAR, 0), None, 100.25)]
    made.read()
    made.expire(200.0)
    assert outcomes.of == [("answered", 0, 1, 0.25)]


@pytest.mark.parametrize(("doubt_s", "doubtful"), [(100.0, True), (99.9, False)])
def test_a_silence_while_packets_were_dropped_is_doubtful(
    doubt_s: float, doubtful: bool, monkeypatch: pytest.MonkeyPatch  # noqa: FBT001
) -> None:  # fmt: skip
    """What left before this machine is known to have dropped something."""
    made, wire, outcomes = exchange()
    made.send(0, 1)
    wire.dropped = 3
    monkeypatch.setattr("verifier.probes.echo.exchange.time.monotonic", lambda: doubt_s)
    made.expire(200.0)
    assert outcomes.of == [("timed out", 1, doubtful)]
    assert (made.drops, made.doubt_until_s) == (6 - 3, doubt_s)


def test_sequence_numbers_come_round_past_those_on_their_way(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """16 bits of a count; one that is still on its way is left out."""
    counted = iter([0xFFFF, 0x1FFFF, 0x2_0000, 0x2_0001])
    monkeypatch.setattr("verifier.probes.echo.exchange.count", lambda: counted)
    made, _, _ = exchange(NEAR)
    assert [made.send(0, n).sequence for n in range(3)] == [0xFFFF, 0, 1]
    assert made.on_way == 3


def test_numbers_beyond_32_bits_are_cut_and_told_apart() -> None:
    made, wire, outcomes = exchange()
    made.send(0, 2**32 + 5)
    wire.coming = [Arrival(reply_to(wire.sent[0][0]), (NEAR, 0), None, 100.5)]
    made.read()
    assert outcomes.of == [("answered", 0, 2**32 + 5, 0.5)]


def test_whereto_and_from_where_echoes_leave() -> None:
    """The address as the kernel writes it; source and interface where they are named."""
    target = EchoTarget(
        address=Address.parse(NEAR), source=Address.parse("198.18.20.250"), interface="lo"
    )
    link_local = EchoTarget(address=Address.parse("fe80::1%7"))
    by_interface = dataclasses.replace(link_local, address=Address.parse("fe80::1"), interface="lo")
    wire = Wire()
    made = Exchange(
        sockets(wire), [(t, 16) for t in (target, link_local, by_interface)], 1.0, Heard()
    )
    assert [row.to for row in made.rows] == [
        (NEAR, 0), ("fe80::1", 0, 0, 7), ("fe80::1", 0, 0, wire.left_from[0][1]),
    ]  # fmt: skip
    assert wire.left_from[0][0] == bytes([198, 18, 20, 250])
    assert wire.left_from[1] == (None, 0)
    nowhere = EchoTarget(address=Address.parse(NEAR), interface="quay0")
    made = Exchange(sockets(wire), [(nowhere, 16)], 1.0, Heard())
    with pytest.raises(OSError, match=r"No such device"):
        made.send(0, 1)
