"""Evidence: parts, hashes and signature; every change is found and named."""

from __future__ import annotations

import copy
import dataclasses
import hashlib
import json
import random
from typing import Any

import jsonschema
import pytest
import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.asymmetric.rsa import generate_private_key

from tests.as_seen import observation
from verifier.errors import InputError
from verifier.files.canonical import plan_sha256
from verifier.files.evidence.document import (
    Evidence,
    Signature,
    doubt,
    parse,
    plan_of,
    profiles_of,
    read_document,
    seal,
    sign,
    to_bytes,
)
from verifier.files.evidence.keys import low_order, read_private_key, read_public_key
from verifier.files.evidence.observations import result_of
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.files.schema import schema
from verifier.model.observations import EchoSeries
from verifier.model.problem import Origin, Subject
from verifier.model.result import Finding, PlanReference, Result, Scope
from verifier.report.result.json import document

IDS = ("mib2", "hop-radio", "router", "switch")
VECTORS = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
]
"""RFC 8032 section 7.1, tests 1 to 3, from memory: secret key, public key, message, signature."""


@pytest.fixture
def whole(example_yaml) -> Any:
    """A plan with every kind of field, the shipped profiles and a small result."""
    plan, _ = read_plan(example_yaml)
    subject = Subject("device", plan.devices[0].name)
    result = Result(
        command="verify",
        stage="handover",
        plan=PlanReference(name="x", revision=None, sha256=plan_sha256(plan), file_sha256=""),
        scope=Scope(whole=True, devices=(3, 3), links=(1, 1)),
        started="2026-11-24T10:00:00.000Z",
        finished="2026-11-24T10:00:01.000Z",
        findings=(Finding(id="f1", check="echo.round-trip", subject=subject, verdict="pass", reason="r"),),
        observations=(
            observation(id=1, subject=subject, probe="icmp", what="echo", at="2026-11-24T10:00:00.500Z",
                        value=EchoSeries(sent=3, received=2, rtt_ms=(1.0, 0.25, None))),
            observation(id=2, subject=subject, probe="snmp", what="a", at="2026-11-24T10:00:00.500Z", value=2**64 - 1),
        ),
    )  # fmt: skip
    return plan, load_profiles(IDS), result


@pytest.fixture
def evidence(whole) -> Evidence:
    plan, profiles, result = whole
    return seal(document(result), plan, profiles)


def reread(data: bytes, tmp_path) -> Evidence:
    path = tmp_path / "evidence.json"
    path.write_bytes(data)
    return parse(read_document(path), path)


def test_read_back_it_is_the_same(whole, evidence, tmp_path) -> None:
    """Plan and profiles are equal to those used, the result says the same."""
    plan, profiles, result = whole
    again = reread(to_bytes(evidence), tmp_path)
    assert plan_of(again, tmp_path) == plan
    assert profiles_of(again, tmp_path) == profiles
    assert result_of(again.parts["result"], "x").findings == result.findings
    assert again.sha256 == evidence.sha256
    assert to_bytes(again) == to_bytes(evidence)


