"""The guide with a person: plain lines in a pipe, keys and screen of a terminal, interrupts."""

from __future__ import annotations

import json
import os
import shlex
import signal
import subprocess
import time
from collections.abc import Iterator

import pytest

from tests.lab.bench import FIELD, UNIT, Bench
from tests.lab.guided import NEW, OLD, PLAN, Guided, argv, change, environment, journal, ready, records
from tests.lab.shell import command

pytestmark = pytest.mark.lab

DONE = "Enter when it is done"


@pytest.fixture(scope="module")
def built() -> Iterator[Bench]:
    with Bench() as bench:
        bench.agent("unit", "lighthouse-quarry")
        yield bench


@pytest.fixture
def bench(built: Bench) -> Bench:
    ready(built, boot_s=2)
    return built


def ours(bench: Bench) -> list[str]:
    """The laptop's addresses of the runbook."""
    return [a for a in bench.addresses("laptop").split() if a.startswith(("192.0.2.", "198.18."))]


def test_plain_pipe_from_first_to_last_line(bench: Bench) -> None:
    """A line is Enter; the laptop is set by the person; a fault is told, mended, looked at again."""
    with Guided(bench) as guided:
        guided.wait_for("ip address add 192.0.2.254/24 dev INTERFACE")
        guided.wait_for("this laptop does not hold 192.0.2.254/24, 198.18.20.250/24")
        guided.type()
        guided.wait_for("this laptop does not hold 192.0.2.254/24, 198.18.20.250/24")
        bench.ip("laptop", "address add 192.0.2.254/24 dev eth0", "address add 198.18.20.250/24 dev eth0")
        guided.type()
        guided.wait_for(DONE)
        change(bench, OLD, NEW)
        guided.type()
        guided.wait_for("FAIL  both-answer")
        guided.wait_for("Enter looks again, q ends here")
        change(bench, NEW)
        guided.type()
        assert guided.end() == 0, guided.shown
    assert "\x1b" not in guided.shown
    assert guided.shown.isascii()
    assert all(len(line) <= 100 for line in guided.shown.splitlines())
    assert "Done: all 3 steps." in guided.shown
    assert sorted(ours(bench)) == ["192.0.2.254/24", "198.18.20.250/24"]
    results = [(r["n"], r["result"]) for r in records(bench) if r["record"] == "step"]
    assert results == [(1, "done"), (2, "told"), (2, "done"), (3, "failed"), (3, "done")]
    assert FIELD["community"] not in journal(bench).read_text()


@pytest.mark.parametrize(("typed", "code"), [("q\n", 1), ("", 1)], ids=["q", "end of input"])
def test_after_a_fault_it_ends_with_one(bench: Bench, typed: str, code: int) -> None:
    with Guided(bench, "--set-laptop") as guided:
        guided.wait_for(DONE)
        guided.type()
        guided.wait_for("Enter looks again")
        assert guided.process.stdin is not None
        guided.process.stdin.write(typed)
        guided.process.stdin.close()
        assert guided.end() == code
    assert "the change was not applied or not saved" in guided.told
    assert ours(bench) == []


def test_input_that_ends_early_leaves_it_to_be_resumed(bench: Bench) -> None:
    """Nothing failed, not everything was tested."""
    with Guided(bench, "--set-laptop") as guided:
        guided.wait_for(DONE)
        assert guided.process.stdin is not None
        guided.process.stdin.close()
        assert guided.end() == 3
    assert "The input ended" in guided.shown
    assert ours(bench) == []


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGKILL])
def test_interrupted_and_resumed(bench: Bench, number: int) -> None:
    """130 with the journal kept and the laptop as it was; the change made meanwhile is seen."""
    with Guided(bench, "--set-laptop") as guided:
        guided.wait_for(DONE)
        assert len(ours(bench)) == 2
        guided.kill(number)
        assert guided.end() == (130 if number != signal.SIGKILL else -9)
    assert len(ours(bench)) == (0 if number != signal.SIGKILL else 2)
    change(bench, NEW)
    with Guided(bench) as refused:
        assert refused.end() == 2
    assert "go on with --resume" in refused.told
    with Guided(bench, "--set-laptop", "--resume", "--auto") as guided:
        assert guided.end() == 0, guided.shown
    assert "done already: 198.18.20.11 answers" in guided.told
    assert ("an earlier run was ended" in guided.told) == (number == signal.SIGKILL)
    assert ours(bench) == []
    assert [r["record"] for r in records(bench)].count("resume") == 1


def test_resume_does_not_trust_the_journal(bench: Bench) -> None:
    """A unit that the journal says is done, and that is back at its old address, is done again."""
    with Guided(bench, "--set-laptop") as guided:
        guided.wait_for(DONE)
        change(bench, NEW)
        guided.type()
        guided.wait_for("CONFIRM")
        guided.wait_for("198.18.20.11 answers")
        guided.kill()
        assert guided.end() == 130
    change(bench, OLD)
    with Guided(bench, "--set-laptop", "--resume") as guided:
        guided.wait_for("lighthouse-quarry is at 192.0.2.20 again")
        guided.wait_for(DONE)
        change(bench, NEW)
        guided.type()
        assert guided.end() == 0, guided.shown


