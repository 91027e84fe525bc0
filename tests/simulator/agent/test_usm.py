"""Keys of the User-based Security Model against published values."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.model.credentials import Secret, SnmpEntry
from verifier.simulator.agent import v3

ENGINE = bytes.fromhex("000000000000000000000002")
PASSWORD = b"maplesyrup"


@pytest.mark.parametrize(
    ("auth", "ku", "kul"),
    [
        # RFC 3414 A.3.1 and A.3.2
        ("MD5", "9faf3283884e92834ebc9847d8edd963", "526f5eed9fcce26f8964c2930787d82b"),
        ("SHA", "9fb5cc0381497b3793528939ff788d5d79145211",
         "6695febc9288e36282235fc7151f128497b38f3f"),
        # the same by RFC 7860, which prints none: computed apart with hashlib
        ("SHA-224", "282a5867ee9aac639ad59df9572c7d3ac0fbc13a905b6df07dbbf00b",
         "0bd8827c6e29f8065e08e09237f177e410f69b90e1782be682075674"),
        ("SHA-256", "ab51014d1e077f6017df2b12bee5f5aa72993177e9bb569c4dff5a4ca0b4afac",
         "8982e0e549e866db361a6b625d84cccc11162d453ee8ce3a6445c2d6776f0f8b"),
        ("SHA-384", None, "3b298f16164a11184279d5432bf169e2d2a48307de02b3d3f7e2b4f36eb6f0455a53689a3937eea07319a633d2ccba78"),
        ("SHA-512", None, "22a5a36cedfcc085807a128d7bc6c2382167ad6c0dbc5fdff856740f3d84c099ad1ea87a8db096714d9788bd544047c9021e4229ce27e4c0a69250adfcffbb0b"),
    ],
)  # fmt: skip
def test_keys_of_the_standards_password(auth, ku, kul):
    if ku is not None:
        assert v3.password_key(auth, PASSWORD).hex() == ku
    assert v3.localized(auth, PASSWORD, ENGINE).hex() == kul


@pytest.mark.parametrize(
    ("auth", "key"),
    [
        # RFC 3414 A.5.1 and A.5.2; pysnmp's localize_key gives the same
        ("MD5", "87021d7bd9d101ba05ea6e3bf9d9bd4a"),
        ("SHA", "78e2dcce79d59403b58c1bbaa5bff46391f1cd25"),
    ],
)
def test_keys_of_the_standards_other_password(auth, key):
    assert v3.localized(auth, b"newsyrup", ENGINE).hex() == key


@pytest.mark.parametrize("priv", ["AES-192", "AES-256", "AES-192-R", "AES-256-R"])
def test_a_longer_key_begins_with_the_localized_one(priv):
    """Both drafts append; they differ in what."""
    short = v3.localized("MD5", PASSWORD, ENGINE)
    key = v3.extended("MD5", priv, short, ENGINE)
    assert key.startswith(short)
    assert len(key) == int(priv[4:7]) // 8


@pytest.mark.parametrize("priv", ["DES", "AES-128", "AES-192", "AES-256", "AES-192-R", "AES-256-R"])
@given(data=st.binary(max_size=80))
def test_what_is_encrypted_is_decrypted(priv, data):
    """DES adds up to seven octets of padding (RFC 3414 8.1.1.2)."""
    entry = SnmpEntry(
        name="x",
        version="3",
        user="u",
        auth_key=Secret("a" * 8),
        priv=priv,
        priv_key=Secret("b" * 8),
    )
    keys = v3.keys_of(entry, ENGINE)
    secret = v3.crypt(keys, data, b"saltsalt", 1, 2, "en")
    plain = v3.crypt(keys, secret, b"saltsalt", 1, 2, "de")
    assert plain[: len(data)] == data
    assert len(plain) - len(data) < (8 if priv == "DES" else 1)
    assert secret != data or not data


def test_level_by_the_keys():
    def level(**keys):
        return v3.keys_of(SnmpEntry(name="x", version="3", user="u", **keys), ENGINE).level

    assert level() == 0
    assert level(auth_key=Secret("maplesyrup")) == 1
    assert level(auth_key=Secret("maplesyrup"), priv_key=Secret("maplesyrup")) == 3