def test_the_hashes_are_over_canonical_json(evidence) -> None:
    """For texts and whole numbers RFC 8785 is Python's compact JSON with sorted keys."""
    made = json.loads(to_bytes(evidence))
    assert made["sha256"]["samples"] == hashlib.sha256(b"[]").hexdigest()
    profiles = {"mib2": made["parts"]["profiles"]["mib2"]}
    compact = json.dumps(profiles, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert compact[1:-1].encode() in to_bytes(evidence)
    assert made["sha256"]["plan"] == made["parts"]["result"]["plan"]["sha256"]


def test_the_schema_fits(evidence) -> None:
    """Signed and unsigned; another field is refused."""
    rules = jsonschema.Draft202012Validator(schema("evidence"))
    for kept in (evidence, sign(evidence, Ed25519PrivateKey.generate())):
        made = json.loads(to_bytes(kept))
        rules.validate(made)
        made["parts"]["credentials"] = {}
        assert not rules.is_valid(made)


def test_every_changed_byte_is_found(evidence, tmp_path) -> None:
    """A byte changed anywhere: refused, and where a part was changed its name is said."""
    data = to_bytes(sign(evidence, Ed25519PrivateKey.generate()))
    places = {name: data.index(evidence.canonical[name]) for name in ("plan", "profiles", "result")}
    random_places = random.Random(8785).sample(range(len(data) - 1), 60)
    for place in random_places:
        changed = bytearray(data)
        changed[place] = ord("7") if data[place] != ord("7") else ord("8")
        with pytest.raises(InputError):
            _accept(reread(bytes(changed), tmp_path))
    for name, start in places.items():
        part = evidence.canonical[name]
        changed = (
            data[:start]
            + part.replace(b'"', b'" ', 1).replace(b'" ', b'"7', 1)
            + (data[start + len(part) :])
        )
        with pytest.raises(InputError, match=f"changed since it was written: {name}"):
            reread(changed, tmp_path)


def _accept(evidence: Evidence) -> None:
    if why := doubt(evidence):
        raise InputError(why)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda d: d.pop("parts"), "parts"),
        (lambda d: d["parts"].pop("plan"), "plan"),
        (lambda d: d["parts"].update(more=1), "more"),
        (lambda d: d["sha256"].pop("result"), "changed since it was written: result"),
        (lambda d: d["sha256"].update(more="0"), "more"),
        (lambda d: d.update(sha256=None), "changed since"),
        (lambda d: d.update(signature={"algorithm": "Ed25519"}), "signature"),
        (lambda d: d.update(signature={"algorithm": "X", "public_key": "0", "value": "0"}), "kind"),
        (lambda d: d.update(more=1), "more"),
        (lambda d: d["parts"].update(result=[]), "result"),
    ],
)
def test_what_is_no_whole_evidence(change, said, evidence, tmp_path) -> None:
    """Refused in one message that says where to look."""
    made = json.loads(to_bytes(evidence))
    change(made)
    with pytest.raises(InputError, match=said) as caught:
        reread(json.dumps(made).encode(), tmp_path)
    assert "\n" not in str(caught.value)


def test_a_result_of_another_plan(whole, tmp_path) -> None:
    """Hashes that fit do not help: the result names the plan it was made with."""
    plan, profiles, result = whole
    other = document(result)
    other["plan"] = {**other["plan"], "sha256": "0" * 64}
    with pytest.raises(InputError, match="another plan"):
        reread(to_bytes(seal(other, plan, profiles)), tmp_path)


@pytest.mark.parametrize("part", ["plan", "profiles"])
def test_a_part_that_is_no_plan(part, evidence, tmp_path) -> None:
    """Well hashed nonsense is refused with its field, not with a traceback."""
    parts = copy.deepcopy(dict(evidence.parts))
    parts[part] = {"devices": [{"name": "x", "address": "nowhere"}], "x": 1}
    odd = Evidence(parts=parts, canonical={}, sha256={})
    with pytest.raises(InputError, match=f"part {part}: "):
        (plan_of if part == "plan" else profiles_of)(odd, tmp_path)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "cut short"), (b'{"format": "plan-verifier/evid', "cut short"),
        (b'{"format": "x", "parts": {', "cut short"), (b"hello", "not JSON"),
        (b"[]", "no `format`"), (b'{"format": 1}', "no `format`"), (b"\xff{}", "not UTF-8"),
        (b'{"format": "a", "format": "b"}', "twice"), (b'{"format": "a", "x": NaN}', "NaN"),
        (b"[" * 100_000, "is not JSON"),
    ],
)  # fmt: skip
def test_what_is_no_document(data, said, tmp_path) -> None:
    """One plain message each."""
    path = tmp_path / "evidence.json"
    path.write_bytes(data)
    with pytest.raises(InputError, match=said):
        read_document(path)


@pytest.mark.parametrize(("secret", "public", "message", "signature"), VECTORS)
def test_ed25519_of_rfc_8032(secret, public, message, signature, evidence) -> None:
    """The library signs as the RFC says, and our hexadecimal fields are those of the RFC."""
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert key.sign(bytes.fromhex(message)).hex() == signature
    signed = sign(evidence, key)
    assert signed.signature is not None
    assert signed.signature.public_key == public
    assert doubt(signed) is None


def test_the_signature_is_over_the_canonical_hashes(evidence) -> None:
    """Anybody can check it: Ed25519 over the compact, sorted JSON of `sha256`."""
    made = json.loads(to_bytes(sign(evidence, Ed25519PrivateKey.generate())))
    message = json.dumps(made["sha256"], sort_keys=True, separators=(",", ":")).encode()
    key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(made["signature"]["public_key"]))
    value = bytes.fromhex(made["signature"]["value"])
    key.verify(value, message)
    with pytest.raises(InvalidSignature):
        key.verify(value, message + b" ")


