"""The commands in real use: on the loopback range, through pipes, interrupted."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import pytest

from tests.cli.conftest import Run
from tests.command import clean_environment
from tests.stopwatch import patience

pytestmark = pytest.mark.icmp


def test_verify_says_what_is_wrong_first(run: Run, plan: Path, credentials: Path) -> None:
    done = run("verify", str(plan), "--credentials", str(credentials))
    lines = done.stdout.splitlines()
    assert done.returncode == 1
    assert lines[0].startswith("FAIL, whole plan (1 link, 2 devices): ")
    assert lines[1].startswith("Bench, revision 2: verify, stage handover (")
    assert "lighthouse-quarry says that nobody listens at its SNMP port" in done.stdout
    assert "switch the device's SNMP agent on" in done.stdout
    assert "planned 9/tcp open, found 9/tcp closed" in done.stdout
    assert max(map(len, lines)) <= 100
    assert "\x1b" not in done.stdout
    assert done.stderr == ""


def test_result_fits_its_schema(run: Run, plan: Path, credentials: Path) -> None:
    """What `verify` writes is what `schema result` prints."""
    schema = json.loads(run("schema", "result").stdout)
    done = run("verify", str(plan), "--credentials", str(credentials), "--format", "json")
    document = json.loads(done.stdout)
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(document, schema, cls=jsonschema.Draft202012Validator)
    ids = {o["id"] for o in document["observations"]}
    assert all(set(f["evidence"]) <= ids for f in document["findings"])
    assert "coastal-read" not in done.stdout


def test_check_result_fits_its_schema(run: Run, plan: Path) -> None:
    plan.write_text(plan.read_text() + "maintenance: [{name: x}]\n")
    schema = json.loads(run("schema", "plan-check").stdout)
    document = json.loads(run("check", str(plan), "--format", "json").stdout)
    jsonschema.validate(document, schema, cls=jsonschema.Draft202012Validator)
    assert document["problems"]


def test_reach_of_devices_that_answer(run: Run, plan: Path) -> None:
    done = run("reach", str(plan), "--device", "lighthouse-quarry", "--interval", "10ms")
    assert done.returncode == 0
    assert "PASS" in done.stdout
    assert "median" in done.stdout


def test_open_service_passes(run: Run, plan: Path) -> None:
    with socket.create_server(("127.81.0.12", 0)) as server:
        port = server.getsockname()[1]
        plan.write_text(plan.read_text().replace("9/tcp", f"{port}/tcp"))
        done = run("reach", str(plan), "--format", "json", "--interval", "10ms")
    (finding,) = [f for f in json.loads(done.stdout)["findings"] if f["check"] == "tcp.open"]
    assert (done.returncode, finding["verdict"]) == (0, "pass")


def test_report_goes_to_the_file_by_its_ending(run: Run, plan: Path, tmp_path: Path) -> None:
    run("reach", str(plan), "--out", "r.json", "--quiet", "--interval", "10ms")
    assert json.loads((tmp_path / "r.json").read_text())["format"] == "plan-verifier/result/1"


def test_quiet_says_the_verdict_and_what_failed(run: Run, plan: Path, tmp_path: Path) -> None:
    """Whatever format goes to the file: the verdict line, then a line for each failed check."""
    done = run("reach", str(plan), "--out", "r.json", "--quiet", "--interval", "10ms")
    first, *failed = done.stdout.splitlines()
    document = json.loads((tmp_path / "r.json").read_text())
    assert first.startswith("FAIL, whole plan (1 link, 2 devices): 1 of ")
    assert failed == ["FAIL  quarry-lighthouse  tcp.open: planned 9/tcp open, found 9/tcp closed"]
    assert done.stdout == run("report", "r.json", "--quiet").stdout
    assert document["scope"] == {"whole": True, "devices": [2, 2], "links": [1, 1], "names": []}
    sound = run("reach", str(plan), "--quiet", "--device", "lighthouse-quarry")
    assert sound.stdout.splitlines() == [
        "PASS, lighthouse-quarry (0 of 1 link, 1 of 2 devices): all 4 checks passed (echoes and TCP services",
        "    only); not asked: link Hop 1",
    ]


def test_untested_ends_with_3_and_may_be_accepted(run: Run, plan: Path) -> None:
    """Nothing failed, but the name of a device without credentials is not known."""
    words = ("verify", str(plan), "--device", "quarry-lighthouse", "--interval", "10ms")
    plan.write_text(plan.read_text().replace("services: {open: [9/tcp]}", ""))
    assert run(*words).returncode == 3
    accepted = (
        "--accept-untested",
        "identity.name=no agent",
        "--accept-untested",
        "address.mask=no agent",
    )
    conditional = run(*words, *accepted, "--by", "A. Example", "--out", "r.json")
    assert conditional.returncode == 0
    assert conditional.stdout.startswith("CONDITIONAL, quarry-lighthouse (0 of 1 link, 1 of 2")
    assert "which was accepted by A. Example" in " ".join(conditional.stdout.split())
    document = json.loads((plan.parent / "r.json").read_text())
    assert document["verdict"] == "conditional"
    assert [a["check"] for a in document["accepted"]] == ["identity.name", "address.mask"]
    assert [n["what"] for n in document["not_asked"]] == ["link Hop 1"]
    assert run(*words, *accepted, "--strict").returncode == 1


def test_warning_of_the_plan_is_a_finding(run: Run, plan: Path) -> None:
    plan.write_text(plan.read_text().replace(", example: true", ""))
    done = run("reach", str(plan), "--format", "json", "--device", "lighthouse-quarry")
    checks = {f["check"]: f["verdict"] for f in json.loads(done.stdout)["findings"]}
    assert checks["plan.address-stays-local"] == "warn"


@pytest.mark.parametrize("interrupt", [signal.SIGINT, signal.SIGTERM])
def test_interrupt_writes_what_was_measured(
    plan: Path, tmp_path: Path, interrupt: signal.Signals
) -> None:
    """Ctrl-C, or a scheduler's end, in the middle: exit code 130, and a document of its form."""
    with socket.create_server(("127.81.0.12", 0)) as asked:
        asked.settimeout(60)
        plan.write_text(plan.read_text().replace("9/tcp", f"{asked.getsockname()[1]}/tcp"))
        process = subprocess.Popen(
            [sys.executable, "-m", "verifier", "reach", str(plan), "--echoes", "500",
             "--out", "r.json"],
            cwd=tmp_path, env=clean_environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            text=True,
        )  # fmt: skip
        asked.accept()[0].close()  # the first echo was answered; 500 take 100 s
        time.sleep(1.5 * patience())
        process.send_signal(interrupt)
        text, told = process.communicate(timeout=60)
    document = json.loads((tmp_path / "r.json").read_text())
    echoes = [o["value"] for o in document["observations"] if o["what"] == "echo"]
    sent = [value["sent"] for value in echoes if value is not None]
    assert process.returncode == 130
    assert told == "interrupted; what was measured so far is in the report\n"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["plan.yaml", "r.json"]
    assert len(sent) == 2
    assert all(0 < n < 500 for n in sent)
    assert {f["verdict"] for f in document["findings"] if f["check"] == "echo.reply"} == {"pass"}
    figures = [f for f in document["findings"] if f["check"] in {"echo.loss", "echo.round-trip"}]
    assert {f["verdict"] for f in figures} == {"not-tested"}
    assert all(
        "interrupted after" in f["reason"] and "of 500 echoes" in f["reason"] for f in figures
    )
    assert document["verdict"] == "incomplete"
    assert "passed" not in text.splitlines()[0]


