"""Evidence documents: everything a verdict rests on, each part hashed, the hashes signed.

A part is plain JSON: `result` (with every observation), `plan` and `profiles` as used, `samples`.
Canonical JSON is RFC 8785, a hash is SHA-256 over that form of its part, the signature is Ed25519
(RFC 8032) over that form of the hashes. Credentials are no part of it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import TypeAdapter, ValidationError

from verifier.errors import InputError
from verifier.files.canonical import as_json, canonical_of, plan_json
from verifier.files.disk import read_bytes
from verifier.model.plan import Plan
from verifier.model.profile import Profile

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (
        Ed25519PrivateKey,
        Ed25519PublicKey,
    )

Json = dict[str, Any]

FORMAT = "plan-verifier/evidence/1"
PARTS = ("plan", "profiles", "result", "samples")
MAX_BYTES = 1 << 30
"""A run of 1,000 devices takes about 12 MB."""
_ALGORITHM = "Ed25519"


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """Who vouches for the hashes: key and signature in hexadecimal digits."""

    public_key: str
    value: str
    algorithm: str = _ALGORITHM


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """The parts as JSON values, each part's canonical form, their hashes, and the signature.

    Of evidence that was just sealed, the part `samples` is there in canonical form only.
    """

    parts: Mapping[str, Any]
    canonical: Mapping[str, bytes]
    sha256: Mapping[str, str]
    signature: Signature | None = None


def seal(
    result: Json,
    plan: Plan,
    profiles: Mapping[str, Profile],
    samples: Iterable[bytes] = (),
) -> Evidence:
    """The evidence of a run, not signed; `result` is the document `plan-verifier/result/1`.

    `samples` are blocks, each in canonical form already: they are many and are not read again.
    """
    blocks = b"[%s]" % b",".join(samples)
    parts = {
        "plan": plan_json(plan),
        "profiles": {name: as_json(profile) for name, profile in profiles.items()},
        "result": result,
        "samples": None,
    }
    return _of(parts, {"samples": blocks})


def of_parts(parts: Mapping[str, Any]) -> Evidence:
    """Evidence of parts that are plain JSON already, not signed."""
    return _of(parts)


def _of(parts: Mapping[str, Any], written: Mapping[str, bytes] | None = None) -> Evidence:
    done = written or {}
    canonical = {name: done.get(name) or canonical_of(parts[name]) for name in PARTS}
    hashes = {name: hashlib.sha256(data).hexdigest() for name, data in canonical.items()}
    return Evidence(parts=parts, canonical=canonical, sha256=hashes)


def sign(evidence: Evidence, key: Ed25519PrivateKey) -> Evidence:
    """The evidence, signed with `key`."""
    value = key.sign(canonical_of(evidence.sha256))
    public = key.public_key().public_bytes_raw()
    return replace(evidence, signature=Signature(public_key=public.hex(), value=value.hex()))


def doubt(evidence: Evidence, key: Ed25519PublicKey | None = None) -> str | None:
    """Why the signature does not vouch for the evidence, or None where it does.

    Without `key` the key that stands in the evidence is taken: it tells that nothing was changed
    since, not who signed.
    """
    from cryptography.exceptions import InvalidSignature  # noqa: PLC0415
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (  # noqa: PLC0415
        Ed25519PublicKey,
    )

    from verifier.files.evidence.keys import low_order  # noqa: PLC0415

    if (signature := evidence.signature) is None:
        return "it is not signed"
    public, value = _bytes(signature.public_key), _bytes(signature.value)
    if public is None or value is None:
        return "its signature is not one: public_key and value are not both hexadecimal digits"
    if key is not None and key.public_bytes_raw() != public:
        return f"it is signed with another key, {signature.public_key}"
    if low_order(public):
        return "it is signed with a key of low order, under which signatures prove nothing"
    try:
        own = Ed25519PublicKey.from_public_bytes(public)
        own.verify(value, canonical_of(evidence.sha256))
    except (InvalidSignature, ValueError):
        return "the signature does not fit the hashes: one of the two was changed"
    return None


def _bytes(digits: Any) -> bytes | None:
    """What hexadecimal digits of either case stand for; None where they are none."""
    try:
        return bytes.fromhex(digits)
    except (TypeError, ValueError):
        return None


def _same(told: Any, made: str | None) -> bool:
    """Whether a hash is the one that was made, whatever the case of its digits."""
    return made is not None and _bytes(told) == bytes.fromhex(made)


def to_bytes(evidence: Evidence) -> bytes:
    """The document `plan-verifier/evidence/1` as a file's content, in canonical form throughout."""
    signature = evidence.signature
    signed = None if signature is None else as_json(signature)
    parts = b",".join(b'"%s":%s' % (n.encode(), evidence.canonical[n]) for n in PARTS)
    return b'{"format":"%s","parts":{%s},"sha256":%s,"signature":%s}\n' % (
        FORMAT.encode(),
        parts,
        canonical_of(evidence.sha256),
        canonical_of(signed),
    )