def test_doubts(evidence) -> None:
    """Unsigned, another key, a value that does not fit: each is said."""
    key, other = Ed25519PrivateKey.generate(), Ed25519PrivateKey.generate()
    signed = sign(evidence, key)
    assert doubt(signed, key.public_key()) is None
    assert "not signed" in str(doubt(evidence, key.public_key()))
    assert "another key" in str(doubt(signed, other.public_key()))
    moved = Evidence(parts={}, canonical={}, sha256={"plan": "0"}, signature=signed.signature)
    assert "does not fit" in str(doubt(moved, key.public_key()))


@pytest.mark.parametrize("turn", [str.upper, str.lower])
def test_digits_of_either_case(turn, evidence, tmp_path) -> None:
    """Hexadecimal digits stand for bytes: a file whose digits are capitals is the same evidence."""
    key = Ed25519PrivateKey.generate()
    made = json.loads(to_bytes(sign(evidence, key)))
    for name in ("public_key", "value"):
        made["signature"][name] = turn(made["signature"][name])
    made["sha256"] = {name: turn(value) for name, value in made["sha256"].items()}
    again = reread(json.dumps(made).encode(), tmp_path)
    assert doubt(again) is None
    assert doubt(again, key.public_key()) is None


@pytest.mark.parametrize("field", ["public_key", "value"])
@pytest.mark.parametrize("digits", ["", "0", "no digits", "ab" * 31])
def test_digits_that_are_none(field, digits, evidence, tmp_path) -> None:
    """A doubt, never a fault of ours."""
    key = Ed25519PrivateKey.generate()
    made = json.loads(to_bytes(sign(evidence, key)))
    made["signature"][field] = digits
    again = reread(json.dumps(made).encode(), tmp_path)
    assert doubt(again) is not None
    assert doubt(again, key.public_key()) is not None


# -- keys of low order: the arithmetic of RFC 8032 section 6, which shares nothing with ours --------

P = 2**255 - 19
L = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, P - 2, P) % P


def add(one: Any, two: Any) -> Any:
    """`point_add` of RFC 8032 section 6, in extended coordinates."""
    a = (one[1] - one[0]) * (two[1] - two[0]) % P
    b = (one[1] + one[0]) * (two[1] + two[0]) % P
    c = 2 * one[3] * two[3] * D % P
    d = 2 * one[2] * two[2] % P
    e, f, g, h = b - a, d - c, d + c, b + a
    return e * f % P, g * h % P, f * g % P, e * h % P


def times(number: int, point: Any) -> Any:
    """`point_mul` of RFC 8032 section 6."""
    total = (0, 1, 1, 0)
    while number:
        if number & 1:
            total = add(total, point)
        point = add(point, point)
        number >>= 1
    return total


