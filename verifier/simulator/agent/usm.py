"""Keys, digests and ciphers of the User-based Security Model.

Sources: RFC 3414 (MD5, SHA, DES), RFC 7860 (SHA-2), RFC 3826 (AES-128), and for longer
AES keys the two drafts in use: Blumenthal (draft-blumenthal-aes-usm-04 3.1.2.1) and Reeder
(draft-reeder-snmpv3-usm-3desede 2.1). pysnmp and net-snmp agree in tests.
"""

from __future__ import annotations

import functools
import hashlib
import hmac
from dataclasses import dataclass
from typing import Literal

from cryptography.hazmat.decrepit.ciphers.algorithms import TripleDES
from cryptography.hazmat.decrepit.ciphers.modes import CFB
from cryptography.hazmat.primitives.ciphers import Cipher
from cryptography.hazmat.primitives.ciphers.algorithms import AES
from cryptography.hazmat.primitives.ciphers.modes import CBC

from verifier.model.credentials import Auth, Priv, SnmpEntry

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
