"""One simulated device: its table, its agent, and how the agent answers."""

from __future__ import annotations

import dataclasses
import hashlib
import itertools
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

from verifier.model.credentials import Secret, SnmpEntry
from verifier.model.plan import Device
from verifier.model.profile import Profile
from verifier.simulator.agent import cells, pdu, v3
from verifier.simulator.agent.cells import BerError, BerReader, CellTable
from verifier.simulator.agent.pdu import Asking, Pdu, ReplyCache, ResponseParts
from verifier.simulator.condition import Condition, ShownDevice
from verifier.simulator.mib import addresses, readings, standard

TABLES = (
    standard.system,
    standard.engine,
    standard.entity,
    standard.lldp,
    standard.interfaces,
    addresses.addresses,
    addresses.routes,
    readings.readings,
)
"""What a device shows: each gives rows of the device's one table."""
MAX_SIZE = 1472
"""Octets of a reply of v1 and v2c: what an Ethernet frame holds without fragments."""
UP_BEFORE_S = 30 * 86400.0
"""How long a device has been up when the simulation begins."""
_ENTERPRISE = 0x8000_0000 | 32473
_ENGINE_BY_IPV4 = 1
"""Format of an engine id that holds an IPv4 address (RFC 3411 section 5)."""
_OVERHEAD = 48
"""Octets around the bindings of a reply, at most, without the community."""
_FIRST_BOOTS = 3


class AgentRequest(NamedTuple):
    """A message of v1 or v2c."""

    version: int
    community: bytes
    pdu: Pdu


def read_request(data: bytes) -> AgentRequest:
    """A message of v1 or v2c. Raises BerError."""
    whole = BerReader(data)
    body = whole.inside()
    whole.finish()
    version = body.integer()
    if version not in {pdu.V1, pdu.V2C}:
        raise BerError("neither v1 nor v2c")
    community = body.octets()
    request = pdu.read_pdu(body)
    body.finish()
    return AgentRequest(version, community, request)


@dataclass(slots=True)
class Made:
    """What was worked out from a device's condition when it was first asked for.

    A change puts another one in its place, so that what is being worked out at that moment, in
    the server's thread, goes into the old one.
    """

    table: CellTable | None = None
    engine: v3.AgentEngine | None = None
    replies: ReplyCache = field(default_factory=ReplyCache)


class SimulatedDevice:
    """A device at its place in the network.

    Args:
        device: what is planned at this place.
        profile: the family planned there.
        entry: the credentials its agent takes; None: it has no agent.
        look: gives what the device shows now.
        start_s: when the simulation begins, on the monotonic clock.
    """

    __slots__ = ("_look", "boot_s", "boots", "condition", "device", "entry", "made", "profile")

    def __init__(
        self,
        device: Device,
        profile: Profile,
        entry: SnmpEntry | None,
        look: Callable[[SimulatedDevice], ShownDevice],
        start_s: float,
    ) -> None:
        self.device = device
        self.profile = profile
        self.entry = entry
        self.condition = Condition()
        self.boot_s = start_s - UP_BEFORE_S
        self.boots = _FIRST_BOOTS
        self.made = Made()
        self._look = look

    @property
    def engine_id(self) -> bytes:
        """snmpEngineID: the enterprise for examples (RFC 5612) and the device's address."""
        head = _ENTERPRISE.to_bytes(4, "big") + bytes((_ENGINE_BY_IPV4,))
        return head + self.device.address.address.ip.packed

    def change(self, condition: Condition, now_s: float) -> None:
        """Puts the device into another condition; it restarts where that has one more restart."""
        if condition.restarts > self.condition.restarts:
            self.boot_s = now_s
            self.boots += 1
        self.condition = condition
        self.forget()

    def forget(self) -> None:
        """What it shows is worked out anew: it or a device beyond its links has changed."""
        self.made = Made()

    def table(self, made: Made | None = None) -> CellTable:
        """Everything the device shows."""
        made = made or self.made
        if made.table is None:
            shown = self._look(self)
            rows = itertools.chain.from_iterable(make(shown) for make in TABLES)
            made.table = CellTable.of(dict(rows))
        return made.table

    def kept_reply(self, data: bytes, now_s: float) -> bytes | None:
        """The reply, if one is kept for such a request."""
        return self.made.replies.find(data, now_s - self.boot_s)

    def reply(self, data: bytes, now_s: float) -> bytes | None:
        """What the agent sends back for a datagram; None: nothing. Never raises for its octets."""
        if self.entry is None or self.condition.silent:
            return None
        try:
            if self.entry.version == "3":
                reply = self._reply_v3(data, now_s)
            else:
                reply = self._reply_community(data, now_s)
        except BerError:
            return None
        return None if reply is None else _damaged(reply, self.condition.damage)

    def _reply_community(self, data: bytes, now_s: float) -> bytes | None:
        made = self.made
        request = read_request(data)
        if request.community != self._community():
            return None
        room = MAX_SIZE - _OVERHEAD - len(request.community)
        asking = self._asking(request.version, now_s, room)
        answer = pdu.answer(self.table(made), request.pdu, asking)
        if answer is None:
            return None
        reply = cells.sequence(
            cells.integer(request.version),
            cells.octets(request.community),
            pdu.write_pdu(pdu.RESPONSE, request.pdu.request_id, answer),
        )
        if request.pdu.tag == pdu.GET and self.condition.keeps_replies:
            made.replies.keep(data, request.pdu, reply, answer)
        return reply

    def _community(self) -> bytes | None:
        assert self.entry is not None
        if self.entry.community is None or self.condition.refuses:
            return None
        return self.entry.community.reveal().encode()

    def _reply_v3(self, data: bytes, now_s: float) -> bytes | None:
        made = self.made
        if made.engine is None:
            made.engine = self._new_engine()

        def respond(request: Pdu, room: int) -> ResponseParts | None:
            asking = self._asking(pdu.V3, now_s, min(room, MAX_SIZE))
            return pdu.answer(self.table(made), request, asking)

        return made.engine.reply(data, self.boots, int(now_s - self.boot_s), respond)

    def _new_engine(self) -> v3.AgentEngine:
        entry, engine_id = self.entry, self.engine_id
        assert entry is not None
        if self.condition.refuses:
            other = Secret(hashlib.sha256(engine_id).hexdigest())
            entry = dataclasses.replace(entry, auth_key=other)
        known = entry
        return v3.AgentEngine(engine_id, entry.user or "", lambda: v3.keys_of(known, engine_id))

    def _asking(self, version: int, now_s: float, room: int) -> Asking:
        condition = self.condition
        return Asking(version, now_s - self.boot_s, room, condition.stuck, condition.most)


def _damaged(reply: bytes, damage: str | None) -> bytes:
    if damage == "truncated":
        return reply[: len(reply) // 2]
    return hashlib.sha512(reply).digest() if damage == "garbage" else reply
