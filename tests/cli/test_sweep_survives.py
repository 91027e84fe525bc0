"""What `sweep` survives: kills, a full disk, a database that goes away, odd and late answers, no DNS."""

from __future__ import annotations

import json
import os
import shlex
import signal
import sqlite3
import subprocess
import threading
import time
from pathlib import Path

import pytest

from tests.cli.sweeping import (
    PLAN_OF_MANY,
    SLOW_PORT,
    Desk,
    at,
    desk,
    finish,
    kill_again_and_again,
    line_of,
    plan_of,
    shared,
)
from tests.stopwatch import Stopwatch, patience
from tests.store.conftest import running_postgresql
from verifier.simulator.faults import PlantedFault
from verifier.store import schema

__all__ = ["at", "shared"]
pytestmark = pytest.mark.icmp
SILENT_AGENT = PlantedFault(kind="no-answer", device="harbour-switch")


def test_ctrl_c_stores_no_half_sweep(at: Desk) -> None:
    """One sweep, interrupted: exit 130, and nothing of it is in the store."""
    at.network.put(SILENT_AGENT)
    try:
        process = at.start()
        until_s = time.monotonic() + 60
        while not at.store.exists() or at.rows("SELECT count(*) FROM sqlite_master")[0][0] == 0:
            assert time.monotonic() < until_s
            time.sleep(0.05)
        time.sleep(0.5)
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=30)
    finally:
        at.network.take_off(SILENT_AGENT)
    assert process.returncode == 130
    assert err == (
        "interrupted; nothing of this sweep is stored: devices that were not asked yet would "
        "count as not tested\n"
    )
    assert at.rows("SELECT count(*) FROM sweep") == [(0,)]


def test_a_store_of_another_version_is_refused(at: Desk) -> None:
    """Exit 4, in words, before anything is sent."""
    at.sweep()
    connection = sqlite3.connect(at.store)
    with connection:
        connection.execute("UPDATE meta SET value = ?", (str(schema.VERSION + 1),))
    connection.close()
    done = at.sweep()
    assert done.returncode == 4
    assert "another plan-verifier" in done.stderr


def test_odd_answers_impair_those_that_give_them(at: Desk) -> None:
    """No SNMP at all, and replies cut short: neither ends the sweep nor touches the third device."""
    odd = {"harbour-switch": "garbage", "quarry-lighthouse": "truncated"}
    faults = [PlantedFault(kind=kind, device=subject) for subject, kind in odd.items()]
    for fault in faults:
        at.network.put(fault)
    try:
        done = at.sweep("--format", "json", "--device-deadline", "1.5s")
    finally:
        for fault in faults:
            at.network.take_off(fault)
    states = {u["subject"]["name"]: u["seen"] for u in json.loads(done.stdout)["subjects"]}
    assert states["lighthouse-quarry"] == "sound"
    assert "sound" not in {states[subject] for subject in odd}
    assert "Traceback" not in done.stderr


def test_late_answers_count_for_nothing(at: Desk) -> None:
    """Past the last retry: silent to SNMP, twice asked; the next sweep is as if they had not been."""
    late = [
        PlantedFault(kind="slow", device=u, value=4.6)
        for u in ("harbour-switch", "lighthouse-quarry")
    ]
    for fault in late:
        at.network.put(fault)
    try:
        done = at.sweep("--format", "json")
    finally:
        for fault in late:
            at.network.take_off(fault)
    subjects = {u["subject"]["name"]: u for u in json.loads(done.stdout)["subjects"]}
    for fault in late:
        subject = subjects[str(fault.device)]
        assert (subject["seen"], subject["answered"]) == ("impaired", True), "it answers echoes"
        assert {r["check"] for r in subject["reasons"] if r["verdict"] == "fail"} == {"snmp.answer"}
    assert at.sweep().returncode == 0


def test_many_late_answers(tmp_path: Path) -> None:
    """Later than a timeout: they count. Given up, and arriving in the next sweep: nobody's, no delay.

    A thousand, where the machine is free to read them all in time; `sweep_late_bench` always.
    """
    subjects = int(1000 / patience())
    kinds = {f"device-{n}": 5.0 if n % 2 else 2.6 for n in range(subjects)}
    late = [
        PlantedFault(kind="slow", device=subject, value=delay_s)
        for subject, delay_s in kinds.items()
    ]
    with desk(tmp_path, plan_of(subjects, ports_of_each=100)) as at:
        for fault in late:
            at.network.put(fault)
        first = at.sweep("--format", "json", "--device-deadline", "4s")
        for fault in late:
            at.network.take_off(fault)
        stopwatch = Stopwatch()
        second = at.sweep("--format", "json")
        alone_s = stopwatch.alone_s
    assert (first.returncode, first.stderr) == (3, "")
    for subject in json.loads(first.stdout)["subjects"]:
        number = int(subject["subject"]["name"].rpartition("-")[2])
        if number % 2 or number % 100 == 0:  # too late, or more to ask than the time allows
            assert subject["seen"] == "untested"
            assert {r["text"].rpartition(": ")[2] for r in subject["reasons"]} == {
                "the device was not read to the end within 4 s"
            }
        else:
            assert subject["seen"] == "sound", subject
    assert (second.returncode, second.stderr) == (0, "")
    assert json.loads(second.stdout)["summary"]["sound"] == subjects
    assert alone_s < 15


