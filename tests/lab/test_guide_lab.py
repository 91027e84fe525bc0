"""The guide with real devices, right and misbehaving, and with a person at a pipe or a terminal.

Scenes and stories wait most of their time, so they are played on several benches at once; each test
looks at what came of its own.
"""

from __future__ import annotations

import json
import os
import shlex
import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from functools import partial
from queue import Queue
from typing import Any, Self

import pytest

from tests.lab.bench import DEVICE_MAC, FIELD, Bench
from tests.lab.guide_afar import OPTIONS, afar
from tests.lab.guide_scenes import SCENES, play
from tests.lab.guided import (
    NEW,
    OLD,
    PLAN,
    Guided,
    argv,
    change,
    environment,
    journal,
    ready,
    records,
)
from tests.lab.shell import command

pytestmark = pytest.mark.lab

BENCHES = 10
DONE = "Enter when it is done"


def ours(bench: Bench) -> list[str]:
    """The laptop's addresses of the runbook."""
    return [a for a in bench.addresses("laptop").split() if a.startswith(("192.0.2.", "198.18."))]


def story_plain_pipe_from_first_to_last_line(bench: Bench) -> None:
    """A line is Enter; the laptop is set by the person; a fault is told, mended, looked at again."""
    with Guided(bench) as guided:
        guided.wait_for("ip address add 192.0.2.254/24 dev INTERFACE")
        guided.wait_for("this laptop does not hold 192.0.2.254/24, 198.18.20.250/24")
        guided.type()
        guided.wait_for("this laptop does not hold 192.0.2.254/24, 198.18.20.250/24")
        bench.ip(
            "laptop", "address add 192.0.2.254/24 dev eth0", "address add 198.18.20.250/24 dev eth0"
        )
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


def story_after_a_fault_it_ends_with_one(bench: Bench, typed: str) -> None:
    with Guided(bench, "--set-laptop") as guided:
        guided.wait_for(DONE)
        guided.type()
        guided.wait_for("Enter looks again")
        assert guided.process.stdin is not None
        guided.process.stdin.write(typed)
        guided.process.stdin.close()
        assert guided.end() == 1
    assert "the change was not applied or not saved" in guided.told
    assert ours(bench) == []


def story_input_that_ends_early_leaves_it_to_be_resumed(bench: Bench) -> None:
    """Nothing failed, not everything was tested."""
    with Guided(bench, "--set-laptop") as guided:
        guided.wait_for(DONE)
        assert guided.process.stdin is not None
        guided.process.stdin.close()
        assert guided.end() == 3
    assert "The input ended" in guided.shown
    assert ours(bench) == []


def story_interrupted_and_resumed(bench: Bench, number: int) -> None:
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


def story_resume_does_not_trust_the_journal(bench: Bench) -> None:
    """A device that the journal says is done, and that is back at its old address, is done again."""
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


def story_laptop_that_moved_is_asked_anew(bench: Bench) -> None:
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
        bench.ip(
            "laptop", "address add 192.0.2.254/24 dev eth0", "address add 198.18.20.250/24 dev eth0"
        )
        guided.type()
        guided.wait_for(DONE)
        change(bench, NEW)
        guided.type()
        assert guided.end() == 0, guided.shown
    assert [json.loads(line) for line in journal(bench).read_text().splitlines()]


def story_another_plan_is_not_resumed(bench: Bench) -> None:
    with Guided(bench, "--set-laptop") as guided:
        guided.wait_for(DONE)
        guided.kill()
        guided.end()
    plan = bench.folder / "guide.yaml"
    plan.write_text(PLAN.replace("198.18.20.11/24", "198.18.20.31/24"))
    with Guided(bench, "--resume") as guided:
        assert guided.end() == 4
    assert "another runbook now" in guided.told