def test_interrupt_before_anything_was_measured(plan: Path, tmp_path: Path) -> None:
    """An SNMP agent that was not asked to the end is not tested, not failed."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as silent:
        silent.bind(("127.81.0.11", 0))
        (tmp_path / "c.toml").write_text(
            '[snmp.bench]\nversion = "2c"\ncommunity_env = "WORD"\n'
            f"port = {silent.getsockname()[1]}\n"
        )
        process = subprocess.Popen(
            [sys.executable, "-m", "verifier", "verify", str(plan), "--credentials", "c.toml",
             "--format", "json"],
            cwd=tmp_path, env={**clean_environment(), "WORD": "coastal-read"},
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        silent.settimeout(60)
        silent.recv(1)  # it is asked; that ends after 4 s
        time.sleep(1.5)
        process.send_signal(signal.SIGINT)
        out, _ = process.communicate(timeout=60)
    findings = {
        (f["check"], f["subject"]["name"]): f["verdict"] for f in json.loads(out)["findings"]
    }
    assert process.returncode == 130
    assert findings["snmp.answer", "lighthouse-quarry"] == "not-tested"
    assert findings["echo.reply", "lighthouse-quarry"] == "pass"


def test_closed_pipe_leaves_the_code(plan: Path, tmp_path: Path) -> None:
    """A reader that goes away changes nothing: exit code 1 stays 1, and nothing is said."""
    command = f"{sys.executable} -m verifier reach {plan} --interval 10ms --verbose"
    done = subprocess.run(
        ["bash", "-c", f"{command} | true; echo ${{PIPESTATUS[0]}}"],
        cwd=tmp_path, env=clean_environment(), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.stdout == "1\n"
    assert done.stderr == ""


@pytest.mark.parametrize("verbose", [False, True])
def test_own_fault_is_one_line(plan: Path, tmp_path: Path, verbose: bool) -> None:  # noqa: FBT001
    """Exit code 5 and no traceback; --verbose shows where."""
    code = (
        "import verifier.session, sys\n"
        "def broken(*_): raise ZeroDivisionError('x')\n"
        "verifier.session.run = broken\n"
        "from verifier.cli import main\n"
        f"sys.argv = ['plan-verifier', 'reach', {str(plan)!r}] + ['--verbose'] * {verbose:d}\n"
        "main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, env=clean_environment(), capture_output=True,
        text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 5
    assert "ZeroDivisionError" in done.stderr
    assert ("Traceback" in done.stderr) == verbose
    assert (len(done.stderr.splitlines()) == 1) != verbose


def test_help_names_every_command(run: Run) -> None:
    done = run("--help")
    assert done.returncode == 0
    for command in ("check", "reach", "schema", "verify"):
        assert command in done.stdout


def test_version(run: Run) -> None:
    assert run("--version").stdout.startswith("plan-verifier, version 0.")
