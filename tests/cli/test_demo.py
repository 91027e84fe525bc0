"""The demo shows what it planted; its page shows it as it is."""

from __future__ import annotations

import os
import re
import shlex
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.command import clean_environment

ROOT = Path(__file__).parent.parent.parent
PAGE = (ROOT / "verifier/explain/demo.md").read_text(encoding="utf-8")
VARYING = [
    (re.compile(r"\(\d+\.\d s, [^)]+\)"), "(TIME)"),
    (re.compile(r"\d+\.\d{3}( ms|,)"), r"TIME\1"),
]
"""What differs from run to run: durations and times of day."""


def steady(text: str) -> str:
    for pattern, instead in VARYING:
        text = pattern.sub(instead, text)
    return text.strip()


def blocks(language: str) -> list[str]:
    found = re.findall(r"^```(\w*)\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
    return [block for kind, block in found if kind == language]


@pytest.mark.icmp
def test_its_page_holds_the_whole_screen_of_the_demo(run: Run) -> None:
    """The block of the page is what the demo prints, times apart; exit code 0."""
    done = run("demo")
    assert done.returncode == 0, done.stdout + done.stderr
    (shown,) = [block for block in blocks("text") if block.startswith("==")]
    assert steady(done.stdout) == steady(shown)
    assert done.stderr == ""
    assert max(map(len, done.stdout.splitlines())) <= 100


@pytest.mark.lab
def test_demo_without_permission_for_echoes_shows_the_rest(tmp_path: Path) -> None:
    """It says what is missing and how to get it, shows the SNMP part, and ends with 0."""
    command = shlex.join([sys.executable, "-m", "verifier", "demo"])
    script = f"ip link set lo up && exec setpriv --bounding-set=-net_raw {command}"
    done = subprocess.run(
        ["unshare", "--net", "sh", "-c", script], cwd=tmp_path, env=clean_environment(),
        capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Echoes were not tested here" in done.stdout
    assert "== INCOMPLETE: nothing failed, but" in done.stdout
    assert "passes" not in done.stdout.partition("things go wrong")[0]
    assert "all 254 checks passed" not in done.stdout
    assert "ping_group_range" in done.stdout
    assert "FAIL  certain: the mask of lighthouse-quarry is 255.255.0.0" in done.stdout


def test_kept_network_answers_until_ctrl_c(run: Run, tmp_path: Path) -> None:
    """Plan and credentials stay in the folder; the secrets are nobody else's to read."""
    process = subprocess.Popen(
        [sys.executable, "-m", "verifier", "demo", "--keep", "coast"],
        cwd=tmp_path, env=clean_environment(), stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    shown = ""
    while "Ctrl-C" not in shown:
        shown += process.stdout.readline()
    words: tuple[str, ...] = ("--profiles", "coast/profiles", "--credentials", "coast/credentials.toml",
             "--interval", "10ms")  # fmt: skip
    for check in ("reply", "loss", "round-trip", "jitter", "mtu", "duplicate", "reordered"):
        words += ("--accept-untested", f"echo.{check}=echoes may not be sent here")
    done = run("verify", "coast/plan.yaml", *words)
    process.send_signal(signal.SIGINT)
    process.stdout.close()
    assert process.wait(20) == 0
    assert done.returncode == 0, done.stdout + done.stderr
    mode = stat.S_IMODE((tmp_path / "coast" / "credentials.toml").stat().st_mode)
    assert mode == 0o600


def test_nothing_is_overwritten(run: Run, tmp_path: Path) -> None:
    (tmp_path / "coast").mkdir()
    (tmp_path / "coast" / "plan.yaml").write_text("mine")
    done = run("demo", "--keep", "coast")
    assert done.returncode == 2
    assert (tmp_path / "coast" / "plan.yaml").read_text() == "mine"


def test_interrupted_demo_leaves_nothing_running(tmp_path: Path) -> None:
    """Ctrl-C in the middle ends the simulated network too."""
    process = subprocess.Popen(
        [sys.executable, "-m", "verifier", "demo"], cwd=tmp_path, env=clean_environment(),
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, start_new_session=True,
    )  # fmt: skip
    assert process.stdout is not None
    while b"$ plan-verifier" not in (line := process.stdout.readline()):
        assert line, "it ended before its first command"
    time.sleep(0.5)
    os.killpg(process.pid, signal.SIGINT)
    process.communicate(timeout=60)  # whatever it was at: what counts is that nothing goes on
    ends = time.monotonic() + 60
    while _alive(process.pid):
        assert time.monotonic() < ends, "something of the demo still runs"
        time.sleep(0.1)


def _alive(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True
