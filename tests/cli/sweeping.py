"""A small simulated network, and the `sweep` command run against it as a process of its own."""

from __future__ import annotations

import dataclasses
import json
import random
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.command import clean_environment, command
from verifier.cli.demo import network_of as coast
from verifier.files.credentials import load_credentials
from verifier.files.read_plan import read_plan
from verifier.files.read_profile import load_profiles
from verifier.simulator.coast import write_files as write_coast
from verifier.simulator.faults import PlantedFault
from verifier.simulator.running import Remote, running_process

SUBJECTS = ("lighthouse-quarry", "quarry-lighthouse", "harbour-switch")
SLOW_PORT = PlantedFault(kind="port-slow", device="harbour-switch", port="port1", value=10)
PLAN = """\
network: {name: Harbour ring, revision: "3", example: true}
sites: [{name: Lighthouse}, {name: Quarry}, {name: Harbour}]
devices:
  - {name: lighthouse-quarry, site: Lighthouse, address: 127.83.0.11/16, snmp: bench}
  - {name: quarry-lighthouse, site: Quarry, address: 127.83.0.12/16, snmp: bench}
  - name: harbour-switch
    site: Harbour
    address: 127.83.0.13/16
    snmp: bench
    ports: [{name: port1, status: up, speed_mbps: 1000}, {name: port2, status: up}]
links:
  - {name: Hop 1, a: {device: lighthouse-quarry}, b: {device: quarry-lighthouse}}
"""
"""Two radios with a link, and a switch."""


MANY = 16
"""Devices of `PLAN_OF_MANY`: enough that none changes so often that it is called unsteady."""


def plan_of(subjects: int, ports_of_each: int = 1) -> str:
    """So many devices; each so-manieth of them has a port to be asked for."""
    port = ", ports: [{name: eth1, status: up, speed_mbps: 1000}]"
    return "network: {name: Coast, example: true}\ndevices:\n" + "".join(
        f"  - {{name: device-{n}, address: 127.87.{n // 250}.{n % 250 + 1}/16, snmp: bench"
        f"{'' if n % ports_of_each else port}}}\n"
        for n in range(subjects)
    )


PLAN_OF_MANY = plan_of(MANY)


SWEEP = ("sweep", "plan.yaml", "--credentials", "credentials.toml", "--timeout", "0.5s")


class Desk:
    """A folder with plan, credentials and store; runs the command there."""

    def __init__(self, folder: Path, network: Remote) -> None:
        self.folder = folder
        self.network = network
        self.store = folder / "plan.sweeps.db"
        self.lines = folder / "changes.jsonl"

    def argv(self, *words: str) -> list[str]:
        return [sys.executable, "-m", "verifier", *SWEEP, *words]

    def sweep(
        self, *words: str, env: dict[str, str] | None = None
    ) -> subprocess.CompletedProcess[str]:
        return command(self.folder, *SWEEP, *words, env=env, timeout_s=120)

    def start(self, *words: str, env: dict[str, str] | None = None) -> subprocess.Popen[str]:
        return subprocess.Popen(
            self.argv(*words), cwd=self.folder, env={**clean_environment(), **(env or {})},
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True,
        )  # fmt: skip

    def told(self, path: Path | None = None) -> list[dict[str, Any]]:
        path = path or self.lines
        return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """What the store holds, read by SQLite itself."""
        connection = sqlite3.connect(self.store)
        try:
            return connection.execute(query).fetchall()
        finally:
            connection.close()


def free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as trial:
        trial.bind(("", 0))
        port: int = trial.getsockname()[1]
        return port


V2C = 'version = "2c"\ncommunity = "coastal-read"\n'
V3 = (
    'version = "3"\nuser = "desk"\nauth = "SHA-256"\nauth_key = "coastal-auth"\n'
    'priv = "AES-128"\npriv_key = "coastal-priv"\n'
)


@contextmanager
def desk(folder: Path, plan: str = PLAN, access: str = V2C) -> Iterator[Desk]:
    """A desk, and the network of its plan running; `access` is how its devices are asked."""
    (folder / "plan.yaml").write_text(plan, encoding="utf-8")
    credentials = folder / "credentials.toml"
    credentials.write_text(f"[snmp.bench]\n{access}port = {free_port()}\n")
    credentials.chmod(0o600)
    read, _ = read_plan(folder / "plan.yaml")
    profiles = load_profiles({d.profile for d in read.devices})
    with running_process(read, profiles, load_credentials({"bench"}, credentials, {})) as network:
        yield Desk(folder, network)


