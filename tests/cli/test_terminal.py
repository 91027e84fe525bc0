"""What a person at a terminal meets: a question for the secret, a bar, colour."""

from __future__ import annotations

import os
import pty
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.command import clean_environment

pytestmark = pytest.mark.icmp
LONGEST_S = 60.0


class Terminal:
    """The command on a pseudo-terminal; `wait_for` reads until some words have come."""

    def __init__(self, folder: Path, *words: str) -> None:
        self._ours, theirs = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "verifier", *words],
            cwd=folder,
            env=clean_environment(),
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            start_new_session=True,
        )
        os.close(theirs)
        self.shown = ""

    def wait_for(self, words: str | None) -> str:
        """Everything shown so far, once it holds `words`; until the end for None."""
        ends = time.monotonic() + LONGEST_S
        while words is None or words not in self.shown:
            assert time.monotonic() < ends, self.shown
            if not select.select([self._ours], [], [], 0.2)[0]:
                continue
            try:
                read = os.read(self._ours, 4096)
            except OSError:  # Linux: the other end is closed
                read = b""
            if not read:
                break
            self.shown += read.decode()
        return self.shown

    def type(self, words: str) -> None:
        os.write(self._ours, words.encode())

    def end(self) -> int:
        self.wait_for(None)
        os.close(self._ours)
        return self.process.wait(LONGEST_S)


def test_secret_is_asked_for_and_not_shown(plan: Path, tmp_path: Path) -> None:
    """Without file and variable a person is asked; what they type does not appear."""
    terminal = Terminal(tmp_path, "verify", str(plan), "--device", "lighthouse-quarry")
    terminal.wait_for("bench: user of version 3")
    terminal.type("\n")
    terminal.wait_for("community")
    time.sleep(0.3)
    terminal.type("coastal-read\n")
    assert terminal.end() == 1
    assert "coastal-read" not in terminal.shown
    assert "switch the device's SNMP agent on" in terminal.shown


def test_colour_and_a_bar(plan: Path, tmp_path: Path) -> None:
    """On a terminal words are coloured and a bar shows how far it is."""
    terminal = Terminal(tmp_path, "reach", str(plan))
    assert terminal.end() == 1
    assert "\x1b[1;31mFAIL\x1b[0m" in terminal.shown
    assert "devices" in terminal.shown
