"""`sweep --page` against simulated devices: the file, who may read it, what happens when it fails."""

from __future__ import annotations

import random
import re
import shutil
import signal
import stat
import threading
import time

import pytest

from tests.cli.sweeping import SLOW_PORT, Desk, at, line_of, shared

__all__ = ["at", "shared"]
pytestmark = pytest.mark.icmp
SECRETS = ("coastal-read", "plan.sweeps.db", "bearer-of-nothing")


def finish(at: Desk, *words: str, sweeps: int = 1) -> str:
    """A series of so many sweeps, ended by SIGTERM; what it said on its standard error."""
    process = at.start(*words)
    for _ in range(sweeps):
        assert " sweep " in line_of(process)
    process.send_signal(signal.SIGTERM)
    _, said = process.communicate(timeout=30)
    assert process.returncode == 0, said
    return said


def test_one_sweep_writes_a_page_that_stands_still(at: Desk) -> None:
    """The folder is made; all may read it; nothing else is in it; no secret is on the page."""
    env = {"PLAN_VERIFIER_WEBHOOK_TOKEN": "bearer-of-nothing"}
    (at.folder / "desk").mkdir()
    done = at.sweep("--page", "desk/page", env=env)
    assert (done.returncode, done.stderr) == (0, "")
    page = at.folder / "desk" / "page" / "index.html"
    assert [p.name for p in page.parent.iterdir()] == ["index.html"]
    assert stat.S_IMODE(page.stat().st_mode) == 0o644
    assert stat.S_IMODE(page.parent.stat().st_mode) == 0o755
    text = page.read_text("utf-8")
    assert "status by sweep 1<" in text
    assert 'http-equiv="refresh"' not in text
    assert [word for word in SECRETS if word in text] == []


def test_each_sweep_replaces_it(at: Desk) -> None:
    """A change is pending after one sweep and counts after two; then the page begins with it."""
    words = ("--page", "page")
    page = at.folder / "page" / "index.html"
    at.sweep(*words)
    at.network.put(SLOW_PORT)
    try:
        at.sweep(*words)
        once = page.read_text("utf-8")
        at.sweep(*words)
    finally:
        at.network.take_off(SLOW_PORT)
    twice = page.read_text("utf-8")
    assert "seen impaired once, counts when seen again" in once
    assert "Nothing in this sweep." in once
    changed = twice[twice.index('id="changed"') : twice.index('id="roots"')]
    assert re.search(r"<bdi>harbour-switch</bdi>.*?impaired", changed, re.DOTALL)
    assert "port1: slower than planned" in changed


def test_the_page_of_a_series_looks_for_the_next(at: Desk) -> None:
    finish(at, "--page", "page", "--every", "0.5s", sweeps=2)
    text = (at.folder / "page" / "index.html").read_text("utf-8")
    assert '<meta http-equiv="refresh" content="5">' in text
    assert "the next one is due at" in text


def test_who_reads_meanwhile_sees_a_whole_page(at: Desk) -> None:
    """Thousands of times while sweeps replace it: never a part, never nothing, several pages."""
    page, seen, torn = at.folder / "page" / "index.html", set[str](), list[str]()
    at.sweep("--page", "page")
    ended = threading.Event()

    def read() -> None:
        while not ended.is_set():
            text = page.read_text("utf-8")
            if text.startswith("<!doctype html>") and text.rstrip().endswith("</html>"):
                seen.add(text)
            else:
                torn.append(text)

    reader = threading.Thread(target=read)
    reader.start()
    try:
        finish(at, "--page", "page", "--every", "0.2s", sweeps=6)
    finally:
        ended.set()
        reader.join()
    assert torn == []
    assert len(seen) >= 4


def test_a_page_that_cannot_be_written_is_said_and_the_sweeps_go_on(at: Desk) -> None:
    """One line a sweep; once it can be written again, it is."""
    process = at.start("--page", "page", "--every", "0.4s")
    assert " sweep 1: " in line_of(process)
    folder = at.folder / "page"
    shutil.rmtree(folder)
    folder.write_text("in the way")
    for _ in range(3):
        assert " sweep " in line_of(process)
    folder.unlink()
    folder.mkdir()
    until_s = time.monotonic() + 60
    while not (folder / "index.html").exists():
        assert time.monotonic() < until_s
        line_of(process)
    process.send_signal(signal.SIGTERM)
    _, said = process.communicate(timeout=30)
    assert process.returncode == 0
    lines = [line for line in said.splitlines() if "left out" not in line]
    assert len(lines) >= 2
    assert {line.rpartition(": ")[0] for line in lines} == {
        "plan-verifier: page/index.html cannot be written"
    }


def test_nothing_half_written_stays_after_kills(at: Desk) -> None:
    """Killed at random moments; the page is whole all the while, and the next sweep clears up."""
    chance, page = random.Random(7), at.folder / "page" / "index.html"
    at.sweep("--page", "page")
    for _ in range(5):
        process = at.start("--page", "page", "--every", "0.1s")
        line_of(process)
        time.sleep(chance.uniform(0.0, 0.4))
        process.kill()
        process.communicate()
        assert page.read_text("utf-8").rstrip().endswith("</html>")
    (page.parent / ".new-index.html-left").write_text("<!doctype html><p>ha")
    assert at.sweep("--page", "page").returncode == 0
    assert [p.name for p in page.parent.iterdir()] == ["index.html"]


def test_a_page_of_some_devices(at: Desk) -> None:
    """With a filter the rest of the plan is there and said not to be in this sweep."""
    assert at.sweep("--page", "page", "--device", "harbour-switch").returncode == 0
    text = (at.folder / "page" / "index.html").read_text("utf-8")
    assert "1 device and 0 links swept" in text
    assert text.count("nothing in this sweep") >= 2