@contextmanager
def coastal(folder: Path) -> Iterator[Desk]:
    """A desk at the coastal network of `demo`: radios with levels, SNMPv3, a profile of their own."""
    write_coast(folder, free_port())
    with coast(folder) as network:
        yield Desk(folder, network)


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


def line_of(process: subprocess.Popen[str]) -> str:
    """The next line that a running sweep prints."""
    assert process.stdout is not None
    return process.stdout.readline()


def finish(process: subprocess.Popen[str], number: int) -> tuple[str, str]:
    """Sends a signal; returns what was printed. The exit code must be 0."""
    process.send_signal(number)
    out, err = process.communicate(timeout=30)
    assert process.returncode == 0, out + err
    return out, err


def kill_again_and_again(at: Desk, kills: int, seed: int) -> dict[str, int]:
    """Kills a series of sweeps at random moments, with changes all the while; then looks closely.

    Asserts that the store is sound, that every sweep that was said to be stored is, that every change
    was told once by a command and once in a file of lines, and that each change begins where the
    device's last one ended. Returns what there was of it.
    """
    chance, said = random.Random(seed), set()
    by_command, broken = at.folder / "command.jsonl", set[int]()
    words = (
        "--confirm", "1", "--lines", str(at.lines), "--on-change", f"tee -a {by_command}"
    )  # fmt: skip
    assert at.sweep(*words).returncode == 0
    for n in range(kills):
        subject = n % MANY
        fault = dataclasses.replace(SLOW_PORT, device=f"device-{subject}", port="eth1")
        process, out = at.start("--every", "0.2s", *words), ""
        (at.network.take_off if subject in broken else at.network.put)(fault)
        broken ^= {subject}
        if chance.random() < 0.75:
            out = line_of(process)  # started up
        time.sleep(chance.uniform(0.0, 0.9))
        process.send_signal(signal.SIGKILL)
        out += process.communicate()[0]
        said |= {int(line.split("sweep ")[1].split(":")[0]) for line in out.splitlines(keepends=True)
                 if " sweep " in line and line.endswith("\n")}  # fmt: skip
    for subject in broken:
        at.network.take_off(dataclasses.replace(SLOW_PORT, device=f"device-{subject}", port="eth1"))
    for _ in range(2):
        done = at.sweep(*words)
        assert done.returncode == 0, done.stdout + done.stderr
    assert at.rows("PRAGMA integrity_check") == [("ok",)]
    assert at.rows("PRAGMA foreign_key_check") == []
    stored = {number for (number,) in at.rows("SELECT id FROM sweep")}
    assert said <= stored, f"said to be stored and is not: {said - stored}"
    per_sweep = at.rows("SELECT count(*) FROM sweep LEFT JOIN reading ON sweep_id = sweep.id "
                        "GROUP BY sweep.id")  # fmt: skip
    assert set(per_sweep) == {(MANY,)}, "a sweep is stored with all its devices"
    messages = [
        json.loads(body)["id"] for (body,) in at.rows("SELECT body FROM message ORDER BY id")
    ]
    for path in (at.lines, by_command):
        assert [document["id"] for document in at.told(path)] == messages
    assert at.rows("SELECT count(*) FROM delivery WHERE delivered_s IS NULL") == [(0,)]
    _follow_on(at)
    return {"kills": kills, "sweeps": len(stored), "said": len(said), "told": len(messages)}


def _follow_on(at: Desk) -> None:
    """Each change of a device begins with the state that the one before ended with; each was told."""
    changes = at.rows("SELECT subject_id, before, after FROM change ORDER BY id")
    state: dict[int, str | None] = {}
    for subject, before, after in changes:
        # A device that was not sound when it was first seen comes from `untested`.
        first = {"untested", None} if subject not in state else set()
        assert before in first | {state.get(subject)}
        state[subject] = after
    told = [change for document in at.told() for change in document["changes"]]
    assert len(told) == sum(before is not None for _, before, _ in changes)
