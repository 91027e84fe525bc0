"""Echoes on their way: to whom they are sent, how answers are matched, why some had no answer.

The one engine of bursts (`burst`) and of long series (`watch`), which only decide when an echo
leaves and what its end means to them. A reply counts when it comes from the address that was asked
and carries the token of this exchange, the row and number of an echo on its way, the socket's
identifier and that echo's sequence number.

icmplib opens the sockets; sending and matching are ours. Its call for many targets shares ids
between targets, does not look at the source address, and reported 61 % loss where there was none.
"""

from __future__ import annotations

import errno
import math
import os
import secrets
import socket
import time
from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import count
from typing import Any, Final, Protocol

from verifier.model.address import Address
from verifier.model.observations import Silence, SilenceReason
from verifier.probes.echo.packet import TOKEN_BYTES, EchoReply, Quoted, RequestMaker, words_of
from verifier.probes.echo.sockets import Ancillary, Arrival, EchoSocket

_REASONS: Final[dict[int | None, SilenceReason]] = {
    errno.ENETUNREACH: "no-route",
    errno.EHOSTUNREACH: "no-route",
    errno.EPERM: "not-permitted",
    errno.EACCES: "not-permitted",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class EchoTarget:
    """Whom to ask, and from where.

    Attributes:
        source: source address of the echoes; the kernel's choice if None.
        interface: interface they leave by; the kernel's choice if None.
        on_link_new: the first echo makes the kernel resolve a new neighbour.
    """

    address: Address
    source: Address | None = None
    interface: str | None = None
    on_link_new: bool = False


def silence_of_error(error: Quoted, version: int, reporter: str) -> Silence:
    """An ICMP error came instead of the reply."""
    return Silence(
        reason="unreachable",
        text=words_of(version, error.type, error.code),
        type=error.type,
        code=error.code,
        reporter=reporter,
        mtu=error.mtu,
    )


def silence_of_refusal(error: OSError) -> Silence:
    """This machine refused to send."""
    return Silence(
        reason=_REASONS.get(error.errno, "sending-failed"),
        text=error.strerror or str(error),
        errno=errno.errorcode.get(error.errno or 0),
    )


TIMED_OUT: Final = Silence(reason="timed-out", text="no reply in time")


@dataclass(frozen=True, slots=True, kw_only=True)
class EchoBurst:
    """What became of the echoes to one target. Nothing was measured where `sent` is 0.

    Attributes:
        rtt_ms: one per echo that left and was judged, in order; None: no reply.
        silences: one per echo without reply, in order. It also holds those that did not leave
            this machine (no route, not permitted, sending failed); they are not in `rtt_ms`.
        duplicates: replies beyond the first of an echo.
        reordered: first replies that came after the reply to a later echo (RFC 4737 section 3).
        foreign_id: replies with our token and another identifier: rewritten on the way. They
            do not count as replies; a datagram socket does not hear them.
        by: the program of the system that measured, with its version; empty: this one.
    """

    target: EchoTarget
    rtt_ms: tuple[float | None, ...] = ()
    silences: tuple[Silence, ...] = ()
    duplicates: int = 0
    reordered: int = 0
    foreign_id: int = 0
    payload_bytes: int
    by: str = ""

    @property
    def sent(self) -> int:
        """Echoes that left this machine and were judged."""
        return len(self.rtt_ms)


_READ_LIMIT: Final = 4096
_NUMBER_MASK: Final = 0xFFFF_FFFF
"""An echo carries this much of its number."""


class Row:
    """One target as a socket needs it.

    Attributes:
        index: its place among the rows; every echo to it carries this.
        host, to: the address as the kernel writes it, alone and as a socket address.
        socket: what its echoes leave by.
    """

    __slots__ = ("_ancillary", "_fault", "host", "index", "make", "socket", "to")

    def __init__(
        self, index: int, target: EchoTarget, echo_socket: EchoSocket, make: RequestMaker
    ) -> None:
        self.index = index
        self.socket = echo_socket
        self.make = make
        self.host = ""
        self.to: tuple[Any, ...] = ()
        self._ancillary: Ancillary = []
        self._fault = 0
        try:
            self._locate(target)
        except OSError as error:  # no interface of this name
            self._fault = error.errno or errno.ENODEV

    def _locate(self, target: EchoTarget) -> None:
        address = target.address
        interface = socket.if_nametoindex(target.interface) if target.interface else 0
        if address.version == 4:  # noqa: PLR2004
            self.host = socket.inet_ntoa(_packed(address))
            self.to = (self.host, 0)
        else:
            self.host = socket.inet_ntop(socket.AF_INET6, _packed(address))
            scope = interface if address.is_link_local else 0
            if zone := address.zone:
                scope = int(zone) if zone.isdigit() else socket.if_nametoindex(zone)
            self.to = (self.host, 0, 0, scope)
        source = None if target.source is None else _packed(target.source)
        self._ancillary = self.socket.leave_from(source, interface)

    def send(self, packet: bytes) -> float:
        """Sends; returns the `time.monotonic()` just before. Raises OSError if it did not leave."""
        if self._fault:
            raise OSError(self._fault, os.strerror(self._fault))
        return self.socket.send(packet, self.to, self._ancillary)


def _packed(address: Address) -> bytes:
    return address.value.to_bytes(address.bits // 8, "big")


class Echo:
    """An echo that left.

    Attributes:
        sent_s: `time.monotonic()` just before.
        tries: how often an echo of this number has been sent, with this one.
        pending: neither answered nor judged.
    """

    __slots__ = ("number", "pending", "row", "sent_s", "sequence", "tries")

    def __init__(self, row: Row, number: int, sequence: int, sent_s: float, tries: int) -> None:
        self.row = row
        self.number = number
        self.sequence = sequence
        self.sent_s = sent_s
        self.tries = tries
        self.pending = True


class Outcomes(Protocol):
    """Takes what becomes of echoes; called from the thread that measures."""

    def answered(self, echo: Echo, rtt_s: float) -> None:
        """Its reply came in time."""

    def failed(self, echo: Echo, error: Quoted, reporter: str) -> None:
        """An ICMP error came instead of its reply; `reporter` is the address that sent it."""

    def timed_out(self, echo: Echo, *, doubtful: bool) -> None:
        """No reply came in time; `doubtful`: this machine may have dropped it."""

    def repeated(self, index: int, number: int) -> None:
        """A reply for this row whose number, cut to 32 bits, is of no echo on its way."""

    def foreign(self, index: int) -> None:
        """A reply for this row with another identifier: rewritten on the way."""


class Exchange:
    """Sends echoes of some rows and hears what comes back. For one thread.

    Args:
        sockets: open ones, by address family (4, 6); those of every target's family.
        targets: whom to ask and with how many bytes of payload, by row. ValueError for a payload
            that no echo can have.
        timeout_s: a reply that took longer is none.
        outcomes: is told what becomes of each echo.

    Attributes:
        rows: the targets.
        drops: packets that this machine dropped before they could be read: the receive buffer was
            full.
        doubt_until_s: of an echo that left before this `time.monotonic()` a missing reply may be
            this machine's fault.
    """

    def __init__(
        self,
        sockets: Mapping[int, EchoSocket],
        targets: Iterable[tuple[EchoTarget, int]],
        timeout_s: float,
        outcomes: Outcomes,
    ) -> None:
        self._sockets = tuple(sockets.values())
        self._timeout_s = timeout_s
        self._outcomes = outcomes
        self._token = secrets.token_bytes(TOKEN_BYTES)
        makers: dict[tuple[int, int], RequestMaker] = {}
        self.rows: list[Row] = []
        for index, (target, size) in enumerate(targets):
            version = target.address.version
            if (version, size) not in makers:
                ident = sockets[version].ident
                makers[version, size] = RequestMaker(version, ident, self._token, size)
            self.rows.append(Row(index, target, sockets[version], makers[version, size]))
        self.drops = 0
        self.doubt_until_s = 0.0
        self._sequences = {row.host: count() for row in self.rows}
        self._pending: dict[tuple[str, int], Echo] = {}
        self._by_age: deque[Echo] = deque()

    @property
    def on_way(self) -> int:
        """How many echoes are on their way."""
        return len(self._pending)

    def send(self, index: int, number: int, tries: int = 1) -> Echo:
        """Sends an echo of a row. Raises OSError where it does not leave this machine."""
        row = self.rows[index]
        pending, sequences = self._pending, self._sequences[row.host]
        sequence = next(sequences) & 0xFFFF
        while (row.host, sequence) in pending:
            sequence = next(sequences) & 0xFFFF
        sent_s = row.send(row.make(sequence, index, number & _NUMBER_MASK))
        echo = pending[row.host, sequence] = Echo(row, number, sequence, sent_s, tries)
        self._by_age.append(echo)
        return echo

    def read(self) -> bool:
        """Takes in what has arrived; returns whether nothing is left unread."""
        all_read = True
        for each in self._sockets:
            arrivals, drained = each.drain(_READ_LIMIT)
            all_read &= drained
            for arrival in arrivals:
                if isinstance(arrival.what, EchoReply):
                    self._reply(arrival.what, arrival)
                else:
                    self._error(arrival.what, each, str(arrival.source[0]))
        return all_read

    def _reply(self, reply: EchoReply, arrival: Arrival) -> None:
        index = reply.target
        if reply.token != self._token or index >= len(self.rows):
            return
        row = self.rows[index]
        if arrival.source != row.to:
            return
        if reply.ident != row.socket.ident:
            self._outcomes.foreign(index)
            return
        echo = self._pending.get((row.host, reply.sequence))
        if echo is None or echo.row is not row or echo.number & _NUMBER_MASK != reply.number:
            self._outcomes.repeated(index, reply.number)
            return
        sent_s, stamped_s, received_s = echo.sent_s, arrival.stamped_s, arrival.read_s
        if stamped_s is not None and sent_s <= stamped_s <= received_s:
            received_s = stamped_s
        if received_s - sent_s <= self._timeout_s:
            self._close(echo)
            self._outcomes.answered(echo, received_s - sent_s)

    def _error(self, quoted: Quoted, heard_on: EchoSocket, reporter: str) -> None:
        echo = self._pending.get((quoted.destination, quoted.sequence))
        if echo is not None and quoted.ident == heard_on.ident:
            self._close(echo)
            self._outcomes.failed(echo, quoted, reporter)

    def _close(self, echo: Echo) -> None:
        echo.pending = False
        del self._pending[echo.row.host, echo.sequence]

    def expire(self, now_s: float) -> None:
        """Judges what has waited too long; all sockets have been read since `now_s`."""
        too_old_s = now_s - self._timeout_s
        by_age, overdue = self._by_age, []
        while by_age and (not by_age[0].pending or by_age[0].sent_s < too_old_s):
            echo = by_age.popleft()
            if echo.pending:
                overdue.append(echo)
        if overdue and (drops := sum(each.new_drops() for each in self._sockets)):
            self.drops += drops
            self.doubt_until_s = time.monotonic()
        for echo in overdue:
            self._close(echo)
            self._outcomes.timed_out(echo, doubtful=echo.sent_s <= self.doubt_until_s)

    def next_expiry_s(self) -> float:
        """The `time.monotonic()` at which the oldest echo has waited too long; inf: none waits."""
        return self._by_age[0].sent_s + self._timeout_s if self._by_age else math.inf
