"""Services and commands for the operations desk are right as they stand in their pages."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import click
import pytest

from verifier.cli.sweep import sweep

FOLDER = Path(__file__).parent.parent.parent / "verifier/explain"
SECTION = "".join((FOLDER / f"{page}.md").read_text("utf-8") for page in ("sweep", "desk"))
PROGRAM = "/opt/plan-verifier/bin/plan-verifier"
NAMES = ("plan-verifier.service", "plan-verifier-sweep.service", "plan-verifier-sweep.timer")


def blocks(language: str) -> list[str]:
    found = re.findall(r"^```(\w*)\n(.*?)^```$", SECTION, re.MULTILINE | re.DOTALL)
    return [block for kind, block in found if kind == language]


@pytest.mark.systemd
def test_systemd_finds_nothing_wrong(tmp_path: Path) -> None:
    """`systemd-analyze verify` of the three units, with the program where it is on this machine."""
    here = Path(sys.executable).with_name("plan-verifier")
    assert len(blocks("ini")) == len(NAMES)
    for name, block in zip(NAMES, blocks("ini"), strict=True):
        (tmp_path / name).write_text(block.replace(PROGRAM, str(here)))
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", *(str(tmp_path / name) for name in NAMES)],
        capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    ours = [line for line in done.stderr.splitlines() if "plan-verifier" in line]
    assert ours == []
    assert done.returncode == 0, done.stderr


@pytest.mark.systemd
def test_systemd_would_find_what_is_wrong(tmp_path: Path) -> None:
    """A device with a wrong line and a program that is not there is complained about."""
    path = tmp_path / NAMES[0]
    path.write_text(blocks("ini")[0].replace("RestartSec=10s", "RestartSec=ten"))
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(path)],
        capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert done.returncode != 0
    assert "Failed to parse" in done.stderr
    assert PROGRAM in done.stderr


def commands() -> list[str]:
    text = "\n".join((*blocks(""), *blocks("ini"), *blocks("crontab")))
    return re.findall(r"plan-verifier sweep .*", text)


@pytest.mark.parametrize("line", commands())
def test_commands_have_only_options_there_are(line: str) -> None:
    """Each is parsed as the command line would be; nothing is run."""
    _, _, *words = shlex.split(line)
    context = sweep.make_context("sweep", list(words))
    assert isinstance(context, click.Context)
    (plan,) = context.params["path"]
    assert plan.endswith("plan.yaml")


def test_there_is_one_of_each() -> None:
    assert len(commands()) == 7
    (line,) = blocks("crontab")
    assert re.match(r"(\*/5)( \*){4} /opt/", line)