def test_laptop_that_moved_is_asked_anew(bench: Bench) -> None:
    """Resumed without the address it had, the laptop's step is said again; a torn line is no harm."""
    with Guided(bench, "--set-laptop") as guided:
        guided.wait_for(DONE)
        guided.kill()
        guided.end()
    with journal(bench).open("a") as file:
        file.write('{"record": "step", "n": 2, "resu')
    with Guided(bench, "--resume") as guided:
        guided.wait_for("This laptop now: no address")
        guided.wait_for("this laptop does not hold 192.0.2.254/24, 198.18.20.250/24")
        bench.ip("laptop", "address add 192.0.2.7/24 dev eth0")
        guided.type()
        guided.wait_for("this laptop does not hold 192.0.2.254/24, 198.18.20.250/24")
        bench.ip("laptop", "address add 192.0.2.254/24 dev eth0", "address add 198.18.20.250/24 dev eth0")
        guided.type()
        guided.wait_for(DONE)
        change(bench, NEW)
        guided.type()
        assert guided.end() == 0, guided.shown
    assert [json.loads(line) for line in journal(bench).read_text().splitlines()]


def test_another_plan_is_not_resumed(bench: Bench) -> None:
    with Guided(bench, "--set-laptop") as guided:
        guided.wait_for(DONE)
        guided.kill()
        guided.end()
    plan = bench.folder / "guide.yaml"
    plan.write_text(PLAN.replace("198.18.20.11/24", "198.18.20.31/24"))
    with Guided(bench, "--resume") as guided:
        assert guided.end() == 4
    assert "another runbook now" in guided.told


def test_without_permission_nothing_is_claimed(bench: Bench) -> None:
    """An ordinary user cannot ask the cable: the silence of the old address is not tested."""
    command(*bench.inside("laptop", "sysctl", "-qw", "net.ipv4.ping_group_range=0 2147483647"))
    bench.ip("laptop", "address add 198.18.20.250/24 dev eth0")
    for path in (bench.folder, *bench.folder.rglob("*")):
        path.chmod(0o777 if path.is_dir() else 0o644)
    (bench.folder / "credentials.toml").chmod(0o600)
    os.chown(bench.folder / "credentials.toml", 65534, 65534)
    change(bench, NEW)
    nobody = ("setpriv", "--reuid", "65534", "--regid", "65534", "--clear-groups")
    moved = ("--laptop", "198.18.20.250/24", "--change", "lighthouse-quarry=198.18.20.12/24", "--done", "quarry-lighthouse")
    del moved
    with Guided(bench, "--auto", "--laptop", "198.18.20.250/24@eth0", "--laptop-addresses", "one", "--wait", "1s", before=nobody) as guided:
        code = guided.end()
    os.chown(bench.folder / "credentials.toml", 0, 0)
    assert code == 1
    assert "this laptop does not hold" in guided.told


class Tmux:
    """The guide in a terminal of 100 columns; what is on the screen can be read."""

    def __init__(self, bench: Bench, *options: str) -> None:
        self._socket = str(bench.folder / "tmux")
        line = shlex.join(["env", f"XDG_STATE_HOME={environment(bench)['XDG_STATE_HOME']}", *argv(bench, *options)])
        path = environment(bench).get("PYTHONPATH", "")
        shell = f"export PYTHONPATH={shlex.quote(path)}; {line}; echo exit $?; sleep 60"
        self._run("-f", "/dev/null", "new-session", "-d", "-x", "100", "-y", "45", "-c", str(bench.folder), shell)

    def __enter__(self) -> Tmux:
        return self

    def __exit__(self, *exc: object) -> None:
        self._run("kill-server")

    def _run(self, *words: str) -> str:
        done = subprocess.run(["tmux", "-S", self._socket, *words], capture_output=True, text=True, check=True)
        return done.stdout

    def screen(self) -> str:
        return self._run("capture-pane", "-p")

    def keys(self, *keys: str) -> None:
        self._run("send-keys", *keys)

    def wait_for(self, words: str) -> str:
        ends_s = time.monotonic() + 40
        while words not in (shown := self.screen()):
            assert time.monotonic() < ends_s, f"not on the screen: {words}\n{shown}"
            time.sleep(0.1)
        return shown


@pytest.mark.tmux
def test_terminal_keys_and_screen(bench: Bench) -> None:
    """Enter goes on, what is awaited stands on one line that is written over, Ctrl-C ends it."""
    with Tmux(bench, "--set-laptop") as terminal:
        terminal.wait_for(DONE)
        change(bench, "198.18.20.99/24")
        terminal.keys("Enter")
        shown = terminal.wait_for("Enter looks again, q ends here")
        assert "FAIL  neither" in shown
        change(bench, NEW)
        terminal.keys("Enter")
        shown = terminal.wait_for("exit 0")
        assert f"OK: 198.18.20.11 answers (lighthouse-quarry, {UNIT}), 192.0.2.20 silent" in shown
        assert " of 2 s" not in shown, "the line of waiting is gone"
    ready(bench, boot_s=60)
    with Tmux(bench, "--set-laptop") as terminal:
        terminal.wait_for(DONE)
        change(bench, "198.18.20.99/24")
        terminal.keys("Enter")
        terminal.wait_for("198.18.20.11 silent, 192.0.2.20 silent; 2 of 60 s")
        shown = terminal.wait_for("198.18.20.11 silent, 192.0.2.20 silent; 4 of 60 s")
        assert shown.count("198.18.20.11 silent") == 2, "once when it was found, once while waiting"
        terminal.keys("C-c")
        terminal.wait_for("exit 130")
    assert ours(bench) == []
