"""`powercycle` before anybody switches anything: what it accepts, and when it does not begin."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Run
from verifier.errors import EXIT_UNTESTED, EXIT_USAGE

COMMAND = ("powercycle", "plan.yaml", "lighthouse-quarry", "--credentials", "credentials.toml")
pytestmark = pytest.mark.usefixtures("plan", "credentials")


def test_a_link_that_is_built_needs_its_outage_accepted(run: Run) -> None:
    """It carries traffic, which stops."""
    done = run(*COMMAND)
    assert done.returncode == EXIT_USAGE
    assert "traffic drops on Hop 1: --accept-outage if that may be" in done.stderr


@pytest.mark.parametrize("where", ["option", "plan"])
def test_on_the_bench_no_link_is_built(where: str, run: Run, plan: Path) -> None:
    """Nothing has to be accepted; and nobody is told to switch, as nothing can be read here."""
    if where == "plan":
        plan.write_text(f"stage: bench\n{plan.read_text('utf-8')}", "utf-8")
    done = run(*COMMAND, *(("--stage", "bench") if where == "option" else ()))
    said = " ".join(done.stderr.split())
    assert "on the bench no link is built, and nothing in the plan hangs behind" in said
    assert (done.returncode, done.stdout) == (EXIT_UNTESTED, "")
    assert "plan-verifier: leave the supply on: nothing was read that a restart could" in said
    assert "compared with: lighthouse-quarry: " in said
    assert "restart lighthouse-quarry now" not in said


def test_nothing_is_kept_of_what_was_not_begun(run: Run, tmp_path: Path) -> None:
    """No report and no evidence: there is nothing they could say."""
    words = ("--accept-outage", "--evidence", "kept.json", "--out", "page.html")
    done = run(*COMMAND, *words)
    assert done.returncode == EXIT_UNTESTED, done.stderr
    assert not (tmp_path / "kept.json").exists()
    assert not (tmp_path / "page.html").exists()
