"""A command in a folder of its own, with a plan and credentials."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from tests.command import command
from tests.ports import free_port

Run = Callable[..., "subprocess.CompletedProcess[str]"]

PLAN = """\
network: {name: Bench, revision: "2", example: true}
devices:
  - name: lighthouse-quarry
    address: 127.81.0.11/8
    snmp: bench
  - name: quarry-lighthouse
    address: 127.81.0.12/8
    services: {open: [9/tcp]}
links:
  - {name: Hop 1, a: {device: lighthouse-quarry}, b: {device: quarry-lighthouse}}
"""
"""Two devices on the loopback range, at ports where nothing listens."""


NOBODY_LISTENS = free_port()
"""The port of the credentials."""


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Runs `plan-verifier` with these words in a folder of its own; returns what became of it."""
    return partial(command, tmp_path)


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    """A plan of two devices."""
    path = tmp_path / "plan.yaml"
    path.write_text(PLAN, encoding="utf-8")
    return path


@pytest.fixture
def credentials(tmp_path: Path) -> Path:
    """Credentials for its entry, asked at a port where nothing listens."""
    path = tmp_path / "credentials.toml"
    path.write_text(
        f'[snmp.bench]\nversion = "2c"\ncommunity = "coastal-read"\nport = {NOBODY_LISTENS}\n'
    )
    path.chmod(0o600)
    return path
