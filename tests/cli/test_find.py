"""`find` with input it cannot use: one message, the right exit code, nothing sent."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Run

WRONG = [
    (("no-such-device",), 2, "no device 'no-such-device' in the plan"),
    (("lighthouse-quary",), 2, "did you mean 'lighthouse-quarry'?"),
    ((), 2, "Missing argument 'DEVICE'"),
    (("quarry-lighthouse", "--interface", "nope0"), 2, "no interface 'nope0' at this laptop"),
    (("quarry-lighthouse", "--wait", "soon"), 2, "'soon' is not a duration"),
    (("quarry-lighthouse", "--max-packets-per-s", "0"), 2, "--max-packets-per-s"),
    (("quarry-lighthouse", "--out", "plan.yaml"), 2, "read as an input"),
    (("quarry-lighthouse", "--out", "no/such/folder.json"), 2, "cannot be written"),
    (("lighthouse-quarry",), 4, "no SNMP entry 'bench'"),
    (("lighthouse-quarry", "--credentials", "nowhere.toml"), 4, "nowhere.toml"),
    (("quarry-lighthouse", "--profiles", "nowhere"), 4, "nowhere"),
]


@pytest.mark.parametrize(("words", "code", "message"), WRONG, ids=[" ".join(w[0]) for w in WRONG])
def test_wrong_input(run: Run, plan: Path, words: tuple[str, ...], code: int, message: str) -> None:
    """Said with what to do; no address was shown, so none was asked."""
    del plan
    done = run("find", "plan.yaml", *words)
    assert done.returncode == code, done.stderr
    assert message in done.stderr
    assert "Traceback" not in done.stderr
    assert "asking" not in done.stderr
    assert done.stdout == ""


def test_faulty_plan(run: Run, plan: Path) -> None:
    """An error in the plan ends it before anything is looked for."""
    plan.write_text(plan.read_text(encoding="utf-8").replace("127.81.0.12/8", "127.81.0.11/8"))
    done = run("find", "plan.yaml", "quarry-lighthouse")
    assert done.returncode == 4
    assert "nothing was sent" in done.stderr