def root(square: int) -> int | None:
    """A square root modulo the prime, as `recover_x` of RFC 8032 section 6 finds it."""
    found = pow(square, (P + 3) // 8, P)
    if (found * found - square) % P:
        found = found * pow(2, (P - 1) // 4, P) % P
    return None if (found * found - square) % P else found


def points() -> Any:
    """Points of the whole curve, whatever their order."""
    dice = random.Random(8032)
    while True:
        y = dice.randrange(P)
        x = root((y * y - 1) * pow(D * y * y + 1, P - 2, P) % P)
        if x is not None:
            yield x, y, 1, x * y % P


def written(point: Any) -> tuple[int, int]:
    """The coordinates x and y of a point."""
    z = pow(point[2], P - 2, P)
    return point[0] * z % P, point[1] * z % P


def low_points() -> set[tuple[int, int]]:
    """All eight points whose order divides eight: any point, times the order of the others."""
    found: set[tuple[int, int]] = set()
    for point in points():
        found.add(written(times(L, point)))
        if len(found) == 8:
            return found
    raise AssertionError


def every_way(points: set[tuple[int, int]]) -> set[bytes]:
    """32 bytes that decoders take for one of the points: y past the prime, either sign of x."""
    ys = {y + more for _, y in points for more in (0, P) if y + more < 2**255}
    return {(y | sign << 255).to_bytes(32, "little") for y in ys for sign in (0, 1)}


def test_keys_of_low_order() -> None:
    """Exactly these; no key that is made, nor a point with a part of low order beside a great one."""
    low = low_points()
    assert {written(times(8, (x, y, 1, x * y % P))) for x, y in low} == {(0, 1)}
    for key in every_way(low):
        assert low_order(key)
    for point, _ in zip(points(), range(50), strict=False):
        assert not low_order(point[1].to_bytes(32, "little"))
    assert not any(low_order(bytes.fromhex(public)) for _, public, _, _ in VECTORS)


def test_a_signature_that_fits_anything(evidence, tmp_path) -> None:
    """Under such a key one signature fits documents nobody signed; it is refused, as is the key."""
    fitted = 0
    for key in sorted(every_way(low_points())):
        forged = Evidence(
            parts=evidence.parts, canonical=evidence.canonical, sha256=evidence.sha256,
            signature=Signature(public_key=key.hex(), value=(key + bytes(32)).hex()),
        )  # fmt: skip
        made = Ed25519PublicKey.from_public_bytes(key)
        try:
            made.verify(key + bytes(32), rfc8785.dumps(dict(evidence.sha256)))
            fitted += 1
        except InvalidSignature:
            pass
        assert "low order" in str(doubt(forged))
        path = tmp_path / "low.pub"
        path.write_bytes(made.public_bytes(
            serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo
        ))  # fmt: skip
        with pytest.raises(InputError, match="low order"):
            read_public_key(path)
    assert fitted, "the library takes none of them: then this guards nothing"


PRIVATE = [serialization.PrivateFormat.PKCS8, serialization.PrivateFormat.OpenSSH]


@pytest.mark.parametrize(
    ("form", "passphrase"), [(PRIVATE[0], None), (PRIVATE[1], None), (PRIVATE[0], "tide table")]
)
def test_keys_in_files(form, passphrase, tmp_path) -> None:
    """PEM and OpenSSH, with a passphrase or without."""
    key = Ed25519PrivateKey.generate()
    lock = (
        serialization.BestAvailableEncryption(passphrase.encode())
        if passphrase
        else serialization.NoEncryption()
    )
    path = tmp_path / "key"
    path.touch(mode=0o600)
    path.write_bytes(key.private_bytes(serialization.Encoding.PEM, form, lock))
    read = read_private_key(path, lambda: passphrase or "")
    assert read.private_bytes_raw() == key.private_bytes_raw()
    if passphrase:
        with pytest.raises(InputError, match="encrypted"):
            read_private_key(path)
        with pytest.raises(InputError, match="does not open"):
            read_private_key(path, lambda: "low water")
    for encoding, kind in (
        (serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo),
        (serialization.Encoding.OpenSSH, serialization.PublicFormat.OpenSSH),
    ):
        path.write_bytes(key.public_key().public_bytes(encoding, kind))
        assert read_public_key(path).public_bytes_raw() == key.public_key().public_bytes_raw()


def test_a_key_that_others_may_read(tmp_path) -> None:
    """Refused, with what to do, as a file of credentials is; its passphrase protects another."""
    key, path = Ed25519PrivateKey.generate(), tmp_path / "key"
    for lock in (serialization.NoEncryption(), serialization.BestAvailableEncryption(b"tide")):
        path.write_bytes(key.private_bytes(serialization.Encoding.PEM, PRIVATE[0], lock))
        path.chmod(0o640)
        if isinstance(lock, serialization.NoEncryption):
            with pytest.raises(InputError, match="chmod 600"):
                read_private_key(path)
        else:
            assert read_private_key(path, lambda: "tide").private_bytes_raw()


def test_keys_of_another_kind(tmp_path) -> None:
    """An RSA key, a file without a key: refused with what is wanted."""
    path, rsa = tmp_path / "key", generate_private_key(65537, 2048)
    path.write_bytes(
        rsa.private_bytes(serialization.Encoding.PEM, PRIVATE[0], serialization.NoEncryption())
    )
    with pytest.raises(InputError, match="another kind"):
        read_private_key(path)
    path.write_bytes(b"ssh-nothing at all")
    for read in (read_private_key, read_public_key):
        with pytest.raises(InputError, match="holds no"):
            read(path)


@pytest.mark.parametrize("origin", [None, Origin("plan.xlsx", 4, "Mask", "Devices", by_row=True)])
def test_an_origin_is_read_back_in_its_words(whole, origin: Origin | None) -> None:
    """A document has it in words, and nobody takes them apart."""
    _, _, result = whole
    finding = dataclasses.replace(result.findings[0], origin=origin)
    written = document(dataclasses.replace(result, findings=(finding,)))
    assert written["findings"][0]["origin"] == str(origin or "")
    (read,) = result_of(written, "x").findings
    assert str(read.origin or "") == str(origin or "")
    assert document(result_of(written, "x")) == written