def test_a_name_that_nobody_knows_holds_no_sweep_up(at: Desk) -> None:
    """No DNS: telling fails and is said, the sweep is stored, the message waits."""
    at.network.put(SLOW_PORT)
    try:
        done = at.sweep(
            "--confirm", "1", "--webhook", "http://no-such-host.invalid/", "--tell-limit", "5s"
        )
    finally:
        at.network.take_off(SLOW_PORT)
    assert done.returncode == 1
    assert "not told by webhook" in done.stderr
    assert at.rows("SELECT count(*), sum(attempts) FROM delivery WHERE delivered_s IS NULL") == [
        (1, 1)
    ]


def test_killed_at_random_moments(tmp_path: Path) -> None:
    """Ten times; two hundred times in tests/bench/sweep_kill_bench.py."""
    with desk(tmp_path, PLAN_OF_MANY) as at:
        counted = kill_again_and_again(at, 10, seed=int(time.time()))
    assert counted["told"] >= 5


@pytest.mark.postgresql
def test_postgresql_restarted_in_mid_sweep(at: Desk) -> None:
    """The series goes on in the same database, under the same lock; no sweep is torn or doubled."""
    with running_postgresql() as server:
        env = {"PLAN_VERIFIER_STORE": server.database()}
        at.network.put(SILENT_AGENT)  # a sweep takes seconds then
        try:
            process = at.start("--every", "1s", "--device-deadline", "2s", env=env)
            assert " sweep 1: " in line_of(process)
            time.sleep(1.2)  # within the next sweep
            server.restart()
            assert " sweep " in line_of(process)  # numbers grow; a crashed server leaves gaps
            second = at.sweep("--device-deadline", "1s", env=env)
            assert second.returncode == 6, second.stderr
            finish(process, signal.SIGTERM)
        finally:
            at.network.take_off(SILENT_AGENT)
        done = at.sweep("--format", "json", env=env)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["number"] >= 3


def fill(path: Path) -> None:
    """Writes a megabyte, which a disk of 400 kB refuses in the middle."""
    with path.open("wb", buffering=0) as file:
        for _ in range(1000):
            file.write(bytes(1024))


@pytest.mark.lab
def test_a_full_disk_is_said_and_survived(at: Desk) -> None:
    """On a disk of its own that fills up: sweeps are said not to be stored; with room it goes on."""
    disk = at.folder / "disk"
    disk.mkdir()
    command = shlex.join(at.argv("--every", "0.4s", "--store", "disk/s.db"))
    script = (
        f"mount -t tmpfs -o size=400k none {disk} && ({command} & echo $! > pid; wait $!); "
        f"echo ended $? >&2; ls -l {disk} >&2; df {disk} >&2; "
        f"for part in '' -wal; do cp {disk}/s.db$part {at.folder}/plan.sweeps.db$part; done"
    )
    process = subprocess.Popen(
        ["unshare", "--mount", "sh", "-c", script], cwd=at.folder, env=dict(os.environ),
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    said: list[str] = []
    assert process.stderr is not None
    errors = process.stderr
    listening = threading.Thread(target=lambda: said.extend(errors), daemon=True)
    listening.start()
    line_of(process)
    pid = int((at.folder / "pid").read_text())
    # As that process sees its disk, whatever its and our root and mounts are: proc(5).
    filler = Path(f"/proc/{pid}/root{disk}/filler")
    with pytest.raises(OSError, match="No space left"):
        fill(filler)
    until_s = time.monotonic() + 60
    while not any("cannot be used" in line for line in said):
        assert time.monotonic() < until_s, said
        time.sleep(0.1)
    filler.unlink()
    for _ in range(2):
        assert " sweep " in line_of(process)
    with process:  # closes its pipes at the end
        os.kill(pid, signal.SIGTERM)
        assert process.stdout is not None
        process.stdout.read()
        listening.join(30)
    assert "ended 0\n" in said, "".join(said)
    assert any("make room on the disk" in line or "disk" in line for line in said)
    assert at.rows("PRAGMA integrity_check") == [("ok",)]
    assert at.rows("SELECT count(*) FROM sweep")[0][0] >= 3
