"""Evidence is written once: by every command that writes it, and by no report over it."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
from cryptography.hazmat.primitives import serialization as form
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from tests.cli.conftest import NOBODY_LISTENS, Run
from verifier.errors import EXIT_FAILED, EXIT_PASSED, EXIT_UNTESTED, EXIT_USAGE, UsageError
from verifier.files.output import opened, opened_once, unsigned

UNSIGNED = b'{"format":"plan-verifier/evidence/1","parts":{},"sha256":{},"signature":null}\n'
SIGNED = UNSIGNED.replace(b"null", b'{"algorithm":"Ed25519","public_key":"0","value":"0"}')
KNOWN = ("--credentials", "credentials.toml")
WRITERS = {
    "verify": ("verify", "plan.yaml", *KNOWN),
    "reach": ("reach", "plan.yaml"),
    "soak": ("verify", "plan.yaml", *KNOWN, "--soak=1s"),
    "powercycle": ("powercycle", "plan.yaml", "lighthouse-quarry", *KNOWN, "--accept-outage"),
}
pytestmark = pytest.mark.usefixtures("plan", "credentials")


@pytest.fixture
def agent() -> Iterator[socket.socket]:
    """A silent one, where the planned device would be asked."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as there:
        there.bind(("127.81.0.11", NOBODY_LISTENS))
        there.settimeout(0)
        yield there


def asked(agent: socket.socket) -> bool:
    try:
        agent.recv(65536)
    except BlockingIOError:
        return False
    return True


@pytest.mark.parametrize("writer", WRITERS)
@pytest.mark.parametrize(
    ("data", "more", "said"),
    [
        (SIGNED, (), "is evidence, and evidence never overwrites a file: name another one\n"),
        (SIGNED, ("--replace",), "is evidence, and evidence never overwrites"),
        (UNSIGNED, (), "--replace allows it for evidence that is not signed"),
        (b"tide table\n", (), "is there already"),
        (b"tide table\n", ("--replace",), "--replace allows it for evidence that is not signed"),
        (SIGNED[:-20], ("--replace",), "is evidence"),
    ],
    ids=["signed", "signed, replace", "unsigned", "other", "other, replace", "cut off, replace"],
)
def test_what_is_there_stays(
    writer: str, data: bytes, more: tuple[str, ...], said: str, run: Run, tmp_path: Path,
    agent: socket.socket,
) -> None:  # fmt: skip
    """Exit code 2, one line, the file as it was, and nothing was sent."""
    place = tmp_path / "kept.json"
    place.write_bytes(data)
    done = run(*WRITERS[writer], "--evidence", "kept.json", *more)
    assert (done.returncode, done.stdout) == (EXIT_USAGE, "")
    assert said in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert place.read_bytes() == data
    assert not asked(agent)


@pytest.mark.parametrize("writer", ["verify", "reach"])
def test_unsigned_evidence_is_replaced(writer: str, run: Run, tmp_path: Path) -> None:
    """With --replace, and an empty file too; what is written then is whole."""
    for data in (UNSIGNED, b""):
        (tmp_path / "kept.json").write_bytes(data)
        words = (*WRITERS[writer], "--echoes", "1", "--timeout", "0.2s", "--quiet")
        done = run(*words, "--evidence", "kept.json", "--replace")
        assert done.returncode in {EXIT_FAILED, EXIT_UNTESTED}, done.stderr
        made = json.loads((tmp_path / "kept.json").read_bytes())
        assert made["parts"]["result"]["command"] == writer


@pytest.mark.parametrize("writer", WRITERS)
def test_a_report_over_evidence(
    writer: str, run: Run, tmp_path: Path, agent: socket.socket
) -> None:
    """--out replaces a report, but evidence never."""
    (tmp_path / "kept.json").write_bytes(SIGNED)
    done = run(*WRITERS[writer], "--out", "kept.json")
    assert (done.returncode, "never overwritten" in done.stderr) == (EXIT_USAGE, True)
    assert (tmp_path / "kept.json").read_bytes() == SIGNED
    assert not asked(agent)


