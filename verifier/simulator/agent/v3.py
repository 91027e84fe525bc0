"""SNMPv3 of a simulated device: its messages, and keys, digests and ciphers of its user.

Messages: the authoritative engine of RFC 3412 section 7 and RFC 3414 section 3. Keys and ciphers:
RFC 3414 (MD5, SHA, DES), RFC 7860 (SHA-2), RFC 3826 (AES-128), and for longer AES keys the two
drafts in use: Blumenthal (draft-blumenthal-aes-usm-04 3.1.2.1) and Reeder
(draft-reeder-snmpv3-usm-3desede 2.1). pysnmp and net-snmp agree in tests.
"""

from __future__ import annotations

import functools
import hashlib
import hmac
import itertools
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from cryptography.hazmat.decrepit.ciphers.algorithms import TripleDES
from cryptography.hazmat.decrepit.ciphers.modes import CFB
from cryptography.hazmat.primitives.ciphers import Cipher
from cryptography.hazmat.primitives.ciphers.algorithms import AES
from cryptography.hazmat.primitives.ciphers.modes import CBC

from verifier.model.credentials import Auth, Priv, SnmpEntry
from verifier.simulator.agent import cells, pdu
from verifier.simulator.agent.cells import BerError, BerReader, Oid
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

_PASSWORD_OCTETS = 1 << 20
"""Octets of the repeated password that are hashed (RFC 3414 A.2)."""
_DES_BLOCK = 8

_HASHES: dict[Auth, tuple[str, int]] = {
    "MD5": ("md5", 12), "SHA": ("sha1", 12), "SHA-224": ("sha224", 16), "SHA-256": ("sha256", 24),
    "SHA-384": ("sha384", 32), "SHA-512": ("sha512", 48),
}  # fmt: skip
"""hashlib's name, and octets of the digest that are sent (RFC 3414 6.3.1, RFC 7860 4.2.1)."""
_KEY_OCTETS: dict[Priv, int] = {
    "DES": 16, "AES-128": 16, "AES-192": 24, "AES-256": 32, "AES-192-R": 24, "AES-256-R": 32,
}  # fmt: skip

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
    start, stop = body.expect(cells.OCTETS)
    parameters = BerReader(data, start, stop).inside()
    engine_id, boots, time_s = parameters.octets(), parameters.integer(), parameters.integer()
    user = parameters.octets()
    digest_at, digest_end = parameters.expect(cells.OCTETS)
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

    def __init__(self, engine_id: bytes, user: str, keys: Callable[[], Keys]) -> None:
        self.engine_id = engine_id
        self._user = user.encode()
        self._keys_of = keys
        self._keys: Keys | None = None
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
    def _authenticate(keys: Keys, message: Message, data: bytes) -> None:
        size = len(message.digest)
        if size != digest_size(keys.auth):
            raise _Reported(WRONG_DIGEST)
        at = message.digest_at
        if digest(keys, data[:at] + bytes(size) + data[at + size :]) != message.digest:
            raise _Reported(WRONG_DIGEST)

    @staticmethod
    def _decrypted(keys: Keys, message: Message, level: int) -> bytes:
        if not level & _PRIV:
            return message.scoped
        try:
            secret = BerReader(message.scoped).octets()
            return crypt(keys, secret, message.salt, message.boots, message.time_s, "de")
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
        value = cells.integer(count, cells.COUNTER32)
        binding = EncodedBinding(name, value, cells.sequence(cells.object_id(name), value), value)
        body = pdu.write_pdu(pdu.REPORT, 0, ResponseParts((binding,)))
        return self._write(message, report.level, boots, time_s, body)

    def _write(self, message: Message, level: int, boots: int, time_s: int, body: bytes) -> bytes:
        """A message of ours: encrypted and signed as its level says."""
        keys, salt = self._keys, b""
        scoped = cells.sequence(cells.octets(self.engine_id), cells.octets(b""), body)
        if level & _PRIV:
            assert keys is not None
            salt = boots.to_bytes(4, "big") + next(self._salts).to_bytes(4, "big")
            scoped = cells.octets(crypt(keys, scoped, salt, boots, time_s, "en"))
        size = digest_size(keys.auth) if keys is not None and level & _AUTH else 0
        parameters = cells.sequence(
            cells.octets(self.engine_id), cells.integer(boots), cells.integer(time_s),
            cells.octets(message.user), cells.octets(bytes(size)), cells.octets(salt),
        )  # fmt: skip
        header = cells.sequence(
            cells.integer(message.msg_id), cells.integer(MAX_SIZE),
            cells.octets(bytes((level,))), cells.integer(_USM),
        )  # fmt: skip
        whole = cells.sequence(cells.integer(pdu.V3), header, cells.octets(parameters), scoped)
        if not size or keys is None:
            return whole
        at = read_message(whole).digest_at
        return whole[:at] + digest(keys, whole) + whole[at + size :]


