"""`sweep` as the operations desk runs it, against simulated devices, real files and servers."""

from __future__ import annotations

import json
import signal
import time

import jsonschema
import pytest

from tests.cli.sweeping import (
    PLAN,
    SLOW_PORT,
    Desk,
    at,
    finish,
    line_of,
    shared,
)
from tests.report.sweep.openmetrics_reader import read
from tests.stopwatch import patience
from tests.store import examples
from verifier.simulator.faults import PlantedFault
from verifier.store.store import opened

__all__ = ["at", "shared"]
pytestmark = pytest.mark.icmp
SILENT_AGENT = PlantedFault(kind="no-answer", device="harbour-switch")


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
        assert (
            "IMPAIRED  harbour-switch, seen in 1 of 2 sweeps needed; recorded state: sound"
            in first.stdout
        )
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
    """A file by its ending; OpenMetrics that the grammar reads; one device alone."""
    done = at.sweep(
        "--device", "harbour-switch", "--out", "s.json", "--metrics", "m.txt", "--quiet"
    )
    assert done.returncode == 0
    assert ": 1 sound (" in done.stdout
    assert done.stdout.count("\n") == 1
    document = json.loads((at.folder / "s.json").read_text())
    assert [u["subject"]["name"] for u in document["subjects"]] == ["harbour-switch"]
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
    """A device whose agent is silent costs seconds; what was due meanwhile is not made up for."""
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
    until_s = time.monotonic() + 60
    while "3 sound" not in line_of(process):
        assert time.monotonic() < until_s
    _, err = finish(process, signal.SIGTERM)
    assert "the old plan is kept: plan.yaml, line" in err
    assert "nothing was sent" not in err
    assert "the plan was read again" in err


def test_one_sweep_at_a_time(at: Desk) -> None:
    """A second one into the same store does not start: exit 6; after a kill the next one does."""
    process = at.start("--every", "30s")
    line_of(process)
    second = at.sweep()
    assert second.returncode == 6
    assert "another sweep into plan.sweeps.db is running" in second.stderr
    process.kill()
    process.communicate()
    assert at.sweep().returncode == 0


def test_a_store_that_cannot_be_used_now(at: Desk) -> None:
    """Its server is away: exit 6, one line, nothing is done."""
    pytest.importorskip("psycopg")
    done = at.sweep("--store", "postgresql://127.0.0.1:9/none")
    assert (done.returncode, done.stdout) == (6, ""), done.stderr
    assert "cannot be used" in done.stderr
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--store", "postgresql://desk:pw@127.0.0.1:9/none"), 2, "a password on the command line"),
        (("--store", "mysql://127.0.0.1/none"), 2, "SQLite or PostgreSQL"),
        (("--store", "nowhere/at/all.db"), 2, "does its folder exist"),
        (("--store", "plan.yaml"), 2, "no store"),
        (("--every", "5 sheep"), 2, "is not a duration"),
        (("--every", "5m", "--out", "x.json"), 2, "--out"),
        (("--out", "x.html"), 2, "this is written as text or json"),
        (("--on-change", "'"), 2, "--on-change"),
        (("--on-change", "no-such-command --now"), 2, "there is no command 'no-such-command'"),
        (("--lines", "."), 2, "is a folder; name a file"),
        (("--lines", "nowhere/told.jsonl"), 2, "cannot be written"),
        (("--page", "nowhere/page"), 2, "cannot be written"),
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
    end_s = time.time() + 3 * patience()
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
    assert (change["subject"]["name"], change["after"]) == ("harbour-switch", "impaired")
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
    running = PlantedFault(kind="counters-running", device="harbour-switch")
    at.sweep()
    at.network.put(running)
    try:
        for _ in range(2):
            at.sweep()
    finally:
        at.network.take_off(running)
    (added,) = at.rows("SELECT sum(in_added) + sum(out_added) FROM port_errors")
    assert added[0] > 0
