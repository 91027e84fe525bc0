"""`cards`: text of 100 columns, pages, labels, codes, the blank sheet; bad use."""

from __future__ import annotations

import csv
import io
import shutil
from pathlib import Path

import pytest

import verifier.files
from tests.cli.conftest import Run
from verifier.errors import EXIT_INPUT, EXIT_PASSED, EXIT_USAGE
from verifier.files.observed import read_observed
from verifier.files.read_plan import read_plan

EXAMPLE = Path(verifier.files.__file__).parent / "example.yaml"


@pytest.fixture(autouse=True)
def example(tmp_path: Path) -> None:
    shutil.copy(EXAMPLE, tmp_path / "plan.yaml")


def test_text(run: Run) -> None:
    """A card for each device of the filter, ASCII, at most 100 columns wide."""
    done = run("cards", "plan.yaml", "--link", "Hop 1")
    assert (done.returncode, done.stderr) == (EXIT_PASSED, "")
    lines = done.stdout.splitlines()
    assert [line for line in lines if ">" in line and "   (" in line and line[0] != " "] == [
        "LIGHTHOUSE > QUARRY   (lighthouse-quarry, Lighthouse)",
        "QUARRY > LIGHTHOUSE   (quarry-lighthouse, Quarry)",
    ]
    assert max(map(len, lines)) <= 100
    assert done.stdout.isascii()


def test_files(run: Run, tmp_path) -> None:
    """The ending of --out decides; nothing is printed then; pages have no script and no link."""
    for words, name in (((), "cards.html"), (("--labels", "--qr"), "labels.html")):
        done = run("cards", "plan.yaml", *words, "--out", name)
        assert (done.returncode, done.stdout, done.stderr) == (EXIT_PASSED, "", "")
        page = (tmp_path / name).read_text("utf-8")
        assert "<script" not in page
        assert "http://" not in page.replace("http://www.w3.org/", "")
        assert page.count("<svg") == (10 if words else 0)
    done = run("cards", "plan.yaml", "--out", "cards.txt", "--labels")
    assert (tmp_path / "cards.txt").read_text().startswith("LIGHTHOUSE > QUARRY\n")


def test_no_secret(run: Run) -> None:
    """Keys in the environment and beside the plan are not asked for, let alone printed."""
    secret = "not-for-paper"
    done = run("cards", "plan.yaml", env={"PLAN_VERIFIER_FIELD_COMMUNITY": secret,
                                          "PLAN_VERIFIER_FIELD_AUTH_KEY": secret})  # fmt: skip
    assert done.returncode == EXIT_PASSED
    assert secret not in done.stdout
    assert "entry field" in done.stdout


def test_the_blank_sheet(run: Run, tmp_path) -> None:
    """The same items as on the cards; it reads back; it is never written over."""
    done = run("cards", "plan.yaml", "--site", "Lighthouse", "--site", "Ferry",
               "--blank", "seen.csv")  # fmt: skip
    assert (done.returncode, done.stdout) == (
        EXIT_PASSED, "seen.csv: 48 rows to fill in for 4 devices\n",
    )  # fmt: skip
    observed, problems = read_observed(tmp_path / "seen.csv", read_plan(EXAMPLE)[0])
    assert (observed.entries, [p.rule for p in problems]) == ((), ["not-filled-in"])
    rows = list(csv.DictReader(io.StringIO((tmp_path / "seen.csv").read_text("utf-8-sig"))))
    assert {r["unit"] for r in rows} == {"", "yes/no", "V/H", "V", "deg", "m"}
    assert sum(r["device"] == "ferry-switch" for r in rows) == 6
    again = run("cards", "plan.yaml", "--blank", "seen.csv")
    assert (again.returncode, "nothing is overwritten" in again.stderr) == (EXIT_USAGE, True)


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("none.yaml",), EXIT_INPUT, "there is no such file"),
        (("plan.yaml", "--device", "lighthouse"), EXIT_USAGE, "no device 'lighthouse'"),
        (("plan.yaml", "--qr"), EXIT_USAGE, "--qr needs a page"),
        (("plan.yaml", "--out", "plan.yaml"), EXIT_USAGE, "read as an input"),
        (("plan.yaml", "--blank", "no/seen.csv"), EXIT_USAGE, "cannot be written"),
        (("plan.yaml", "--format", "pdf"), EXIT_USAGE, "is not one of"),
    ],
)
def test_bad_use(words, code, said, run: Run) -> None:
    """One message, the right code."""
    done = run("cards", *words)
    assert (done.returncode, said in done.stderr) == (code, True), done.stderr
