"""`sweep` as the operations desk runs it, against simulated units, real files and servers."""

from __future__ import annotations

import json
import os
import shlex
import shutil
import signal
import sqlite3
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import jsonschema
import pytest

from tests.cli.sweeping import (
    PLAN,
    PLAN_OF_MANY,
    SLOW_PORT,
    Desk,
    desk,
    kill_again_and_again,
    line_of,
    plan_of,
)
from tests.report.openmetrics_reader import read
from tests.store import examples
from tests.store.conftest import running_postgresql
from verifier.simulator import Fault
from verifier.store import opened, schema

pytestmark = pytest.mark.icmp
SILENT_AGENT = Fault(kind="no-answer", unit="harbour-switch")


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    with desk(tmp_path_factory.mktemp("desk")) as made:
        yield made


@pytest.fixture
def at(shared: Desk, tmp_path: Path) -> Desk:
    """A desk of its own at the network that all tests share."""
    for name in ("plan.yaml", "credentials.toml"):
        shutil.copy2(shared.folder / name, tmp_path / name)
    return Desk(tmp_path, shared.network)


def finish(process: subprocess.Popen[str], number: int) -> tuple[str, str]:
    """Sends a signal; returns what was printed. The exit code must be 0."""
    process.send_signal(number)
    out, err = process.communicate(timeout=30)
    assert process.returncode == 0, out + err
    return out, err


def test_all_sound_ends_with_0(at: Desk) -> None:
    """One line of counts; the store lies beside the plan; nobody is told anything."""
    done = at.sweep("--lines", "changes.jsonl")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("Harbour ring: sweep 1, ")
    assert "4 sound" in done.stdout
    assert at.rows("SELECT count(*) FROM reading") == [(4,)]
    assert not at.lines.exists()


def test_a_change_counts_when_seen_twice_and_is_told_once(at: Desk) -> None:
    """Seen once: exit 1, nothing told. Twice: told, once. Gone for two sweeps: told, once."""
    words = ("--lines", "changes.jsonl")
    at.sweep(*words)
    at.network.put(SLOW_PORT)
    try:
        first = at.sweep(*words)
        assert first.returncode == 1
        assert "IMPAIRED  harbour-switch, seen once; still counts as sound" in first.stdout
        assert "port.speed: port1: slower than planned" in first.stdout
        assert at.told() == []
        second = at.sweep(*words)
        assert "IMPAIRED  harbour-switch, since 20" in second.stdout
        at.sweep(*words)
    finally:
        at.network.take_off(SLOW_PORT)
    (message,) = at.told()
    (change,) = message["changes"]
    assert (change["before"], change["after"]) == ("sound", "impaired")
    for _ in range(3):
        at.sweep(*words)
    assert [m["changes"][0]["after"] for m in at.told()] == ["impaired", "sound"]
    (row,) = at.rows("SELECT before, after FROM change WHERE after = 'impaired'")
    assert row == ("sound", "impaired")


def test_json_fits_its_schema(at: Desk) -> None:
    """What `sweep` writes and tells is what `schema sweep` and `schema change` print."""
    at.network.put(SLOW_PORT)
    try:
        done = at.sweep("--format", "json", "--confirm", "1", "--on-change", "tee -a told.jsonl")
    finally:
        at.network.take_off(SLOW_PORT)
    from verifier.files.schema import schema as schema_of  # noqa: PLC0415

    jsonschema.validate(json.loads(done.stdout), schema_of("sweep"))
    (told,) = at.told(at.folder / "told.jsonl")
    jsonschema.validate(told, schema_of("change"))
    assert json.loads(done.stdout)["summary"] == {
        "sound": 3,
        "untested": 0,
        "impaired": 1,
        "silent": 0,
    }


def test_out_metrics_and_filters(at: Desk) -> None:
    """A file by its ending; OpenMetrics that the grammar reads; one unit alone."""
    done = at.sweep(
        "--device", "harbour-switch", "--out", "s.json", "--metrics", "m.txt", "--quiet"
    )
    assert (done.returncode, done.stdout) == (0, "")
    document = json.loads((at.folder / "s.json").read_text())
    assert [u["unit"]["name"] for u in document["units"]] == ["harbour-switch"]
    families = {f.name: f for f in read((at.folder / "m.txt").read_text())}
    assert len(families["plan_verifier_port_in_errors"].samples) == 2
    assert list(at.folder.glob(".new-*")) == []


