"""Bad input: one clear message, the contract's exit code, nothing sent, no traceback."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.command import clean_environment


def write(path: Path, text: str | bytes) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


BOMB = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{n}: &{n} [*{p}, *{p}, *{p}, *{p}, *{p}, *{p}, *{p}, *{p}, *{p}]\n"
    for p, n in zip("abcdefgh", "bcdefghi", strict=True)
)
DEVICE = "devices: [{name: one, address: 127.0.0.9/8"
PLANS: list[tuple[str, str | bytes, list[str]]] = [
    ("empty", "", ["empty"]),
    ("not UTF-8", b"network: {name: \xff\xfe}\n", ["UTF-8"]),
    ("tabs", "network:\n\tname: x\n", ["tab", "line 2"]),
    ("duplicate key", DEVICE + ", name: two}]\n", ["name", "line 1"]),
    ("wrong type", "devices: 7\n", ["devices"]),
    ("number that is none", DEVICE + ", management_vlan: twenty}]\n", ["twenty", "line 1"]),
    ("address that is none", "devices: [{name: one, address: 127.0.0/8}]\n", ["127.0.0"]),
    ("leading zero", "devices: [{name: one, address: 127.0.0.010/8}]\n", ["leading zero"]),
    ("no mask", "devices: [{name: one, address: 127.0.0.9}]\n", ["prefix length"]),
    ("billion laughs", BOMB, ["alias"]),
    ("not a mapping", "- a\n- b\n", ["named fields"]),
    ("unclosed", "devices: [{name: one\n", ["line"]),
    ("deep", "[" * 100_000, []),
    ("unknown site", DEVICE + ", site: Ferry}]\n", ["Ferry"]),
    ("unknown profile", DEVICE + ", profile: nothing}]\n", ["nothing", "mib2"]),
]


@pytest.mark.parametrize(("text", "words"), [p[1:] for p in PLANS], ids=[p[0] for p in PLANS])
@pytest.mark.parametrize("command", ["verify", "check"])
def test_faulty_plan_is_refused(
    run: Run, tmp_path: Path, command: str, text: str | bytes, words: list[str]
) -> None:
    write(tmp_path / "plan.yaml", text)
    done = run(command, "plan.yaml")
    told = done.stdout + done.stderr
    assert done.returncode == 4, told
    assert "Traceback" not in told
    assert "plan.yaml" in told or "profile" in told
    assert all(word in told for word in words), told
    assert len(told) < 2000


def test_missing_plan(run: Run) -> None:
    done = run("verify", "nowhere.yaml")
    assert (done.returncode, "nowhere.yaml" in done.stderr) == (4, True)


def test_folder_without_sheets(run: Run, tmp_path: Path) -> None:
    (tmp_path / "plan").mkdir()
    done = run("verify", "plan")
    assert done.returncode == 4
    assert "CSV" in done.stderr or "csv" in done.stderr


def test_fifty_megabytes_of_nonsense(run: Run, tmp_path: Path) -> None:
    """Refused before it is read: quickly, in one message."""
    write(tmp_path / "plan.yaml", os.urandom(1 << 20) * 50)
    done = run("verify", "plan.yaml", timeout_s=10)
    assert done.returncode == 4
    assert "MB" in done.stderr
    assert len(done.stderr) < 500


def test_every_fault_at_once(run: Run, tmp_path: Path) -> None:
    """Reading faults and rule faults come together."""
    write(
        tmp_path / "plan.yaml",
        "devices:\n"
        "  - {name: one, address: 127.0.0.9/8, management_vlan: x}\n"
        "  - {name: one, address: 127.0.0.10/8, site: Ferry}\n",
    )
    done = run("verify", "plan.yaml")
    assert done.returncode == 4
    for words in ("line 2", "management_vlan", "two devices", "Ferry", "line 3"):
        assert words in done.stderr, done.stderr


def test_credentials_entry_that_is_nowhere(run: Run, plan: Path) -> None:
    done = run("verify", str(plan))
    assert done.returncode == 4
    assert "PLAN_VERIFIER_BENCH_COMMUNITY" in done.stderr


def test_variable_that_is_not_set(run: Run, plan: Path, tmp_path: Path) -> None:
    write(tmp_path / "c.toml", '[snmp.bench]\nversion = "2c"\ncommunity_env = "NO_SUCH_THING"\n')
    done = run("verify", str(plan), "--credentials", "c.toml")
    assert done.returncode == 4
    assert "NO_SUCH_THING" in done.stderr


def test_secrets_that_others_may_read(run: Run, plan: Path, credentials: Path) -> None:
    credentials.chmod(0o644)
    done = run("verify", str(plan), "--credentials", str(credentials))
    assert done.returncode == 4
    assert "chmod 600" in done.stderr
    assert "coastal-read" not in done.stdout + done.stderr


@pytest.mark.parametrize("option", ["--device", "--link", "--site"])
def test_filter_that_matches_nothing(run: Run, plan: Path, credentials: Path, option: str) -> None:
    done = run("verify", str(plan), "--credentials", str(credentials), option, "lighthouse-quary")
    assert done.returncode == 2
    assert "lighthouse-quary" in done.stderr


def test_filter_with_a_slip_names_the_nearest(run: Run, plan: Path) -> None:
    done = run("reach", str(plan), "--device", "lighthouse-quary")
    assert (done.returncode, done.stdout) == (2, "")
    assert "did you mean 'lighthouse-quarry'" in done.stderr


@pytest.mark.parametrize("out", ["no/such/folder/r.json", "."])
def test_output_that_cannot_be_written(run: Run, plan: Path, out: str) -> None:
    """Found before anything is sent."""
    done = run("reach", str(plan), "--out", out)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr


def test_a_loop_of_links_is_no_plan(run: Run, tmp_path: Path) -> None:
    (tmp_path / "a.yaml").symlink_to("b.yaml")
    (tmp_path / "b.yaml").symlink_to("a.yaml")
    assert run("check", "a.yaml").returncode == 4


@pytest.mark.parametrize("command", ["check", "reach"])
def test_report_never_takes_the_place_of_the_plan(run: Run, plan: Path, command: str) -> None:
    """Not under another spelling of its name either."""
    before = plan.read_text()
    done = run(command, str(plan), "--out", f"../{plan.parent.name}/plan.yaml")
    assert (done.returncode, plan.read_text()) == (2, before)
    assert "input" in done.stderr


def test_report_never_takes_the_place_of_a_device_or_link(
    run: Run, plan: Path, tmp_path: Path
) -> None:
    """A pipe is written to, a link still leads where it led, a mode stays as it was."""
    os.mkfifo(tmp_path / "pipe")
    ours = os.open(tmp_path / "pipe", os.O_RDWR)
    (tmp_path / "real.json").write_text("older")
    (tmp_path / "real.json").chmod(0o640)
    (tmp_path / "link.json").symlink_to("real.json")
    assert run("check", str(plan), "--out", "pipe", "--quiet").returncode == 0
    assert run("check", str(plan), "--out", "link.json", "--quiet").returncode == 0
    assert b"2 devices" in os.read(ours, 4096)
    os.close(ours)
    assert (tmp_path / "pipe").is_fifo()
    assert (tmp_path / "link.json").is_symlink()
    assert "plan-check/1" in (tmp_path / "real.json").read_text()
    assert (tmp_path / "real.json").stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize(
    ("closed", "code"), [("<&-", 4), (">&-", 4), ("2>&-", 4), (">/dev/full", 2)]
)
def test_streams_the_caller_closed(plan: Path, closed: str, code: int) -> None:
    """As a scheduler may: the exit code is that of the work; a full disk is no fault of ours."""
    words = "verify" if closed == "<&-" else "check"
    missing = "no.yaml" if code == 4 and words == "check" else plan.name
    done = subprocess.run(
        ["bash", "-c", f"{sys.executable} -m verifier {words} {missing} {closed}"],
        cwd=plan.parent, env=clean_environment(), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == code, done.stderr
    assert "Traceback" not in done.stderr
    assert "fault of this program" not in done.stderr


@pytest.mark.parametrize(
    ("words", "code"), [("--help", 0), ("check no.yaml", 4), ("no-such-command", 2)]
)
def test_a_reader_that_is_gone_leaves_the_code(tmp_path: Path, words: str, code: int) -> None:
    """Of help and of messages too."""
    done = subprocess.run(
        ["bash", "-c", f"{sys.executable} -m verifier {words} 2>&1 | true; echo ${{PIPESTATUS[0]}}"],
        cwd=tmp_path, env=clean_environment(), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.stdout, done.stderr) == (f"{code}\n", "")


def test_output_file_is_not_left_half_written(run: Run, tmp_path: Path) -> None:
    """A faulty plan leaves an older report as it was, and no scrap beside it."""
    write(tmp_path / "r.json", "older")
    write(tmp_path / "plan.yaml", "devices: 7\n")
    done = run("reach", "plan.yaml", "--out", "r.json")
    assert done.returncode == 4
    assert (tmp_path / "r.json").read_text() == "older"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["plan.yaml", "r.json"]


@pytest.mark.parametrize(
    "words",
    [
        ("--interval", "fast"), ("--interval", "-1s"), ("--timeout", "0"), ("--echoes", "0"),
        ("--stage", "lunch"), ("--format", "pdf"), ("--laptop", "198.18.20.250"),
        ("--laptop-gateway", "198.18.20.1"), ("--accept-untested", "echo.replay=no"),
        ("--accept-untested", "echo.reply"), ("--accept-untested", "echo.reply="),
        ("--accept-untested", "*=no"), ("--accept-untested", "echo.*=no"),
        ("--accept-untested", "echo.reply@ferry=no"), ("--accept-untested", "=no"),
        ("--max-packets-per-s", "0"), ("--max-packets-per-s", "nan"), ("--no-such-option",),
    ],
    ids=" ".join,
)  # fmt: skip
def test_wrong_command_line(run: Run, plan: Path, words: tuple[str, ...]) -> None:
    done = run("reach", str(plan), *words)
    assert done.returncode == 2, done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_unknown_schema_names_the_known(run: Run) -> None:
    done = run("schema", "nonsense")
    assert done.returncode == 2
    assert "result" in done.stderr