def story_without_permission_nothing_is_claimed(bench: Bench) -> None:
    """An ordinary user cannot ask the cable: the old address's silence is not tested; exit code 3."""
    command(*bench.inside("laptop", "sysctl", "-qw", "net.ipv4.ping_group_range=0 2147483647"))
    folders = (bench.folder, *(p for p in bench.folder.rglob("*") if p.is_dir()))
    for folder in folders:
        folder.chmod(0o777)
    secret = bench.folder / "credentials.toml"
    os.chown(secret, 65534, 65534)
    nobody = ("setpriv", "--reuid", "65534", "--regid", "65534", "--clear-groups")
    try:
        with Guided(bench, "--laptop-addresses", "one", before=nobody) as guided:
            guided.wait_for("does not hold 192.0.2.254/24")
            change(bench, "192.0.2.254/24", name="laptop")
            guided.type()
            guided.wait_for(DONE)
            change(bench, NEW)
            guided.type()
            guided.wait_for("does not hold 198.18.20.250/24")
            change(bench, "198.18.20.250/24", name="laptop")
            guided.type()
            assert guided.end() == 3, guided.shown
    finally:
        os.chown(secret, 0, 0)
    assert "the right device, by its name (SNMP)" in guided.told
    assert "not tested: whether 192.0.2.20 is silent: it cannot be asked from here" in guided.told
    assert "CAP_NET_RAW" in guided.told


def story_set_laptop_without_permission(bench: Bench) -> None:
    """Said in one line; nothing is set, and the guide can be resumed."""
    for folder in (bench.folder, *(p for p in bench.folder.rglob("*") if p.is_dir())):
        folder.chmod(0o777)
    nobody = ("setpriv", "--reuid", "65534", "--regid", "65534", "--clear-groups")
    secret = bench.folder / "credentials.toml"
    os.chown(secret, 65534, 65534)
    try:
        with Guided(bench, "--set-laptop", before=nobody) as guided:
            assert guided.end() == 3, guided.shown
    finally:
        os.chown(secret, 0, 0)
    assert "no permission: run it as root" in guided.told
    assert ours(bench) == []
    assert records(bench)[-1]["result"] == "failed"


class Tmux:
    """The guide in a terminal of 100 columns; what is on the screen can be read."""

    def __init__(self, bench: Bench, *options: str) -> None:
        self._socket = str(bench.folder / "tmux")
        line = shlex.join(
            [
                "env",
                f"XDG_STATE_HOME={environment(bench)['XDG_STATE_HOME']}",
                *argv(bench, *options),
            ]
        )
        path = environment(bench).get("PYTHONPATH", "")
        shell = f"export PYTHONPATH={shlex.quote(path)}; {line}; echo exit $?; sleep 60"
        self._run(
            "-f",
            "/dev/null",
            "new-session",
            "-d",
            "-x",
            "100",
            "-y",
            "45",
            "-c",
            str(bench.folder),
            shell,
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self._run("kill-server")

    def _run(self, *words: str) -> str:
        done = subprocess.run(
            ["tmux", "-S", self._socket, *words], capture_output=True, text=True, check=True
        )
        return done.stdout

    def screen(self) -> str:
        return self._run("capture-pane", "-p")

    def keys(self, *keys: str) -> None:
        self._run("send-keys", *keys)

    def wait_for(self, words: str) -> str:
        ends_s = time.monotonic() + 60
        while words not in (shown := self.screen()):
            assert time.monotonic() < ends_s, f"not on the screen: {words}\n{shown}"
            time.sleep(0.1)
        return shown


def story_terminal_keys_and_screen(bench: Bench) -> None:
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
        assert (
            f"OK: 198.18.20.11 answers (lighthouse-quarry, {DEVICE_MAC}), 192.0.2.20 silent"
            in shown
        )
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


def story_from_afar(bench: Bench) -> None:
    """Far end first; the name tells who answers, and the old address is asked by echo."""
    del bench  # it has no router
    with afar() as far, Guided(far, "--auto", "--wait", "20s", *OPTIONS) as guided:
        guided.wait_for("not changed yet; 198.18.30.12 silent")
        far.address(far.names["b"], ["198.18.30.12/24"], "198.18.30.1")
        guided.wait_for("behind it hang")
        guided.wait_for("not changed yet; 198.18.30.11 silent")
        far.address(far.names["a"], ["198.18.30.11/24"], "198.18.30.1")
        assert guided.end() == 0, guided.shown
    assert "OK: 198.18.30.12 answers (b), 198.18.20.12 silent" in guided.told
    assert "OK: 198.18.30.11 answers (a), 198.18.20.11 silent" in guided.told
    assert "the right device, by its name (SNMP)" in guided.told


STORIES: dict[str, Callable[[Bench], None]] = {
    "from afar": story_from_afar,
    "terminal: keys and screen": story_terminal_keys_and_screen,
    "pipe: from first to last line": story_plain_pipe_from_first_to_last_line,
    "pipe: q after a fault": partial(story_after_a_fault_it_ends_with_one, typed="q\n"),
    "pipe: end of input after a fault": partial(story_after_a_fault_it_ends_with_one, typed=""),
    "pipe: end of input before the end": story_input_that_ends_early_leaves_it_to_be_resumed,
    **{f"interrupted by {n.name}": partial(story_interrupted_and_resumed, number=n)
       for n in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGKILL)},
    "resume: the device is back": story_resume_does_not_trust_the_journal,
    "resume: the laptop moved": story_laptop_that_moved_is_asked_anew,
    "resume: another plan": story_another_plan_is_not_resumed,
    "ordinary user": story_without_permission_nothing_is_claimed,
    "ordinary user with --set-laptop": story_set_laptop_without_permission,
}  # fmt: skip


