"""PLAN left out: the one plan of the folder, and what stands beside it."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import PLAN, Run

MAPPING = """\
format = "plan-verifier/mapping/1"
sheet = "theirs.csv"
[[table]]
row = "device"
[table.columns]
"Station" = "Devices.name"
"IP" = "Devices.address"
"""


def test_the_one_plan_of_the_folder(run: Run, plan: Path) -> None:
    """It is taken, and that is said in one line."""
    del plan
    done = run("check")
    assert done.returncode == 0, done.stderr
    assert done.stderr == "plan-verifier: taken: plan.yaml\n"


def test_what_stands_beside_it(run: Run, plan: Path, credentials: Path) -> None:
    """Credentials and profiles beside the plan, named or not, unless an option says otherwise."""
    (plan.parent / "profiles").mkdir()
    taken = run("find", "quarry-lighthouse", "--timeout", "50ms")
    assert taken.stderr.startswith(
        "plan-verifier: taken: plan.yaml, credentials.toml, profiles\n"
    ), taken.stderr
    named = run("find", "plan.yaml", "quarry-lighthouse", "--timeout", "50ms")
    assert named.stderr.startswith("plan-verifier: taken: credentials.toml, profiles\n")
    other = credentials.rename(credentials.with_name("other.toml"))
    said = run("find", "quarry-lighthouse", "--credentials", other.name, "--timeout", "50ms")
    assert said.stderr.startswith("plan-verifier: taken: plan.yaml, profiles\n")


def test_none_or_several(run: Run, plan: Path) -> None:
    """Exit 2 with what was found; a file of another kind is no plan."""
    plan.rename(plan.with_name("notes.txt"))
    (plan.parent / "other.yaml").write_text("shopping: [bread]\n")
    none = run("check")
    assert none.returncode == 2
    assert "no plan is in this folder (it holds notes.txt, other.yaml)" in none.stderr
    for name in ("a.yaml", "b.yml"):
        (plan.parent / name).write_text(PLAN)
    several = run("check")
    assert several.returncode == 2
    assert "2 plans are in this folder: name one of a.yaml, b.yml" in several.stderr


def test_workbook_and_folder_of_csv(run: Run, tmp_path: Path) -> None:
    """Each kind of plan is known by what is in it."""
    assert run("new", "book.xlsx", "--example").returncode == 0
    assert "taken: book.xlsx" in run("check").stderr
    (tmp_path / "book.xlsx").unlink()
    assert run("new", "tables", "--example").returncode == 0
    assert "taken: tables" in run("check").stderr


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        (("find",), 2, "Missing argument 'DEVICE'"),
        (("find", "plan.yaml"), 2, "Missing argument 'DEVICE'"),
        (("find", "plan.yaml", "a", "b"), 2, "too many arguments: b"),
        (("find", "no-such-device"), 2, "no device 'no-such-device' in the plan"),
        (("find", "elsewhere.yaml", "quarry-lighthouse"), 4, "elsewhere.yaml: there is no such"),
        (("powercycle",), 2, "Missing argument 'DEVICE'"),
        (("check", "plan.yaml", "other.yaml"), 2, "too many arguments: other.yaml"),
        (("check", "nothing.txt"), 4, "nothing.txt"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else None,
)
def test_arguments(run: Run, plan: Path, words: tuple[str, ...], code: int, message: str) -> None:
    """The first that is a plan is the plan; a file that exists and is none is an object."""
    (plan.parent / "no-such-device").mkdir()
    done = run(*words)
    assert done.returncode == code, done.stderr
    assert message in done.stderr


def test_a_mapping_is_for_its_sheet_alone(run: Run, tmp_path: Path) -> None:
    """It is taken for the sheet it names; beside a plan of ours that sheet is no candidate."""
    (tmp_path / "theirs.csv").write_text("Station,IP\nquarry,198.18.20.12/24\n")
    (tmp_path / "mapping.toml").write_text(MAPPING)
    theirs = run("check")
    assert theirs.stderr.startswith("plan-verifier: taken: theirs.csv, mapping.toml\n")
    assert "1 device" in theirs.stdout
    (tmp_path / "plan.yaml").write_text(PLAN)
    assert run("check").stderr == "plan-verifier: taken: plan.yaml\n"
