"""A planned neighbour that answers for others: an agent of its own making, no code of the client's.

It is asked as every device is, and learns by that where the client listens and which ids it uses.
With each question it sends answers and Reports to questions of others: with the ids that a counter
would give next (n+1 to n+5), and, where this process may look at the wire, with the very ids that
are open, before those that were asked have answered. It sends from its own planned address and from
another port of it, since no network lets it do otherwise. BER: ITU-T X.690. Messages: RFC 1157
section 4, RFC 3416 section 3, RFC 3412 section 6, RFC 3414 section 2.4.
"""

from __future__ import annotations

import random
import select
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

GET, NEXT, RESPONSE, BULK, REPORT = 0xA0, 0xA1, 0xA2, 0xA5, 0xA8
SYS_NAME = bytes((0x2B, 6, 1, 2, 1, 1, 5, 0))
ETH_P_IP = 0x0800
USM_STATS = bytes((0x2B, 6, 1, 6, 3, 15, 1, 1))
Peer = tuple[str, int]


def tlv(tag: int, content: bytes) -> bytes:
    size = len(content)
    if size < 0x80:
        return bytes((tag, size)) + content
    octets = size.to_bytes((size.bit_length() + 7) // 8, "big")
    return bytes((tag, 0x80 | len(octets))) + octets + content


def integer(value: int, tag: int = 2) -> bytes:
    return tlv(tag, value.to_bytes(value.bit_length() // 8 + 1, "big", signed=True))


def split(data: bytes) -> list[tuple[int, bytes]]:
    """The tags and contents that follow each other."""
    parts, at = [], 0
    while at < len(data):
        tag, size, at = data[at], data[at + 1], at + 2
        if size & 0x80:
            more = size & 0x7F
            size, at = int.from_bytes(data[at : at + more], "big"), at + more
        parts.append((tag, data[at : at + size]))
        at += size
    return parts


@dataclass(frozen=True)
class Heard:
    """What can be read of a request."""

    version: int
    id: int
    community: bytes = b""
    kind: int = GET
    oids: tuple[bytes, ...] = ()
    user: bytes = b""


def heard(datagram: bytes) -> Heard | None:
    """A request; None where it is anything else."""
    try:
        (_, message), *_ = split(datagram)
        (_, version), *rest = split(message)
        number = int.from_bytes(version, "big")
        if number == 3:
            (_, head), (_, security), *_ = rest
            (_, id_), (_, _), (_, flags), *_ = split(head)
            fields = split(split(security)[0][1])
            if not flags[0] & 4:  # not reportable: no request
                return None
            return Heard(3, int.from_bytes(id_, "big"), user=fields[3][1])
        (_, community), (kind, pdu) = rest
        (_, id_), _, _, (_, bindings) = split(pdu)
        if kind not in {GET, NEXT, BULK}:
            return None
        oids = tuple(split(binding)[0][1] for _, binding in split(bindings))
        return Heard(number, int.from_bytes(id_, "big"), community, kind, oids)
    except (ValueError, IndexError):
        return None


def response(asked: Heard, id_: int, name: bytes) -> bytes:
    """An answer to a plain question: each text is the name, of what follows a name the first."""
    follows = b"" if asked.kind == GET else b"\x01"
    bindings = b"".join(
        tlv(0x30, tlv(6, oid + follows) + tlv(4, name)) for oid in asked.oids or (SYS_NAME,)
    )
    pdu = tlv(RESPONSE, integer(id_) + integer(0) + integer(0) + tlv(0x30, bindings))
    return tlv(0x30, integer(asked.version) + tlv(4, asked.community) + pdu)


@dataclass(frozen=True)
class Identity:
    """The engine that a Report says it comes from."""

    engine_id: bytes = bytes.fromhex("80007ed9046e65696768")
    boots: int = 1
    time_s: int = 1


def report(id_: int, which: int, engine: Identity, user: bytes = b"") -> bytes:
    """A Report without authentication: counter `which` of usmStats (RFC 3414 section 3.2)."""
    head = tlv(0x30, integer(id_) + integer(65507) + tlv(4, b"\0") + integer(3))
    security = tlv(0x30, tlv(4, engine.engine_id) + integer(engine.boots) + integer(engine.time_s)
                   + tlv(4, user) + tlv(4, b"") + tlv(4, b""))  # fmt: skip
    counter = tlv(0x30, tlv(6, USM_STATS + bytes((which, 0))) + integer(1, 0x41))
    pdu = tlv(REPORT, integer(0) + integer(0) + integer(0) + tlv(0x30, counter))
    scoped = tlv(0x30, tlv(4, engine.engine_id) + tlv(4, b"") + pdu)
    return tlv(0x30, integer(3) + head + tlv(4, security) + scoped)


@dataclass
class Neighbour:
    """The agent.

    Attributes:
        name: the name that it rightly has.
        lies: what it says as another, by that one's address; of those it guesses, any of these.
        impostor: whose engine it says to be in Reports; None: its own.
        babbling: whether it answers for others at all.
        forged: how many datagrams it has sent as another.
    """

    address: str
    port: int
    name: bytes
    lies: dict[str, bytes]
    ports: frozenset[int]
    chance: random.Random
    impostor: Identity | None = None
    babbling: bool = True
    forged: int = 0
    _sockets: list[socket.socket] = field(default_factory=list)

    def serve(self, stop: threading.Event, wire: socket.socket | None) -> None:
        """Answers and babbles until `stop`."""
        own = self._sockets[0]
        looked_at = [s for s in (own, wire) if s is not None]
        while not stop.is_set():
            for ready in select.select(looked_at, [], [], 0.05)[0]:
                with suppress(BlockingIOError):
                    if ready is own:
                        self._asked(*own.recvfrom(65535))
                    else:
                        self._saw(*ready.recvfrom(65535))

    def _asked(self, datagram: bytes, client: Peer) -> None:
        asked = heard(datagram)
        if asked is None:
            return
        if self.babbling:
            self._guess(asked, client)
        if asked.version == 3:
            # whoever asks is unknown here, and is told so in the open
            which = 3 if asked.user else 4
            engine = self.impostor or Identity()
            self._sockets[0].sendto(report(asked.id, which, engine), client)
        else:
            self._sockets[0].sendto(response(asked, asked.id, self.name), client)

    def _guess(self, asked: Heard, client: Peer) -> None:
        """Answers for others under the ids that would be next if ids counted up."""
        for step in range(1, 6):
            id_ = (asked.id + step) & 0x7FFFFFFF
            self._forge(asked, id_, self.chance.choice(list(self.lies.values())), client)

    def _saw(self, packet: bytes, came: tuple[str, int, int, int, bytes]) -> None:
        """Answers for another whose question it has seen on the wire."""
        if not self.babbling or came[2] == socket.PACKET_OUTGOING:
            return
        header = (packet[0] & 15) * 4
        from_, to = socket.inet_ntoa(packet[12:16]), socket.inet_ntoa(packet[16:20])
        source, port = (int.from_bytes(packet[header + n : header + n + 2], "big") for n in (0, 2))
        if packet[9] != socket.IPPROTO_UDP or to not in self.lies or port not in self.ports:
            return
        if (asked := heard(packet[header + 8 :])) is not None:
            self._forge(asked, asked.id, self.lies[to], (from_, source))

    def _forge(self, asked: Heard, id_: int, name: bytes, client: Peer) -> None:
        engine = self.impostor or Identity()
        made = [report(id_, which, engine, asked.user) for which in range(1, 7)]
        if asked.version != 3:
            made = [response(asked, id_, name), made[self.chance.randrange(6)]]
        for datagram in made:
            for sender in self._sockets:
                sender.sendto(datagram, client)
                self.forged += 1


@contextmanager
def babbling(neighbours: list[Neighbour], *, look: bool) -> Iterator[None]:
    """Runs neighbours, each in a thread; `look`: they see what others are asked (needs root)."""
    stop, threads, opened = threading.Event(), [], []
    try:
        for neighbour in neighbours:
            for port in (neighbour.port, 0):
                own = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
                opened.append(own)
                own.bind((neighbour.address, port))
                own.settimeout(0)
                neighbour._sockets.append(own)
            wire = None
            if look:
                wire = socket.socket(socket.AF_PACKET, socket.SOCK_DGRAM, socket.htons(ETH_P_IP))
                opened.append(wire)
                wire.bind(("lo", ETH_P_IP))
                wire.settimeout(0)
            threads.append(threading.Thread(target=neighbour.serve, args=(stop, wire)))
        for thread in threads:
            thread.start()
        yield
    finally:
        stop.set()
        for thread in threads:
            thread.join()
        for own in opened:
            own.close()