def on_a_bench(benches: Queue[Bench], what: Callable[[Bench], Any]) -> Any:
    bench = benches.get()
    try:
        for name, called in (("device", "lighthouse-quarry"), ("other", "quarry-lighthouse")):
            if not bench.has_agent(name):
                bench.agent(name, called)
        ready(bench, boot_s=2)
        return what(bench)
    finally:
        benches.put(bench)


@pytest.fixture(scope="module")
def played(request: pytest.FixtureRequest) -> Iterator[Callable[[str], Any]]:
    """Plays what was chosen, the longest first; gives what came of each."""
    chosen = {i.callspec.params["name"] for i in request.session.items
              if isinstance(i, pytest.Function) and i.module is request.module and hasattr(i, "callspec")}  # fmt: skip
    everything: dict[str, Callable[[Bench], Any]] = {
        **STORIES, **{name: partial(play, scene) for name, scene in SCENES.items()}
    }  # fmt: skip
    benches: Queue[Bench] = Queue()
    with ExitStack() as built:
        for _ in range(min(BENCHES, len(chosen))):
            benches.put(built.enter_context(Bench()))
        pool = built.enter_context(ThreadPoolExecutor(BENCHES))
        futures: dict[str, Future[Any]] = {
            name: pool.submit(on_a_bench, benches, what)
            for name, what in everything.items() if name in chosen
        }  # fmt: skip
        yield lambda name: futures[name].result()


@pytest.mark.parametrize("name", SCENES)
def test_scene(played: Callable[[str], Any], name: str) -> None:
    """What the device does is seen, named and explained; the laptop is as it was, the journal whole."""
    scene, done = SCENES[name], played(name)
    for words in scene.words:
        assert words in done.told, done.told
    assert done.code == scene.code, done.told
    last = [r for r in done.records if r["record"] == "step"][-1]
    assert (last["result"], last.get("kind")) == (
        ("failed", scene.kind) if scene.kind else ("done", "right")
    )
    assert done.records[-1]["record"] == "end"
    assert done.records[-1]["result"] == ("failed" if scene.kind else "done")
    assert "192.0.2" not in done.laptop
    assert "198.18" not in done.laptop


@pytest.mark.tmux
@pytest.mark.parametrize("name", STORIES)
def test_story(played: Callable[[str], Any], name: str) -> None:
    """See each story."""
    played(name)