def test_a_series_keeps_to_its_grid(at: Desk) -> None:
    """Starts lie on multiples of the interval from the first one; SIGTERM ends it with 0."""
    process = at.start("--every", "0.6s")
    for _ in range(5):
        assert " sweep " in line_of(process)
    finish(process, signal.SIGTERM)
    started = [s for (s,) in at.rows("SELECT started_s FROM sweep ORDER BY id")]
    skipped = sum(n for (n,) in at.rows("SELECT skipped FROM sweep"))
    steps = round((started[4] - started[0]) / 0.6)
    assert steps == 4 + skipped
    assert abs(started[4] - started[0] - 0.6 * steps) < 0.3  # no delay piles up


def test_a_late_sweep_is_left_out_and_said(at: Desk) -> None:
    """A unit whose agent is silent costs seconds; what was due meanwhile is not made up for."""
    at.network.put(SILENT_AGENT)
    try:
        process = at.start("--every", "0.5s", "--device-deadline", "1s")
        for _ in range(2):
            assert " sweep " in line_of(process)
        _, err = finish(process, signal.SIGINT)
    finally:
        at.network.take_off(SILENT_AGENT)
    assert "left out: the last took too long" in err
    assert at.rows("SELECT count(*), max(skipped) >= 1 FROM sweep") == [(2, 1)]


def test_the_plan_is_read_again_on_sighup(at: Desk) -> None:
    """A faulty one is refused and the old one stays; a right one counts from the next sweep on."""
    process = at.start("--every", "0.5s")
    assert " sweep 1: 4 sound" in line_of(process)
    plan = at.folder / "plan.yaml"
    plan.write_text(PLAN.replace("127.83.0.12/16", "127.83.0.11/16"))  # the same address twice
    process.send_signal(signal.SIGHUP)
    for _ in range(3):
        assert "4 sound" in line_of(process)
    plan.write_text(PLAN[: PLAN.index("links:")])
    process.send_signal(signal.SIGHUP)
    until_s = time.monotonic() + 20
    while "3 sound" not in line_of(process):
        assert time.monotonic() < until_s
    _, err = finish(process, signal.SIGTERM)
    assert "the plan was not changed: plan.yaml has" in err
    assert "the plan was read again" in err


def test_one_sweep_at_a_time(at: Desk) -> None:
    """A second one into the same store does not start: exit 3; after a kill the next one does."""
    process = at.start("--every", "30s")
    line_of(process)
    second = at.sweep()
    assert second.returncode == 3
    assert "another sweep into plan.sweeps.db is running" in second.stderr
    process.kill()
    process.communicate()
    assert at.sweep().returncode == 0


def test_ctrl_c_stores_no_half_sweep(at: Desk) -> None:
    """One sweep, interrupted: exit 130, and nothing of it is in the store."""
    at.network.put(SILENT_AGENT)
    try:
        process = at.start()
        until_s = time.monotonic() + 20
        while not at.store.exists() or at.rows("SELECT count(*) FROM sqlite_master")[0][0] == 0:
            assert time.monotonic() < until_s
            time.sleep(0.05)
        time.sleep(0.5)
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=30)
    finally:
        at.network.take_off(SILENT_AGENT)
    assert process.returncode == 130
    assert "not stored" in err
    assert at.rows("SELECT count(*) FROM sweep") == [(0,)]


