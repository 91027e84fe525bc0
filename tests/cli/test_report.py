"""`verify --evidence` and `report`: drawn again, judged again, compared, signed; bad input."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import rfc8785
from cryptography.hazmat.primitives import serialization as form
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from tests.command import command
from tests.conftest import needs
from tests.ports import free_port
from verifier.errors import EXIT_FAILED, EXIT_INPUT, EXIT_PASSED, EXIT_USAGE
from verifier.files.credentials import load_credentials
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.files.schema import schema
from verifier.report.result import FORMATS
from verifier.simulator.running import running_process

PORT = free_port()
PLAN = """\
network: {name: Coast, revision: "2", example: true}
sites: [{name: Quarry}]
devices:
  - {name: lighthouse-quarry, site: Quarry, address: 127.82.0.11/16, gateway: 127.82.0.1, snmp: bench, ports: [{name: eth1, status: up, speed_mbps: 1000}]}
  - {name: quarry-lighthouse, site: Quarry, address: 127.82.0.12/16, gateway: 127.82.0.1, snmp: bench, software: "4.2"}
links:
  - {name: Hop 1, licence: {reference: EX-0001}, a: {device: lighthouse-quarry}, b: {device: quarry-lighthouse}}
"""
SECRET = "coastal-read"
CREDENTIALS = f'[snmp.bench]\nversion = "2c"\ncommunity = "{SECRET}"\nport = {PORT}\n'
RUN = ("verify", "plan.yaml", "--credentials", "credentials.toml", "--echoes", "1", "--quiet")

Tool = Callable[..., "subprocess.CompletedProcess[str]"]
call = command


def key(folder: Path, name: str) -> None:
    made = Ed25519PrivateKey.generate()
    (folder / f"{name}.pem").touch(mode=0o600)
    (folder / f"{name}.pem").write_bytes(
        made.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption())
    )
    (folder / f"{name}.pub").write_bytes(
        made.public_key().public_bytes(
            form.Encoding.PEM, form.PublicFormat.SubjectPublicKeyInfo
        )
    )  # fmt: skip


@pytest.fixture(scope="module")
def kept(tmp_path_factory) -> Path:
    """A folder with what two runs left: `good` as planned, `bad` with another device in place."""
    needs("icmp")
    folder: Path = tmp_path_factory.mktemp("kept")
    (folder / "plan.yaml").write_text(PLAN)
    (folder / "credentials.toml").write_text(CREDENTIALS)
    (folder / "credentials.toml").chmod(0o600)
    for name in ("ours", "theirs"):
        key(folder, name)
    plan, _ = read_plan(folder / "plan.yaml")
    credentials = load_credentials({"bench"}, folder / "credentials.toml", {})
    with running_process(plan, load_profiles({"mib2"}), credentials):
        words = (
            "--accept-untested",
            "identity.software=no reading",
            "--by",
            "A. Example",
            "--place",
            "Quarry",
        )
        good = call(folder, *RUN, *words, "--evidence", "good.json", "--sign", "ours.pem",
                    "--out", "good-result.json")  # fmt: skip
        other = PLAN.replace("name: lighthouse-quarry", "name: harbour-quarry")
        other = other.replace("a: {device: lighthouse", "a: {device: harbour")
        (folder / "plan.yaml").write_text(other)
        bad = call(folder, *RUN, "--evidence", "bad.json", "--out", "bad.html")
    assert (good.returncode, bad.returncode) == (EXIT_PASSED, EXIT_FAILED), good.stderr + bad.stderr
    return folder


@pytest.fixture
def tool(kept, tmp_path) -> Tool:
    """Runs the command in a folder of its own, with copies of what was kept."""
    for path in kept.iterdir():
        shutil.copy(path, tmp_path)
    return lambda *words: call(tmp_path, *words)


def test_what_evidence_holds(kept) -> None:
    """Under its schema: result with who and where, plan, profile, raw values; no secret."""
    text = (kept / "good.json").read_text("utf-8")
    evidence = json.loads(text)
    jsonschema.validate(evidence, schema("evidence"))
    parts = evidence["parts"]
    assert (parts["result"]["by"], parts["result"]["place"]) == ("A. Example", "Quarry")
    assert parts["result"] == json.loads((kept / "good-result.json").read_text("utf-8"))
    assert [d["name"] for d in parts["plan"]["devices"]] == [
        "lighthouse-quarry", "quarry-lighthouse",
    ]  # fmt: skip
    assert list(parts["profiles"]) == ["mib2"]
    assert {"sysName", "interfaces", "route", "versions"} <= {
        o["what"] for o in parts["result"]["observations"]
    }
    assert SECRET not in text
    assert "lighthouse-quarry" in (kept / "bad.html").read_text("utf-8")


@pytest.mark.parametrize("name", FORMATS)
@pytest.mark.parametrize("kind", ["good-result.json", "good.json", "bad.json"])
def test_drawn_in_every_format(kind, name, tool, tmp_path) -> None:
    """To a file; 0 whatever the verdict, which --quiet says, with what failed."""
    done = tool("report", kind, "--format", name, "--out", "drawn", "--quiet")
    assert (done.returncode, done.stderr) == (EXIT_PASSED, "")
    word = "FAIL" if kind == "bad.json" else "CONDITIONAL"
    assert done.stdout.startswith(f"{word}, whole plan (1 link, 2 devices): ")
    assert ("\nFAIL  harbour-quarry  identity.name: planned" in done.stdout) == (word == "FAIL")
    assert (tmp_path / "drawn").stat().st_size > 500


@pytest.mark.parametrize(
    ("ending", "begins"), [("html", b"<!doctype html>"), ("xlsx", b"PK"), ("csv", b"id,verdict"),
                           ("xml", b"<?xml"), ("json", b"{\n"), ("txt", b"CONDITIONAL, whole plan")],
)  # fmt: skip
def test_the_ending_tells_the_format(ending, begins, tool, tmp_path) -> None:
    """As for every command."""
    assert tool("report", "good.json", "--out", f"x.{ending}").returncode == EXIT_PASSED
    assert (tmp_path / f"x.{ending}").read_bytes().startswith(begins)


def test_a_result_drawn_as_json_is_itself(tool, tmp_path) -> None:
    """Nothing is lost between a document and the values it is read to."""
    done = tool("report", "good-result.json", "--format", "json")
    assert done.stdout == (tmp_path / "good-result.json").read_text("utf-8")


@pytest.mark.parametrize("name", ["good.json", "bad.json"])
def test_judged_again_it_is_the_same(name, tool) -> None:
    """The same observations give the same findings, accepted gaps and the plan's faults too."""
    done = tool("report", name, "--judge-again")
    assert (done.returncode, done.stderr) == (EXIT_PASSED, "")
    assert "judged again: the same" in done.stdout


