"""Ed25519 keys (RFC 8032) in files: PEM (RFC 8410) or OpenSSH's form."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from verifier.errors import InputError
from verifier.files.disk import open_to_others, read_bytes

_P = 2**255 - 19
_LOW_ORDER_Y = frozenset({
    0, 1, _P - 1,
    2707385501144840649318225287225658788936804267575313519463743609750303402022,
    55188659117513257062467267217118295137698188065244968500265048394206261417927,
})  # fmt: skip
"""y of the points whose order is 1, 2, 4 or 8 (computed from the curve of RFC 8032 5.1)."""
_MAX_BYTES = 64 * 1024
_HOW = "openssl genpkey -algorithm ed25519 makes one"


def read_private_key(path: Path, passphrase: Callable[[], str] | None = None) -> Ed25519PrivateKey:
    """The key to sign with; `passphrase` is called where the file is encrypted.

    Raises InputError where there is none, it is of another kind, or the passphrase is wrong.
    """
    data = read_bytes(path, _MAX_BYTES)
    ssh = b"BEGIN OPENSSH PRIVATE KEY" in data
    load: Any = serialization.load_ssh_private_key if ssh else serialization.load_pem_private_key
    locked = False
    try:
        key = load(data, password=None)
    except TypeError:
        locked = True
        if passphrase is None:
            raise InputError(f"{path}: is encrypted, and nobody is here to be asked") from None
        key = _unlocked(load, data, path, passphrase())
    except (ValueError, UnsupportedAlgorithm):
        raise InputError(f"{path}: holds no private key in PEM form; {_HOW}") from None
    if not isinstance(key, Ed25519PrivateKey):
        raise InputError(f"{path}: is a key of another kind than Ed25519; {_HOW}")
    if not locked and open_to_others(path):
        raise InputError(f"{path}: others may read this key: run chmod 600 {path}")
    return key


def _unlocked(load: Any, data: bytes, path: Path, passphrase: str) -> Any:
    try:
        return load(data, password=passphrase.encode())
    except UnsupportedAlgorithm:
        raise InputError(f"{path}: is encrypted in a way not known here; keep it as PEM") from None
    except (ValueError, TypeError):
        raise InputError(f"{path}: the passphrase does not open it") from None


def low_order(public: bytes) -> bool:
    """Whether a public key (32 bytes) is one of those under which a signature can fit anything.

    However it is written: the sign of x aside, and y at or above the prime too (RFC 8032 5.1.3
    refuses such, libraries do not).
    """
    y = int.from_bytes(public, "little") & ((1 << 255) - 1)
    return y % _P in _LOW_ORDER_Y


def read_public_key(path: Path) -> Ed25519PublicKey:
    """The key to check a signature with. Raises InputError where there is none of that kind."""
    data = read_bytes(path, _MAX_BYTES)
    ssh = data.startswith(b"ssh-")
    load: Any = serialization.load_ssh_public_key if ssh else serialization.load_pem_public_key
    try:
        key = load(data)
    except (ValueError, UnsupportedAlgorithm):
        raise InputError(
            f"{path}: holds no public key in PEM form; openssl pkey -in KEY -pubout prints it"
        ) from None
    if not isinstance(key, Ed25519PublicKey):
        raise InputError(f"{path}: is a key of another kind than Ed25519")
    if low_order(key.public_bytes_raw()):
        raise InputError(f"{path}: is a key of low order, under which signatures prove nothing")
    return key
