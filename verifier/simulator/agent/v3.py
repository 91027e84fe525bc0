"""SNMPv3 messages of a simulated device, the authoritative engine (RFC 3412 7, RFC 3414 3)."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

from verifier.simulator.agent import ber, pdu, usm
from verifier.simulator.agent.ber import BerError, BerReader, Oid
from verifier.simulator.agent.pdu import EncodedBinding, Pdu, ResponseParts

TIME_WINDOW_S = 150
"""RFC 3414 2.2.3."""
MAX_SIZE = 65507
_MAX_BOOTS = 2_147_483_647
_AUTH, _PRIV, _REPORTABLE = 1, 2, 4
_USM = 3
"""msgSecurityModel (RFC 3411 section 5)."""
_OVERHEAD = 160
"""Octets of a message around its bindings, at most, for names of usual length."""

_USM_STATS: Oid = (1, 3, 6, 1, 6, 3, 15, 1, 1)
UNSUPPORTED_LEVEL, NOT_IN_TIME_WINDOW, UNKNOWN_USER = 1, 2, 3
UNKNOWN_ENGINE_ID, WRONG_DIGEST, DECRYPTION_ERROR = 4, 5, 6
"""Arcs below usmStats (RFC 3414 section 5)."""
_UNKNOWN_CONTEXT = 0
_CONTEXT_STATS: Oid = (1, 3, 6, 1, 6, 3, 12, 1, 5, 0)
"""snmpUnknownContexts (RFC 3413)."""

Respond = Callable[[Pdu, int], ResponseParts | None]
"""The answer to a request, with so much room for its bindings."""


@dataclass(frozen=True, slots=True)
class Message:
    """A message as it came. `digest_at`: where its authentication parameters begin."""

    msg_id: int
    max_size: int
    flags: int
    engine_id: bytes
    boots: int
    time_s: int
    user: bytes
    digest: bytes
    digest_at: int
    salt: bytes
    scoped: bytes


class _Reported(Exception):  # noqa: N818 - is what is sent back, not an error of ours
    """The message is answered with this report instead."""

    def __init__(self, statistic: int, level: int = 0) -> None:
        super().__init__(statistic)
        self.statistic = statistic
        self.level = level


def read_message(data: bytes) -> Message:
    """A message of version 3. Raises BerError."""
    whole = BerReader(data)
    body = whole.inside()
    whole.finish()
    if body.integer() != pdu.V3:
        raise BerError("not version 3")
    header = body.inside()
    msg_id, max_size, flags, model = (
        header.integer(), header.integer(), header.octets(), header.integer(),
    )  # fmt: skip
    header.finish()
    if model != _USM or len(flags) != 1 or not 0 <= msg_id < 1 << 31 or max_size < 484:  # noqa: PLR2004
        raise BerError("impossible header")
    start, stop = body.expect(ber.OCTETS)
    parameters = BerReader(data, start, stop).inside()
    engine_id, boots, time_s = parameters.octets(), parameters.integer(), parameters.integer()
    user = parameters.octets()
    digest_at, digest_end = parameters.expect(ber.OCTETS)
    salt = parameters.octets()
    parameters.finish()
    if not (0 <= boots <= _MAX_BOOTS and 0 <= time_s <= _MAX_BOOTS):
        raise BerError("impossible boots or time")
    scoped = data[body.at : body.end]
    digest = data[digest_at:digest_end]
    return Message(msg_id, max_size, flags[0], engine_id, boots, time_s, user, digest, digest_at,
                   salt, scoped)  # fmt: skip


class AgentEngine:
    """The authoritative engine of a device, with one user.

    Args:
        engine_id: RFC 3411 section 5.
        user: name of the user.
        keys: gives the user's keys; called once, at the first message that names the engine.
    """

    __slots__ = ("_counts", "_keys", "_keys_of", "_salts", "_user", "engine_id")

    def __init__(self, engine_id: bytes, user: str, keys: Callable[[], usm.Keys]) -> None:
        self.engine_id = engine_id
        self._user = user.encode()
        self._keys_of = keys
        self._keys: usm.Keys | None = None
        self._counts: dict[int, int] = {}
        self._salts = itertools.count(1)

    def reply(self, data: bytes, boots: int, time_s: int, respond: Respond) -> bytes | None:
        """What is sent back for a message; None: nothing. Raises BerError for no message."""
        message = read_message(data)
        try:
            request, level = self._accept(message, data, boots, time_s)
        except _Reported as report:
            if not message.flags & _REPORTABLE:
                return None
            return self._report(message, report, boots, time_s)
        room = min(message.max_size, MAX_SIZE) - _OVERHEAD
        answer = respond(request, room)
        if self._keys is not None and level < self._keys.level:
            answer = ResponseParts((), pdu.AUTHORIZATION_ERROR)
        if answer is None:
            return None
        body = pdu.write_pdu(pdu.RESPONSE, request.request_id, answer)
        return self._write(message, level, boots, time_s, body)

    def _accept(self, message: Message, data: bytes, boots: int, time_s: int) -> tuple[Pdu, int]:
        """The request inside, and its security level; in the order of RFC 3414 3.2."""
        if message.engine_id != self.engine_id:
            raise _Reported(UNKNOWN_ENGINE_ID)
        if message.user != self._user:
            raise _Reported(UNKNOWN_USER)
        keys = self._keys = self._keys or self._keys_of()
        level = message.flags & (_AUTH | _PRIV)
        if level & ~keys.level:
            raise _Reported(UNSUPPORTED_LEVEL)
        if level == _PRIV:
            raise BerError("privacy without authentication")  # RFC 3412 7.2 (5d)
        if level & _AUTH:
            self._authenticate(keys, message, data)
            if boots != message.boots or abs(message.time_s - time_s) > TIME_WINDOW_S:
                raise _Reported(NOT_IN_TIME_WINDOW, _AUTH)
        return self._scoped(self._decrypted(keys, message, level)), level

    @staticmethod
    def _authenticate(keys: usm.Keys, message: Message, data: bytes) -> None:
        size = len(message.digest)
        if size != usm.digest_size(keys.auth):
            raise _Reported(WRONG_DIGEST)
        at = message.digest_at
        if usm.digest(keys, data[:at] + bytes(size) + data[at + size :]) != message.digest:
            raise _Reported(WRONG_DIGEST)

    @staticmethod
    def _decrypted(keys: usm.Keys, message: Message, level: int) -> bytes:
        if not level & _PRIV:
            return message.scoped
        try:
            secret = BerReader(message.scoped).octets()
            return usm.crypt(keys, secret, message.salt, message.boots, message.time_s, "de")
        except ValueError:
            raise _Reported(DECRYPTION_ERROR) from None

    def _scoped(self, scoped: bytes) -> Pdu:
        """The request of a scoped PDU; DES may leave octets of padding after it.

        Octets that are none, as a wrong cipher key makes, are discarded (RFC 3412 7.2).
        """
        inside = BerReader(scoped).inside()
        engine_id, name = inside.octets(), inside.octets()
        if engine_id != self.engine_id or name:
            raise _Reported(_UNKNOWN_CONTEXT)
        return pdu.read_pdu(inside)

    def _report(self, message: Message, report: _Reported, boots: int, time_s: int) -> bytes:
        count = self._counts[report.statistic] = self._counts.get(report.statistic, 0) + 1
        name = (*_USM_STATS, report.statistic, 0) if report.statistic else _CONTEXT_STATS
        value = ber.integer(count, ber.COUNTER32)
        binding = EncodedBinding(name, value, ber.sequence(ber.object_id(name), value), value)
        body = pdu.write_pdu(pdu.REPORT, 0, ResponseParts((binding,)))
        return self._write(message, report.level, boots, time_s, body)

    def _write(self, message: Message, level: int, boots: int, time_s: int, body: bytes) -> bytes:
        """A message of ours: encrypted and signed as its level says."""
        keys, salt = self._keys, b""
        scoped = ber.sequence(ber.octets(self.engine_id), ber.octets(b""), body)
        if level & _PRIV:
            assert keys is not None
            salt = boots.to_bytes(4, "big") + next(self._salts).to_bytes(4, "big")
            scoped = ber.octets(usm.crypt(keys, scoped, salt, boots, time_s, "en"))
        size = usm.digest_size(keys.auth) if keys is not None and level & _AUTH else 0
        parameters = ber.sequence(
            ber.octets(self.engine_id), ber.integer(boots), ber.integer(time_s),
            ber.octets(message.user), ber.octets(bytes(size)), ber.octets(salt),
        )  # fmt: skip
        header = ber.sequence(
            ber.integer(message.msg_id), ber.integer(MAX_SIZE),
            ber.octets(bytes((level,))), ber.integer(_USM),
        )  # fmt: skip
        whole = ber.sequence(ber.integer(pdu.V3), header, ber.octets(parameters), scoped)
        if not size or keys is None:
            return whole
        at = read_message(whole).digest_at
        return whole[:at] + usm.digest(keys, whole) + whole[at + size :]