def test_judged_again_a_difference_is_listed(tool, tmp_path) -> None:
    """A finding that the observations do not bear out: listed, exit code 1, drawn as it is today."""
    evidence = json.loads((tmp_path / "bad.json").read_text("utf-8"))
    for finding in evidence["parts"]["result"]["findings"]:
        if finding["check"] == "identity.name":
            finding["verdict"] = "pass"
    reseal(evidence, tmp_path / "painted.json")
    done = tool("report", "painted.json", "--judge-again", "--out", "today.json")
    assert done.returncode == EXIT_FAILED
    assert "harbour-quarry  identity.name: PASS -> FAIL" in done.stdout
    assert json.loads((tmp_path / "today.json").read_text("utf-8"))["verdict"] == "fail"


def reseal(evidence: Any, path: Path) -> None:
    """Writes changed evidence with hashes that fit."""
    for name, part in evidence["parts"].items():
        evidence["sha256"][name] = hashlib.sha256(rfc8785.dumps(part)).hexdigest()
    evidence["signature"] = None
    path.write_text(json.dumps(evidence), "utf-8")


def test_judging_observations_that_are_none(tool, tmp_path) -> None:
    """Well hashed, but no value that a probe leaves: refused, no fault of our own."""
    evidence = json.loads((tmp_path / "bad.json").read_text("utf-8"))
    for seen in evidence["parts"]["result"]["observations"]:
        seen["value"] = {"a": [1]}
    reseal(evidence, tmp_path / "odd.json")
    done = tool("report", "odd.json", "--judge-again")
    assert (done.returncode, "part result" in done.stderr) == (EXIT_INPUT, True), done.stderr
    assert tool("report", "odd.json", "--format", "html").returncode == EXIT_PASSED


def test_compared(tool) -> None:
    """What got worse comes first; two files of one run differ in nothing."""
    done = tool("report", "good.json", "--compare", "bad.json")
    assert done.returncode == EXIT_FAILED
    headings = [line for line in done.stdout.splitlines() if line and line[0] != " "][1:]
    assert headings[0].startswith(("worse", "no longer"))
    assert "harbour-quarry  identity.name" in done.stdout
    done = tool("report", "good.json", "--compare", "good-result.json", "--out", "list.txt")
    assert done.returncode == EXIT_PASSED
    assert done.stdout.startswith("nothing changed between")