def read_document(path: Path) -> Json:
    """Any JSON document of ours, as it stands. Raises InputError where it is none or cut short."""
    data = read_bytes(path, MAX_BYTES)
    try:
        document = json.loads(data, object_pairs_hook=_object, parse_constant=_no_constant)
    except json.JSONDecodeError as fault:
        rest = fault.doc[fault.pos :].strip()  # nothing, or the begin of a word
        cut = "Unterminated" in fault.msg or any(
            word.startswith(rest) for word in ("true", "false", "null", "-", "\\u0000")
        )
        why = "it ends in the middle: it was cut short" if cut else "it is not JSON"
        raise InputError(f"{path}: {why} (line {fault.lineno}, column {fault.colno})") from None
    except UnicodeDecodeError as fault:
        raise InputError(f"{path}: is not UTF-8 (offset {fault.start})") from None
    except (ValueError, RecursionError) as fault:
        raise InputError(f"{path}: is not JSON that can be read: {fault}") from None
    if not isinstance(document, dict) or not isinstance(document.get("format"), str):
        raise InputError(f"{path}: is no document of this program: it has no `format`")
    return document


def _object(pairs: list[tuple[str, Any]]) -> Json:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise ValueError("a field stands twice in one object")
    return made


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no number of JSON")


def parse(document: Json, path: Path) -> Evidence:
    """The evidence in a document, its hashes proved.

    Raises:
        InputError: it is faulty, or a part is not the one that was hashed; the part is named.
    """
    fields = {"format", "parts", "sha256", "signature"}
    if document.keys() != fields or not isinstance(document["parts"], dict):
        odd = ", ".join(sorted(map(str, document.keys() ^ fields))) or "parts"
        raise InputError(f"{path}: is no whole evidence: look at {odd}")
    parts, hashes = document["parts"], document["sha256"]
    if parts.keys() != set(PARTS):
        odd = ", ".join(sorted(parts.keys() ^ set(PARTS)))
        raise InputError(f"{path}: is no whole evidence: look at its parts {odd}")
    evidence = _of(parts)
    told = hashes if isinstance(hashes, dict) else {}
    changed = [n for n in (*PARTS, *sorted(told.keys() - set(PARTS)))
               if not _same(told.get(n), evidence.sha256.get(n))]  # fmt: skip
    if changed:
        raise InputError(
            f"{path}: changed since it was written: {', '.join(changed)} "
            f"(the SHA-256 in the file is another)"
        )
    signed = replace(evidence, signature=_signature(document["signature"], path))
    result = parts["result"]
    used = result.get("plan") if isinstance(result, dict) else None
    if not isinstance(used, dict) or not _same(used.get("sha256"), evidence.sha256["plan"]):
        raise InputError(f"{path}: the result was made with another plan than the part plan")
    return signed


def _signature(value: Any, path: Path) -> Signature | None:
    if value is None:
        return None
    try:
        signature = Signature(**value)
    except TypeError:
        raise InputError(f"{path}: its signature is not one: look at signature") from None
    texts = (signature.public_key, signature.value)
    if signature.algorithm != _ALGORITHM or not all(isinstance(t, str) for t in texts):
        raise InputError(f"{path}: its signature is of no kind known here: {_ALGORITHM} is")
    return signature


def plan_of(evidence: Evidence, path: Path) -> Plan:
    """The plan that was used, without origins. Raises InputError where the part is faulty."""
    plan: Plan = _typed(Plan, evidence.parts["plan"], f"{path}: part plan")
    return plan


def profiles_of(evidence: Evidence, path: Path) -> dict[str, Profile]:
    """The profiles that were used, by id. Raises InputError where the part is faulty."""
    where = f"{path}: part profiles"
    profiles: dict[str, Profile] = _typed(dict[str, Profile], evidence.parts["profiles"], where)
    return profiles


def _typed(kind: Any, value: Any, where: str) -> Any:
    try:
        return TypeAdapter(kind).validate_python(value)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        field = ".".join(str(p) for p in first["loc"])
        raise InputError(f"{where}: {field}: {first['msg']}") from None
