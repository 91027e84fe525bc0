"""`sweep` from the laptop of the lab: devices that are really off, really lose echoes."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.command import clean_environment
from tests.lab.faults import Lab
from tests.lab.tool import HERE

pytestmark = pytest.mark.lab
ALL_LATE = f"""
ip link set lo up && sysctl -qw net.ipv4.icmp_echo_ignore_all=1 || exit 9
{sys.executable} {HERE}/slow_echo.py $1 > ready & late=$!
until grep -qs ready ready; do sleep 0.05; done
{sys.executable} -m verifier sweep plan.yaml --format json --timeout 0.5s
code=$?; kill $late; exit $code
"""
"""In a namespace whose addresses answer every echo so many milliseconds late."""
DEVICE, PEER, HOP = "quarry-harbour", "harbour-quarry", "Hop 2"
Sweep = Callable[..., dict[str, Any]]


@pytest.fixture
def sweep(built_lab: Lab, tmp_path: Path) -> Sweep:
    """Runs one sweep into a store of the test's own; returns its document."""
    credentials = tmp_path / "credentials.toml"
    shutil.copyfile(HERE / "credentials.toml", credentials)
    credentials.chmod(0o600)

    def run(*options: str) -> dict[str, Any]:
        argv = (
            sys.executable, "-m", "verifier", "sweep", str(HERE / "plan.yaml"), "--format", "json", "--timeout", "0.4s",
            "--credentials", str(credentials), "--profiles", str(HERE / "profiles"),
            "--store", str(tmp_path / "s.db"), "--lines", str(tmp_path / "told.jsonl"), *options,
        )  # fmt: skip
        done = subprocess.run(
            built_lab.inside("laptop", *argv), cwd=tmp_path, capture_output=True, text=True,
            env={**os.environ, "PYTHONWARNINGS": "error"}, timeout=120, check=False,
        )  # fmt: skip
        assert done.stderr == ""
        document: dict[str, Any] = json.loads(done.stdout)
        document["by_name"] = {u["subject"]["name"]: u for u in document["subjects"]}
        lines = tmp_path / "told.jsonl"
        told = lines.read_text().splitlines() if lines.exists() else []
        document["told"] = [json.loads(line) for line in told]
        return document

    return run


def test_the_right_lab_is_sound(sweep: Sweep) -> None:
    """Every device and link, IPv4 and IPv6, v2c and v3."""
    document = sweep()
    other = [(u["subject"], u["reasons"]) for u in document["subjects"] if u["seen"] != "sound"]
    assert not other, other
    assert all(
        u["uptime_s"] is not None for u in document["subjects"] if u["subject"]["kind"] == "device"
    )


def test_a_device_that_is_off_is_silent_and_told(lab: Lab, sweep: Sweep) -> None:
    """It and its link, in one message about the root; the others are as they were."""
    sweep()
    lab.kill(DEVICE)
    first = sweep()
    assert first["by_name"][DEVICE]["seen"] == "silent"
    assert first["by_name"][HOP]["seen"] == "silent"
    assert first["by_name"][PEER]["seen"] == "sound"
    assert first["told"] == []
    second = sweep()
    (message,) = second["told"]
    names = {change["subject"]["name"] for change in message["changes"]}
    assert names == {DEVICE, HOP}
    assert {change["after"] for change in message["changes"]} == {"silent"}


def test_a_device_that_answers_no_echo_is_asked_by_snmp_only_when_told_so(
    lab: Lab, sweep: Sweep
) -> None:
    """Silent by default; with --ask-all it is alive, and that echoes fail is the fault.

    So also where devices of both address families are silent.
    """
    lab.ignore_echoes(DEVICE)
    lab.kill("harbour-clock")
    plain = sweep()["by_name"][DEVICE]
    assert (plain["seen"], plain["answered"], plain["uptime_s"]) == ("silent", False, None)
    asked = sweep("--ask-all")["by_name"][DEVICE]
    assert (asked["seen"], asked["answered"]) == ("impaired", True)
    assert asked["uptime_s"] is not None


def test_a_device_that_loses_echoes_is_asked_again(lab: Lab, sweep: Sweep) -> None:
    """More than the warm-up and three counted ones reached it; it is not called silent."""
    lab.lose_echoes(DEVICE, 80)
    device = sweep()["by_name"][DEVICE]
    seen, dropped = lab.echo_counters(DEVICE)
    # The warm-up and 3, and 5 slow ones for a loser; who loses the warm-up gets only these.
    assert seen in ({6, 9} if dropped else {4})
    assert device["seen"] != "silent" or dropped == seen


@pytest.mark.parametrize(
    ("delay_ms", "seen"), [(300, ("untested", True, 0.0)), (800, ("silent", False, 100.0))]
)
def test_a_thousand_late_echoes(
    tmp_path: Path, delay_ms: int, seen: tuple[str, bool, float]
) -> None:
    """Within the time they count; after it, while later echoes are out, they are nobody's answer."""
    rows = "".join(
        f"  - {{name: device-{n}, address: 127.88.{n // 250}.{n % 250 + 1}/16}}\n"
        for n in range(1000)
    )
    (tmp_path / "plan.yaml").write_text(f"network: {{name: Late, example: true}}\ndevices:\n{rows}")
    done = subprocess.run(
        ["unshare", "--net", "sh", "-c", ALL_LATE, "sh", str(delay_ms)], cwd=tmp_path, text=True,
        capture_output=True, env=clean_environment(), timeout=60, check=False,
    )  # fmt: skip
    assert done.stderr == ""
    devices = json.loads(done.stdout)["subjects"]
    assert {(u["seen"], u["answered"], u["loss_pct"]) for u in devices} == {seen}
    if seen[1]:
        assert all(delay_ms <= u["rtt_ms"] < 500 for u in devices)
    assert len(devices) == 1000