def test_a_newer_store_is_refused(at: Desk) -> None:
    """Exit 4, in words, before anything is sent."""
    at.sweep()
    connection = sqlite3.connect(at.store)
    with connection:
        connection.execute("UPDATE meta SET value = ?", (str(schema.VERSION + 1),))
    connection.close()
    done = at.sweep()
    assert done.returncode == 4
    assert "newer plan-verifier" in done.stderr


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--store", "postgresql://desk:pw@127.0.0.1:9/none"), 2, "a password on the command line"),
        (("--store", "mysql://127.0.0.1/none"), 2, "SQLite or PostgreSQL"),
        (("--store", "nowhere/at/all.db"), 2, "does its folder exist"),
        (("--store", "plan.yaml"), 2, "no store"),
        (("--every", "5 sheep"), 2, "is not a duration"),
        (("--every", "5m", "--out", "x.json"), 2, "--out"),
        (("--on-change", "'"), 2, "--on-change"),
        (("--syslog", "desk"), 2, "--syslog"),
        (("--metrics", "nowhere/m.txt"), 2, "cannot be written"),
        (("--page", "plan.yaml"), 2, "plan.yaml cannot be written"),
        (("--page", "plan.yaml/page"), 2, "plan.yaml/page cannot be written"),
        (("--device", "nobody"), 2, "no device 'nobody'"),
    ],
)
def test_bad_words_are_refused(at: Desk, words: tuple[str, ...], code: int, said: str) -> None:
    """One message, nothing sent, no traceback."""
    plan = (at.folder / "plan.yaml").read_text()
    done = at.sweep(*words)
    assert done.returncode == code
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert (at.folder / "plan.yaml").read_text() == plan


def test_a_faulty_plan_makes_no_store(at: Desk) -> None:
    (at.folder / "plan.yaml").write_text("devices: [{name: a}]\n")
    assert at.sweep().returncode == 4
    assert not at.store.exists()


def test_odd_answers_impair_those_that_give_them(at: Desk) -> None:
    """No SNMP at all, and replies cut short: neither ends the sweep nor touches the third unit."""
    odd = {"harbour-switch": "garbage", "quarry-lighthouse": "truncated"}
    faults = [Fault(kind=kind, unit=unit) for unit, kind in odd.items()]
    for fault in faults:
        at.network.put(fault)
    try:
        done = at.sweep("--format", "json", "--device-deadline", "1.5s")
    finally:
        for fault in faults:
            at.network.take_off(fault)
    states = {u["unit"]["name"]: u["seen"] for u in json.loads(done.stdout)["units"]}
    assert states["lighthouse-quarry"] == "sound"
    assert "sound" not in {states[unit] for unit in odd}
    assert "Traceback" not in done.stderr


def test_late_answers_count_for_nothing(at: Desk) -> None:
    """Past the last retry: silent to SNMP, twice asked; the next sweep is as if they had not been."""
    late = [Fault(kind="slow", unit=u, value=4.6) for u in ("harbour-switch", "lighthouse-quarry")]
    for fault in late:
        at.network.put(fault)
    try:
        done = at.sweep("--format", "json")
    finally:
        for fault in late:
            at.network.take_off(fault)
    units = {u["unit"]["name"]: u for u in json.loads(done.stdout)["units"]}
    for fault in late:
        unit = units[str(fault.unit)]
        assert (unit["seen"], unit["answered"]) == ("impaired", True), "it answers echoes"
        assert {r["check"] for r in unit["reasons"] if r["verdict"] == "fail"} == {"snmp.answer"}
    assert at.sweep().returncode == 0


def test_a_thousand_late_answers(tmp_path: Path) -> None:
    """Later than a timeout: they count. Given up, and arriving in the next sweep: nobody's, no delay."""
    kinds = {f"unit-{n}": 5.0 if n % 2 else 2.6 for n in range(1000)}
    late = [Fault(kind="slow", unit=unit, value=delay_s) for unit, delay_s in kinds.items()]
    with desk(tmp_path, plan_of(1000, ports_of_each=100)) as at:
        for fault in late:
            at.network.put(fault)
        first = at.sweep("--format", "json", "--device-deadline", "4s")
        for fault in late:
            at.network.take_off(fault)
        began_s = time.monotonic()
        second = at.sweep("--format", "json")
        took_s = time.monotonic() - began_s
    assert (first.returncode, first.stderr) == (3, "")
    for unit in json.loads(first.stdout)["units"]:
        number = int(unit["unit"]["name"].rpartition("-")[2])
        if number % 2 or number % 100 == 0:  # too late, or more to ask than the time allows
            assert unit["seen"] == "untested"
            assert {r["text"].rpartition(": ")[2] for r in unit["reasons"]} == {
                "the unit was not read to the end within 4 s"
            }
        else:
            assert unit["seen"] == "sound", unit
    assert (second.returncode, second.stderr) == (0, "")
    assert json.loads(second.stdout)["summary"]["sound"] == 1000
    assert took_s < 15


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
    assert at.rows("SELECT count(*), sum(attempts) FROM delivery WHERE told_s IS NULL") == [(1, 1)]


