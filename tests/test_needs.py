"""The tests' own rules of skipping: what is missing is said, and where it must be there, it fails."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
TESTS = """
import pytest
from tests.conftest import needs

@pytest.fixture
def screen():
    needs("tmux")

@pytest.mark.tmux
def test_marked(): ...

def test_by_fixture(screen): ...

def test_always(): ...
"""
ELSE = 'import pytest\n\ndef test_else(): pytest.skip("not in the mood")\n'


def played(folder: Path, text: str, *, there: bool, **environment: str) -> tuple[int, str]:
    """Exit code and words of a run of tests on a machine with or without tmux."""
    (folder / "test_played.py").write_text(text)
    programs = folder / "programs"
    programs.mkdir(exist_ok=True)
    if there:
        (programs / "tmux").write_text("")
        (programs / "tmux").chmod(0o755)
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("PYTEST", "PLAN_VERIFIER"))}
    words = (
        "-m",
        "pytest",
        "-p",
        "tests.conftest",
        "-c",
        f"{ROOT / 'pyproject.toml'}",
        "-p",
        "no:cacheprovider",
    )
    done = subprocess.run(
        [sys.executable, *words, f"{folder / 'test_played.py'}"], cwd=ROOT, check=False,
        env={**kept, **environment, "PATH": str(programs)}, capture_output=True, text=True,
    )  # fmt: skip
    return done.returncode, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("there", "environment", "code", "told"),
    [
        (False, {}, 0, "1 passed, 2 skipped"),
        (True, {}, 0, "3 passed"),
        (False, {"PLAN_VERIFIER_LAB": "required"}, 1, "1 passed, 2 errors"),
        (False, {"PLAN_VERIFIER_LAB": "required", "PLAN_VERIFIER_LACKS": "tmux"}, 0, "1 passed, 2 skipped"),
        (True, {"PLAN_VERIFIER_LACKS": "tmux"}, 4, "PLAN_VERIFIER_LACKS names what is there: tmux"),
        (True, {"PLAN_VERIFIER_LACKS": "telex"}, 4, "PLAN_VERIFIER_LACKS: no such need: telex"),
    ],
    ids=["skipped", "there", "required", "lacked rightfully", "not lacked", "unknown"],
)  # fmt: skip
def test_a_need(
    tmp_path: Path, *, there: bool, environment: dict[str, str], code: int, told: str
) -> None:
    """Said by a marker or by a fixture, it skips with its reason; where all must run, it fails."""
    got, said = played(tmp_path, TESTS, there=there, **environment)
    assert (got, told in said) == (code, True), said
    if not there:
        assert "tmux missing: apt-get install tmux" in said


def test_only_a_need_that_is_lacked_skips(tmp_path: Path) -> None:
    """A test that skips itself for another reason fails where all must run."""
    environment = {"PLAN_VERIFIER_LAB": "required", "PLAN_VERIFIER_LACKS": "tmux"}
    assert played(tmp_path, ELSE, there=False, **environment)[0] == 1
