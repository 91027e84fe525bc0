"""`here` at the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Run

WRONG = [
    (("plan.yaml", "no-such-device"), 2, "no device 'no-such-device' in the plan"),
    (("plan.yaml", "lighthouse-quary"), 2, "did you mean 'lighthouse-quarry'?"),
    (("plan.yaml", "quarry-lighthouse", "--out", "plan.yaml"), 2, "read as an input"),
    (("plan.yaml", "--credentials", "none.toml"), 4, "none.toml"),
]


@pytest.mark.parametrize(("words", "code", "message"), WRONG, ids=[" ".join(w[0]) for w in WRONG])
def test_wrong_input(run: Run, plan: Path, words: tuple[str, ...], code: int, message: str) -> None:
    """Said with what to do; nothing is printed as a look."""
    del plan
    done = run("here", *words)
    assert done.returncode == code, done.stderr
    assert message in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


@pytest.mark.icmp
def test_without_credentials_it_says_what_it_can(run: Run, plan: Path) -> None:
    """Nobody is asked by SNMP, which is said; who is there cannot be told."""
    del plan
    done = run("here", "plan.yaml", "lighthouse-quarry")
    assert done.returncode == 3, done.stderr
    assert "no credentials for 'bench': these devices are not asked by SNMP" in done.stderr
    assert "who is there cannot be told" in done.stdout
