"""`readdress --guide` on the bench: a process in the laptop, a person who types, devices that behave."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol, Self

from tests.lab.bench import FIELD, Bench

LONGEST_S = 60.0
OLD, NEW = "192.0.2.20/24", "198.18.20.11/24"
PLAN = """\
network: {name: Harbour ring, revision: "3", example: true}
management: {laptop: 198.18.20.250/24}
devices:
  - {name: lighthouse-quarry, address: 198.18.20.11/24, present_address: 192.0.2.20/24, profile: quick, snmp: field}
  - {name: quarry-lighthouse, address: 198.18.20.12/24, profile: quick, snmp: field}
"""
LAPTOP_FREE = "eth0@"


class Place(Protocol):
    """Where a guide runs: a folder with its files, and a namespace called `laptop`."""

    @property
    def folder(self) -> Path: ...

    def inside(self, name: str, *argv: str) -> list[str]: ...


def ready(bench: Bench, plan: str = PLAN, boot_s: float = 3) -> None:
    """Files of the guide, nothing left of an earlier one, both devices up and right."""
    folder = bench.folder
    profile = f'id = "quick"\nboot_s = {boot_s}\n'
    (folder / "profiles" / "quick.toml").write_text(profile, encoding="utf-8")
    (folder / "guide.yaml").write_text(plan, encoding="utf-8")
    journal(bench).unlink(missing_ok=True)
    for name in ("device", "other"):
        bench.ip(name, "link set eth0 up")
    bench.prepare(device=[OLD], laptop=[])


def journal(bench: Bench) -> Path:
    return bench.folder / "guide.readdress.jsonl"


def records(bench: Bench) -> list[dict[str, Any]]:
    return [json.loads(line) for line in journal(bench).read_text().splitlines()]


def change(bench: Bench, *addresses: str, name: str = "device") -> None:
    """Gives a device these addresses in place of all it has."""
    lines = [f"address add {a} dev eth0{' nodad' * (':' in a)}" for a in addresses]
    bench.ip(name, "address flush dev eth0 scope global", *lines)


def argv(bench: Place, *options: str) -> list[str]:
    files = ("--credentials", "credentials.toml", "--profiles", "profiles")
    tool = (sys.executable, "-m", "verifier", "readdress", "guide.yaml", "--guide", *files)
    return bench.inside("laptop", *tool, *options)


def environment(bench: Place) -> dict[str, str]:
    return {**os.environ, "XDG_STATE_HOME": str(bench.folder / "state")}


class Guided:
    """A running guide with plain pipes; a context manager that ends it."""

    def __init__(self, bench: Place, *options: str, before: tuple[str, ...] = ()) -> None:
        line = argv(bench, *options)
        self.process = subprocess.Popen(
            [*line[:4], *before, *line[4:]],
            cwd=bench.folder,
            env=environment(bench),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.shown = ""
        self._read = 0
        self._news = threading.Condition()
        self._reader = threading.Thread(target=self._listen, daemon=True)
        self._reader.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        if self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(20)
            except subprocess.TimeoutExpired:
                self.process.kill()
        self._reader.join(10)
        for stream in (self.process.stdin, self.process.stdout):
            if stream is not None:
                stream.close()

    def _listen(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            with self._news:
                self.shown += line
                self._news.notify_all()

    @property
    def told(self) -> str:
        """Everything shown, without the line breaks."""
        return " ".join(self.shown.split())

    def wait_for(self, words: str) -> None:
        """Returns when these words come after what was waited for before."""
        ends_s = time.monotonic() + LONGEST_S
        with self._news:
            while (at := self.shown.find(words, self._read)) < 0:
                assert time.monotonic() < ends_s, f"not shown: {words}\n{self.shown}"
                assert self.process.poll() is None or self._reader.is_alive(), self.shown
                self._news.wait(0.2)
            self._read = at + len(words)

    def type(self, line: str = "") -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()

    def kill(self, number: int = signal.SIGINT) -> None:
        self.process.send_signal(number)

    def end(self) -> int:
        """Waits for its end; the exit code."""
        code = self.process.wait(LONGEST_S)
        self._reader.join(10)
        assert FIELD["community"] not in self.shown
        assert "Traceback" not in self.shown
        return code


Act = Callable[[Bench, Guided], None]