# --- the User-based Security Model ----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Keys:
    """A user's localized keys; None where the user has none."""

    auth: Auth
    auth_key: bytes | None
    priv: Priv
    priv_key: bytes | None

    @property
    def level(self) -> int:
        """0 noAuthNoPriv, 1 authNoPriv, 3 authPriv: the flags of msgFlags (RFC 3412 6.4)."""
        if self.auth_key is None:
            return 0
        return 1 if self.priv_key is None else 3


def keys_of(entry: SnmpEntry, engine_id: bytes) -> Keys:
    """The keys of an entry's user at an engine."""
    auth_key = priv_key = None
    if entry.auth_key is not None:
        auth_key = localized(entry.auth, entry.auth_key.reveal().encode(), engine_id)
        if entry.priv_key is not None:
            short = localized(entry.auth, entry.priv_key.reveal().encode(), engine_id)
            priv_key = extended(entry.auth, entry.priv, short, engine_id)
    return Keys(entry.auth, auth_key, entry.priv, priv_key)


@functools.lru_cache(maxsize=256)
def password_key(auth: Auth, password: bytes) -> bytes:
    """Ku (RFC 3414 A.2): the hash of a million octets of the password, repeated."""
    repeated = password * (_PASSWORD_OCTETS // len(password) + 1)
    return hashlib.new(
        _HASHES[auth][0], repeated[:_PASSWORD_OCTETS], usedforsecurity=False
    ).digest()


def localized(auth: Auth, password: bytes, engine_id: bytes) -> bytes:
    """Kul (RFC 3414 2.6)."""
    key = password_key(auth, password)
    return _hash(auth, key + engine_id + key)


def extended(auth: Auth, priv: Priv, key: bytes, engine_id: bytes) -> bytes:
    """A localized key made long enough for a cipher."""
    size = _KEY_OCTETS[priv]
    last = key
    while len(key) < size:
        if priv.endswith("-R"):
            last = localized(auth, last, engine_id)
            key += last
        else:
            key += _hash(auth, key)
    return key[:size]


def _hash(auth: Auth, data: bytes) -> bytes:
    return hashlib.new(_HASHES[auth][0], data, usedforsecurity=False).digest()


def digest_size(auth: Auth) -> int:
    """Octets of msgAuthenticationParameters."""
    return _HASHES[auth][1]


def digest(keys: Keys, message: bytes) -> bytes:
    """The digest of a message whose authentication parameters are zero."""
    assert keys.auth_key is not None
    name, size = _HASHES[keys.auth]
    return hmac.digest(keys.auth_key, message, name)[:size]


def crypt(  # noqa: PLR0913, PLR0917
    keys: Keys, data: bytes, salt: bytes, boots: int, time_s: int, way: Literal["en", "de"]
) -> bytes:
    """Encrypts or decrypts a scoped PDU. Raises ValueError where octets or salt do not fit.

    DES: IV is the second half of the key with the salt (RFC 3414 8.1.1.1). AES: IV is boots, time
    and salt (RFC 3826 3.1.2.1).
    """
    assert keys.priv_key is not None
    if len(salt) != _DES_BLOCK:
        raise ValueError("a salt has eight octets")
    key = keys.priv_key
    if keys.priv == "DES":
        iv = bytes(a ^ b for a, b in zip(key[_DES_BLOCK:], salt, strict=True))
        cipher: Cipher[CBC | CFB] = Cipher(TripleDES(3 * key[:_DES_BLOCK]), CBC(iv))
        data += bytes(-len(data) % _DES_BLOCK) if way == "en" else b""
    else:
        iv = boots.to_bytes(4, "big") + time_s.to_bytes(4, "big") + salt
        cipher = Cipher(AES(key), CFB(iv))
    worker = cipher.encryptor() if way == "en" else cipher.decryptor()
    return worker.update(data) + worker.finalize()