def test_compared_as_a_document(tool, tmp_path) -> None:
    """The same differences as JSON, under its schema."""
    listed = tool("report", "good.json", "--compare", "bad.json").stdout
    done = tool("report", "good.json", "--compare", "bad.json", "--format", "json")
    assert done.returncode == EXIT_FAILED
    document = json.loads(done.stdout)
    jsonschema.validate(document, schema("comparison"))
    assert listed.startswith(f"{len(document['differences'])} changed")
    assert (document["old"]["verdict"], document["new"]["verdict"]) == ("conditional", "fail")
    done = tool("report", "good.json", "--compare", "good-result.json", "--out", "same.json")
    assert done.returncode == EXIT_PASSED
    assert json.loads((tmp_path / "same.json").read_text())["differences"] == []


def test_the_plan_is_judged_again_too(tool, tmp_path) -> None:
    """A plan finding that was taken out, or made up, is told; one that stood stays."""
    evidence = json.loads((tmp_path / "good.json").read_text("utf-8"))
    findings = evidence["parts"]["result"]["findings"]
    of_plan = next(f for f in findings if f["check"] == "plan.link-within-site")
    findings.remove(of_plan)
    findings.append({**of_plan, "id": "f999", "check": "plan.mac-doubled"})
    reseal(evidence, tmp_path / "odd.json")
    done = tool("report", "odd.json", "--judge-again")
    assert done.returncode == EXIT_FAILED
    assert "plan.link-within-site" in done.stdout
    assert "plan.mac-doubled" in done.stdout


@pytest.mark.parametrize(
    ("name", "public", "code", "said"),
    [
        ("good.json", "ours.pub", EXIT_PASSED, "signed with this key"),
        ("good.json", "theirs.pub", EXIT_FAILED, "another key"),
        ("bad.json", "ours.pub", EXIT_FAILED, "not signed"),
    ],
)
def test_the_signature(name, public, code, said, tool) -> None:
    """Ours, another's, none."""
    done = tool("report", name, "--check-signature", public)
    assert (done.returncode, said in done.stdout) == (code, True)


def test_signed_afterwards(tool) -> None:
    """`report --sign` leaves the parts as they are."""
    done = tool("report", "bad.json", "--sign", "theirs.pem", "--out", "signed.json")
    assert done.returncode == EXIT_PASSED
    assert tool("report", "signed.json", "--check-signature", "theirs.pub").returncode == 0
    done = tool("report", "bad.json", "--compare", "signed.json")
    assert done.returncode == EXIT_PASSED


def test_a_forged_signature(tool, tmp_path) -> None:
    """A value that does not fit: refused when drawn, a difference when checked."""
    evidence = json.loads((tmp_path / "good.json").read_text("utf-8"))
    value = evidence["signature"]["value"]
    evidence["signature"]["value"] = ("1" if value[0] == "0" else "0") + value[1:]
    (tmp_path / "forged.json").write_text(json.dumps(evidence), "utf-8")
    assert tool("report", "forged.json").returncode == EXIT_INPUT
    done = tool("report", "forged.json", "--check-signature", "ours.pub")
    assert (done.returncode, "does not fit" in done.stdout) == (EXIT_FAILED, True)


def other_signature(text: str) -> str:
    """Evidence whose signature does not fit."""
    evidence = json.loads(text)
    value = evidence["signature"]["value"]
    evidence["signature"]["value"] = ("1" if value[0] == "0" else "0") + value[1:]
    return json.dumps(evidence)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (other_signature, "does not fit"),
        (lambda t: t.replace('"sysName"', '"sysNome"', 1), "since it was written: result"),
        (lambda t: t.replace('"software":"4.2"', '"software":"4.3"'), "since it was written: plan"),
    ],
)
@pytest.mark.parametrize("order", ["first", "second"])
def test_both_that_are_compared_are_proved(change, said, order, tool, tmp_path) -> None:
    """Hashes and signature of either; exit code 4, and nothing is listed."""
    text = (tmp_path / "good.json").read_text("utf-8")
    (tmp_path / "forged.json").write_text(change(text), "utf-8")
    pair = ("forged.json", "bad.json") if order == "first" else ("bad.json", "forged.json")
    done = tool("report", pair[0], "--compare", pair[1])
    assert (done.returncode, done.stdout) == (EXIT_INPUT, "")
    assert f"forged.json: {said}" in done.stderr or said in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_capital_digits(tool, tmp_path) -> None:
    """Key, value and hashes in capitals are the same bytes."""
    evidence = json.loads((tmp_path / "good.json").read_text("utf-8"))
    for name in ("public_key", "value"):
        evidence["signature"][name] = evidence["signature"][name].upper()
    evidence["sha256"] = {k: v.upper() for k, v in evidence["sha256"].items()}
    (tmp_path / "capitals.json").write_text(json.dumps(evidence), "utf-8")
    done = tool("report", "capitals.json", "--check-signature", "ours.pub")
    assert (done.returncode, "signed with this key" in done.stdout) == (EXIT_PASSED, True)