@pytest.mark.parametrize(
    "words",
    [("check", "plan.yaml"), ("fit", "plan.yaml"), ("cards", "plan.yaml"),
     ("readdress", "plan.yaml")],
)  # fmt: skip
def test_other_documents_over_evidence(words: tuple[str, ...], run: Run, tmp_path: Path) -> None:
    """No command's --out takes the place of evidence."""
    (tmp_path / "kept.html").write_bytes(SIGNED)
    done = run(*words, "--out", "kept.html")
    assert (done.returncode, "never overwritten" in done.stderr) == (EXIT_USAGE, True), done.stderr
    assert (tmp_path / "kept.html").read_bytes() == SIGNED


def test_signing_again_writes_a_new_file(run: Run, tmp_path: Path) -> None:
    """Neither the original nor any other file gives its place to what `report --sign` makes."""
    key = Ed25519PrivateKey.generate().private_bytes(
        form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption()
    )
    (tmp_path / "key.pem").touch(mode=0o600)
    (tmp_path / "key.pem").write_bytes(key)
    words = (*WRITERS["reach"], "--echoes", "1", "--timeout", "0.2s", "--quiet")
    assert run(*words, "--evidence", "kept.json").returncode in {EXIT_FAILED, EXIT_UNTESTED}
    signing = ("report", "kept.json", "--sign", "key.pem", "--out", "signed.json")
    assert run(*signing).returncode == EXIT_PASSED
    first = (tmp_path / "signed.json").read_bytes()
    done = run(*signing)
    assert (done.returncode, "is evidence" in done.stderr) == (EXIT_USAGE, True)
    assert (tmp_path / "signed.json").read_bytes() == first


def test_replace_is_about_evidence(run: Run) -> None:
    """Without --evidence it means nothing, and that is said."""
    done = run(*WRITERS["reach"], "--replace")
    assert (done.returncode, "--replace needs --evidence" in done.stderr) == (EXIT_USAGE, True)


def test_evidence_that_another_run_wrote_meanwhile(tmp_path: Path) -> None:
    """It stays; what was measured is kept under another name, which is said."""
    place = tmp_path / "kept.json"
    with opened_once(place) as store:
        place.write_bytes(SIGNED)
        with pytest.raises(UsageError, match=r"the evidence is in .*kept\.2\.json"):
            store.write(UNSIGNED)
    assert place.read_bytes() == SIGNED
    assert (tmp_path / "kept.2.json").read_bytes() == UNSIGNED


def test_evidence_that_was_signed_meanwhile(tmp_path: Path) -> None:
    """--replace was allowed for what stood there when the run began, not for this."""
    place = tmp_path / "kept.json"
    place.write_bytes(UNSIGNED)
    with opened_once(place, may_go=True) as store:
        place.write_bytes(SIGNED)
        with pytest.raises(UsageError, match=r"kept\.2\.json"):
            store.write(UNSIGNED)
    assert place.read_bytes() == SIGNED
    assert unsigned(tmp_path / "kept.2.json")


def test_a_report_over_evidence_of_meanwhile(tmp_path: Path) -> None:
    """Looked at again when the report is ready."""
    place = tmp_path / "kept.json"
    with opened(place) as out:
        place.write_bytes(SIGNED)
        with pytest.raises(UsageError, match="never overwritten"):
            out.write("{}")
    assert place.read_bytes() == SIGNED


def test_a_link_to_evidence(tmp_path: Path) -> None:
    """What a link leads to is what would be overwritten."""
    (tmp_path / "kept.json").write_bytes(SIGNED)
    (tmp_path / "link").symlink_to("kept.json")
    for place in (opened, opened_once):
        with pytest.raises(UsageError, match="evidence"), place(tmp_path / "link"):
            pass