def test_a_maintenance_window_holds_telling(at: Desk) -> None:
    """What happens in the window is stored with its name, and told to nobody."""
    now = time.time()
    day = [time.strftime("%Y-%m-%dT%H:%MZ", time.gmtime(now + s)) for s in (-3600, 3600)]
    window = f"maintenance: [{{name: mast work, from: {day[0]}, to: {day[1]}, sites: [Harbour]}}]\n"
    (at.folder / "plan.yaml").write_text(PLAN + window)
    words = ("--lines", "changes.jsonl", "--confirm", "1")
    at.sweep(*words)
    at.network.put(SLOW_PORT)
    try:
        at.sweep(*words)
    finally:
        at.network.take_off(SLOW_PORT)
    assert at.told() == []
    assert at.rows("SELECT held FROM change WHERE after = 'impaired'") == [("mast work",)]
    (at.folder / "plan.yaml").write_text(PLAN)
    at.sweep(*words)  # sound again, as it was last told: nothing to tell
    assert at.told() == []


def test_what_outlasts_a_window_is_told_when_it_is_over(at: Desk) -> None:
    """The window ends between two sweeps: the change in it is told then, once, with its name."""
    end_s = time.time() + 3
    day = [time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(s)) for s in (end_s - 3600, end_s)]
    window = f"maintenance: [{{name: mast work, from: {day[0]}, to: {day[1]}, sites: [Harbour]}}]\n"
    (at.folder / "plan.yaml").write_text(PLAN + window)
    words = ("--lines", "changes.jsonl", "--confirm", "1", "--store", "w.db")
    at.network.put(SLOW_PORT)
    try:
        at.sweep(*words)
        assert time.time() < end_s
        assert at.told() == []
        time.sleep(max(0.0, end_s + 1 - time.time()))
        for _ in range(2):
            at.sweep(*words)
    finally:
        at.network.take_off(SLOW_PORT)
    (message,) = at.told()
    (change,) = message["changes"]
    assert (change["unit"]["name"], change["after"]) == ("harbour-switch", "impaired")
    assert change["held"] == "mast work"


def test_how_long_is_kept_is_an_option(at: Desk) -> None:
    """Readings of three days ago stay for the usual 14 days and go with --keep-days 1."""
    with opened(str(at.store)) as store:
        for n in range(6):
            store.save(examples.sweep(at_s=time.time() - 3 * 86_400 + 300.0 * n))
    old = "SELECT count(*) FROM reading JOIN sweep ON sweep.id = sweep_id WHERE sweep.id <= 6"
    at.sweep()
    assert at.rows(old) == [(6,)]
    for _ in range(2):
        at.sweep("--keep-days", "1")
    assert at.rows(old) == [(0,)]
    assert at.rows("SELECT count(*) > 0 FROM hour") == [(1,)]


def test_errors_of_ports_are_counted(at: Desk) -> None:
    """Counters that run leave what was added in each sweep."""
    running = Fault(kind="counters-running", unit="harbour-switch")
    at.sweep()
    at.network.put(running)
    try:
        for _ in range(2):
            at.sweep()
    finally:
        at.network.take_off(running)
    (added,) = at.rows("SELECT sum(in_added) + sum(out_added) FROM port_errors")
    assert added[0] > 0


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
            assert second.returncode == 3, second.stderr
            finish(process, signal.SIGTERM)
        finally:
            at.network.take_off(SILENT_AGENT)
        done = at.sweep("--format", "json", env=env)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["number"] >= 3


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
    filler = ["nsenter", "-t", str(pid), "-m", "sh", "-c"]
    subprocess.run([*filler, f"cat /dev/zero > {disk}/filler"], check=False, capture_output=True)
    until_s = time.monotonic() + 30
    while not any("cannot be used" in line for line in said):
        assert time.monotonic() < until_s, said
        time.sleep(0.1)
    subprocess.run([*filler, f"rm {disk}/filler"], check=True)
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