def test_a_key_under_which_anything_fits(tool, tmp_path) -> None:
    """The neutral point as key and as R, S = 0: it fits every document, and is refused."""
    evidence = json.loads((tmp_path / "bad.json").read_text("utf-8"))
    neutral = "01" + "00" * 31
    evidence["signature"] = {
        "algorithm": "Ed25519", "public_key": neutral, "value": neutral + "00" * 32,
    }  # fmt: skip
    (tmp_path / "low.json").write_text(json.dumps(evidence), "utf-8")
    done = tool("report", "low.json")
    assert (done.returncode, "low order" in done.stderr) == (EXIT_INPUT, True)


def _cut(text: str) -> str:
    return text[: len(text) // 2]


def _no_route(text: str) -> str:
    evidence = json.loads(text)
    evidence["parts"]["result"].pop("observations")
    return json.dumps(evidence)


@pytest.mark.parametrize(
    ("change", "said", "option"),
    [(*case, ()) for case in (
        (_cut, "cut short"),
        (lambda t: t.replace("evidence/1", "evidence/2"), "of a newer plan-verifier"),
        (lambda t: t.replace("plan-verifier/evidence/1", "their/format/1"), "can be drawn"),
        (lambda t: t.replace('"software":"4.2"', '"software":"4.3"'), "since it was written: plan"),
        (lambda t: t.replace('"sysName"', '"sysNome"', 1), "since it was written: result"),
        (_no_route, "since it was written: result"),
        (lambda t: "", "cut short"),
        (lambda t: "<html>", "is not JSON"),
    )] + [
        (_cut, "cut short", ("--judge-again",)),
        (_no_route, "since it was written: result", ("--judge-again",)),
        (_no_route, "since it was written: result", ("--check-signature", "ours.pub")),
    ],
)  # fmt: skip
def test_faulty_evidence(change, said, option, tool, tmp_path) -> None:
    """One clear message, exit code 4, no traceback, no report."""
    text = (tmp_path / "good.json").read_text("utf-8")
    assert change(text) != text
    (tmp_path / "faulty.json").write_text(change(text), "utf-8")
    done = tool("report", "faulty.json", *option)
    assert (done.returncode, done.stdout) == (EXIT_INPUT, "")
    (line,) = done.stderr.splitlines()
    assert said in line


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("missing.json",), EXIT_INPUT, "no such file"),
        (("good-result.json", "--judge-again"), EXIT_INPUT, "a result without plan"),
        (("good-result.json", "--check-signature", "ours.pub"), EXIT_INPUT, "without plan"),
        (("good.json", "--check-signature", "ours.pem"), EXIT_INPUT, "no public key"),
        (("good.json", "--sign", "ours.pub", "--out", "x"), EXIT_INPUT, "no private key"),
        (("good.json", "--sign", "ours.pem"), EXIT_USAGE, "--out"),
        (("good.json", "--judge-again", "--compare", "bad.json"), EXIT_USAGE, "at a time"),
        (("good.json", "--compare", "bad.json", "--format", "html"), EXIT_USAGE, "text or JSON"),
        (("good.json", "--out", "good.json"), EXIT_USAGE, "read as an input"),
    ],
)
def test_what_cannot_be_done(words, code, said, tool) -> None:
    """One line that says why."""
    done = tool("report", *words)
    assert (done.returncode, len(done.stderr.splitlines())) == (code, 1)
    assert said in done.stderr


def test_sign_needs_evidence(tool) -> None:
    """A result has no place for a signature; nothing is sent."""
    done = tool(*RUN, "--sign", "ours.pem")
    assert (done.returncode, "--evidence" in done.stderr) == (EXIT_USAGE, True)


def test_every_part_of_a_result_must_be_there(tool, tmp_path) -> None:
    """A field taken out is named; one of a wrong kind too."""
    whole = json.loads((tmp_path / "good-result.json").read_text("utf-8"))
    for change, said in (
        (lambda d: d.pop("findings"), "findings"),
        (lambda d: d["findings"][0].update(verdict="fine"), "findings.0.verdict"),
        (lambda d: d["findings"][0].pop("subject"), "findings.0.subject"),
        (lambda d: d["causes"].append({}), "causes"),
        (lambda d: d.update(started="yesterday"), "started"),
    ):
        document = json.loads(json.dumps(whole))
        change(document)
        (tmp_path / "part.json").write_text(json.dumps(document), "utf-8")
        done = tool("report", "part.json")
        assert (done.returncode, said in done.stderr) == (EXIT_INPUT, True), done.stderr
